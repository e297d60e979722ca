/** Where motor commands meet their stops. */
import type { Interval, Signal } from '@settle/parser';
import { indexAtOrAfter } from './signals.js';

/** A command within this of its stop stands on it. */
export const AT_STOP = 0.004;
/** An extreme this near the end of the range is a stop by itself; elsewhere it must hold for several samples. */
const NEAR_END = 0.02;
const HELD_SAMPLES = 4;
const FEWEST_CUT = 3;
/** Steps between the lowest numbers tell how finely a command is logged. */
const LOWEST_STEPS = 20;
/** Two samples this close hold one number. */
const SAME_NUMBER = 5e-5;
/** Motors switched off or not yet under control may lie beyond a stop, for this share of the samples at most. */
const MOST_BEYOND = 0.05;
/** A stop holds this share of the samples at least, and this many times more than any one number just inside it. */
const LEAST_AT_STOP = 0.02;
const PILED_UP = 3;
const JUST_INSIDE = 0.05;

export interface Stops {
  readonly low: number | null;
  readonly high: number | null;
}

/** Where a command meets its stops over an interval, in its own unit (0 to 1); null where it never does. */
export function stopsOf(signal: Signal, interval: Interval): Stops {
  const values = valuesDuring(signal, interval);
  const mirrored = lowStop(
    values.map((v) => -v),
    -1,
  );
  return { low: lowStop(values, 0), high: mirrored === null ? null : -mirrored };
}

/** @param end of the range */
function lowStop(values: Float64Array, end: number): number | null {
  const sorted = Float64Array.from(values).sort();
  const low = sorted[0];
  if (low === undefined || !(sorted.at(-1)! > low)) return null;
  const pile = piledUp(sorted);
  if (pile !== null) return pile;
  const runs = runsOf(sorted);
  return low <= end + NEAR_END || isCut(runs) || (!isCoarse(runs) && isHeld(values, low)) ? low : null;
}

/** The number that commands come back to again and again with hardly any below it. */
function piledUp(sorted: Float64Array): number | null {
  const runs = runsOf(sorted);
  const candidates = runs.filter(({ below }) => below > 0 && below <= MOST_BEYOND * sorted.length);
  const first = candidates.reduce<Run | null>(
    (most, run) => (most === null || run.count > most.count ? run : most),
    null,
  );
  if (first === null || first.count < Math.max(HELD_SAMPLES, LEAST_AT_STOP * sorted.length)) return null;
  return first.count >= PILED_UP * mostInside(runs, first.value) ? first.value : null;
}

/** Where numbers lie so far apart that every sample near an extreme is one of few. */
function isCoarse(runs: readonly Run[]): boolean {
  const steps = runs.slice(1).map(({ value }, i) => value - runs[i]!.value);
  return steps.length > 0 && Math.min(...steps.slice(0, LOWEST_STEPS)) > AT_STOP / 4;
}

interface Run {
  readonly value: number;
  readonly count: number;
  /** Samples below it. */
  readonly below: number;
}

/** How often each number occurs, from the lowest up. */
function runsOf(sorted: Float64Array): Run[] {
  const runs: Run[] = [];
  for (let i = 0; i < sorted.length;) {
    let j = i + 1;
    while (j < sorted.length && sorted[j]! - sorted[i]! < SAME_NUMBER) j++;
    runs.push({ value: sorted[i]!, count: j - i, below: i });
    i = j;
  }
  return runs;
}

/** Of the numbers just above one, how often the most frequent occurs. */
function mostInside(runs: readonly Run[], of: number): number {
  return runs
    .filter(({ value }) => value > of && value < of + JUST_INSIDE)
    .reduce((count, run) => Math.max(count, run.count), 0);
}

/** Held again and again, and there more often than just inside: the crest of a swing holds 2.4 times what lies as far below it at most. */
function isHeld(values: Float64Array, level: number): boolean {
  let run = 0;
  let runs = 0;
  const bins = new Float64Array(Math.round(JUST_INSIDE / AT_STOP) + 1);
  for (const v of values) {
    const off = Math.abs(v - level) / AT_STOP;
    if (off < bins.length) bins[Math.floor(off)]!++;
    run = off <= 1 ? run + 1 : 0;
    if (run === HELD_SAMPLES) runs++;
  }
  return runs >= 2 && bins[0]! >= PILED_UP * Math.max(...bins.subarray(1));
}

/** Cut for a sample at a time, a command comes back to the very same number, and not to those just inside: a log of few digits does. */
function isCut(runs: readonly Run[]): boolean {
  const [first] = runs;
  if (first === undefined || first.count < FEWEST_CUT) return false;
  return first.count >= PILED_UP * mostInside(runs, first.value);
}

/** Finite samples of an interval. */
export function valuesDuring(signal: Signal, interval: Interval): Float64Array {
  const first = indexAtOrAfter(signal.clock.timeS, interval.startS);
  const end = indexAtOrAfter(signal.clock.timeS, interval.endS + 1e-9);
  return signal.values.slice(first, end).filter(Number.isFinite);
}
