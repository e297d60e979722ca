/** One axis made for tests: a linear loop stepped in time with code of its own, and identifications written by hand. */
import type { AxisController } from '../../packages/analysis/src/identification/controller.js';
import type { AxisRecord, Equation } from '../../packages/analysis/src/identification/evidence.js';
import type { AxisIdentification } from '../../packages/analysis/src/identification/identify.js';
import { marginsOf } from '../../packages/analysis/src/identification/loop-model.js';
import type { PlantParameters } from '../../packages/analysis/src/identification/plant-model.js';
import { randomSource } from './random.js';

export const PLANT: PlantParameters = {
  effectiveness: 100,
  lagS: 0.05,
  delayS: 0.0125,
  filterShare: 0.4,
  dampingPerS: 0.5,
  instabilityPerS2: 0,
};

/** Well damped around {@link PLANT}. */
export const CONTROLLER: AxisController = {
  kp: 0.12,
  ki: 0.3,
  kd: 0.004,
  kff: 0,
  derivativeLowPassHz: 30,
  attitude: 4,
  stepS: 0.0025,
  from: 'the gains file',
};

export interface LinearLoop {
  readonly plant: PlantParameters;
  readonly kp: number;
  readonly ki: number;
  readonly attitude: number;
  /** Attitude asked by the stick, rad, at a time in s. */
  readonly stick: (timeS: number) => number;
  /** Standard deviation of the gusts' angular acceleration, rad/s², and of the gyro's noise, rad/s. */
  readonly gust: number;
  readonly gyroNoise: number;
  readonly seed: number;
  readonly durationS: number;
  /** Angular acceleration from elsewhere, rad/s², at a time in s. */
  readonly push?: (timeS: number) => number;
  /** What the motors do of the demand at a time in s; all of it without. What is logged is the demand asked. */
  readonly stops?: (demand: number, timeS: number) => number;
}

const FINE_S = 0.0005;
const CONTROL_STEPS = 5;
const LOG_STEPS = 10;

/**
 * Rates and demands at 200 Hz, controlled at 400 Hz. The plant is stepped at 2 kHz: lag and filter exact, the rest by the
 * trapezoidal rule. What is logged answers as {@link heldPlant} does.
 */
export function flyLinearLoop(loop: LinearLoop): AxisRecord {
  const { plant, kp, ki, attitude, stick } = loop;
  const random = randomSource(loop.seed);
  const steps = Math.round(loop.durationS / FINE_S);
  const late = Math.round((plant.delayS * (1 - plant.filterShare)) / FINE_S);
  const filterKeep = plant.filterShare === 0 ? 0 : Math.exp(-FINE_S / (plant.delayS * plant.filterShare));
  const pipe = new Float64Array(late + 1);
  const keep = Math.exp(-FINE_S / plant.lagS);
  // A first-order gust with a corner of 0.8 Hz.
  const calm = Math.exp(-2 * Math.PI * 0.8 * FINE_S);
  const rates: number[] = [];
  const demands: number[] = [];
  const sticks: number[] = [];
  let thrust = 0;
  let rate = 0;
  let filtered = 0;
  let angle = 0;
  let gust = 0;
  let integral = 0;
  let demand = 0;
  for (let k = 0; k < steps; k++) {
    const timeS = k * FINE_S;
    if (k % CONTROL_STEPS === 0) {
      const seen = filtered + loop.gyroNoise * random.normal();
      const error = attitude * (stick(timeS) - angle) - seen;
      integral += ki * error * FINE_S * CONTROL_STEPS;
      demand = kp * error + integral;
      if (k % LOG_STEPS === 0) {
        rates.push(seen);
        demands.push(demand);
        sticks.push(stick(timeS));
      }
    }
    pipe[k % pipe.length] = loop.stops?.(demand, timeS) ?? demand;
    const input = pipe[(k + 1) % pipe.length]!;
    const before = thrust;
    thrust = input + (thrust - input) * keep;
    gust = calm * gust + loop.gust * Math.sqrt(1 - calm * calm) * random.normal();
    const push =
      (plant.effectiveness * (before + thrust)) / 2 +
      gust +
      plant.instabilityPerS2 * angle +
      (loop.push?.(timeS) ?? 0);
    const next = rate + FINE_S * (push - plant.dampingPerS * rate);
    angle += (FINE_S * (rate + next)) / 2;
    rate = next;
    filtered = rate + (filtered - rate) * filterKeep;
  }
  return {
    startS: 0,
    stepS: FINE_S * LOG_STEPS,
    rate: Float64Array.from(rates),
    demand: Float64Array.from(demands),
    instrument: Float64Array.from(sticks),
  };
}

