/**
 * A diagnosis as a report, in the order a person at the field needs it: verdict, numbers per axis, evidence,
 * findings, what to do, what this log could not show, and what could hurt.
 */

import type { AxisName } from '@settle/parser';
import type { Diagnosis, Finding } from '@settle/analysis';
import { isUnavailable } from '@settle/analysis/unavailable';
import { NO_CHARTS, type Charts } from './charts/assemble-charts.js';
import type { Chart } from './charts/chart.js';
import {
  type ReportDocument,
  type Section,
  type Timeline,
  illustrated,
  item,
  list,
  picture,
  sentence,
} from './document.js';
import { assembleAdvice } from './advice-section.js';
import { assembleAircraftSections } from './aircraft-sections.js';
import { assembleAxisSections, assembleEvidence, assembleReadingGuide } from './axis-sections.js';
import { formatRate, formatSignificant, formatSureness, formatTime } from './numbers.js';
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
      sentence(`${phaseSentence(diagnosis.phases)} Told from: ${diagnosis.phasesFrom}.`),
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
  const isNamed = finding.axis === null || finding.summary.toLowerCase().includes(finding.axis);
  const where = isNamed ? '' : `, ${finding.axis}`;
  return `${capitalise(finding.severity)}${where}: ${finding.summary.replace(/\.$/, '')} (${formatSureness(finding.confidence)} sure).`;
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
    ['answer to full demand', (axis: AxisName) => diagnosis.axes[axis].plant],
  ] as const;

  // Reason, then the axes it holds for, then what is missing there; no axes: the whole aircraft.
  const reasons = new Map<string, Map<string, string[]>>();
  const note = (reason: string, axes: readonly AxisName[], subject: string): void => {
    const where = axes.length === AXIS_ORDER.length ? '' : joinWords(axes);
    const own = reasons.get(reason) ?? new Map<string, string[]>();
    own.set(where, [...(own.get(where) ?? []), subject]);
    reasons.set(reason, own);
  };
  for (const [subject, resultOf] of perAxis) {
    const axesByReason = new Map<string, AxisName[]>();
    for (const axis of AXIS_ORDER) {
      const result = resultOf(axis);
      if (!isUnavailable(result)) continue;
      axesByReason.set(result.unavailable, [...(axesByReason.get(result.unavailable) ?? []), axis]);
    }
    for (const [reason, axes] of axesByReason) note(reason, axes, subject);
  }
  for (const [subject, result] of wholeAircraft) {
    if (isUnavailable(result)) note(result.unavailable, [], subject);
  }
  if (reasons.size === 0) return null;
  return {
    title: 'What this log could not show',
    blocks: [
      list(
        [...reasons].map(([reason, subjectsByAxes]) => {
          const parts = [...subjectsByAxes].map(
            ([axes, subjects]) => joinWords(subjects) + (axes === '' ? '' : ` on ${axes}`),
          );
          return item(`${capitalise(parts.join('; '))}: ${reason}`);
        }),
      ),
    ],
  };
}

function cautionSection(cautions: readonly string[]): Section {
  const texts = cautions.length === 0 ? LEAST_CAUTIONS : cautions;
  return { title: 'Cautions', role: 'caution', blocks: [list(texts.map((text) => item(text)))] };
}

/** The picture beside the verdict: the worst swing close up, or the whole flight where nothing swings. */
function leadChart(diagnosis: Diagnosis, charts: Charts): Chart | null {
  const worst = oscillationsByUrgency(diagnosis)[0];
  const closeUp =
    worst === undefined ? undefined : charts.axes[worst.axis].find(({ id }) => id.endsWith('-close-up'));
  return closeUp ?? charts.flight[0] ?? null;
}

/**
 * @param charts pictures of the same flight, each put where it belongs; none by default
 */
export function assembleDiagnosisDocument(diagnosis: Diagnosis, charts: Charts = NO_CHARTS): ReportDocument {
  const lead = leadChart(diagnosis, charts);
  // The one that stands beside the verdict stands nowhere else.
  const others = (own: readonly Chart[]): Chart[] => own.filter((chart) => chart !== lead);
  const verdict = assembleVerdict(diagnosis);
  const aircraftCharts: Readonly<Record<string, readonly Chart[]>> = {
    Vibration: charts.vibration,
    Motors: charts.motors,
  };
  const sections = [
    lead === null ? verdict : { ...verdict, blocks: [...verdict.blocks, picture(lead, true)] },
    illustrated(flightSection(diagnosis), others(charts.flight)),
    ...assembleAxisSections(diagnosis).map((section, i) =>
      illustrated(section, others(charts.axes[AXIS_ORDER[i]!])),
    ),
    assembleEvidence(diagnosis),
    findingsSection(diagnosis),
    ...assembleAircraftSections(diagnosis).map((section) =>
      illustrated(section, others(aircraftCharts[section.title] ?? [])),
    ),
    assembleAdvice(diagnosis),
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
