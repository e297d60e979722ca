/** Each step of the sequence in one sentence: what was changed, how windy it was, whether it helped. */
import { AXES, type AxisName } from '@settle/parser';
import { differenceP } from '../statistics/index.js';
import { configurationChanges, tuneChanges } from './builds.js';
import type { ComparisonRow, StepSummary } from './comparison.js';
import type { HoverSummary } from './hover-summary.js';

/** Rows that say whether a tune or an aircraft got better. */
const TELLING: ReadonlySet<ComparisonRow['group']> = new Set<ComparisonRow['group']>([
  'loops',
  'vibration',
  'aircraft',
]);

/** @param broken hovers in which a structural line fell or appeared since the hover before */
export function summariseSteps(
  hovers: readonly HoverSummary[],
  builds: readonly number[],
  rows: readonly ComparisonRow[],
  broken: ReadonlySet<number>,
): StepSummary[] {
  return hovers.slice(1).map((later, i) => {
    const earlier = hovers[i]!;
    const built = configurationChanges(earlier.configuration, later.configuration);
    const configurationChanged = builds[i] !== builds[i + 1];
    const tuned = tuneChanges(earlier, later);
    const wind = windChange(earlier, later);
    const judged = rows.filter((row) => TELLING.has(row.group));
    const named = (verdict: string): string[] =>
      judged
        .filter((row) => row.verdict[i + 1] === verdict)
        .map((row) => (row.axis === null ? row.metric : `${row.axis} ${row.metric}`));
    const better = named('better');
    const worse = named('worse');
    const base = {
      from: earlier.name,
      to: later.name,
      changes: [...built, ...tuned],
      gainsUnknown: AXES.filter(
        (axis) => earlier.axes[axis].controller === null || later.axes[axis].controller === null,
      ),
      configurationChanged,
      wind,
      told: later.notes,
    };
    if (configurationChanged)
      return {
        ...base,
        verdict: 'not comparable',
        summary: `the aircraft was built differently (${built.join('; ')}), so nothing is called better or worse by its gains`,
      };
    // What gives outweighs every number that got better.
    if (broken.has(i + 1))
      return {
        ...base,
        verdict: 'worse',
        summary: `the structure changed: inspect it first${better.length === 0 ? '' : `; better by the numbers: ${list(better)}`}${worse.length === 0 ? '' : `; worse: ${list(worse)}`}`,
      };
    const verdict = overall(better.length, worse.length, named('same').length, named('unclear').length);
    // Lines of vibration and trims say nothing of the loops.
    const loopsJudged = judged.some((row) => row.group === 'loops' && row.verdict[i + 1] !== null);
    if (verdict === 'same' && !loopsJudged)
      return {
        ...base,
        verdict: 'unclear',
        summary:
          'vibration and trims are as they were; whether the loops got better cannot be told from these hovers',
      };
    return { ...base, verdict, summary: sentence(verdict, better, worse) };
  });
}

function overall(better: number, worse: number, same: number, unclear: number): StepSummary['verdict'] {
  if (better > 0 && worse > 0) return 'mixed';
  if (better > 0) return 'better';
  if (worse > 0) return 'worse';
  return same > 0 && same >= unclear ? 'same' : 'unclear';
}

function sentence(
  verdict: StepSummary['verdict'],
  better: readonly string[],
  worse: readonly string[],
): string {
  switch (verdict) {
    case 'better':
      return `it got better: ${list(better)}`;
    case 'worse':
      return `it got worse: ${list(worse)}`;
    case 'mixed':
      return `better: ${list(better)}; worse: ${list(worse)}`;
    case 'same':
      return 'nothing that matters changed';
    default:
      return 'whether it helped cannot be told from these hovers';
  }
}

const MOST_NAMED = 6;
const list = (names: readonly string[]): string =>
  names.length <= MOST_NAMED
    ? names.join(', ')
    : `${names.slice(0, MOST_NAMED).join(', ')} and ${String(names.length - MOST_NAMED)} more`;

/** Ratios of disturbance that count as another day. */
const OTHER_DAY = 1.25;
const OTHER_DAY_P = 0.05;

const swingsByItself = (hover: HoverSummary, axis: AxisName): boolean =>
  hover.diagnosis.axes[axis].oscillations.some(
    ({ regime }) => regime === 'limit-cycle' || regime === 'growing',
  );

/** How the wind changed: the mean over the axes of the logarithm of the disturbance met; null where it is not known or did not. */
function windChange(a: HoverSummary, b: HoverSummary): string | null {
  const steps = AXES.flatMap((axis) => {
    // What a swing that keeps itself going leaves unexplained is not the wind's.
    if (swingsByItself(a, axis) || swingsByItself(b, axis)) return [];
    const [da, db] = [a.axes[axis].disturbance, b.axes[axis].disturbance];
    if (da?.std == null || db?.std == null || !(da.value > 0) || !(db.value > 0)) return [];
    return [
      { ln: Math.log(db.value / da.value), variance: (da.std / da.value) ** 2 + (db.std / db.value) ** 2 },
    ];
  });
  if (steps.length === 0) return null;
  const ln = steps.reduce((sum, s) => sum + s.ln, 0) / steps.length;
  const std = Math.sqrt(steps.reduce((sum, s) => sum + s.variance, 0)) / steps.length;
  const ratio = Math.exp(ln);
  if (Math.max(ratio, 1 / ratio) < OTHER_DAY || differenceP(ln, std) > OTHER_DAY_P) return 'about as windy';
  return ratio > 1
    ? `windier: disturbances ${ratio.toFixed(1)} times as strong, so more motion does not mean a worse tune`
    : `calmer: disturbances ${ratio.toFixed(1)} times as strong, so less motion does not mean a better tune`;
}
