import type { AxisName, Interval } from '@settle/parser';
import { complex, type Complex } from './complex.js';
import type { FlightConfig, PerAxis } from './config.js';
import {
  axisLoop,
  closedLoopPolesZ,
  isStable,
  makeResponses,
  toContinuous,
  type AxisLoop,
} from './linear-loop.js';
import { findMargins, frequencyGrid, type MarginTruth } from './margins.js';
import { CLEAR_HEIGHT_M, type Script } from './script.js';
import type { VibrationTruth } from './vibration-truth.js';

export interface TruePhase {
  readonly kind: 'ground' | 'takeoff' | 'hover' | 'landing' | 'upset';
  readonly startS: number;
  readonly endS: number;
}

/** Linear truth of one axis around hover. */
export interface AxisTruth {
  readonly plant: { readonly effectiveness: number; readonly lagS: number; readonly delayS: number };
  /** Closed-loop poles in rad/s, all loops closed (position too where it flies), least damped first by real part. */
  readonly poles: readonly { readonly re: number; readonly im: number }[];
  /** The oscillatory pole with the lowest damping ratio; frequency is the damped one. null: none oscillates. */
  readonly dominant: {
    readonly frequencyHz: number;
    readonly dampingRatio: number;
    readonly growthPerS: number;
  } | null;
  readonly margins: { readonly rate: MarginTruth; readonly attitude: MarginTruth };
  /** Share of the airborne steps in which motor stops changed this axis' demand by more than 0.1 %. */
  readonly clippedShare: number;
}

export interface FlightTruth {
  /**
   * `ground` until throttle-up; `takeoff` until the lowest gear leg is first 0.15 m up; `hover` until it last falls
   * below that; `landing` until the rotors idle; `upset` from a tilt of 60°.
   */
  readonly phases: readonly TruePhase[];
  /** Clear of the ground: the hover, or the hover up to an upset. null: it never left. */
  readonly airborne: Interval | null;
  /** Stick doublets inside the hover. */
  readonly manoeuvres: readonly Interval[];
  /** Noise-free motion at the loop rate: no sensor noise, no vibration, no bending. rad, rad/s, m. */
  readonly motion: {
    readonly timeS: Float64Array;
    readonly roll: Float64Array;
    readonly pitch: Float64Array;
    readonly yaw: Float64Array;
    readonly p: Float64Array;
    readonly q: Float64Array;
    readonly r: Float64Array;
    readonly height: Float64Array;
  };
  /** Over the hover: mean of each rotor, mean over all, 5th and 95th percentile over rotors and time. */
  readonly rotorHz: {
    readonly rotors: readonly number[];
    readonly mean: number;
    readonly low: number;
    readonly high: number;
  } | null;
  /** Share of the airborne steps in which any motor was at a stop. */
  readonly clippedShare: number;
  readonly axes: PerAxis<AxisTruth>;
  /** Every line that the inertial sensors felt; null without an inertial log. */
  readonly vibration: VibrationTruth | null;
}

/** What the simulation writes down at every controller step. */
export interface RawTruth {
  /** Steps filled in; the arrays are longer. */
  count: number;
  readonly timeS: Float64Array;
  readonly angles: readonly Float64Array[];
  readonly rates: readonly Float64Array[];
  readonly height: Float64Array;
  readonly gearHeight: Float64Array;
  readonly rotorHz: readonly Float64Array[];
  readonly stopped: Uint8Array;
  /** Demand that the motor stops took away, per axis. */
  readonly lost: readonly Float64Array[];
  readonly stick: Uint8Array;
  readonly sag: Float64Array;
}

export function makeRawTruth(steps: number): RawTruth {
  const one = (): Float64Array => new Float64Array(steps);
  return {
    count: 0,
    timeS: one(),
    angles: [one(), one(), one()],
    rates: [one(), one(), one()],
    height: one(),
    gearHeight: one(),
    rotorHz: [one(), one(), one(), one()],
    stopped: new Uint8Array(steps),
    lost: [one(), one(), one()],
    stick: new Uint8Array(steps),
    sag: one(),
  };
}

