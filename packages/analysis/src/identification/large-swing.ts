/**
 * How strongly a demand turns an axis, from a swing that ran away: less than the five cycles an oscillation needs, but so far
 * above the gusts that what the demand did explains nearly all of the motion.
 */
import { absolute, complex } from '../control/complex.js';
import { solveLeastSquares } from '../spectrum/least-squares.js';
import type { AxisRecord } from './evidence.js';
import { plantAt, type PlantParameters } from './plant-model.js';
import { PRIOR, type Known } from './prior.js';
import type { GainEstimate } from './gain-estimate.js';

/** Motion this fast is far above gusts, rad/s. */
const LARGE_RATE = (50 * Math.PI) / 180;
/** The swing is read from so long before its largest rate, s; the demand may leave this share of it unexplained (RMS). */
const READ_S = 3;
const UNEXPLAINED = 0.2;
/**
 * The ground turns an aircraft within this time, s, this many times faster than it swung before; what it swung before is then read
 * over less time, in which less of what else moves it adds up (judgement).
 */
const TOUCH_S = 0.15;
const TOUCH = 1.5;
const READ_BEFORE_TOUCH_S = 1.5;
/** What is slower than this share of the swing's frequency is drift. */
const DRIFTS = 0.4;
/** Lags and delays tried, in standard deviations from the likeliest. */
const LAGS = [-1, 0, 1, 1.5];
const DELAYS = [0, 1];
/** What few numbers miss of a real plant and of large angles, ln. */
const MODEL_STD = 0.12;
const FEWEST_SAMPLES = 40;
/** Lags and delays that leave so many times as much unexplained as the best may still be the right ones. */
const NEARLY_AS_GOOD = 1.5;
/** Less of a swing may be a push. */
const FEWEST_CYCLES = 1.2;
/** After so many lags a thrust has forgotten where it began. */
const SETTLED_LAGS = 5;

/**
 * @param record up to where the aircraft tipped over or was landed
 * @returns null where the motion is not large, or the demand does not explain it
 */
export function gainFromLargeSwing(record: AxisRecord): GainEstimate | null {
  const last = largest(record.rate);
  const samples = (seconds: number): number => Math.round(seconds / record.stepS);
  // Runaways begin from rest, with a thrust that has settled.
  const first = Math.max(0, last - samples(READ_S));
  const whole = gainBetween(
    {
      ...record,
      rate: record.rate.subarray(first, last + 1),
      demand: record.demand.subarray(first, last + 1),
    },
    0,
    last + 1 - first,
  );
  if (whole !== null) return whole;
  // A touch of the ground ends the record and is no work of the demand: then the swing before it is read.
  const end = Math.max(0, last - samples(TOUCH_S));
  if (last < record.rate.length - 1 - samples(TOUCH_S)) return null;
  const before = Math.abs(record.rate[largest(record.rate.subarray(0, end))] ?? 0);
  if (before < 2 * LARGE_RATE || Math.abs(record.rate[last]!) < TOUCH * before) return null;
  return gainBetween(record, Math.max(0, end - samples(READ_BEFORE_TOUCH_S)), end);
}

function largest(rate: Float64Array): number {
  let last = 0;
  rate.forEach((v, i) => {
    if (Math.abs(v) > Math.abs(rate[last]!)) last = i;
  });
  return last;
}

