/**
 * Stability of a feedback loop for any gain, from its frequency response alone: H. Nyquist, "Regeneration theory", Bell System
 * Technical Journal 11, 1932. The closed loop with g·L is stable when the curve L(jω), ω from −∞ to ∞ and closed around poles
 * at the origin, turns around −1/g anticlockwise once for each unstable pole of L. Turns are counted where the curve crosses
 * the negative real axis beyond −1/g, so one list of crossings answers for every g.
 */
import type { Unavailable } from '../unavailable.js';
import { frequencyText, traceResponse, type ResponseCurve, type ResponseFunction } from './response-curve.js';
import { findRoot } from './search.js';

export interface LoopStructure {
  /** Poles of L in the open right half plane (of a sampled loop: outside the unit circle). */
  readonly unstablePoles: number;
  /** Poles of L at s = 0 (of a sampled loop: at z = 1). None may lie elsewhere on the imaginary axis. */
  readonly polesAtOrigin: number;
  /**
   * Whether L is real at the highest frequency: a sampled loop at half its sampling rate, or a response that levels out.
   * Default false: the response dies away beyond the highest frequency.
   */
  readonly endsReal?: boolean;
}

/** Gain factors g for which the closed loop of g·L is stable, and the frequencies at which it starts to oscillate at the ends. */
export interface StableGains {
  /** 0: any small gain. */
  readonly low: number;
  /** Infinity: no upper limit found. */
  readonly high: number;
  /** rad/s; 0: it diverges without oscillating; null at a limit of 0 or Infinity. */
  readonly lowOmega: number | null;
  readonly highOmega: number | null;
}

interface AxisCrossing {
  readonly omega: number;
  /** 1/|L|: the gain that takes the curve through −1. */
  readonly gain: number;
  /** Whole turns of the complete curve that this crossing adds for larger gains, anticlockwise positive. */
  readonly turns: number;
}

const DEGREE = Math.PI / 180;
/**
 * How far phase and slope at the lowest frequency may be from those of K/sⁿ before a function is asked for lower ones. Without
 * poles at the origin the gain there is a limit itself, and close to the axis it is the static one.
 */
const UNSETTLED = { withPoles: 45 * DEGREE, static: 5 * DEGREE, slope: 0.5 };
/** How far before it is undecided on which half of the real axis the curve starts. */
const UNDECIDED = { phase: 75 * DEGREE, slope: 0.6 };
/** Relative distance at which two crossings are one: rounding. */
const SAME = 1e-9;

/** Half turns below which the phase is: changes by one where the curve crosses the negative real axis. */
const branchOf = (phase: number): number => Math.floor((phase + Math.PI) / (2 * Math.PI));

/** Curve of a loop, its phase counted from ω = 0, down to frequencies where the poles at the origin decide it. */
export function traceLoop(loop: ResponseFunction & LoopStructure): ResponseCurve | Unavailable {
  requireCounts(loop);
  let lowestRadS = loop.lowestRadS;
  for (let decade = 0; decade < 4 && !isSettled(loop, lowestRadS); decade++) lowestRadS /= 10;
  const points = loop.points ?? 200;
  const span = Math.log(loop.highestRadS / loop.lowestRadS);
  const extended = Math.round(points * (Math.log(loop.highestRadS / lowestRadS) / span));
  return traceResponse({ ...loop, lowestRadS, points: extended });
}

/** Whether phase and slope at this frequency are about those of K/sⁿ. */
function isSettled(loop: ResponseFunction & LoopStructure, omega: number): boolean {
  const here = loop.response(omega);
  const next = loop.response(omega * 1.02);
  const phase = Math.atan2(here.im, here.re) + (loop.polesAtOrigin * Math.PI) / 2;
  const offset = Math.abs(phase - Math.PI * Math.round(phase / Math.PI));
  const slope = Math.log(Math.hypot(next.re, next.im) / Math.hypot(here.re, here.im)) / Math.log(1.02);
  // Where the response is not finite there is nothing to look for further down: the tracing will say so.
  if (!Number.isFinite(phase) || !Number.isFinite(slope)) return true;
  const nearEnough = loop.polesAtOrigin === 0 ? UNSETTLED.static : UNSETTLED.withPoles;
  return offset <= nearEnough && Math.abs(slope + loop.polesAtOrigin) < UNSETTLED.slope;
}

/**
 * All ranges of gain for which the closed loop is stable, rising.
 *
 * The phase of the curve is shifted by whole turns so that it counts from ω = 0.
 *
 * @throws RangeError on counts of poles that are not whole or below 0
 */
export function findStableGains(curve: ResponseCurve, structure: LoopStructure): StableGains[] | Unavailable {
  requireCounts(structure);
  const crossings = findAxisCrossings(curve, structure);
  if ('unavailable' in crossings) return crossings;

  const merged = mergeEqual(crossings.list);
  const ranges: StableGains[] = [];
  let turns = crossings.turnsOfSmallGain;
  let low: { gain: number; omega: number | null } | null =
    turns === structure.unstablePoles ? { gain: 0, omega: null } : null;
  for (const { gain, omega, turns: added } of merged) {
    turns += added;
    const stable = turns === structure.unstablePoles;
    if (low !== null && !stable) {
      ranges.push({ low: low.gain, lowOmega: low.omega, high: gain, highOmega: omega });
      low = null;
    } else if (low === null && stable) low = { gain, omega };
  }
  if (low !== null) ranges.push({ low: low.gain, lowOmega: low.omega, high: Infinity, highOmega: null });
  return ranges;
}

