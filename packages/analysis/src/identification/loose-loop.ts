/**
 * How strongly a demand turns an axis that only gusts move, where its loop is loose.
 *
 * The ratio of rate to demand says nothing in gusts alone, but the shape of the motion does: gusts have a smooth spectrum, and a
 * loose loop lifts out of it the frequency at which it nearly swings. So every likely plant is tried with every likely
 * spectrum of the gusts, and weighed by how well both together explain the rate (Whittle's approximation to the likelihood
 * of a record, its level concentrated out: L. Ljung, *System Identification*, 2nd ed., ch. 7; P. Whittle 1953, from
 * memory). What the sticks and the limits did is taken out of the rate first, as that plant would have answered it.
 *
 * Near a tight loop this is not to be trusted: there the noise of the gyro, vibration folded down by the log and what a few
 * numbers miss of the plant shape the motion as much as the gusts. An answer is given only where all plants that explain
 * the motion leave a loop far from its limit.
 */
import { absolute, add, complex, multiply, type Complex } from '../control/complex.js';
import type { AxisController } from './controller.js';
import { drivenAxis, type DrivenAxis, type OutsideDrive } from './driven-axis.js';
import type { AxisRecord } from './evidence.js';
import type { GainEstimate } from './gain-estimate.js';
import { largestFactor } from './gain-search.js';
import { judged, rateLoopOnGrid } from './loop-model.js';
import { plantAt, type PlantParameters } from './plant-model.js';
import { PRIOR } from './prior.js';

/** Where gusts move a hovering body, Hz. */
const LOWEST_HZ = 0.25;
const HIGHEST_HZ = 7;
const FEWEST_BINS = 12;
/** More of a record tells little more, s. */
const LONGEST_S = 60;
/** Effectiveness tried, rad/s², each this much above the one before; lags and attitude moments in standard deviations from the likeliest. */
const SMALLEST_EFFECTIVENESS = 1.5;
const LARGEST_EFFECTIVENESS = 700;
const STEP = 1.05;
const LAGS = [-1.5, -0.75, 0, 0.75, 1.5];
const INSTABILITIES = [-1, 0, 1];
/** Spectra of the gusts tried: a corner, how steeply it falls above, and where the gyro's noise takes over, Hz. */
const CORNERS_HZ = [0.15, 0.25, 0.4, 0.65, 1, 1.6, 2.6, 4.2, 7];
const ORDERS = [1, 2];
const NOISE_HZ = [2.5, 5, 10, 40];
/** Bins within this ratio share one value of a gust spectrum, which is smooth. */
const SAME_LEVEL_RATIO = 1.05;
/** Plants less likely than the best by this factor do not count. */
const NEGLIGIBLE = 1e-3;
/** More than this likelihood at an end of what is tried: no limit is seen. */
const AT_END = 0.01;
/** Gain margin with which a loop is far from its limit, dB, and how likely that must be. */
const LOOSE_DB = 10;
const SURELY = 0.95;
/** Frequencies at which the answer may be given, Hz: below, the body's own moments rule. */
const ANSWER_HZ = [0.7, 1, 1.4, 2, 2.8, 4, 5.6];
/** Gusts come and go, and their spectrum is not quite one of those tried: measured on simulated hovers. */
const SPREAD = 2;
const MODEL_STD = 0.06;
/** Wider answers are no help. */
const WIDEST = 0.6;

/**
 * @param drive what is known to move the axis beside the gusts
 * @returns null where the loop is not surely loose, or the motion leaves open how strong the demand is
 */