function gainBetween(record: AxisRecord, from: number, until: number): GainEstimate | null {
  if (until - from < FEWEST_SAMPLES) return null;
  const rate = record.rate.subarray(from, until);
  if (Math.abs(rate[largest(rate)]!) < LARGE_RATE) return null;
  const omega = meanFrequency(rate, record.stepS);
  const cycles = (omega * rate.length * record.stepS) / (2 * Math.PI);
  if (cycles < FEWEST_CYCLES) return null;
  const at = ([mean, std]: Known, z: number): number => Math.exp(mean + z * std);
  const fits = LAGS.flatMap((lag) =>
    DELAYS.flatMap((delay) => {
      const rotors = { lagS: at(PRIOR.lnLag, lag), delayS: at(PRIOR.lnDelay, delay) };
      const fit = explain(rate, answerTo(record, from, until, rotors), DRIFTS * cycles);
      return fit === null ? [] : [{ ...fit, ...rotors }];
    }),
  );
  const good = fits.filter((fit) => fit.gain > 0);
  if (good.length === 0) return null;
  const best = good.reduce((a, b) => (b.unexplained < a.unexplained ? b : a));
  if (best.unexplained > UNEXPLAINED) return null;
  const size = (fit: Rotors & { gain: number }): number =>
    Math.log(absolute(plantAt(likely(fit.gain, fit), complex(0, omega))));
  const sizes = good.filter((fit) => fit.unexplained < NEARLY_AS_GOOD * best.unexplained).map(size);
  const lnGain = size(best);
  const spread = Math.sqrt(sizes.reduce((sum, v) => sum + (v - lnGain) ** 2, 0) / sizes.length);
  // What the gusts did themselves may be in the demand as well: the share not explained is how far that can mislead.
  return { omega, lnGain, lnGainStd: Math.hypot(best.unexplained, spread, MODEL_STD), from: 'large-swing' };
}

interface Rotors {
  readonly lagS: number;
  readonly delayS: number;
}

function likely(effectiveness: number, { lagS, delayS }: Rotors): PlantParameters {
  return {
    effectiveness,
    lagS,
    delayS,
    filterShare: PRIOR.filterShare[0],
    dampingPerS: PRIOR.damping[0],
    instabilityPerS2: 0,
  };
}

/** Rate of a plant of unit effectiveness under the demand from `from` on; its thrust has what the demand before made of it. */
function answerTo(record: AxisRecord, from: number, until: number, { lagS, delayS }: Rotors): Float64Array {
  const { stepS, demand } = record;
  const delay = Math.round(delayS / stepS);
  const keep = Math.exp(-stepS / lagS);
  const at = (i: number): number => demand[Math.max(0, i - delay)]!;
  const first = Math.max(0, from - Math.round((SETTLED_LAGS * lagS) / stepS));
  let thrust = at(first);
  for (let i = first; i < from; i++) thrust = at(i) + (thrust - at(i)) * keep;
  // The steady demand holds the trim: only what is beyond it turns the body.
  const start = thrust;
  let rate = 0;
  return Float64Array.from({ length: until - from }, (_, i) => {
    const now = at(from + i);
    thrust = now + (thrust - now) * keep;
    rate += stepS * (thrust - start - PRIOR.damping[0] * rate);
    return rate;
  });
}

/**
 * Least squares of the rate on the answer and on what drifts: a steady demand that does not quite hold the trim, and whatever else
 * turns the body more slowly than it swings.
 *
 * @param slowest what is at most this fast drifts, cycles over the record
 */
function explain(
  rate: Float64Array,
  answer: Float64Array,
  slowest: number,
): { gain: number; unexplained: number } | null {
  const n = rate.length;
  const drift = [
    new Float64Array(n).fill(1),
    ...Array.from({ length: 1 + Math.floor(2 * slowest) }, (_, k) =>
      rate.map((_, i) => (k === 0 ? i / n : Math.cos((Math.PI * k * (i + 0.5)) / n))),
    ),
  ];
  const y = Float64Array.from(rate);
  const solved = solveLeastSquares([answer, ...drift], y);
  const without = solveLeastSquares(drift, y);
  if (solved === null || without === null) return null;
  return {
    gain: solved.coefficients[0]!,
    unexplained: Math.sqrt(solved.residualSumOfSquares / Math.max(1e-30, without.residualSumOfSquares)),
  };
}

/** Of the motion, by its derivative, rad/s; at least the slowest that fits. */
function meanFrequency(rate: Float64Array, stepS: number): number {
  let change = 0;
  let size = 0;
  const mean = rate.reduce((sum, v) => sum + v / rate.length, 0);
  for (let i = 1; i < rate.length; i++) {
    change += ((rate[i]! - rate[i - 1]!) / stepS) ** 2;
    size += (rate[i]! - mean) ** 2;
  }
  return Math.max(Math.PI / (rate.length * stepS), Math.sqrt(change / Math.max(1e-30, size)));
}
