/**
 * A frequency response as a curve: logarithm of the gain and continuous phase over the logarithm of the frequency, from a
 * function that is evaluated or from a table that is interpolated.
 */
import type { Unavailable } from '../unavailable.js';
import type { Complex } from './complex.js';
import { interpolateCubic, interpolateLinear, intervalOf } from './interpolate.js';

/** A response over a table of frequencies, as measured or computed once. All arrays have the same length. */
export interface ResponseTable {
  /** rad/s, above 0, rising. */
  readonly omega: ArrayLike<number>;
  readonly re: ArrayLike<number>;
  readonly im: ArrayLike<number>;
}

export interface ResponseFunction {
  /** Value at jω, ω in rad/s. */
  readonly response: (omega: number) => Complex;
  readonly lowestRadS: number;
  readonly highestRadS: number;
  /** Places of light damping, where the curve needs closer points. */
  readonly resonancesRadS?: readonly number[];
  /** Points of the logarithmic grid to start from; default 200. More are added where the curve turns fast. */
  readonly points?: number;
}

export interface CurvePoint {
  /** ln |L|. */
  readonly logGain: number;
  /** rad, continuous along the curve. */
  readonly phase: number;
}

export interface ResponseCurve {
  /** ln ω, rising; at least three. */
  readonly x: number[];
  readonly logGain: number[];
  /** rad, continuous; the first is the principal value until somebody shifts all of them by whole turns. */
  readonly phase: number[];
  /** Between knots i and i + 1. */
  readonly at: (x: number, i: number) => CurvePoint;
}

/** A step of phase (rad) or of ln gain beyond which another point goes between. */
const LARGEST_PHASE_STEP = 0.6;
const LARGEST_GAIN_STEP = 1;
/** ln gain below which the course of the curve decides nothing: −50 dB. */
const NEGLIGIBLE = -5.8;
const LARGEST_DEPTH = 16;
const MOST_POINTS = 20_000;
/** ln of a gain of 0. */
const NOTHING = -650;

/** −π … π. */
export const wrapPhase = (phase: number): number => phase - 2 * Math.PI * Math.round(phase / (2 * Math.PI));

/** Closest to `near` of all angles that differ from `phase` by whole turns. */
const unwrapTowards = (phase: number, near: number): number => near + wrapPhase(phase - near);

/**
 * Curve of a function on a logarithmic grid, with points added until neighbours are close in gain and phase.
 *
 * @throws RangeError unless 0 < lowest < highest and at least three points
 */
export function traceResponse(source: ResponseFunction): ResponseCurve | Unavailable {
  const { response, lowestRadS, highestRadS, points = 200 } = source;
  if (!(lowestRadS > 0) || !(highestRadS > lowestRadS) || !Number.isFinite(highestRadS)) {
    throw new RangeError(
      `frequencies must rise from above 0, not from ${lowestRadS} to ${highestRadS} rad/s`,
    );
  }
  if (!(points >= 3)) throw new RangeError(`a curve needs three points, not ${points}`);

  let bad: number | null = null;
  const evaluate = (x: number, near: number | null): CurvePoint => {
    const value = response(Math.exp(x));
    const size = Math.hypot(value.re, value.im);
    if (!Number.isFinite(size)) {
      bad ??= Math.exp(x);
      return { logGain: NOTHING, phase: near ?? 0 };
    }
    const principal = size > 0 ? Math.atan2(value.im, value.re) : (near ?? 0);
    return {
      logGain: size > 1e-280 ? Math.log(size) : NOTHING,
      phase: near === null ? principal : unwrapTowards(principal, near),
    };
  };

  const curve: ResponseCurve = {
    x: [],
    logGain: [],
    phase: [],
    at: (x, i) => evaluate(x, interpolateLinear(curve.x, curve.phase, x, i)),
  };
  const keep = (x: number, point: CurvePoint): void => {
    curve.x.push(x);
    curve.logGain.push(point.logGain);
    curve.phase.push(point.phase);
  };
  /** Adds everything from the last kept point up to and including (x, value): halves where the curve turns fast. */
  const advance = (x: number, value: CurvePoint, depth: number): void => {
    const last = curve.x.length - 1;
    const before = { logGain: curve.logGain[last]!, phase: curve.phase[last]! };
    const here = { logGain: value.logGain, phase: unwrapTowards(value.phase, before.phase) };
    const rough =
      Math.max(before.logGain, here.logGain) > NEGLIGIBLE &&
      (Math.abs(here.phase - before.phase) > LARGEST_PHASE_STEP ||
        Math.abs(here.logGain - before.logGain) > LARGEST_GAIN_STEP);
    if (!rough || depth >= LARGEST_DEPTH || curve.x.length >= MOST_POINTS) {
      keep(x, here);
      return;
    }
    const middle = (curve.x[last]! + x) / 2;
    advance(middle, evaluate(middle, before.phase), depth + 1);
    advance(x, value, depth + 1);
  };

  for (const x of startingGrid(source, points)) {
    const value = evaluate(x, curve.phase.at(-1) ?? null);
    if (curve.x.length === 0) keep(x, value);
    else advance(x, value, 0);
    if (bad !== null) break;
  }
  if (bad !== null) return { unavailable: `the response is not finite at ${frequencyText(bad)}` };
  addTurningPoints(curve);
  return bad === null ? curve : { unavailable: `the response is not finite at ${frequencyText(bad)}` };
}

