import type { AxisName } from '@settle/parser';
import {
  add,
  complex,
  divide,
  exponential,
  logarithm,
  magnitude,
  multiply,
  power,
  scale,
  subtract,
  type Complex,
} from './complex.js';
import type { FlightConfig, RateGains } from './config.js';
import { derivativeShare, gyroFilters } from './controller.js';
import { filterResponse, type Biquad } from './filters.js';
import { eigenvalues, holdEquivalent, resolvent, type Matrix } from './matrix.js';
import { GRAVITY, hoverPoint } from './operating-point.js';

/**
 * One axis of the simulated aircraft for small motion, exactly as the simulation steps it: the continuous plant behind
 * a zero-order hold and a delay (K. J. Åström and B. Wittenmark, *Computer-Controlled Systems*, ch. 2: sampling a
 * system with time delay), the digital filters and the digital controller. What couples the axes is left out.
 */
export interface AxisLoop {
  readonly stepS: number;
  readonly effectiveness: number;
  readonly lagS: number;
  readonly delayS: number;
  readonly damping: number;
  readonly instability: number;
  readonly flexibleMode: null | {
    readonly frequencyHz: number;
    readonly dampingRatio: number;
    readonly gain: number;
  };
  readonly filters: readonly Biquad[];
  readonly rate: RateGains;
  readonly derivativeShare: number;
  readonly attitude: number;
  readonly positionLoop: null | {
    readonly position: number;
    readonly velocity: number;
    readonly dragPerS: number;
  };
}

/** @param sag thrust over that at nominal battery voltage, mean over the hover */
export function axisLoop(config: FlightConfig, axis: AxisName, sag = 1): AxisLoop {
  const { airframe, rotors, controller, flexibleMode, positionLoop } = config;
  return {
    stepS: 1 / config.loopRateHz,
    effectiveness: airframe.effectiveness[axis] * hoverPoint(config, sag).slopeRatio,
    lagS: rotors.lagS,
    delayS: rotors.delayS,
    damping: airframe.damping[axis],
    instability: axis === 'yaw' ? 0 : airframe.instability[axis],
    flexibleMode: flexibleMode !== null && flexibleMode.axis === axis ? flexibleMode : null,
    filters: gyroFilters(config),
    rate: controller.rate[axis],
    derivativeShare: derivativeShare(config),
    attitude: controller.attitude[axis],
    positionLoop:
      positionLoop === null || axis === 'yaw' ? null : { ...positionLoop, dragPerS: airframe.dragPerS },
  };
}

/** The plant sampled once per controller step. */
interface SampledPlant {
  readonly phi: Matrix;
  /** Effect of the demand before and after the delayed switch inside the step. */
  readonly older: readonly number[];
  readonly newer: readonly number[];
  /** Controller steps the delay spans as a whole. */
  readonly wholeSteps: number;
  /** Places in the state. */
  readonly rateAt: number;
  readonly angleAt: number;
  readonly bendingAt: number | null;
  readonly velocityAt: number | null;
}

/** The plant is the same for all gains that are tried on it, and those come one after another. */
let latestPlant: { readonly key: string; readonly plant: SampledPlant } | null = null;

function samplePlant(loop: AxisLoop, withPosition: boolean): SampledPlant {
  const { stepS, effectiveness, lagS, delayS, damping, instability, flexibleMode, positionLoop } = loop;
  const drag = withPosition ? (positionLoop?.dragPerS ?? 0) : null;
  const parts = [stepS, effectiveness, lagS, delayS, damping, instability, flexibleMode, drag];
  const key = JSON.stringify(parts);
  if (latestPlant?.key !== key) latestPlant = { key, plant: holdPlant(loop, withPosition) };
  return latestPlant.plant;
}

