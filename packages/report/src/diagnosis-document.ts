/**
 * A diagnosis as a report, in the order a person at the field needs it: verdict, numbers per axis, evidence,
 * findings, what to do, what this log could not show, and what could hurt.
 */

import type { AxisName } from '@settle/parser';
import { type Advice, type Diagnosis, type Finding, isUnavailable } from '@settle/analysis';
import { type ReportDocument, type Section, type Timeline, item, list, sentence } from './document.js';
import { assembleAircraftSections } from './aircraft-sections.js';
import { assembleAxisSections, assembleEvidence, assembleReadingGuide } from './axis-sections.js';
import { formatPercent, formatRate, formatSignificant, formatTime } from './numbers.js';
import { AXIS_ORDER, SEVERITY_EMPHASIS, asSentence, capitalise, joinWords } from './words.js';
import { assembleVerdict, frequencyText, oscillationsByUrgency } from './verdict.js';
import { phaseSentence, phaseTimelineRow } from './phases.js';

/** Printed when a diagnosis comes without any: a report on a hover never goes out without a word on safety. */
const LEAST_CAUTIONS = [
  'Turning props injure: keep everyone well clear, test in the open, and never hold or tether a powered aircraft to tune it.',
  'Local rules and the judgement of a licensed, practised pilot come before anything written here.',
];

const RATE_NAMES = {
  rate: 'body rate',
  attitude: 'attitude',
  imu: 'inertial sensor',
  motor: 'motors',
} as const;

const BASIS_WORDS: Readonly<Record<Advice['basis'], string>> = {
  margins: 'worked out from the measured margins',
  'ultimate-cycle': 'worked out from the oscillation itself',
  scaling: 'worked out by scaling',
  'rule-of-thumb': 'a rule of thumb, not a measurement',
};

function subtitleOf(diagnosis: Diagnosis): string {
  const { durationS, sampleRatesHz } = diagnosis.flight;
  const rates = (['rate', 'attitude', 'imu', 'motor'] as const).flatMap((group) => {
    const rateHz = sampleRatesHz[group];
    return rateHz === undefined ? [] : [`${RATE_NAMES[group]} ${formatRate(rateHz)} Hz`];
  });
  return [`${formatTime(durationS)} s logged`, ...rates].join(' · ');
}

function flightSection(diagnosis: Diagnosis): Section {
  const oscillationRows = oscillationsByUrgency(diagnosis).map(({ axis, oscillation }) => ({
    label: `${axis} ${frequencyText(oscillation)}`,
    parts: [{ startS: oscillation.startS, endS: oscillation.endS, label: '', mark: '#' }],
  }));
  const timeline: Timeline = {
    kind: 'timeline',
    startS: 0,
    endS: diagnosis.flight.durationS,
    rows: [phaseTimelineRow(diagnosis.phases), ...oscillationRows],
  };
  const { analysed, searchedHz, falseAlarmRate } = diagnosis;
  return {
    title: 'Flight',
    blocks: [
      timeline,
      sentence(`${phaseSentence(diagnosis.phases)} Told from: ${asSentence(diagnosis.phasesFrom)}`),
      sentence(
        `Searched for wobbles: ${formatTime(analysed.startS)}–${formatTime(analysed.endS)} s, ` +
          `${formatSignificant(searchedHz.lowest, 2)} to ${formatSignificant(searchedHz.highest, 2)} Hz (${searchedHz.why}). ` +
          `Irregular motion is mistaken for a small wobble in about ${formatSignificant(falseAlarmRate.small * 100, 1)} % of searches, for a large one in ${formatSignificant(falseAlarmRate.large * 100, 1)} %; one search per axis and channel.`,
        'quiet',
      ),
    ],
  };
}

function findingText(finding: Finding): string {
  const isNamed = finding.axis === null || finding.summary.toLowerCase().startsWith(finding.axis);
  const where = isNamed ? '' : `, ${finding.axis}`;
  return `${capitalise(finding.severity)}${where}: ${finding.summary.replace(/\.$/, '')} (${formatPercent(finding.confidence)} % sure).`;
}

function findingsSection({ findings, axes }: Diagnosis): Section | null {
  if (findings.length === 0) return null;
  // A finding that names an oscillation rests on its evidence, which the section before has just listed.
  const told = new Set(
    AXIS_ORDER.flatMap((axis) => axes[axis].oscillations.flatMap(({ evidence }) => evidence)),
  );
  return {
    title: 'Findings',
    blocks: [
      list(
        findings.map((finding) =>
          item(
            findingText(finding),
            finding.evidence.filter((evidence) => !told.has(evidence)).map(asSentence),
            SEVERITY_EMPHASIS[finding.severity],
          ),
        ),
      ),
    ],
  };
}

function gainChange(advice: Advice): string[] {
  const { axis, loop, term, factor, from, to } = advice;
  if (loop === undefined || term === undefined || factor === undefined) return [];
  const values =
    from === undefined || to === undefined
      ? ''
      : `, from ${formatSignificant(from)} to ${formatSignificant(to)}`;
  const where = axis === undefined ? '' : `${axis} `;
  return [`Change: ${where}${loop} loop, ${term} times ${formatSignificant(factor)}${values}`];
}

