/** Both loops of an axis, from a plant and a controller, and their margins. */
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
import { findLoopMargins, marginsOnGrid, type LoopMargins } from '../control/margins.js';
import { controllerAt, type AxisController } from './controller.js';
import { plantAt, type PlantParameters } from './plant-model.js';

export interface AxisLoops {
  readonly plant: PlantParameters;
  readonly controller: AxisController;
  /** Lag of the gyro's filter, which the attitude does not suffer, s. */
  readonly gyroDelayS: number;
  /** Response at ω of filters that come on top of those the plant has in it; null: none. */
  readonly addedFilters: ((omega: number) => Complex) | null;
}

/** Rate loop broken at the demand, attitude loop open. */
export function rateLoopAt(loops: AxisLoops, s: Complex): Complex {
  const loop = multiply(controllerAt(loops.controller, s), plantAt(loops.plant, s));
  return loops.addedFilters === null ? loop : multiply(loop, loops.addedFilters(s.im));
}

/** Rate reference to the rate before any added filter, with the attitude loop open. */
export const closedRateAt = (loops: AxisLoops, s: Complex): Complex => closedAt(loops, s).closedRate;

/** Attitude loop broken at the rate reference, rate loop closed; 0 without an attitude gain. */
export const attitudeLoopAt = (loops: AxisLoops, s: Complex): Complex =>
  aroundClosedRate(loops, closedAt(loops, s).closedRate, s);

/** The rate loop and what it makes of its reference, plant and controller worked out once for both. */
function closedAt(loops: AxisLoops, s: Complex): { readonly rate: Complex; readonly closedRate: Complex } {
  const g = plantAt(loops.plant, s);
  const c = controllerAt(loops.controller, s);
  const plain = multiply(c, g);
  const rate = loops.addedFilters === null ? plain : multiply(plain, loops.addedFilters(s.im));
  const forward = multiply(add(c, complex(loops.controller.kff)), g);
  return { rate, closedRate: divide(forward, add(complex(1), rate)) };
}

function aroundClosedRate(loops: AxisLoops, closedRate: Complex, s: Complex): Complex {
  const ka = loops.controller.attitude ?? 0;
  const earlier = exponential(scale(s, loops.gyroDelayS));
  return scale(divide(multiply(closedRate, earlier), s), ka);
}

/** rad/s. Below, gusts and trim rule; above, what the plant's few numbers do not know. */
const LOWEST = 2 * Math.PI * 0.02;
const HIGHEST = 2 * Math.PI * 40;
const POINTS = 110;

export const LOOP_GRID: Float64Array = Float64Array.from(
  { length: POINTS },
  (_, i) => LOWEST * (HIGHEST / LOWEST) ** (i / (POINTS - 1)),
);

/** 1/s; less than this is not told from none by a hover, and makes no difference near a crossover. */
const LEAST_DAMPING = 0.25;

export interface BothMargins {
  readonly rate: LoopMargins | null;
  readonly attitude: LoopMargins | null;
}

/**
 * The loops as their margins are judged: the moment of the body's own attitude is left out. It matters far below the
 * crossover, and there the log says least.
 */
export function judged(loops: AxisLoops): AxisLoops {
  const plant = {
    ...loops.plant,
    instabilityPerS2: 0,
    dampingPerS: Math.max(LEAST_DAMPING, loops.plant.dampingPerS),
  };
  return { ...loops, plant };
}

export const rateLoopOnGrid = (loops: AxisLoops): Complex[] =>
  Array.from(LOOP_GRID, (omega) => rateLoopAt(loops, complex(0, omega)));

export const attitudeLoopOnGrid = (loops: AxisLoops): Complex[] =>
  Array.from(LOOP_GRID, (omega) => attitudeLoopAt(loops, complex(0, omega)));

/**
 * Margins of both loops. The attitude loop of an unstable rate loop has as many unstable poles as that one: two, a pair.
 */
export function marginsOf(given: AxisLoops): BothMargins {
  const loops = judged(given);
  const hasAttitude = loops.controller.attitude !== null;
  const rateTable = { re: new Float64Array(POINTS), im: new Float64Array(POINTS) };
  const attitudeTable = { re: new Float64Array(POINTS), im: new Float64Array(POINTS) };
  LOOP_GRID.forEach((omega, i) => {
    const s = complex(0, omega);
    const { rate, closedRate } = closedAt(loops, s);
    rateTable.re[i] = rate.re;
    rateTable.im[i] = rate.im;
    if (!hasAttitude) return;
    const attitude = aroundClosedRate(loops, closedRate, s);
    attitudeTable.re[i] = attitude.re;
    attitudeTable.im[i] = attitude.im;
  });
  const rate = judge(rateTable, (s) => rateLoopAt(loops, s), loops.controller.ki === 0 ? 0 : 1, 0);
  if (rate === null || !hasAttitude) return { rate, attitude: null };
  const attitude = judge(attitudeTable, (s) => attitudeLoopAt(loops, s), 1, rate.stable ? 0 : 2);
  return { rate, attitude };
}

/** @param table of the response on the grid */
function judge(
  table: { readonly re: Float64Array; readonly im: Float64Array },
  response: (s: Complex) => Complex,
  polesAtOrigin: number,
  unstablePoles: number,
): LoopMargins | null {
  const margins = marginsOnGrid({ omega: LOOP_GRID, ...table, polesAtOrigin, unstablePoles });
  if (!('unavailable' in margins)) return margins;
  // A corner below the grid: the slower way goes down to it by itself.
  const slower = findLoopMargins({
    response: (omega) => response(complex(0, omega)),
    lowestRadS: LOWEST,
    highestRadS: HIGHEST,
    polesAtOrigin,
    unstablePoles,
  });
  return 'unavailable' in slower ? null : slower;
}

/** |T| first 3 dB below its level at 0.5 Hz, Hz; null beyond the grid. */
export function bandwidthHz(loops: AxisLoops): number | null {
  const level = absolute(closedRateAt(loops, complex(0, Math.PI)));
  for (const omega of LOOP_GRID)
    if (omega > Math.PI && absolute(closedRateAt(loops, complex(0, omega))) < level / Math.SQRT2)
      return omega / (2 * Math.PI);
  return null;
}
