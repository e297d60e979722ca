/** Advice said what the next hover should show: did it? */
import { AXES, type AxisName } from '@settle/parser';
import type { Advice } from '../diagnosis.js';
import { isUnavailable } from '../unavailable.js';
import { gainSteps } from './builds.js';
import type { Prediction } from './comparison.js';
import type { FoundChange } from './effectiveness.js';
import type { HoverSummary } from './hover-summary.js';

/** A factor followed to within this share is followed. */
const FOLLOWED = 0.1;
/** Margins further from what was expected than this many standard deviations, and than this, were not as expected. */
const SIGMAS = 2;
const LEAST_DB = 1.5;
const LEAST_DEG = 8;
/** What an expectation is uncertain by where the hover it came from says nothing, dB and degrees (judgement). */
const UNKNOWN_STD = { gainDb: 1.5, phaseDeg: 6 };

export function checkPredictions(
  hovers: readonly HoverSummary[],
  builds: readonly number[],
  changes: readonly FoundChange[],
): Prediction[] {
  return hovers.slice(1).flatMap((later, i) => {
    const earlier = hovers[i]!;
    return AXES.flatMap((axis): Prediction[] => {
      const advice = earlier.diagnosis.advice.filter(
        (a) => a.step === 1 && a.kind === 'gain' && a.axis === axis,
      );
      const expected = advice.flatMap((a) => a.expect ?? []).find((e) => e.axis === axis);
      if (expected === undefined) return [];
      const others = builds[i] !== builds[i + 1];
      return [
        check(
          earlier,
          later,
          axis,
          advice,
          expected,
          others,
          changes.filter((c) => c.hover === i + 1 && c.axes.includes(axis)),
        ),
      ];
    });
  });
}

function check(
  earlier: HoverSummary,
  later: HoverSummary,
  axis: AxisName,
  advice: readonly Advice[],
  expected: Prediction['expected'],
  otherBuild: boolean,
  changes: readonly FoundChange[],
): Prediction {
  const margins = later.diagnosis.axes[axis].margins.rate;
  const shown = isUnavailable(margins)
    ? { gainMarginDb: null, phaseMarginDeg: null }
    : { gainMarginDb: margins.gainMarginDb, phaseMarginDeg: margins.phaseMarginDeg };
  const base = {
    from: earlier.name,
    to: later.name,
    axis,
    expected: { gainMarginDb: expected.gainMarginDb, phaseMarginDeg: expected.phaseMarginDeg },
    shown,
  };
  const say = (outcome: Prediction['outcome'], summary: string): Prediction => ({
    ...base,
    outcome,
    summary,
  });
  if (otherBuild)
    return say(
      'not followed',
      `${axis}: the aircraft was built differently, so the expectation does not apply`,
    );
  if (!isFollowed(earlier, later, axis, advice))
    return say(
      'not followed',
      `${axis}: the gains flown are not those advised, so the expectation does not apply`,
    );
  if (isUnavailable(margins))
    return say('not shown', `${axis}: ${later.name} does not show the margins (${margins.unavailable})`);
  const before = earlier.diagnosis.axes[axis].margins.rate;
  const own = isUnavailable(before) ? null : before;
  const gainRoom = room([margins.gainMarginStdDb, own?.gainMarginStdDb ?? UNKNOWN_STD.gainDb], LEAST_DB);
  const phaseRoom = room(
    [margins.phaseMarginStdDeg, own?.phaseMarginStdDeg ?? UNKNOWN_STD.phaseDeg],
    LEAST_DEG,
  );
  const gainOff = isOff(shown.gainMarginDb, expected.gainMarginDb, gainRoom);
  const phaseOff = isOff(shown.phaseMarginDeg, expected.phaseMarginDeg, phaseRoom);
  const words = `expected ${expected.gainMarginDb.toFixed(1)} dB and ${expected.phaseMarginDeg.toFixed(0)}°, shown ${shown.gainMarginDb?.toFixed(1) ?? 'no limit'} dB and ${shown.phaseMarginDeg?.toFixed(0) ?? 'no crossing'}°`;
  if (!gainOff && !phaseOff)
    return say(
      'as expected',
      `${axis}: ${words}, within the ± ${gainRoom.toFixed(1)} dB and ± ${phaseRoom.toFixed(0)}° that the two hovers leave open`,
    );
  return say(
    'not as expected',
    `${axis}: ${words}; the model was wrong: ${whyWrong(earlier, later, axis, changes)}`,
  );
}

function isFollowed(a: HoverSummary, b: HoverSummary, axis: AxisName, advice: readonly Advice[]): boolean {
  const flown = gainSteps(a, b).filter((step) => step.axis === axis && step.term !== 'FF');
  const key = (loop: string, term: string): string => `${loop} ${term}`;
  const advised = new Map(advice.map((x) => [key(x.loop ?? '', x.term ?? ''), x.factor ?? 1]));
  const done = new Map(flown.map((x) => [key(x.loop, x.term), x.factor]));
  return [...new Set([...advised.keys(), ...done.keys()])].every(
    (k) => Math.abs(Math.log((done.get(k) ?? 1) / (advised.get(k) ?? 1))) < FOLLOWED,
  );
}

/** How far apart what was expected and what is shown may be. */
const room = (stds: readonly (number | null)[], least: number): number =>
  Math.max(least, SIGMAS * Math.hypot(...stds.map((s) => s ?? 0)));

const isOff = (shown: number | null, expected: number, within: number): boolean =>
  shown !== null && Math.abs(shown - expected) > within;

/** Share of the hover on the stops from which on the loop that flew is not the one identified. */
const STOPS = 0.05;

function whyWrong(
  earlier: HoverSummary,
  later: HoverSummary,
  axis: AxisName,
  changes: readonly FoundChange[],
): string {
  const change = changes[0];
  if (change !== undefined)
    return `the effectiveness changed by ${(100 * (Math.exp(change.lnRatio) - 1)).toFixed(0)} % in between`;
  if (!earlier.axes[axis].shownByStick)
    return 'it was read from a swing alone, which shows the plant at one frequency only; the plant pooled over both hovers is better';
  if (Math.max(earlier.saturation?.value ?? 0, later.saturation?.value ?? 0) > STOPS)
    return 'motors stood on their stops, where gains do not act in full';
  const filters =
    later.diagnosis.advice.some((a) => a.kind === 'filter') ||
    earlier.diagnosis.advice.some((a) => a.kind === 'filter');
  return filters
    ? 'filters were advised with the gains, and whether they were set as advised is not seen'
    : 'no reason is seen; a filter or delay that was not told would do this. The plant pooled over both hovers is better than either';
}