/** A controller that holds its demand from step to step delays it by half a step on average. */
export function heldPlant(plant: PlantParameters): PlantParameters {
  const delayS = plant.delayS + (CONTROL_STEPS * FINE_S) / 2;
  return { ...plant, delayS, filterShare: (plant.filterShare * plant.delayS) / delayS };
}

/** Stick doublets of ±`size` rad every 4 s, 0.3, 0.42, 0.54 … s to each side. */
export const doublets =
  (size: number) =>
  (timeS: number): number => {
    const half = 0.3 + 0.12 * (Math.floor(timeS / 4) % 3);
    const t = (timeS % 4) - 1;
    return t < 0 || t >= 2 * half ? 0 : t < half ? size : -size;
  };

/** An equation at jω that a plant fulfils exactly. */
export function equationOf(s: Equation['s'], rate: Equation['rate'], variance: number): Equation {
  return { s, rate, demand: { re: 1, im: 0 }, variance, from: 'oscillation' };
}

export interface MadeAxis {
  readonly plant?: PlantParameters | null;
  readonly controller?: AxisController | null;
  /** Spread of effectiveness and lag over the plausible plants, as a share. */
  readonly spread?: number;
  readonly equations?: readonly Equation[];
  /** Whether stick movements showed the plant; else only a swing did. */
  readonly sticks?: boolean;
  readonly motion?: AxisIdentification['motion'];
  /** Lines that only a bending structure explains. */
  readonly bendingHz?: readonly number[];
  readonly structuralPeak?: AxisIdentification['structuralPeak'];
  readonly cutShare?: number;
}

/** An identified roll axis, as the identification would hand it on. */
export function madeIdentification(made: MadeAxis = {}): AxisIdentification {
  const plant = made.plant === undefined ? PLANT : made.plant;
  const controller = made.controller === undefined ? CONTROLLER : made.controller;
  const spread = made.spread ?? 0.05;
  const gyroDelayS = 0.003;
  const band = {
    s: { re: 0, im: 10 },
    rate: { re: 1, im: 0 },
    demand: { re: 1, im: 0 },
    rates: [],
    demands: [],
    omegas: [],
    strength: 100,
  };
  return {
    axis: 'roll',
    controller,
    plant,
    draws:
      plant === null
        ? []
        : Array.from({ length: 16 }, (_, i) => {
            const shift = spread * Math.sin(1 + 2.4 * i);
            const other = spread * Math.cos(1 + 1.7 * i);
            return {
              ...plant,
              effectiveness: plant.effectiveness * (1 + shift),
              lagS: plant.lagS * (1 + other),
            };
          }),
    supposed: null,
    normal: null,
    gyroDelayS,
    addedFilters: null,
    margins:
      plant === null || controller === null
        ? null
        : marginsOf({ plant, controller, gyroDelayS, addedFilters: null }),
    evidence: {
      bands: made.sticks === false ? [] : [band, band, band],
      equations: made.equations ?? [],
      gain: null,
      motion: null,
    },
    bendingHz: made.bendingHz ?? [],
    structuralPeak: made.structuralPeak ?? null,
    cutShare: made.cutShare ?? 0,
    motion: made.motion ?? { rateStd: 0.05, rateHz: 1, demandHz: 2, fastDemandStd: 0.01, stickStd: 0 },
    from: 'made data',
    why: plant === null ? 'nothing moves this axis; fly small single stick movements' : null,
  };
}
