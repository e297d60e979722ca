/** The first thing a person reads: what wobbles and what that means, in sentences without a table. */

import type { AxisName } from '@settle/parser';
import type { Advice, Diagnosis, Finding, Oscillation } from '@settle/analysis';
import { isUnavailable } from '@settle/analysis/unavailable';
import { type Block, type Emphasis, type Section, action, sentence } from './document.js';
import { changesText, gatherGainGroups, oldGainsAreUnsafe, watchTexts } from './gain-groups.js';
import { formatSignificant, formatSureness, formatTime, formatValue } from './numbers.js';
import {
  AXIS_ORDER,
  ORIGIN_WORDS,
  SEVERITY_EMPHASIS,
  asSentence,
  capitalise,
  joinWords,
  regimeClause,
} from './words.js';

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

/** What a loop finding adds to a wobble that arises in that loop. */
const FINDINGS_BY_ORIGIN: Readonly<Partial<Record<Oscillation['origin'], readonly string[]>>> = {
  'rate-loop': ['rate-loop-too-tight', 'derivative-too-strong', 'integral-too-strong'],
  'attitude-loop': ['attitude-loop-too-tight'],
};

/** Findings about a loop as a whole, which hold whether or not anything oscillates. */
const LOOP_FINDINGS = new Set([
  ...Object.values(FINDINGS_BY_ORIGIN).flat(),
  'loop-too-loose',
  'demand-sign-wrong',
  'well-damped',
]);

/** A finding as a sentence of its own; one about a loop is an estimate and says how sure it is. */
function standingText({ id, summary, confidence }: Finding): string {
  if (!LOOP_FINDINGS.has(id)) return asSentence(summary);
  return asSentence(`${summary.replace(/[.]$/, '')} (${formatSureness(confidence)} sure)`);
}

/** The finding that says what is wrong with the loop a wobble arises in. */
function loopFindingOf(diagnosis: Diagnosis, { axis, oscillation }: AxisOscillation): Finding | undefined {
  const ids = FINDINGS_BY_ORIGIN[oscillation.origin] ?? [];
  return diagnosis.findings.find((finding) => finding.axis === axis && ids.includes(finding.id));
}

function sourceOf({ origin, confidence }: Oscillation): string {
  const strength = confidence >= 0.5 ? 'Most likely source' : 'A possible source, not more';
  return `${strength}: ${ORIGIN_WORDS[origin]} (${formatSureness(confidence)} sure).`;
}

function causeOf(diagnosis: Diagnosis, wobble: AxisOscillation): string {
  const { axis, oscillation } = wobble;
  if (oscillation.origin === 'unknown') {
    return `Why ${axis} does that cannot be told from this log; the evidence below says what is known and what is missing.`;
  }
  const wrong = loopFindingOf(diagnosis, wobble);
  return sourceOf(oscillation) + (wrong === undefined ? '' : ` ${asSentence(wrong.summary)}`);
}

/** A wobble beside the worst one: its source where there is one; that it is not known was said above or stands below. */
function otherText(diagnosis: Diagnosis, wobble: AxisOscillation): string {
  const { origin, follows } = wobble.oscillation;
  const isExplained = origin !== 'unknown' && follows === null;
  return headlineOf(wobble) + (isExplained ? ` ${causeOf(diagnosis, wobble)}` : '');
}

/** What to do first, with what to watch for beside it; reasons and the rest stand in the section on advice. */
export function actionsOf(diagnosis: Diagnosis): Block[] {
  const first = diagnosis.advice.filter(({ step }) => step === 1);
  const groups = gatherGainGroups(first);
  const gains = groups.map((group): Block => {
    const watch = watchTexts(group, oldGainsAreUnsafe(diagnosis, group.axis)).at(-1);
    return action(
      `Before the next hover, ${group.axis}: ${changesText(group, false)}` +
        `${group.basis === 'rule-of-thumb' ? ' (a rule of thumb, not a measurement)' : ''}.` +
        (watch === undefined ? '' : ` Then watch for ${watch.replace(/[.]$/, '')}.`),
    );
  });
  const textsOf = (wanted: Advice['kind']): Block[] =>
    first.filter(({ kind }) => kind === wanted).map(({ text }) => action(asSentence(text)));
  // A part that gives is mended before gains are trimmed around it.
  const needed = [...textsOf('mechanical'), ...gains, ...textsOf('filter')];
  if (needed.length > 0) return needed;
  // With nothing to change, what to fly or log is the next thing to do; a ban on flying has been said already.
  const next = first.find(({ kind }) => kind === 'flying' || kind === 'logging');
  if (next === undefined || first.some(({ kind }) => kind === 'do-not-fly')) return [];
  const watch = next.watchFor === '' ? '' : ` Watch for ${next.watchFor.replace(/[.]$/, '')}.`;
  return [action(asSentence(next.text) + watch)];
}

function emphasisOf(oscillation: Oscillation): Emphasis {
  if (oscillation.regime === 'growing') return 'danger';
  return oscillation.regime === 'limit-cycle' ? 'fault' : 'strong';
}