export function gainFromGusts(
  given: AxisRecord,
  drive: OutsideDrive,
  controller: AxisController,
): GainEstimate | null {
  if (controller.attitude === null) return null;
  const x = drivenAxis(given, drive, controller, {
    lowestHz: LOWEST_HZ,
    highestHz: HIGHEST_HZ,
    seconds: LONGEST_S,
  });
  if (x.omegas.length < FEWEST_BINS) return null;
  const groups = groupsOf(x.omegas);
  const gusts = gustSpectra(x.omegas, groups);
  const found: {
    readonly plant: PlantParameters;
    readonly likelihood: number;
    readonly farBelow: number;
    readonly atEnd: boolean;
  }[] = [];
  for (const z of LAGS)
    for (const moment of INSTABILITIES) {
      const unit: PlantParameters = {
        effectiveness: 1,
        lagS: Math.exp(PRIOR.lnLag[0] + z * PRIOR.lnLag[1]),
        delayS: Math.exp(PRIOR.lnDelay[0]),
        filterShare: PRIOR.filterShare[0],
        dampingPerS: PRIOR.damping[0],
        instabilityPerS2: PRIOR.instability[0] + moment * PRIOR.instability[1],
      };
      const trial = trialOf(x, unit);
      const farBelow = farthest(unit, controller);
      const prior = -0.5 * (z * z + moment * moment);
      for (let k = SMALLEST_EFFECTIVENESS; k < LARGEST_EFFECTIVENESS; k *= STEP)
        found.push({
          plant: { ...unit, effectiveness: k },
          likelihood: prior + likelihood(x, trial, k, groups, gusts),
          farBelow,
          atEnd: k === SMALLEST_EFFECTIVENESS || k * STEP >= LARGEST_EFFECTIVENESS,
        });
    }
  const best = found.reduce((most, f) => Math.max(most, f.likelihood), -Infinity);
  let total = 0;
  let loose = 0;
  let atEnd = 0;
  const counted: { readonly plant: PlantParameters; readonly weight: number }[] = [];
  for (const f of found) {
    const weight = Math.exp(f.likelihood - best);
    if (weight < NEGLIGIBLE) continue;
    total += weight;
    if (f.plant.effectiveness < f.farBelow) loose += weight;
    if (f.atEnd) atEnd += weight;
    counted.push({ plant: f.plant, weight });
  }
  if (loose < SURELY * total || atEnd > AT_END * total) return null;
  const answers = ANSWER_HZ.map((hz) => sizeAt(2 * Math.PI * hz, counted, total));
  const surest = answers.reduce((a, b) => (b.lnGainStd < a.lnGainStd ? b : a));
  const lnGainStd = Math.hypot(SPREAD * surest.lnGainStd, MODEL_STD);
  return lnGainStd > WIDEST ? null : { ...surest, lnGainStd, from: 'gusts' };
}

/** Effectiveness with which the rate loop of a plant like this is as near to its limit as is allowed, rad/s². */
function farthest(unit: PlantParameters, controller: AxisController): number {
  // The search for a factor ends at 40 dB: from here that is beyond any aircraft.
  const effectiveness = 10;
  const plant = { ...unit, effectiveness };
  const loop = rateLoopOnGrid(judged({ plant, controller, gyroDelayS: 0, addedFilters: null }));
  return effectiveness * (largestFactor(loop, { gainMarginDb: LOOSE_DB, phaseMarginDeg: 0 }) ?? 0);
}

/** Mean and spread of ln |G(jω)| over the plants. */
function sizeAt(
  omega: number,
  plants: readonly { readonly plant: PlantParameters; readonly weight: number }[],
  total: number,
): { omega: number; lnGain: number; lnGainStd: number } {
  let mean = 0;
  let square = 0;
  for (const { plant, weight } of plants) {
    const value = Math.log(absolute(plantAt({ ...plant, instabilityPerS2: 0 }, complex(0, omega))));
    mean += (weight * value) / total;
    square += (weight * value * value) / total;
  }
  return { omega, lnGain: mean, lnGainStd: Math.sqrt(Math.max(0, square - mean * mean)) };
}