/** All but the vibration. */
export function assembleTruth(
  config: FlightConfig,
  raw: RawTruth,
  script: Script,
): Omit<FlightTruth, 'vibration'> {
  const endS = raw.count / config.loopRateHz;
  const { phases, airborne } = findPhases(config, raw, script, endS);
  const inside = (i: number): boolean =>
    airborne !== null && raw.timeS[i]! >= airborne.startS && raw.timeS[i]! < airborne.endS;
  const share = (flag: (i: number) => boolean): number => {
    let hits = 0;
    let count = 0;
    for (let i = 0; i < raw.count; i++) {
      if (!inside(i)) continue;
      count++;
      if (flag(i)) hits++;
    }
    return count === 0 ? 0 : hits / count;
  };
  let sag = 0;
  let sagCount = 0;
  for (let i = 0; i < raw.count; i++) {
    if (inside(i)) {
      sag += raw.sag[i]!;
      sagCount++;
    }
  }
  const meanSag = sagCount === 0 ? 1 : sag / sagCount;
  const axis = (name: AxisName, a: number): AxisTruth => ({
    ...linearTruth(axisLoop(config, name, meanSag)),
    clippedShare: share((i) => Math.abs(raw.lost[a]![i]!) > 1e-3),
  });
  const column = (values: Float64Array): Float64Array => values.slice(0, raw.count);
  return {
    phases,
    airborne,
    manoeuvres: runs(raw.stick.subarray(0, raw.count), config.loopRateHz),
    motion: {
      timeS: column(raw.timeS),
      roll: column(raw.angles[0]!),
      pitch: column(raw.angles[1]!),
      yaw: column(raw.angles[2]!),
      p: column(raw.rates[0]!),
      q: column(raw.rates[1]!),
      r: column(raw.rates[2]!),
      height: column(raw.height),
    },
    rotorHz: rotorSpeeds(raw, inside),
    clippedShare: share((i) => raw.stopped[i] === 1),
    axes: { roll: axis('roll', 0), pitch: axis('pitch', 1), yaw: axis('yaw', 2) },
  };
}

/** Plant, poles and margins of one axis. */
export function linearTruth(loop: AxisLoop): Omit<AxisTruth, 'clippedShare'> {
  const all = { rateFactor: 1, attitudeFactor: 1, position: true };
  const poles = toContinuous(closedLoopPolesZ(loop, all), loop.stepS);
  return {
    plant: { effectiveness: loop.effectiveness, lagS: loop.lagS, delayS: loop.delayS },
    poles: poles.filter((p) => p.im >= 0).map((p) => ({ re: p.re, im: p.im })),
    dominant: dominantPole(poles, loop.stepS),
    margins: axisMargins(loop),
  };
}

/** Of the oscillatory poles below a third of the loop rate, the one with the lowest damping ratio. */
export function dominantPole(poles: readonly Complex[], stepS: number): AxisTruth['dominant'] {
  let best: AxisTruth['dominant'] = null;
  for (const p of poles) {
    if (p.im <= 1e-6 || p.im > (2 * Math.PI) / (3 * stepS)) continue;
    const dampingRatio = -p.re / Math.hypot(p.re, p.im);
    if (best === null || dampingRatio < best.dampingRatio) {
      best = { frequencyHz: p.im / (2 * Math.PI), dampingRatio, growthPerS: p.re };
    }
  }
  return best;
}