function filterChange(advice: Advice): string[] {
  const { filter } = advice;
  if (filter === undefined) return [];
  const parts = [
    filter.centreHz === undefined ? null : `centre ${formatSignificant(filter.centreHz)} Hz`,
    filter.cutoffHz === undefined ? null : `cut-off ${formatSignificant(filter.cutoffHz)} Hz`,
    filter.bandwidthHz === undefined ? null : `bandwidth ${formatSignificant(filter.bandwidthHz)} Hz`,
    filter.depthDb === undefined ? null : `depth ${formatSignificant(filter.depthDb, 2)} dB`,
  ].filter((text) => text !== null);
  return [`Filter: ${filter.type} on the ${filter.at}, ${parts.join(', ')}`];
}

function expectations(advice: Advice): string[] {
  return (advice.expect ?? []).map((expect) => {
    const wobble =
      expect.oscillationHz === null
        ? 'no steady wobble'
        : `a wobble at ${formatSignificant(expect.oscillationHz)} Hz`;
    return (
      `The next hover should show, on ${expect.axis}: gain margin ${formatSignificant(expect.gainMarginDb, 2)} dB, ` +
      `phase margin ${formatSignificant(expect.phaseMarginDeg, 2)} deg, ${wobble}`
    );
  });
}

function adviceItem(advice: Advice): ReturnType<typeof item> {
  const isMeasured = advice.kind === 'gain' || advice.kind === 'filter';
  return item(
    asSentence(advice.text),
    [
      ...gainChange(advice),
      ...filterChange(advice),
      ...advice.because.map((reason) => `Because: ${reason}`),
      ...(isMeasured ? [`How sure: ${BASIS_WORDS[advice.basis]}`] : []),
      ...(advice.watchFor === '' ? [] : [`Watch for: ${advice.watchFor}`]),
      ...expectations(advice),
    ],
    advice.kind === 'do-not-fly' ? 'danger' : 'strong',
  );
}

function adviceSection(diagnosis: Diagnosis): Section {
  const title = 'What to do';
  if (diagnosis.advice.length === 0) {
    const text =
      oscillationsByUrgency(diagnosis).length === 0
        ? 'Nothing in this log calls for a change.'
        : 'No change is advised: this log does not establish a cause, and a change without a cause is a guess.';
    return { title, blocks: [sentence(text)] };
  }
  const steps = [...new Set(diagnosis.advice.map(({ step }) => step))].sort((a, b) => a - b);
  return {
    title,
    blocks: steps.flatMap((step) => [
      sentence(
        step <= 1
          ? 'Before the next hover, all of these together:'
          : `Step ${step}, after that hover confirms:`,
        'strong',
      ),
      list(diagnosis.advice.filter((advice) => advice.step === step).map(adviceItem)),
    ]),
  };
}

/** Every result that is unavailable, gathered by reason so that one missing channel is named once. */
function limitsSection(diagnosis: Diagnosis): Section | null {
  const wholeAircraft = [
    ['vibration', diagnosis.vibration],
    ['motors and trim', diagnosis.actuators],
    ['battery', diagnosis.battery],
  ] as const;
  const perAxis = [
    ['tracking error', (axis: AxisName) => diagnosis.axes[axis].tracking],
    ['response', (axis: AxisName) => diagnosis.axes[axis].response],
    ['rate-loop margins', (axis: AxisName) => diagnosis.axes[axis].margins.rate],
    ['attitude-loop margins', (axis: AxisName) => diagnosis.axes[axis].margins.attitude],
    ['what a demand does', (axis: AxisName) => diagnosis.axes[axis].plant],
  ] as const;

  const reasons = new Map<string, string[]>();
  const note = (reason: string, subject: string): void => {
    reasons.set(reason, [...(reasons.get(reason) ?? []), subject]);
  };
  for (const [subject, resultOf] of perAxis) {
    const axesByReason = new Map<string, AxisName[]>();
    for (const axis of AXIS_ORDER) {
      const result = resultOf(axis);
      if (!isUnavailable(result)) continue;
      axesByReason.set(result.unavailable, [...(axesByReason.get(result.unavailable) ?? []), axis]);
    }
    for (const [reason, axes] of axesByReason) {
      note(reason, axes.length === AXIS_ORDER.length ? subject : `${subject} of ${joinWords(axes)}`);
    }
  }
  for (const [subject, result] of wholeAircraft) {
    if (isUnavailable(result)) note(result.unavailable, subject);
  }
  if (reasons.size === 0) return null;
  return {
    title: 'What this log could not show',
    blocks: [
      list([...reasons].map(([reason, subjects]) => item(`${capitalise(joinWords(subjects))}: ${reason}`))),
    ],
  };
}

function cautionSection(cautions: readonly string[]): Section {
  const texts = cautions.length === 0 ? LEAST_CAUTIONS : cautions;
  return { title: 'Cautions', blocks: [list(texts.map((text) => item(text)))] };
}

export function assembleDiagnosisDocument(diagnosis: Diagnosis): ReportDocument {
  const sections = [
    assembleVerdict(diagnosis),
    flightSection(diagnosis),
    ...assembleAxisSections(diagnosis),
    assembleEvidence(diagnosis),
    findingsSection(diagnosis),
    ...assembleAircraftSections(diagnosis),
    adviceSection(diagnosis),
    limitsSection(diagnosis),
    assembleReadingGuide(diagnosis),
    cautionSection(diagnosis.cautions),
  ];
  return {
    title: `Hover diagnosis: ${diagnosis.flight.name}`,
    subtitle: subtitleOf(diagnosis),
    sections: sections.filter((section) => section !== null),
  };
}
