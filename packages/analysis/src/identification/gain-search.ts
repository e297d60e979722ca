/** Gains that meet margins, and what other gains would give: the trade behind the advice. */
import { absolute, argument, type Complex } from '../control/complex.js';
import type { AxisController } from './controller.js';
import type { AxisIdentification } from './identify.js';
import {
  attitudeLoopOnGrid,
  judged,
  marginsOf,
  rateLoopOnGrid,
  type AxisLoops,
  type BothMargins,
} from './loop-model.js';
import type { PlantParameters } from './plant-model.js';

/** Aim and requirement of both loops: 6 dB and 45° (headline of MIL-F-9490D as quoted in secondary sources), and some in hand. */
export const AIM = { gainMarginDb: 8, phaseMarginDeg: 50 } as const;
export const REQUIRED = { gainMarginDb: 6, phaseMarginDeg: 45 } as const;
/** What must be left with nearly every plausible plant where a gain goes up: short of it nobody should fly (judgement). */
export const SAFE = { gainMarginDb: 3, phaseMarginDeg: 20 } as const;

/** Factors on the gains of one axis. */
export interface GainFactors {
  readonly P: number;
  readonly I: number;
  readonly D: number;
  readonly attitude: number;
}

export function applyFactors(c: AxisController, f: GainFactors): AxisController {
  return {
    ...c,
    kp: c.kp * f.P,
    ki: c.ki * f.I,
    kd: c.kd * f.D,
    attitude: c.attitude === null ? null : c.attitude * f.attitude,
  };
}

export function predict(id: AxisIdentification, plant: PlantParameters, f: GainFactors): BothMargins | null {
  if (id.controller === null) return null;
  return marginsOf(nextLoops(id, plant, f));
}

/** The loops of the next hover: gains with these factors, and the filters that are to be added. */
function nextLoops(id: AxisIdentification, plant: PlantParameters, f: GainFactors): AxisLoops {
  return {
    plant,
    controller: applyFactors(id.controller!, f),
    gyroDelayS: id.gyroDelayS,
    addedFilters: id.addedFilters,
  };
}

export interface MarginTarget {
  readonly gainMarginDb: number;
  readonly phaseMarginDeg: number;
}

/** Steps of the ladder on which a gain is looked for, dB. */
const LADDER_DB = 0.125;
const HIGHEST_DB = 40;
const LOWEST_DB = -60;
/** A loop this far below what its gain margin bounds is none: what it keeps there by way of phase, no advice is made of (judgement). */
const RANGE_DB = 26;

/**
 * Largest factor on a loop's gain that keeps both margins. The phase of a loop does not depend on its gain, so its curve is
 * needed once: the gain margin bounds the factor from above, and of what is left the largest whose gain crossings all keep
 * their phase is taken.
 *
 * @param loop L(jω) over {@link LOOP_GRID}; stable for small gain
 * @returns null when no factor from −60 to 40 dB will do, nor one within 26 dB of what the gain margin bounds
 */
export function largestFactor(loop: readonly Complex[], target: MarginTarget): number | null {
  const n = loop.length;
  const sizeDb = new Float64Array(n);
  const distance = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    const value = loop[i]!;
    sizeDb[i] = 20 * Math.log10(Math.max(1e-12, absolute(value)));
    let phase = (argument(value) * 180) / Math.PI + 180;
    if (phase > 180) phase -= 360;
    distance[i] = phase;
  }
  let highest = HIGHEST_DB;
  for (let i = 0; i + 1 < n; i++) {
    const a = loop[i]!;
    const b = loop[i + 1]!;
    if (Math.sign(a.im) !== Math.sign(b.im) && a.re < 0 && b.re < 0) {
      const x = a.im / (a.im - b.im);
      highest = Math.min(highest, -target.gainMarginDb - (sizeDb[i]! + x * (sizeDb[i + 1]! - sizeDb[i]!)));
    }
  }
  const lowest = highest < HIGHEST_DB ? Math.max(LOWEST_DB, highest - RANGE_DB) : LOWEST_DB;
  for (let db = highest; db > lowest; db -= LADDER_DB) {
    let good = true;
    for (let i = 0; good && i + 1 < n; i++) {
      const a = sizeDb[i]! + db;
      const b = sizeDb[i + 1]! + db;
      if (a >= 0 !== b >= 0) {
        const x = a / (a - b);
        good = Math.abs(distance[i]! + x * (distance[i + 1]! - distance[i]!)) >= target.phaseMarginDeg;
      }
    }
    if (good) return 10 ** (db / 20);
  }
  return null;
}

/** The rate loop with these factors, over the grid. */
export const rateLoopWith = (id: AxisIdentification, plant: PlantParameters, f: GainFactors): Complex[] =>
  rateLoopOnGrid(loopsWith(id, plant, f));