/** Margins of both loops of an axis by the definitions of the contract. */
export function axisMargins(loop: AxisLoop): { rate: MarginTruth; attitude: MarginTruth } {
  const responses = makeResponses(loop);
  const resonances: number[] = [];
  if (loop.flexibleMode !== null) resonances.push(2 * Math.PI * loop.flexibleMode.frequencyHz);
  const grid = frequencyGrid(2 * Math.PI * 0.01, (0.9999 * Math.PI) / loop.stepS, 250, resonances);
  // Both responses come from one evaluation; the two searches share it.
  const cache = new Map<number, ReturnType<typeof responses>>();
  const both = (omega: number): ReturnType<typeof responses> => {
    let value = cache.get(omega);
    if (value === undefined) {
      value = responses(unit(omega * loop.stepS));
      cache.set(omega, value);
    }
    return value;
  };
  const rate = findMargins({
    response: (omega) => both(omega).rate,
    stableAt: (gain) => isStable(loop, { rateFactor: gain, attitudeFactor: 0, position: false }),
    grid,
    endsReal: true,
  });
  const attitude = findMargins({
    response: (omega) => both(omega).attitude,
    stableAt: (gain) => isStable(loop, { rateFactor: 1, attitudeFactor: gain, position: false }),
    grid,
    endsReal: true,
  });
  return { rate, attitude };
}

/** Below this the lowest gear leg is on the ground. */
const CONTACT_HEIGHT_M = 0.02;

const unit = (phase: number): Complex => complex(Math.cos(phase), Math.sin(phase));

function findPhases(
  config: FlightConfig,
  raw: RawTruth,
  script: Script,
  endS: number,
): { phases: TruePhase[]; airborne: Interval | null } {
  const phases: TruePhase[] = [];
  const put = (kind: TruePhase['kind'], startS: number, stopS: number): void => {
    if (stopS > startS) phases.push({ kind, startS, endS: stopS });
  };
  const up = script.throttleUpS ?? endS;
  put('ground', 0, up);
  const clear = script.clearS;
  const upset = script.upsetS;
  const idle = script.idleAgainS ?? endS;
  if (clear === null) {
    put('takeoff', up, Math.min(upset ?? idle, idle));
    if (upset !== null) put('upset', upset, endS);
    else put('ground', idle, endS);
    return { phases, airborne: null };
  }
  put('takeoff', up, clear);
  let down = endS;
  if (!config.script.endInHover || upset !== null) {
    // An aircraft that tips over on landing may lie with its gear in the air: what counts is before the first contact.
    let contact = 0;
    while (
      contact < raw.count &&
      (raw.timeS[contact]! <= clear || raw.gearHeight[contact]! > CONTACT_HEIGHT_M)
    )
      contact++;
    for (let i = Math.min(contact, raw.count - 1); i >= 0; i--) {
      if (raw.gearHeight[i]! > CLEAR_HEIGHT_M && raw.timeS[i]! >= clear) {
        down = Math.min(endS, raw.timeS[i]! + 1 / config.loopRateHz);
        break;
      }
    }
  }
  const airborne = { startS: clear, endS: upset === null ? down : Math.min(down, upset) };
  put('hover', clear, airborne.endS);
  if (upset !== null) put('upset', upset, endS);
  else {
    put('landing', down, idle);
    put('ground', idle, endS);
  }
  return { phases, airborne };
}

function runs(flags: Uint8Array, rateHz: number): Interval[] {
  const found: Interval[] = [];
  let start: number | null = null;
  for (let i = 0; i <= flags.length; i++) {
    const on = i < flags.length && flags[i] === 1;
    if (on && start === null) start = i;
    if (!on && start !== null) {
      found.push({ startS: start / rateHz, endS: i / rateHz });
      start = null;
    }
  }
  return found;
}

function rotorSpeeds(raw: RawTruth, inside: (i: number) => boolean): FlightTruth['rotorHz'] {
  const all: number[] = [];
  const rotors = raw.rotorHz.map((series) => {
    let sum = 0;
    let count = 0;
    for (let i = 0; i < raw.count; i++) {
      if (!inside(i)) continue;
      sum += series[i]!;
      count++;
      // Every fourth step is plenty for a percentile.
      if (i % 4 === 0) all.push(series[i]!);
    }
    return count === 0 ? 0 : sum / count;
  });
  if (all.length === 0) return null;
  const sorted = Float64Array.from(all).sort();
  const quantile = (share: number): number => sorted[Math.round(share * (sorted.length - 1))]!;
  return {
    rotors,
    mean: rotors.reduce((a, b) => a + b, 0) / rotors.length,
    low: quantile(0.05),
    high: quantile(0.95),
  };
}