/** State: lagged demand, rate, angle, then bending displacement and rate, then velocity and place, as present. */
function holdPlant(loop: AxisLoop, withPosition: boolean): SampledPlant {
  const size = 3 + (loop.flexibleMode === null ? 0 : 2) + (withPosition ? 2 : 0);
  const a = Array.from({ length: size }, () => Array.from({ length: size }, () => 0));
  const b = Array.from({ length: size }, () => 0);
  a[0]![0] = -1 / loop.lagS;
  b[0] = 1 / loop.lagS;
  a[1]![0] = loop.effectiveness;
  a[1]![1] = -loop.damping;
  a[1]![2] = loop.instability;
  a[2]![1] = 1;
  let next = 3;
  let bendingAt: number | null = null;
  if (loop.flexibleMode !== null) {
    const w = 2 * Math.PI * loop.flexibleMode.frequencyHz;
    a[next]![next + 1] = 1;
    a[next + 1]![next] = -w * w;
    a[next + 1]![next + 1] = -2 * loop.flexibleMode.dampingRatio * w;
    a[next + 1]![0] = loop.flexibleMode.gain * loop.effectiveness;
    bendingAt = next + 1;
    next += 2;
  }
  let velocityAt: number | null = null;
  if (withPosition) {
    velocityAt = next;
    a[next]![2] = GRAVITY;
    a[next]![next] = -(loop.positionLoop?.dragPerS ?? 0);
    a[next + 1]![next] = 1;
  }
  const wholeSteps = Math.floor(loop.delayS / loop.stepS + 1e-9);
  const rest = Math.max(0, loop.delayS - wholeSteps * loop.stepS);
  const early = holdEquivalent(a, b, rest);
  const late = holdEquivalent(a, b, loop.stepS - rest);
  const phi = holdEquivalent(a, b, loop.stepS).phi;
  const older = late.phi.map((row) => row.reduce((sum, value, j) => sum + value * early.gamma[j]!, 0));
  return { phi, older, newer: late.gamma, wholeSteps, rateAt: 1, angleAt: 2, bendingAt, velocityAt };
}

/** Responses of both broken loops at one z. */
export interface LoopResponses {
  /** Rate loop broken at the demand, attitude loop open. */
  readonly rate: Complex;
  /** Attitude loop broken at the rate reference, rate loop closed. */
  readonly attitude: Complex;
}

/** Responses of the loops over complex z, the plant sampled once for all. */
export function makeResponses(loop: AxisLoop): (z: Complex) => LoopResponses {
  const plant = samplePlant(loop, false);
  // The angle matters to the rate loop only where the airframe is unstable; else its integrator is left out of the
  // solution for the rate so that nothing blows up near z = 1.
  return (z) => {
    const inverse = divide(complex(1), z);
    const later = power(inverse, plant.wholeSteps);
    const latest = multiply(later, inverse);
    const drive = plant.newer.map((value, i) => add(scale(later, value), scale(latest, plant.older[i]!)));
    const x = resolvent(plant.phi, z, drive);
    let sensed = x[plant.rateAt]!;
    if (plant.bendingAt !== null) sensed = add(sensed, x[plant.bendingAt]!);
    for (const filter of loop.filters) sensed = multiply(sensed, filterResponse(filter, z));
    const control = controllerResponse(loop, z);
    const rate = multiply(control, sensed);
    const toDemand = divide(add(control, complex(loop.rate.kff)), add(complex(1), rate));
    const attitude = scale(multiply(toDemand, x[plant.angleAt]!), loop.attitude);
    return { rate, attitude };
  };
}

/** Size of the demand per gyro input at z, loops open: how much sensor noise and vibration reach the motors. */
export function sensorGain(loop: AxisLoop, z: Complex): number {
  const filters = loop.filters.reduce((size, filter) => size * magnitude(filterResponse(filter, z)), 1);
  return filters * magnitude(controllerResponse(loop, z));
}

/** Demand per rate error at z: P, I (backward sum) and low-passed D. */
function controllerResponse(loop: AxisLoop, z: Complex): Complex {
  const { kp, ki, kd } = loop.rate;
  const difference = divide(subtract(z, complex(1)), z);
  const share = loop.derivativeShare;
  const smooth = divide(scale(z, share), subtract(z, complex(1 - share)));
  let sum = complex(kp);
  if (ki !== 0) sum = add(sum, divide(complex(ki * loop.stepS), difference));
  return add(sum, scale(multiply(smooth, difference), kd / loop.stepS));
}

/** What is closed around the plant, and by how much its gain is changed. */
export interface Closure {
  /** On the demand. */
  readonly rateFactor: number;
  /** On the rate reference; 0 opens the attitude loop. */
  readonly attitudeFactor: number;
  readonly position: boolean;
}