/** What silence is worth: where a wobble could have hidden, and whether the margins are known beside it. */
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
  const isWrong = diagnosis.findings.some(({ severity }) => severity !== 'note');
  const unknown = measured.filter((axis) => isUnavailable(diagnosis.axes[axis].margins.rate));
  const ofAxes = unknown.length === measured.length ? '' : ` of ${joinWords(unknown)}`;
  const margins =
    unknown.length === 0 ? '' : `, and it does not measure how much margin the loops${ofAxes} have left`;
  return [
    // Silence is no good news where a loop is known to be wrong.
    isWrong
      ? sentence(`No steady wobble rises above the aircraft's own irregular motion ${where}.`)
      : sentence(
          `Nothing stands out: no steady wobble rises above the aircraft's own irregular motion ${where}.`,
          'good',
        ),
    sentence(
      `That ${isWrong ? 'answer has' : 'is a good answer with'} limits. Looked for were at least ${LEAST_CYCLES} cycles in a row, in ${formatTime(hoverS)} s of hover: ` +
        `a wobble slower than about ${formatSignificant(slowestHz, 2)} Hz or faster than ${formatSignificant(fastestHz, 2)} Hz would not be seen. ` +
        `The answer holds for this day, this loading and this battery${margins}.`,
    ),
  ];
}

/** Whether the finding rests on an oscillation, which has a sentence of its own in the verdict. */
function isTold(diagnosis: Diagnosis, { axis, evidence }: Finding): boolean {
  if (axis === null) return false;
  const told = new Set(diagnosis.axes[axis].oscillations.flatMap((oscillation) => oscillation.evidence));
  return evidence.some((text) => told.has(text));
}

/** Whether something that endangers the next flight is known of the axis a wobble is on. */
function isDangerous({ findings }: Diagnosis, { axis, oscillation }: AxisOscillation): boolean {
  return (
    oscillation.follows === null &&
    findings.some((finding) => finding.axis === axis && finding.severity === 'danger')
  );
}

/** What is wrong, then what to do about it, then the rest. */
export function assembleVerdict(diagnosis: Diagnosis): Section {
  // Silence about an axis that could not be searched is no result.
  const unmeasured = AXIS_ORDER.filter((axis) => diagnosis.axes[axis].notSearched !== null);
  const measured = AXIS_ORDER.filter((axis) => !unmeasured.includes(axis));
  const all = oscillationsByUrgency(diagnosis);
  const [worst, ...others] = all;
  const withWobbles = new Set(all.map((wobble) => loopFindingOf(diagnosis, wobble)));
  const alone = diagnosis.findings.filter(
    (finding) => !isTold(diagnosis, finding) && !withWobbles.has(finding),
  );

  const blocks: Block[] = [];
  for (const advice of diagnosis.advice.filter(({ kind }) => kind === 'do-not-fly')) {
    blocks.push(sentence(asSentence(advice.text), 'danger'));
  }
  for (const finding of alone.filter(({ severity }) => severity === 'danger')) {
    blocks.push(sentence(standingText(finding), 'danger'));
  }
  if (worst !== undefined) {
    blocks.push(
      sentence(
        isDangerous(diagnosis, worst) ? `Danger: ${headlineOf(worst)}` : headlineOf(worst),
        isDangerous(diagnosis, worst) ? 'danger' : emphasisOf(worst.oscillation),
      ),
      sentence(causeOf(diagnosis, worst)),
    );
  }
  for (const finding of alone.filter(({ severity }) => severity !== 'danger')) {
    if (LOOP_FINDINGS.has(finding.id))
      blocks.push(
        sentence(
          standingText(finding),
          finding.id === 'well-damped' ? 'good' : SEVERITY_EMPHASIS[finding.severity],
        ),
      );
  }
  // Silence comes first only where nothing is wrong: it is then the answer, and what to do next follows from it.
  const faults = alone.filter(({ id, severity }) => severity === 'fault' && !LOOP_FINDINGS.has(id));
  const lead = blocks.length === 0 ? faults[0] : undefined;
  if (lead !== undefined) blocks.push(sentence(standingText(lead), 'fault'));
  const isQuiet = blocks.length === 0;
  if (isQuiet) blocks.push(...quietAnswer(diagnosis, measured));
  blocks.push(...actionsOf(diagnosis));
  if (worst === undefined && !isQuiet) blocks.push(...quietAnswer(diagnosis, measured));
  for (const other of others) {
    blocks.push(sentence(otherText(diagnosis, other), emphasisOf(other.oscillation)));
  }
  const silent = measured.filter((axis) => diagnosis.axes[axis].oscillations.length === 0);
  if (worst !== undefined && silent.length > 0) {
    blocks.push(sentence(`Nothing stands out on ${joinWords(silent)}.`));
  }
  for (const finding of faults)
    if (finding !== lead) blocks.push(sentence(`Also: ${finding.summary.replace(/\.$/, '')}.`, 'fault'));
  if (unmeasured.length > 0) {
    const verb = unmeasured.length === 1 ? 'is' : 'are';
    blocks.push(
      sentence(
        `${capitalise(joinWords(unmeasured))} ${verb} not in this log: nothing can be said about ${unmeasured.length === 1 ? 'it' : 'them'}.`,
      ),
    );
  }
  return { title: 'Verdict', role: 'verdict', blocks };
}