/** The attitude loop with its gain as it is around a rate loop with these factors, over the grid. */
export const attitudeLoopWith = (id: AxisIdentification, plant: PlantParameters, f: GainFactors): Complex[] =>
  attitudeLoopOnGrid(loopsWith(id, plant, { ...f, attitude: 1 }));

/** Largest factor on the attitude gain around a rate loop with these factors. */
export function largestAttitudeFactor(
  id: AxisIdentification,
  plant: PlantParameters,
  f: GainFactors,
  target: MarginTarget,
): number | null {
  return largestFactor(attitudeLoopWith(id, plant, f), target);
}

function loopsWith(id: AxisIdentification, plant: PlantParameters, f: GainFactors): AxisLoops {
  return judged(nextLoops(id, plant, f));
}

export interface Tuning {
  readonly factors: GainFactors;
  readonly margins: BothMargins;
}

/** Derivative times tried, as shares of the lag (common practice, no source). */
const DERIVATIVE_TIMES = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8];
/** Integral time over lag and delay: slow enough to cost a few degrees at the crossover. */
const INTEGRAL_TIMES = 5;
/** With little or no derivative term that may leave no gain with the wanted phase margin: then slower ones are tried too. */
const SLOWER_INTEGRALS = [6.5, 8, 10, 15];
/** Less crossover than this in exchange for less derivative, which stirs up noise. */
const WORTH = 1.06;
/** And less in exchange for a quicker integral term, which holds against steady pushes. */
const WORTH_INTEGRAL = 1.3;

/**
 * The fastest rate loop of a plant that meets the target, then the fastest attitude loop around it. A term that is zero
 * stays zero: no factor brings it in.
 *
 * @param largestTermFactor beyond which I and D are not raised, whatever the balance calls for
 */
export function tune(
  id: AxisIdentification,
  plant: PlantParameters,
  target: MarginTarget = AIM,
  largestTermFactor = Infinity,
): Tuning | null {
  const c = id.controller;
  if (c === null || !(c.kp > 0)) return null;
  const hasD = c.kd > 0;
  const worth = hasD ? WORTH : WORTH_INTEGRAL;
  const fastest = (integralTimes: readonly number[]): GainFactors | null =>
    integralTimes
      .flatMap((times) => (hasD ? DERIVATIVE_TIMES : [0]).map((share) => ({ share, times })))
      .map((shape) => largestOfShape(id, plant, c, shape, target, largestTermFactor))
      .reduce((best, one) => (one !== null && (best === null || one.P > worth * best.P) ? one : best), null);
  const factors = hasD
    ? (fastest([INTEGRAL_TIMES]) ?? fastest(SLOWER_INTEGRALS))
    : fastest([INTEGRAL_TIMES, ...SLOWER_INTEGRALS]);
  return factors === null ? null : withAttitude(id, plant, factors, target);
}

/** The largest gains with these derivative and integral times, as far as I and D may rise: a few rounds settle what P that leaves. */
function largestOfShape(
  id: AxisIdentification,
  plant: PlantParameters,
  c: AxisController,
  { share, times }: { readonly share: number; readonly times: number },
  target: MarginTarget,
  largestTermFactor: number,
): GainFactors | null {
  const wantedD = c.kd > 0 ? (share * plant.lagS * c.kp) / c.kd : 1;
  const wantedI = c.ki > 0 ? c.kp / (times * (plant.lagS + plant.delayS)) / c.ki : 1;
  let shape: GainFactors = { P: 1, I: wantedI, D: wantedD, attitude: 1 };
  let k: number | null = null;
  for (let round = 0; round < 4; round++) {
    k = largestFactor(rateLoopWith(id, plant, shape), target);
    if (k === null) return null;
    const I = Math.min(wantedI, largestTermFactor / k);
    const D = Math.min(wantedD, largestTermFactor / k);
    if (Math.abs(I - shape.I) < 0.01 * I && Math.abs(D - shape.D) < 0.01 * D) break;
    shape = { ...shape, I, D };
  }
  return k === null ? null : { P: k, I: k * shape.I, D: k * shape.D, attitude: 1 };
}

export function withAttitude(
  id: AxisIdentification,
  plant: PlantParameters,
  f: GainFactors,
  target: MarginTarget = AIM,
): Tuning | null {
  let factors = f;
  if (id.controller!.attitude !== null) {
    const k = largestAttitudeFactor(id, plant, f, target);
    if (k === null) return null;
    factors = { ...f, attitude: k };
  }
  const margins = predict(id, plant, factors);
  return margins === null ? null : { factors, margins };
}
