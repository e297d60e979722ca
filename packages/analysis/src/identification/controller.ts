/**
 * The controller of one axis: attitude gain over a parallel PID on the rate error, from the gains file or from the logged terms.
 */
import type { AxisName } from '@settle/parser';
import { add, complex, divide, exponential, scale, subtract, type Complex } from '../control/complex.js';
import { transformReal } from '../spectrum/fft.js';

export interface AxisController {
  /** Demand per rad/s of rate error. */
  readonly kp: number;
  /** Demand per rad. */
  readonly ki: number;
  /** Demand per rad/s². */
  readonly kd: number;
  /** Demand per rad/s of rate reference. */
  readonly kff: number;
  /** Low-pass on the derivative term, first order; null: none. */
  readonly derivativeLowPassHz: number | null;
  /** Rate reference per angle error, 1/s; null: not known. */
  readonly attitude: number | null;
  /** Step of the controller, s. */
  readonly stepS: number;
  readonly from: string;
}

/** What a gains file declares, in the units of the calculation. */
export interface DeclaredController {
  readonly rate: Readonly<Record<AxisName, DeclaredGains>>;
  readonly attitude: Readonly<Record<AxisName, number | null>>;
  /** Without a declared unit a gain counts only once a logged term agrees with it. */
  readonly rateUnitDeclared: boolean;
  readonly attitudeUnitDeclared: boolean;
  readonly derivativeLowPassHz: number | null;
  readonly gyroLowPassHz: number | null;
  readonly loopRateHz: number | null;
}

export interface DeclaredGains {
  readonly kp: number | null;
  readonly ki: number | null;
  readonly kd: number | null;
  readonly kff: number | null;
}

/** The sampled controller's response to the rate error: P + I + D, at the complex frequency s. */
export function controllerAt(c: AxisController, s: Complex): Complex {
  const back = exponential(scale(s, -c.stepS));
  const difference = subtract(complex(1), back);
  let sum = complex(c.kp);
  if (c.ki !== 0) sum = add(sum, divide(complex(c.ki * c.stepS), difference));
  if (c.kd !== 0) {
    const share =
      c.derivativeLowPassHz === null ? 1 : 1 - Math.exp(-2 * Math.PI * c.derivativeLowPassHz * c.stepS);
    const low = divide(complex(share), subtract(complex(1), scale(back, 1 - share)));
    const rate = scale(difference, c.kd / c.stepS);
    sum = add(sum, { re: rate.re * low.re - rate.im * low.im, im: rate.re * low.im + rate.im * low.re });
  }
  return sum;
}

/** Channels of one axis on one even clock; null where not logged. */
export interface ControllerRecord {
  readonly stepS: number;
  readonly rate: Float64Array;
  readonly reference: Float64Array | null;
  readonly proportional: Float64Array | null;
  readonly integral: Float64Array | null;
  readonly derivative: Float64Array | null;
  readonly feedForward: Float64Array | null;
  /** What the terms add up to. */
  readonly demand: Float64Array | null;
  readonly attitude: Float64Array | null;
  readonly attitudeReference: Float64Array | null;
}

/** A told gain within this share of the logged one is the same. */
const AGREES = 0.1;
/** Share of a term's variance that its gain must explain. */
const EXPLAINED = 0.9;

/**
 * Declared gains where there are any, else what each logged term does with the logged error. A declared gain that its logged
 * term contradicts (P and attitude by more than a tenth, the others by more than three tenths) loses to the term.
 *
 * @returns null when neither gives a proportional gain, or when an I or D gain is not known and the terms seen do not make
 *   up the demand
 */
