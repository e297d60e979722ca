/** What the closed loops of an axis are like, for one plant and one controller: margins, damping, response, rejection of gusts. */
import {
  absolute,
  add,
  complex,
  divide,
  exponential,
  multiply,
  scale,
  type Complex,
} from '../control/complex.js';
import { controllerAt, type AxisController } from '../identification/controller.js';
import { bandwidthHz, judged, marginsOf, type AxisLoops } from '../identification/loop-model.js';
import { stepOf } from '../identification/describe-axis.js';
import { plantAt, type PlantParameters } from '../identification/plant-model.js';

export interface LoopMetrics {
  readonly rateStable: boolean | null;
  readonly attitudeStable: boolean | null;
  readonly rateGainMarginDb: number | null;
  readonly ratePhaseMarginDeg: number | null;
  readonly rateSensitivityPeak: number | null;
  readonly attitudeGainMarginDb: number | null;
  readonly attitudePhaseMarginDeg: number | null;
  readonly attitudeSensitivityPeak: number | null;
  /** Lowest damping ratio of an oscillatory pole with all loops closed, and its frequency. */
  readonly dampingRatio: number | null;
  readonly oscillationHz: number | null;
  readonly bandwidthHz: number | null;
  /** Of the rate's step. */
  readonly overshootPct: number | null;
  /** RMS of the angle (yaw: of the rate) per RMS of angular acceleration, for gusts of one standard spectrum; s² or s. */
  readonly gustResponse: number | null;
}

export interface KnownLoop {
  readonly controller: AxisController;
  readonly gyroDelayS: number;
}

/** A gain limit further away than this is given as this, dB: of where it is the grid and a rigid plant know nothing. */
export const FAR_DB = 30;

/** @param starts poles to start from, where those of a similar plant are known; else all are looked for */
export function loopMetrics(
  { controller, gyroDelayS }: KnownLoop,
  plant: PlantParameters,
  starts: readonly Complex[] | null = null,
): LoopMetrics & { readonly poles: readonly Complex[] } {
  const loops: AxisLoops = { plant, controller, gyroDelayS, addedFilters: null };
  const { rate, attitude } = marginsOf(loops);
  const poles = findPoles(judged(loops), starts);
  const dominant = leastDamped(poles);
  const stable = rate?.stable === true && attitude?.stable !== false;
  return {
    rateStable: rate?.stable ?? null,
    attitudeStable: attitude?.stable ?? null,
    rateGainMarginDb: near(rate?.gainMarginDb),
    ratePhaseMarginDeg: rate?.phaseMarginDeg ?? null,
    rateSensitivityPeak: rate?.sensitivityPeak ?? null,
    attitudeGainMarginDb: near(attitude?.gainMarginDb),
    attitudePhaseMarginDeg: attitude?.phaseMarginDeg ?? null,
    attitudeSensitivityPeak: attitude?.sensitivityPeak ?? null,
    dampingRatio: dominant?.dampingRatio ?? null,
    oscillationHz: dominant?.frequencyHz ?? null,
    bandwidthHz: rate?.stable === true ? bandwidthHz(judged(loops)) : null,
    overshootPct: rate?.stable === true ? overshoot(loops) : null,
    gustResponse: stable && controller.attitude !== null ? gustResponse(judged(loops)) : null,
    poles,
  };
}

const near = (db: number | null | undefined): number | null => (db == null ? null : Math.min(FAR_DB, db));

/** Largest excess of the step over where it comes to, per cent; null where it comes to nothing. */
function overshoot(loops: AxisLoops): number | null {
  const value = stepOf(loops);
  const final = value.slice(-25).reduce((sum, v) => sum + v / 25, 0);
  const peak = value.reduce((most, v) => Math.max(most, v), 0);
  return final > 0.2 && Number.isFinite(peak) ? Math.max(0, 100 * (peak / final - 1)) : null;
}

/** 1 + both loops, broken at the demand. */
function characteristic({ plant, controller, gyroDelayS }: AxisLoops, s: Complex): Complex {
  const g = plantAt(plant, s);
  const c = controllerAt(controller, s);
  const inner = multiply(c, g);
  const outer = divide(
    scale(
      multiply(multiply(add(c, complex(controller.kff)), g), exponential(scale(s, gyroDelayS))),
      controller.attitude ?? 0,
    ),
    s,
  );
  return add(complex(1), add(inner, outer));
}

const HIGHEST_HZ = 25;
const START_HZ = [0.3, 0.6, 1, 1.6, 2.5, 4, 6, 9, 14, 20];
const START_DAMPING = [0, 0.2, 0.45, 0.75];
const NEWTON_STEPS = 25;

