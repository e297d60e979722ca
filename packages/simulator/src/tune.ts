import { AXES, type AxisName } from '@settle/parser';
import { angle, complex, magnitude, type Complex } from './complex.js';
import type { FlightConfig, RateGains } from './config.js';
import { axisLoop, closedLoopPolesZ, makeResponses, toContinuous } from './linear-loop.js';
import { frequencyGrid } from './margins.js';
import { dominantPole, type AxisTruth } from './truth.js';

export interface TuneTarget {
  readonly gainMarginDb: number;
  readonly phaseMarginDeg: number;
}

/** Grid of the tuning search, points per decade: good to a few tenths of a dB, and quick. */
const PER_DECADE = 60;

/**
 * The largest factor on a loop's gain that keeps both margins, on a ladder of quarter decibels downwards; the loop is
 * taken to be stable for small gain, so the result is to be checked against the true poles.
 */
export function largestGain(values: readonly Complex[], target: TuneTarget): number | null {
  const sizeDb = Float64Array.from(values, (value) => 20 * Math.log10(magnitude(value)));
  const distance = Float64Array.from(values, fromMinus180);
  // The gain margin bounds the gain from above once and for all: the loop's size at its phase crossings.
  let highestDb = 120;
  for (let i = 0; i + 1 < values.length; i++) {
    const a = values[i]!;
    const b = values[i + 1]!;
    if (Math.sign(a.im) !== Math.sign(b.im) && a.re < 0 && b.re < 0) {
      highestDb = Math.min(highestDb, -target.gainMarginDb - Math.max(sizeDb[i]!, sizeDb[i + 1]!));
    }
  }
  for (let db = Math.floor(highestDb * 4) / 4; db > -120; db -= 0.25) {
    let good = true;
    for (let i = 0; good && i + 1 < values.length; i++) {
      if (sizeDb[i]! + db >= 0 !== sizeDb[i + 1]! + db >= 0) {
        good = Math.min(distance[i]!, distance[i + 1]!) >= target.phaseMarginDeg;
      }
    }
    if (good) return 10 ** (db / 20);
  }
  return null;
}

function fromMinus180(value: Complex): number {
  let phase = (angle(value) * 180) / Math.PI + 180;
  if (phase > 180) phase -= 360;
  return Math.abs(phase);
}

/**
 * Gains for one axis: derivative and integral time in proportion to the thrust lag (common practice, no source), then
 * as much rate-loop gain as the target allows, then as much attitude gain.
 */
export function tuneAxis(
  config: FlightConfig,
  axis: AxisName,
  target: TuneTarget,
  shape: { derivativeOverLag: number; integralOverLag: number },
): { rate: RateGains; attitude: number } | null {
  const base = axisLoop(config, axis);
  const dead = config.rotors.delayS + 0.5 / config.loopRateHz + 0.01;
  const form: RateGains = {
    kp: 1 / base.effectiveness,
    ki: 1 / base.effectiveness / (shape.integralOverLag * (base.lagS + dead)),
    kd: (shape.derivativeOverLag * base.lagS) / base.effectiveness,
    kff: 0,
  };
  const resonances = base.flexibleMode === null ? [] : [2 * Math.PI * base.flexibleMode.frequencyHz];
  const grid = frequencyGrid(2 * Math.PI * 0.05, (0.999 * Math.PI) / base.stepS, PER_DECADE, resonances);
  const at = (omega: number): Complex => complex(Math.cos(omega * base.stepS), Math.sin(omega * base.stepS));
  const unitRate = makeResponses({ ...base, rate: form });
  const k = largestGain(
    grid.map((omega) => unitRate(at(omega)).rate),
    target,
  );
  if (k === null) return null;
  const rate: RateGains = { kp: k * form.kp, ki: k * form.ki, kd: k * form.kd, kff: 0 };
  const unitAttitude = makeResponses({ ...base, rate, attitude: 1 });
  const attitude = largestGain(
    grid.map((omega) => unitAttitude(at(omega)).attitude),
    target,
  );
  return attitude === null ? null : { rate, attitude };
}

/** Yaw has little authority; a stiffer attitude loop than this, 1/s, would live on its stops. */
export const STIFFEST_YAW_PER_S = 3;

/** Tunes all axes of a copy; null where an axis cannot meet the target. */
export function tuneFlight(
  config: FlightConfig,
  target: TuneTarget,
  shape: { derivativeOverLag: number; integralOverLag: number },
): FlightConfig | null {
  const tuned = structuredClone(config);
  for (const axis of AXES) {
    const found = tuneAxis(config, axis, target, shape);
    if (found === null) return null;
    tuned.controller.rate[axis] = found.rate;
    tuned.controller.attitude[axis] =
      axis === 'yaw' ? Math.min(found.attitude, STIFFEST_YAW_PER_S) : found.attitude;
  }
  return tuned;
}

/** The terms whose gain a fault multiplies. */
export type GuiltyTerm = 'rate' | 'P' | 'I' | 'D' | 'attitude' | 'position';

/** A copy with the gain of one loop or term of one axis multiplied. */
export function scaleGain(
  config: FlightConfig,
  axis: AxisName,
  term: GuiltyTerm,
  factor: number,
): FlightConfig {
  const copy = structuredClone(config);
  const rate = copy.controller.rate[axis];
  if (term === 'rate' || term === 'P') rate.kp *= factor;
  if (term === 'rate' || term === 'I') rate.ki *= factor;
  if (term === 'rate' || term === 'D') rate.kd *= factor;
  if (term === 'attitude') copy.controller.attitude[axis] *= factor;
  if (term === 'position' && copy.positionLoop !== null) copy.positionLoop.velocity *= factor;
  return copy;
}

/** The least damped oscillatory pole of an axis, all loops closed. */
export function dominantOf(config: FlightConfig, axis: AxisName): AxisTruth['dominant'] {
  const loop = axisLoop(config, axis);
  const poles = closedLoopPolesZ(loop, { rateFactor: 1, attitudeFactor: 1, position: true });
  return dominantPole(toContinuous(poles, loop.stepS), loop.stepS);
}

/**
 * Raises one gain until the dominant pole has the quality asked for.
 *
 * @param quality grows as the loop becomes less stable; the result is where it first reaches zero
 * @returns null if that takes more than a factor of 60
 */
export function raiseUntil(
  config: FlightConfig,
  axis: AxisName,
  term: GuiltyTerm,
  quality: (dominant: NonNullable<AxisTruth['dominant']>) => number,
): { config: FlightConfig; factor: number } | null {
  const at = (factor: number): number => {
    const dominant = dominantOf(scaleGain(config, axis, term, factor), axis);
    return dominant === null ? -1 : quality(dominant);
  };
  let low = 1;
  if (at(low) >= 0) return null;
  let high = 1;
  do {
    low = high;
    high *= 1.25;
    if (high > 60) return null;
  } while (at(high) < 0);
  for (let i = 0; i < 14; i++) {
    const middle = Math.sqrt(low * high);
    if (at(middle) < 0) low = middle;
    else high = middle;
  }
  return { config: scaleGain(config, axis, term, high), factor: high };
}
