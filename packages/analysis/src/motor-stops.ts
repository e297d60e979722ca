/** Where motor commands meet their stops. */
import type { Interval, Signal } from '@settle/parser';
import { indexAtOrAfter } from './signals.js';

/** A command within this of its stop stands on it. */
export const AT_STOP = 0.004;
/** An extreme this near the end of the range is a stop by itself; elsewhere it must hold for several samples. */
const NEAR_END = 0.02;
const HELD_SAMPLES = 4;
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
  return low <= end + NEAR_END || isHeld(values, low) || countOf(values, low) >= 3 ? low : null;
}

/** The number that commands come back to again and again with hardly any below it. */
function piledUp(sorted: Float64Array): number | null {
  const runs: { readonly value: number; readonly count: number; readonly below: number }[] = [];
  for (let i = 0; i < sorted.length;) {
    let j = i + 1;
    while (j < sorted.length && sorted[j]! - sorted[i]! < SAME_NUMBER) j++;
    runs.push({ value: sorted[i]!, count: j - i, below: i });
    i = j;
  }
  const candidates = runs.filter(({ below }) => below > 0 && below <= MOST_BEYOND * sorted.length);
  const first = candidates.reduce<(typeof runs)[number] | null>(
    (most, run) => (most === null || run.count > most.count ? run : most),
    null,
  );
  if (first === null || first.count < Math.max(HELD_SAMPLES, LEAST_AT_STOP * sorted.length)) return null;
  const inside = runs.filter(({ value }) => value > first.value && value < first.value + JUST_INSIDE);
  const most = inside.reduce((count, run) => Math.max(count, run.count), 0);
  return first.count >= PILED_UP * most ? first.value : null;
}

function isHeld(values: Float64Array, level: number): boolean {
  let run = 0;
  let runs = 0;
  for (const v of values) {
    run = Math.abs(v - level) <= AT_STOP ? run + 1 : 0;
    if (run === HELD_SAMPLES) runs++;
  }
  return runs >= 2;
}

/** Cut for a sample at a time, a command comes back to the very same number. */
function countOf(values: Float64Array, level: number): number {
  let count = 0;
  for (const v of values) if (Math.abs(v - level) < SAME_NUMBER) count++;
  return count;
}

/** Finite samples of an interval. */
export function valuesDuring(signal: Signal, interval: Interval): Float64Array {
  const first = indexAtOrAfter(signal.clock.timeS, interval.startS);
  const end = indexAtOrAfter(signal.clock.timeS, interval.endS + 1e-9);
  return signal.values.slice(first, end).filter(Number.isFinite);
}