export function controllerOf(
  axis: AxisName,
  record: ControllerRecord,
  declared: DeclaredController | null,
): AxisController | null {
  const error =
    record.reference === null ? null : record.reference.map((value, i) => value - record.rate[i]!);
  const kpLogged = error === null || record.proportional === null ? null : slope(error, record.proportional);
  const agrees =
    kpLogged !== null &&
    (declared?.rate[axis].kp ?? null) !== null &&
    Math.abs(declared!.rate[axis].kp! - kpLogged) <= AGREES * Math.abs(kpLogged);
  // A told gain that a logged term contradicts, or whose unit nobody declared and no term confirms, is left out.
  const believed = agrees || (declared?.rateUnitDeclared === true && kpLogged === null);
  const gains = believed ? declared!.rate[axis] : null;
  const kp = gains?.kp ?? kpLogged;
  if (kp === null) return null;
  const kiLogged =
    error === null || record.integral === null ? null : integralGain(error, record.integral, record.stepS);
  const derivative =
    error === null || record.derivative === null
      ? null
      : derivativeGain(error, record.derivative, record.stepS);
  const kffLogged =
    record.reference === null || record.feedForward === null
      ? null
      : slope(record.reference, record.feedForward);
  const attitudeError =
    record.attitude === null || record.attitudeReference === null
      ? null
      : record.attitudeReference.map((value, i) => value - record.attitude![i]!);
  const attitudeLogged =
    attitudeError === null || record.reference === null
      ? null
      : attitudeGain(attitudeError, record.reference, record.stepS);
  const attitudeTold = declared?.attitude[axis] ?? null;
  const attitude =
    attitudeTold !== null &&
    (attitudeLogged === null
      ? declared?.attitudeUnitDeclared === true || agrees
      : Math.abs(attitudeTold - attitudeLogged) <= AGREES * attitudeLogged)
      ? attitudeTold
      : attitudeLogged;
  const ki = settle(gains?.ki, kiLogged);
  const kd = settle(gains?.kd, derivative?.kd ?? null);
  const kff = settle(gains?.kff, kffLogged);
  // A gain that is neither told nor seen is taken for zero only where the terms seen make up the whole demand.
  if (ki === null || kd === null) {
    const { integral, derivative: rateTerm, ...rest } = record;
    const seen = {
      ...rest,
      integral: ki === null ? null : integral,
      derivative: kd === null ? null : rateTerm,
    };
    if (!makeUpDemand(seen)) return null;
  }
  return {
    kp,
    ki: ki ?? 0,
    kd: kd ?? 0,
    kff: kff ?? 0,
    derivativeLowPassHz: declared?.derivativeLowPassHz ?? derivative?.lowPassHz ?? null,
    attitude,
    stepS:
      declared?.loopRateHz === null || declared?.loopRateHz === undefined
        ? record.stepS
        : 1 / declared.loopRateHz,
    from:
      gains === null
        ? 'the logged terms'
        : agrees
          ? 'the gains file, confirmed by the logged terms'
          : 'the gains file',
  };
}

/** How far a told I, D or feed-forward gain may be from what its term shows: those are read less exactly than P. */
const TERM_AGREES = 0.3;

/** The told gain, unless its logged term contradicts it; then what the term shows. null: neither told nor seen. */
function settle(told: number | null | undefined, seen: number | null): number | null {
  if (told === null || told === undefined) return seen;
  return seen === null || Math.abs(told - seen) <= TERM_AGREES * Math.abs(seen) ? told : seen;
}

/** Share of the demand's variance that the terms seen may leave. */
const LEFT_OVER = 0.02;

function makeUpDemand({
  demand,
  proportional,
  integral,
  derivative,
  feedForward,
}: ControllerRecord): boolean {
  if (demand === null || proportional === null) return false;
  const rest = demand.map(
    (v, i) => v - proportional[i]! - (integral?.[i] ?? 0) - (derivative?.[i] ?? 0) - (feedForward?.[i] ?? 0),
  );
  return varianceOf(rest) <= LEFT_OVER * varianceOf(demand);
}

function varianceOf(x: Float64Array): number {
  const mean = x.reduce((sum, v) => sum + v, 0) / x.length;
  return x.reduce((sum, v) => sum + (v - mean) ** 2, 0) / x.length;
}

/** Least squares through the origin; null when it explains less than {@link EXPLAINED}. */
function slope(x: Float64Array, y: Float64Array): number | null {
  let xx = 0;
  let xy = 0;
  let yy = 0;
  for (let i = 0; i < x.length; i++) {
    xx += x[i]! * x[i]!;
    xy += x[i]! * y[i]!;
    yy += y[i]! * y[i]!;
  }
  if (!(xx > 0) || !(yy > 0)) return yy === 0 && xx > 0 ? 0 : null;
  return (xy * xy) / (xx * yy) < EXPLAINED ? null : xy / xx;
}