/** Transition matrix of the closed loop over one controller step. */
export function closedLoopMatrix(loop: AxisLoop, closure: Closure): number[][] {
  const withPosition = closure.position && loop.positionLoop !== null;
  const plant = samplePlant(loop, withPosition);
  const plantSize = plant.phi.length;
  const delayed = plant.wholeSteps + 1;
  const filterAt = plantSize + delayed;
  const integralAt = filterAt + 2 * loop.filters.length;
  const smoothAt = integralAt + 1;
  const size = smoothAt + 1;
  const advance = (x: readonly number[]): number[] => {
    const next = Array.from({ length: size }, () => 0);
    let measured = x[plant.rateAt]! + (plant.bendingAt === null ? 0 : x[plant.bendingAt]!);
    loop.filters.forEach((f, i) => {
      const at = filterAt + 2 * i;
      const out = f.b0 * measured + x[at]!;
      next[at] = f.b1 * measured - f.a1 * out + x[at + 1]!;
      next[at + 1] = f.b2 * measured - f.a2 * out;
      measured = out;
    });
    let angleReference = 0;
    if (plant.velocityAt !== null && loop.positionLoop !== null) {
      const { position, velocity } = loop.positionLoop;
      angleReference = (velocity * (-position * x[plant.velocityAt + 1]! - x[plant.velocityAt]!)) / GRAVITY;
    }
    const reference = closure.attitudeFactor * loop.attitude * (angleReference - x[plant.angleAt]!);
    const error = reference - measured;
    const integral = x[integralAt]! + loop.rate.ki * error * loop.stepS;
    const smooth = x[smoothAt]! + loop.derivativeShare * (error - x[smoothAt]!);
    next[integralAt] = integral;
    next[smoothAt] = smooth;
    const derivative = (loop.rate.kd * (smooth - x[smoothAt]!)) / loop.stepS;
    const demand =
      closure.rateFactor * (loop.rate.kp * error + integral + derivative + loop.rate.kff * reference);
    const held = (n: number): number => (n === 0 ? demand : x[plantSize + n - 1]!);
    for (let i = 0; i < plantSize; i++) {
      let sum = plant.newer[i]! * held(plant.wholeSteps) + plant.older[i]! * held(plant.wholeSteps + 1);
      for (let j = 0; j < plantSize; j++) sum += plant.phi[i]![j]! * x[j]!;
      next[i] = sum;
    }
    for (let n = 0; n < delayed; n++) next[plantSize + n] = held(n);
    return next;
  };
  // States that nothing in this closure reads would add a pole at z = 1 that is not the loop's.
  const unread = new Set<number>();
  if (loop.rate.ki === 0) unread.add(integralAt);
  if (closure.attitudeFactor * loop.attitude === 0 && loop.instability === 0) unread.add(plant.angleAt);
  const kept = Array.from({ length: size }, (_, i) => i).filter((i) => !unread.has(i));
  const columns = kept.map((j) => advance(Array.from({ length: size }, (_, i) => (i === j ? 1 : 0))));
  return kept.map((i) => columns.map((column) => column[i]!));
}

/** Poles of the closed loop in the z plane. */
export function closedLoopPolesZ(loop: AxisLoop, closure: Closure): Complex[] {
  const poles = eigenvalues(closedLoopMatrix(loop, closure));
  const attitudeOpen = closure.attitudeFactor * loop.attitude === 0;
  if (attitudeOpen && loop.instability !== 0 && loop.rate.ki !== 0) {
    // A body that is held by a rate loop with an integral stays at whatever angle it is: the integral balances the
    // moment of that angle. This neutral pole cancels in the loop's response (zero of the plant at z = 1), so the loop
    // is not judged by it.
    const neutral = poles.findIndex((z) => Math.hypot(z.re - 1, z.im) < 1e-6);
    if (neutral >= 0) poles.splice(neutral, 1);
  }
  return poles;
}

/** A pole inside the unit circle by less than this counts as on it. */
const EDGE = 1e-9;

export function isStable(loop: AxisLoop, closure: Closure): boolean {
  return closedLoopPolesZ(loop, closure).every((z) => magnitude(z) < 1 - EDGE);
}

/** s = ln(z)/T; poles at the origin of z (the delay's) have no counterpart and are left out. */
export function toContinuous(poles: readonly Complex[], stepS: number): Complex[] {
  return poles
    .filter((z) => magnitude(z) > 1e-3)
    .map((z) => scale(logarithm(z), 1 / stepS))
    .sort((a, b) => b.re - a.re);
}

export const zOf = (s: Complex, stepS: number): Complex => exponential(scale(s, stepS));
