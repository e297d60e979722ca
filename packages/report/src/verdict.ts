/** The first thing a person reads: what wobbles and what that means, in sentences without a table. */

import type { AxisName } from '@settle/parser';
import type { Diagnosis, Finding, Oscillation } from '@settle/analysis';
import { type Block, type Emphasis, type Section, sentence } from './document.js';
import { formatPercent, formatSignificant, formatTime, formatValue } from './numbers.js';
import { AXIS_ORDER, ORIGIN_WORDS, asSentence, capitalise, joinWords, regimeClause } from './words.js';

/** The detector asks for this many consecutive cycles (contract: "at least 5 consecutive cycles"). */
const LEAST_CYCLES = 5;

export interface AxisOscillation {
  readonly axis: AxisName;
  readonly oscillation: Oscillation;
}

const URGENCY: Readonly<Record<Oscillation['regime'], number>> = {
  growing: 3,
  'limit-cycle': 2,
  driven: 1,
  decaying: 0,
};

/** Every oscillation of the flight, the one that endangers the next hover most first. */
export function oscillationsByUrgency(diagnosis: Diagnosis): AxisOscillation[] {
  return AXIS_ORDER.flatMap((axis) =>
    diagnosis.axes[axis].oscillations.map((oscillation) => ({ axis, oscillation })),
  ).sort(
    (a, b) =>
      Number(a.oscillation.follows !== null) - Number(b.oscillation.follows !== null) ||
      URGENCY[b.oscillation.regime] - URGENCY[a.oscillation.regime] ||
      b.oscillation.rateAmplitudeDegS - a.oscillation.rateAmplitudeDegS,
  );
}

/** `2.43 Hz`, to the digits its standard deviation supports. */
export function frequencyText(oscillation: Oscillation): string {
  return `${formatValue(oscillation.frequencyHz, oscillation.frequencyStdHz)} Hz`;
}

function sizeText(oscillation: Oscillation): string {
  const rate = formatValue(oscillation.rateAmplitudeDegS, oscillation.rateAmplitudeStdDegS);
  const angle = oscillation.attitudeAmplitudeDeg;
  const attitude = angle === null ? '' : `, ${formatSignificant(angle)} deg of angle`;
  return `${rate} deg/s of body rate${attitude}`;
}

function headlineOf({ axis, oscillation }: AxisOscillation): string {
  const { startS, endS, follows } = oscillation;
  const verb = follows === null ? 'wobbles' : `moves along with ${follows}`;
  return (
    `${capitalise(axis)} ${verb} at ${frequencyText(oscillation)}${regimeClause(oscillation)}: ` +
    `${sizeText(oscillation)}, seen from ${formatTime(startS)} s to ${formatTime(endS)} s.`
  );
}

function causeOf({ axis, oscillation }: AxisOscillation): string {
  const { origin, confidence } = oscillation;
  if (origin === 'unknown') {
    return `Why ${axis} does that cannot be told from this log; the evidence below says what is known and what is missing.`;
  }
  const sure = `${formatPercent(confidence)} % sure`;
  const strength = confidence >= 0.5 ? 'Most likely source' : 'A possible source, not more';
  return `${strength}: ${ORIGIN_WORDS[origin]} (${sure}).`;
}

function emphasisOf(oscillation: Oscillation): Emphasis {
  if (oscillation.regime === 'growing') return 'danger';
  return oscillation.regime === 'limit-cycle' ? 'fault' : 'strong';
}

/** What silence is worth: where a wobble could have hidden, and that it measures no margin. */
function quietAnswer(diagnosis: Diagnosis, measured: readonly AxisName[]): Block[] {
  const hoverS = diagnosis.analysed.endS - diagnosis.analysed.startS;
  const { lowest: slowestHz, highest: fastestHz } = diagnosis.searchedHz;
  const where = `on ${joinWords(measured)}`;
  if (!(fastestHz > slowestHz)) {
    return [
      sentence(
        `No steady wobble was found ${where}, but ${formatTime(hoverS)} s of hover are too short to show one, so that says nothing.`,
        'strong',
      ),
    ];
  }
  return [
    sentence(
      `Nothing stands out: no steady wobble rises above the aircraft's own irregular motion ${where}.`,
      'good',
    ),
    sentence(
      `That is a good answer with limits. Looked for were at least ${LEAST_CYCLES} cycles in a row, in ${formatTime(hoverS)} s of hover: ` +
        `a wobble slower than about ${formatSignificant(slowestHz, 2)} Hz or faster than ${formatSignificant(fastestHz, 2)} Hz would not be seen. ` +
        'The answer holds for this day, this loading and this battery, and it does not measure how much margin the loops have left.',
    ),
  ];
}

/** Whether the finding rests on an oscillation, which has a sentence of its own in the verdict. */
function isTold(diagnosis: Diagnosis, { axis, evidence }: Finding): boolean {
  if (axis === null) return false;
  const told = new Set(diagnosis.axes[axis].oscillations.flatMap((oscillation) => oscillation.evidence));
  return evidence.some((text) => told.has(text));
}

export function assembleVerdict(diagnosis: Diagnosis): Section {
  // Silence about an axis that could not be searched is no result.
  const unmeasured = AXIS_ORDER.filter((axis) => diagnosis.axes[axis].notSearched !== null);
  const blocks: Block[] = [];
  for (const advice of diagnosis.advice.filter(({ kind }) => kind === 'do-not-fly')) {
    blocks.push(sentence(asSentence(advice.text), 'danger'));
  }
  for (const finding of diagnosis.findings.filter(({ severity }) => severity === 'danger')) {
    if (!isTold(diagnosis, finding)) blocks.push(sentence(asSentence(finding.summary), 'danger'));
  }

  const all = oscillationsByUrgency(diagnosis);
  const [worst, ...others] = all;
  const measured = AXIS_ORDER.filter((axis) => !unmeasured.includes(axis));
  if (worst === undefined) {
    blocks.push(...quietAnswer(diagnosis, measured));
  } else {
    blocks.push(sentence(headlineOf(worst), emphasisOf(worst.oscillation)), sentence(causeOf(worst)));
    for (const other of others) {
      blocks.push(sentence(headlineOf(other), emphasisOf(other.oscillation)));
    }
    const silent = measured.filter((axis) => diagnosis.axes[axis].oscillations.length === 0);
    if (silent.length > 0) blocks.push(sentence(`Nothing stands out on ${joinWords(silent)}.`));
  }
  for (const finding of diagnosis.findings.filter(({ severity }) => severity === 'fault')) {
    if (!isTold(diagnosis, finding))
      blocks.push(sentence(`Also: ${finding.summary.replace(/\.$/, '')}.`, 'fault'));
  }
  if (unmeasured.length > 0) {
    const verb = unmeasured.length === 1 ? 'is' : 'are';
    blocks.push(
      sentence(
        `${capitalise(joinWords(unmeasured))} ${verb} not in this log: nothing can be said about ${unmeasured.length === 1 ? 'it' : 'them'}.`,
      ),
    );
  }
  return { title: 'Verdict', blocks };
}