/** Oscillatory poles below 25 Hz, by Newton's method from a net of starts. */
function findPoles(loops: AxisLoops, given: readonly Complex[] | null): Complex[] {
  const starts =
    given ??
    START_HZ.flatMap((hz) =>
      START_DAMPING.map((z) => complex(-z * 2 * Math.PI * hz, Math.sqrt(1 - z * z) * 2 * Math.PI * hz)),
    );
  const found: Complex[] = [];
  for (const start of starts) {
    const pole = newton(loops, start);
    if (pole === null || pole.im < 1 || pole.im > 2 * Math.PI * HIGHEST_HZ) continue;
    if (found.every((other) => Math.hypot(other.re - pole.re, other.im - pole.im) > 1e-4 * pole.im))
      found.push(pole);
  }
  return found;
}

function newton(loops: AxisLoops, start: Complex): Complex | null {
  let s = start;
  for (let step = 0; step < NEWTON_STEPS; step++) {
    const f = characteristic(loops, s);
    const h = 1e-5 * Math.hypot(s.re, s.im);
    const ahead = characteristic(loops, complex(s.re + h, s.im));
    const slope = complex((ahead.re - f.re) / h, (ahead.im - f.im) / h);
    const move = divide(f, slope);
    const size = Math.hypot(move.re, move.im);
    if (!Number.isFinite(size)) return null;
    // Long steps lose the pole that is meant.
    const limit = Math.min(1, (0.3 * Math.hypot(s.re, s.im)) / size);
    s = complex(s.re - limit * move.re, s.im - limit * move.im);
    if (size < 1e-7 * Math.hypot(s.re, s.im)) return s;
  }
  return null;
}

export function leastDamped(
  poles: readonly Complex[],
): { readonly frequencyHz: number; readonly dampingRatio: number } | null {
  let best: { frequencyHz: number; dampingRatio: number } | null = null;
  for (const p of poles) {
    const dampingRatio = -p.re / Math.hypot(p.re, p.im);
    if (best === null || dampingRatio < best.dampingRatio)
      best = { frequencyHz: p.im / (2 * Math.PI), dampingRatio };
  }
  return best;
}

/** Below this the motors' stops leave hardly any of the demand. */
const LEAST_SHARE = 0.15;

/**
 * Where the loops swing when the motors' stops hold them on the verge: the frequency at which the demand, taken down by one share,
 * leaves them just undamped (describing function of a saturation: it is real, so the phase decides). Hz; null where they are stable.
 */
export function vergeHz({ controller, gyroDelayS }: KnownLoop, plant: PlantParameters): number | null {
  const at = (share: number): ReturnType<typeof leastDamped> => {
    const held = {
      ...controller,
      kp: share * controller.kp,
      ki: share * controller.ki,
      kd: share * controller.kd,
    };
    return leastDamped(findPoles(judged({ plant, controller: held, gyroDelayS, addedFilters: null }), null));
  };
  let [low, high] = [LEAST_SHARE, 1];
  let found = at(high);
  if (found === null || found.dampingRatio > 0 || (at(low)?.dampingRatio ?? 1) < 0) return null;
  for (let i = 0; i < 7; i++) {
    const middle = Math.sqrt(low * high);
    const there = at(middle);
    if (there !== null && there.dampingRatio < 0) {
      high = middle;
      found = there;
    } else low = middle;
  }
  return found.frequencyHz;
}

/** Corner of the standard gusts, Hz: angular acceleration of one standard deviation through a first-order lag (judgement). */
export const STANDARD_GUST_HZ = 0.8;
const GUST_GRID = Float64Array.from({ length: 60 }, (_, i) => 2 * Math.PI * 0.05 * 160 ** (i / 59));

function gustResponse(loops: AxisLoops): number {
  const corner = 2 * Math.PI * STANDARD_GUST_HZ;
  let answer = 0;
  let gust = 0;
  let before = 0;
  for (const omega of GUST_GRID) {
    const s = complex(0, omega);
    const body = absolute(divide(complex(1), multiply(s, add(s, complex(loops.plant.dampingPerS)))));
    const density = 1 / (1 + (omega / corner) ** 2);
    const step = omega - before;
    answer += step * density * (body / absolute(characteristic(loops, s))) ** 2;
    gust += step * density;
    before = omega;
  }
  return Math.sqrt(answer / gust);
}

/** |angle| per angular acceleration from outside at ω, s². */
export function angleResponseAt(loop: KnownLoop, plant: PlantParameters, omega: number): number {
  const loops = judged({
    plant,
    controller: loop.controller,
    gyroDelayS: loop.gyroDelayS,
    addedFilters: null,
  });
  const s = complex(0, omega);
  const body = absolute(divide(complex(1), multiply(s, add(s, complex(loops.plant.dampingPerS)))));
  return body / absolute(characteristic(loops, s));
}