/**
 * References this near the largest may have met a limit of the controller, and beside them a stick's step is drawn as a slope
 * by a slow log: both are left out, this many seconds either side.
 */
const NEAR_LIMIT = 0.8;
const BESIDE_S = 0.05;

/** Rate reference per angle error, from where no limit of the reference was met. */
function attitudeGain(error: Float64Array, reference: Float64Array, stepS: number): number | null {
  const largest = reference.reduce((most, v) => Math.max(most, Math.abs(v)), 0);
  const beside = Math.max(1, Math.round(BESIDE_S / stepS));
  const left = new Uint8Array(reference.length);
  reference.forEach((v, i) => {
    if (Math.abs(v) >= NEAR_LIMIT * largest) left.fill(1, Math.max(0, i - beside), i + beside + 1);
  });
  const kept = (x: Float64Array): Float64Array => x.filter((_, i) => left[i] === 0);
  return slope(kept(error), kept(reference));
}

/** Over half-second stretches, in which the error between logged samples averages out. */
function integralGain(error: Float64Array, integral: Float64Array, stepS: number): number | null {
  const width = Math.max(2, Math.round(0.5 / stepS));
  const change: number[] = [];
  const area: number[] = [];
  for (let at = 0; at + width < error.length; at += width >> 1) {
    let sum = 0;
    for (let i = at; i < at + width; i++) sum += (stepS * (error[i]! + error[i + 1]!)) / 2;
    area.push(sum);
    change.push(integral[at + width]! - integral[at]!);
  }
  return slope(Float64Array.from(area), Float64Array.from(change));
}

/** Gain and corner that turn the error's slow bins into the derivative term's. */
function derivativeGain(
  error: Float64Array,
  derivative: Float64Array,
  stepS: number,
): { kd: number; lowPassHz: number | null } | null {
  const e = transformReal(faded(error));
  const d = transformReal(faded(derivative));
  const df = 1 / (error.length * stepS);
  const last = Math.min(Math.floor(20 / df), Math.floor(error.length / 4));
  let best: { kd: number; lowPassHz: number | null; left: number } | null = null;
  for (const hz of [5, 7, 10, 12, 15, 18, 20, 22, 25, 30, 35, 40, 50, 60, 80, 120, Infinity]) {
    let xx = 0;
    let xy = 0;
    let yy = 0;
    for (let k = Math.ceil(0.5 / df); k < last; k++) {
      const w = 2 * Math.PI * k * df;
      const ratio = Number.isFinite(hz) ? w / (2 * Math.PI * hz) : 0;
      // jω/(1 + jω/ωc): the half step by which a stepped low-pass is early makes up for that by which the difference is late.
      const size = w / Math.hypot(1, ratio);
      const phase = Math.PI / 2 - (Number.isFinite(hz) ? Math.atan(ratio) : (w * stepS) / 2);
      const re = size * (Math.cos(phase) * e[2 * k]! - Math.sin(phase) * e[2 * k + 1]!);
      const im = size * (Math.cos(phase) * e[2 * k + 1]! + Math.sin(phase) * e[2 * k]!);
      xx += re * re + im * im;
      xy += re * d[2 * k]! + im * d[2 * k + 1]!;
      yy += d[2 * k]! ** 2 + d[2 * k + 1]! ** 2;
    }
    if (!(xx > 0) || !(yy > 0)) return yy === 0 ? { kd: 0, lowPassHz: null } : null;
    const left = 1 - (xy * xy) / (xx * yy);
    if (best === null || left < best.left)
      best = { kd: xy / xx, lowPassHz: Number.isFinite(hz) ? hz : null, left };
  }
  return best !== null && best.left < 1 - EXPLAINED && best.kd > 0 ? best : null;
}

function faded(x: Float64Array): Float64Array {
  return x.map((v, i) => v * (0.5 - 0.5 * Math.cos((2 * Math.PI * (i + 0.5)) / x.length)));
}
