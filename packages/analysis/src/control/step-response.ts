/** What a step response is judged by, from its samples. */
import { interpolateCubic, interpolateLinear } from './interpolate.js';
import { findRoot } from './search.js';

export interface StepRecord {
  /** s, rising; the step happens at the first. Length at least 2. */
  readonly timeS: ArrayLike<number>;
  /** Any unit. */
  readonly value: ArrayLike<number>;
  /** Value before the step; default 0. */
  readonly initialValue?: number;
  /** Value it settles to: known, not read off the record. */
  readonly finalValue: number;
  /** Half width of the settling band as a share of the change; default 0.02. */
  readonly settlingBand?: number;
}

/** Percentages are of the change from initial to final value; times count from the step. */
export interface StepMetrics {
  /** From the first passing of 10 % to the first passing of 90 %; null: 90 % is never reached. */
  readonly riseTimeS: number | null;
  /** From the step until it stays within the band; null: it is outside where the record ends. */
  readonly settlingTimeS: number | null;
  /** Highest value above the final one; 0: never above. */
  readonly overshootPct: number;
  /** How far it first or later goes the wrong way; 0: never. */
  readonly undershootPct: number;
  /** Highest value in the direction of the change, in the unit of the record. */
  readonly peak: number;
  readonly peakTimeS: number;
  /** Lowest value after 90 % was first passed, in the unit of the record; null: it never was. */
  readonly lowestAfterRise: number | null;
}

/**
 * Rise, settling, overshoot, undershoot and peak of a sampled step response. Passings are interpolated between samples by
 * a cubic and extremes by a parabola through three of them.
 *
 * @throws RangeError on lengths that differ or are below 2, times that do not rise, values that are not finite, a final value
 *   equal to the initial one, or a band outside 0 … 1
 */
export function stepMetrics(record: StepRecord): StepMetrics {
  const { time, y, initial, change, band } = normalise(record);
  const count = y.length;
  const tenth = firstPassing(time, y, 0.1);
  const nineTenths = firstPassing(time, y, 0.9);
  const top = extreme(time, y, 0, 1);
  const bottom = extreme(time, y, 0, -1);
  const risen = y.findIndex((value) => value >= 0.9);
  return {
    riseTimeS: tenth === null || nineTenths === null ? null : nineTenths - tenth,
    settlingTimeS: settlingTime(time, y, band),
    overshootPct: Math.max(0, 100 * (top.value - 1)),
    undershootPct: Math.max(0, -100 * bottom.value),
    peak: initial + change * top.value,
    peakTimeS: top.time,
    lowestAfterRise:
      risen < 0 || risen === count - 1 ? null : initial + change * extreme(time, y, risen, -1).value,
  };
}

/** The response from 0 to 1, time from 0. */
function normalise(record: StepRecord): {
  time: Float64Array;
  y: Float64Array;
  initial: number;
  change: number;
  band: number;
} {
  const { timeS, value, initialValue: initial = 0, finalValue, settlingBand: band = 0.02 } = record;
  if (timeS.length !== value.length)
    throw new RangeError(`${timeS.length} times with ${value.length} values`);
  if (timeS.length < 2) throw new RangeError('a step response needs at least two samples');
  if (!(band > 0 && band < 1)) throw new RangeError(`a settling band of ${band} is not between 0 and 1`);
  const change = finalValue - initial;
  if (!Number.isFinite(change) || change === 0) {
    throw new RangeError(`a step from ${initial} to ${finalValue} has no size`);
  }
  const time = Float64Array.from(timeS, (t) => t - timeS[0]!);
  const y = Float64Array.from(value, (v) => (v - initial) / change);
  for (let i = 0; i < y.length; i++) {
    if (!Number.isFinite(y[i]!)) throw new RangeError(`sample ${i} is not finite`);
    if (i > 0 && !(time[i]! > time[i - 1]!)) throw new RangeError(`time does not rise at sample ${i}`);
  }
  return { time, y, initial, change, band };
}

function firstPassing(time: Float64Array, y: Float64Array, level: number): number | null {
  const i = y.findIndex((value) => value >= level);
  if (i < 0) return null;
  return i === 0 ? time[0]! : passing(time, y, i, level);
}

/** Where the curve through the samples passes the level between samples i − 1 and i. */
function passing(time: Float64Array, y: Float64Array, i: number, level: number): number {
  const [a, b] = [time[i - 1]!, time[i]!];
  const at = (t: number): number =>
    (y.length > 2 ? interpolateCubic(time, y, t, i - 1) : interpolateLinear(time, y, t, i - 1)) - level;
  return findRoot(at, a, b, y[i - 1]! - level, y[i]! - level, 1e-9 * (b - a));
}

function settlingTime(time: Float64Array, y: Float64Array, band: number): number | null {
  let last = y.length - 1;
  while (last >= 0 && Math.abs(y[last]! - 1) <= band) last--;
  if (last === y.length - 1) return null;
  if (last < 0) return time[0]!;
  return passing(time, y, last + 1, y[last]! > 1 ? 1 + band : 1 - band);
}

/** Greatest (direction 1) or least (−1) value from a sample on. */
function extreme(
  time: Float64Array,
  y: Float64Array,
  from: number,
  direction: 1 | -1,
): { time: number; value: number } {
  let best = from;
  for (let i = from + 1; i < y.length; i++) if (direction * (y[i]! - y[best]!) > 0) best = i;
  const sample = { time: time[best]!, value: y[best]! };
  if (best === from || best === y.length - 1) return sample;
  const before = (y[best]! - y[best - 1]!) / (time[best]! - time[best - 1]!);
  const after = (y[best + 1]! - y[best]!) / (time[best + 1]! - time[best]!);
  const bend = (after - before) / (time[best + 1]! - time[best - 1]!);
  if (bend === 0) return sample;
  // Newton's form of the parabola: y = y₋ + before·(t − t₋) + bend·(t − t₋)(t − t₀).
  const at = (time[best - 1]! + time[best]!) / 2 - before / (2 * bend);
  const value =
    y[best - 1]! + before * (at - time[best - 1]!) + bend * (at - time[best - 1]!) * (at - time[best]!);
  return { time: at, value };
}