/** A plant of unit effectiveness over the bins. */
interface TrialPlant {
  /** Rate per angular acceleration from outside, squared. */
  readonly body: Float64Array;
  /** Rate that stick and limits make with the loops open, per effectiveness. */
  readonly answer: readonly Complex[];
  /** Both loops, broken at the demand, per effectiveness. */
  readonly loop: readonly Complex[];
}

function trialOf(x: DrivenAxis, unit: PlantParameters): TrialPlant {
  const body = new Float64Array(x.omegas.length);
  const answer: Complex[] = [];
  const loop: Complex[] = [];
  x.omegas.forEach((omega, i) => {
    const g = plantAt(unit, complex(0, omega));
    body[i] = 1 / (unit.dampingPerS ** 2 + (omega + unit.instabilityPerS2 / omega) ** 2);
    answer.push(multiply(g, add(x.asked[i]!, x.lost[i]!)));
    loop.push(multiply(g, x.feedback[i]!));
  });
  return { body, answer, loop };
}

/** The first bin of each group, and one beyond the last. */
function groupsOf(omegas: readonly number[]): number[] {
  const starts: number[] = [];
  omegas.forEach((omega, i) => {
    if (i === 0 || omega > SAME_LEVEL_RATIO * omegas[starts.at(-1)!]!) starts.push(i);
  });
  return [...starts, omegas.length];
}

interface GustSpectrum {
  /** Power in each group of bins, on any scale, inverted. */
  readonly inverse: Float64Array;
  /** Of all bins. */
  readonly logSum: number;
}

function gustSpectra(omegas: readonly number[], groups: readonly number[]): GustSpectrum[] {
  const middles = groups.slice(1).map((end, g) => Math.sqrt(omegas[groups[g]!]! * omegas[end - 1]!));
  return CORNERS_HZ.flatMap((corner) =>
    ORDERS.flatMap((order) =>
      NOISE_HZ.map((noise) => {
        const gust = (hz: number): number => (1 + (hz / corner) ** 2) ** -order;
        // White noise of the rate is angular acceleration that grows with frequency.
        const level = gust(noise) / noise ** 2;
        const power = middles.map((omega) => {
          const hz = omega / (2 * Math.PI);
          return gust(hz) + level * hz * hz;
        });
        return {
          inverse: Float64Array.from(power, (p) => 1 / p),
          logSum: power.reduce((sum, p, g) => sum + (groups[g + 1]! - groups[g]!) * Math.log(p), 0),
        };
      }),
    ),
  );
}

/** Log likelihood of the rate with this effectiveness, over all spectra of the gusts, whatever their level. */
function likelihood(
  x: DrivenAxis,
  trial: TrialPlant,
  k: number,
  groups: readonly number[],
  gusts: readonly GustSpectrum[],
): number {
  const n = x.omegas.length;
  const pushed = new Float64Array(groups.length - 1);
  let logs = 0;
  let g = 0;
  for (let i = 0; i < n; i++) {
    if (i === groups[g + 1]) g++;
    const l = trial.loop[i]!;
    const re = 1 + k * l.re;
    const im = k * l.im;
    const turn = re * re + im * im;
    // What the gusts alone would have done with the loops open: (1 + L) y − K a.
    const y = x.rate[i]!;
    const a = trial.answer[i]!;
    const openRe = re * y.re - im * y.im - k * a.re;
    const openIm = re * y.im + im * y.re - k * a.im;
    pushed[g] = pushed[g]! + (openRe * openRe + openIm * openIm) / trial.body[i]!;
    logs += Math.log(trial.body[i]! / turn);
  }
  let most = -Infinity;
  const each = gusts.map(({ inverse, logSum }) => {
    let sum = 0;
    for (let i = 0; i < pushed.length; i++) sum += pushed[i]! * inverse[i]!;
    const value = -(n * Math.log(Math.max(1e-300, sum / n)) + logSum + logs);
    most = Math.max(most, value);
    return value;
  });
  return most + Math.log(each.reduce((sum, value) => sum + Math.exp(value - most), 0));
}