/** ln ω of the even grid, and on both sides of each resonance points ever closer to it. */
function startingGrid(source: ResponseFunction, points: number): number[] {
  const low = Math.log(source.lowestRadS);
  const high = Math.log(source.highestRadS);
  const grid = Array.from({ length: points - 1 }, (_, i) => low + ((high - low) * i) / (points - 1));
  grid.push(high); // not by the sum, which may round beyond it
  for (const omega of source.resonancesRadS ?? []) {
    const centre = Math.log(omega);
    for (let distance = 0.32; distance > 1e-4; distance /= 1.6)
      grid.push(centre - distance, centre + distance);
    grid.push(centre);
  }
  const sorted = grid.filter((x) => x >= low && x <= high).sort((a, b) => a - b);
  return sorted.filter((x, i) => i === 0 || x - sorted[i - 1]! > 1e-9);
}

/**
 * Curve through a table: piecewise cubic with three-point slopes. Neighbouring points must be less than half a turn apart.
 *
 * @throws RangeError on fewer than three points, unequal lengths, or frequencies that do not rise from above 0
 */
export function interpolateResponse(table: ResponseTable): ResponseCurve | Unavailable {
  const { omega, re, im } = table;
  const count = omega.length;
  if (count < 3) throw new RangeError(`a curve needs three points, not ${count}`);
  if (re.length !== count || im.length !== count) {
    throw new RangeError(`${count} frequencies with ${re.length} real and ${im.length} imaginary parts`);
  }
  const x: number[] = [];
  const logGain: number[] = [];
  const phase: number[] = [];
  for (let i = 0; i < count; i++) {
    if (!(omega[i]! > (i === 0 ? 0 : omega[i - 1]!))) {
      throw new RangeError(`frequency ${i} is ${omega[i]!} rad/s: frequencies must rise from above 0`);
    }
    const size = Math.hypot(re[i]!, im[i]!);
    if (!Number.isFinite(size)) {
      return { unavailable: `the response is not finite at ${frequencyText(omega[i]!)}` };
    }
    x.push(Math.log(omega[i]!));
    logGain.push(size > 1e-280 ? Math.log(size) : NOTHING);
    const before = phase.at(-1);
    const principal = size > 0 ? Math.atan2(im[i]!, re[i]!) : (before ?? 0);
    phase.push(before === undefined ? principal : unwrapTowards(principal, before));
  }
  // The interpolation keeps the table; the curve may gain points.
  const knots = { x: [...x], logGain: [...logGain], phase: [...phase] };
  const curve: ResponseCurve = {
    x,
    logGain,
    phase,
    at: (at) => {
      const k = intervalOf(knots.x, at);
      // Whole turns by which the curve has been shifted since.
      const shift = curve.phase[0]! - knots.phase[0]!;
      return {
        logGain: interpolateCubic(knots.x, knots.logGain, at, k),
        phase: interpolateCubic(knots.x, knots.phase, at, k) + shift,
      };
    },
  };
  addTurningPoints(curve);
  return curve;
}

/**
 * Puts a point where the gain comes closest to 1 or the phase to half a turn between two points: a pair of crossings that
 * falls between two points would go unseen otherwise.
 */
function addTurningPoints(curve: ResponseCurve): void {
  const { x, logGain, phase } = curve;
  const found: number[] = [];
  const consider = (value: (i: number) => number, i: number): void => {
    const [before, here, after] = [value(i - 1), value(i), value(i + 1)];
    const isClosest =
      here > 0 ? before > here && after >= here && after > 0 : before < here && after <= here && after < 0;
    if (here === 0 || !isClosest || before * here <= 0) return;
    if (Math.abs(here) > Math.abs(before - here) + Math.abs(after - here)) return;
    const a = (here - before) / (x[i]! - x[i - 1]!);
    const b = (after - here) / (x[i + 1]! - x[i]!);
    const bend = (b - a) / (x[i + 1]! - x[i - 1]!);
    const vertex = (x[i - 1]! + x[i]!) / 2 - a / (2 * bend);
    if (vertex > x[i - 1]! && vertex < x[i + 1]!) found.push(vertex);
  };
  for (let i = 1; i + 1 < x.length; i++) {
    if (logGain[i]! < NEGLIGIBLE) continue;
    consider((k) => logGain[k]!, i);
    const halfTurn = Math.PI * (2 * Math.round((phase[i]! - Math.PI) / (2 * Math.PI)) + 1);
    consider((k) => phase[k]! - halfTurn, i);
  }
  for (const at of found) {
    const i = intervalOf(x, at);
    if (at - x[i]! < 1e-9 || x[i + 1]! - at < 1e-9) continue;
    const point = curve.at(at, i);
    x.splice(i + 1, 0, at);
    logGain.splice(i + 1, 0, point.logGain);
    phase.splice(i + 1, 0, point.phase);
  }
}

export const frequencyText = (omega: number): string => `${(omega / (2 * Math.PI)).toPrecision(3)} Hz`;