function findAxisCrossings(
  curve: ResponseCurve,
  { polesAtOrigin, endsReal = false }: LoopStructure,
): { list: AxisCrossing[]; turnsOfSmallGain: number } | Unavailable {
  const { x, logGain, phase } = curve;
  const last = x.length - 1;
  // A response that is above 1 where it ends might still cross anywhere; limits above 1/|L| at the end are not known.
  if (!endsReal && logGain[last]! >= 0) {
    return {
      unavailable: `the loop gain is still above 1 at ${frequencyText(Math.exp(x[last]!))}: higher frequencies are needed`,
    };
  }
  const highestGain = endsReal ? Infinity : Math.exp(-logGain[last]!);

  const start = anchorPhase(curve, polesAtOrigin);
  if ('unavailable' in start) return start;
  // From the real axis at s → 0 along the closing arc to the lowest frequency. A start on the negative half counts half.
  const startTurns = 2 * branchOf(phase[0]!) - (start.negative ? 1 : 0);

  const list: AxisCrossing[] = [];
  // Without poles at the origin the arc has no radius: the start is a crossing like any other.
  if (polesAtOrigin === 0 && start.negative) {
    list.push({ omega: 0, gain: Math.exp(-staticLogGain(curve)), turns: startTurns });
  }
  for (let i = 0; i < last; i++) {
    const from = branchOf(phase[i]!);
    const to = branchOf(phase[i + 1]!);
    if (from === to) continue;
    const level = (2 * Math.max(from, to) - 1) * Math.PI;
    const at = findRoot(
      (u) => curve.at(u, i).phase - level,
      x[i]!,
      x[i + 1]!,
      phase[i]! - level,
      phase[i + 1]! - level,
    );
    const gain = Math.exp(-curve.at(at, i).logGain);
    if (gain < highestGain) list.push({ omega: Math.exp(at), gain, turns: 2 * (to - from) });
  }
  if (endsReal) {
    // The curve goes on to the real axis and returns on the other side: half a crossing if that is the negative half.
    const nearest = Math.round(phase[last]! / Math.PI);
    if (nearest % 2 !== 0) {
      const above = branchOf(phase[last]!) === (nearest + 1) / 2;
      list.push({ omega: Math.exp(x[last]!), gain: Math.exp(-logGain[last]!), turns: above ? -1 : 1 });
    }
  }
  return { list, turnsOfSmallGain: polesAtOrigin === 0 ? 0 : startTurns };
}

/** Shifts the phase by whole turns so that it counts from the real axis at s → 0, and tells on which half it starts. */
function anchorPhase(curve: ResponseCurve, polesAtOrigin: number): { negative: boolean } | Unavailable {
  const asymptote = (-polesAtOrigin * Math.PI) / 2;
  const first = curve.phase[0]!;
  const halfTurns = Math.round((first - asymptote) / Math.PI);
  const offset = Math.abs(first - asymptote - halfTurns * Math.PI);
  const octave = octaveAbove(curve);
  const slope = (curve.logGain[octave]! - curve.logGain[0]!) / (curve.x[octave]! - curve.x[0]!);
  if (offset > UNDECIDED.phase || Math.abs(slope + polesAtOrigin) > UNDECIDED.slope) {
    return {
      unavailable:
        `at ${frequencyText(Math.exp(curve.x[0]!))} gain and phase do not yet run as ` +
        `${polesAtOrigin} poles at the origin make them: lower frequencies are needed`,
    };
  }
  const negative = halfTurns % 2 !== 0;
  const shift = asymptote + (negative ? Math.PI : 0) - (asymptote + halfTurns * Math.PI);
  if (shift !== 0) for (let i = 0; i < curve.phase.length; i++) curve.phase[i]! += shift;
  return { negative };
}

/** Index of the first knot at least an octave above the lowest frequency, or of the last. */
function octaveAbove({ x }: ResponseCurve): number {
  const i = x.findIndex((value) => value >= x[0]! + Math.LN2);
  return i < 0 ? x.length - 1 : i;
}

/** ln |L| at ω = 0 of a loop without poles there: it is even in ω, so the square of ω takes it to 0. */
export function staticLogGain(curve: ResponseCurve): number {
  const { x, logGain } = curve;
  const octave = octaveAbove(curve);
  return logGain[0]! - (logGain[octave]! - logGain[0]!) / (Math.exp(2 * (x[octave]! - x[0]!)) - 1);
}

/** Crossings by rising gain; those at the same gain as one, those that cancel left out. */
function mergeEqual(list: readonly AxisCrossing[]): AxisCrossing[] {
  const merged: AxisCrossing[] = [];
  for (const crossing of [...list].sort((a, b) => a.gain - b.gain)) {
    const before = merged.at(-1);
    if (before !== undefined && crossing.gain <= before.gain * (1 + SAME)) {
      merged[merged.length - 1] = { ...before, turns: before.turns + crossing.turns };
    } else merged.push(crossing);
  }
  return merged.filter(({ turns }) => turns !== 0);
}

function requireCounts({ unstablePoles, polesAtOrigin }: LoopStructure): void {
  for (const [name, count] of Object.entries({ unstablePoles, polesAtOrigin })) {
    if (!Number.isInteger(count) || count < 0) throw new RangeError(`${name} must be a count, not ${count}`);
  }
}
