/** Gain and phase margins and sensitivity peak of a loop of which the frequency response is known. */
import type { Unavailable } from '../unavailable.js';
import {
  findStableGains,
  staticLogGain,
  traceLoop,
  type LoopStructure,
  type StableGains,
} from './nyquist.js';
import {
  interpolateResponse,
  wrapPhase,
  type ResponseCurve,
  type ResponseFunction,
  type ResponseTable,
} from './response-curve.js';
import { findMinimum, findRoot } from './search.js';

/** L(jω) of negative feedback, 1 + L = 0 being the verge of instability. */
export interface LoopToJudge extends ResponseFunction, LoopStructure {}

export interface LoopTable extends ResponseTable, LoopStructure {}

export interface LoopMargins {
  /** Whether the closed loop is stable. On the verge (within rounding) it counts as unstable. */
  readonly stable: boolean;
  /**
   * dB by which the gain may rise before the loop becomes unstable. Of an unstable loop minus the least cut that makes it
   * stable. null: no such limit in the band.
   */
  readonly gainMarginDb: number | null;
  /** dB by which it may fall. Of an unstable loop minus the least rise that makes it stable. null: no such limit. */
  readonly gainReductionMarginDb: number | null;
  /**
   * Least distance of the phase from ±180° at any gain crossing, degrees; of an unstable loop the worst negative one. null: no
   * gain crossing (of an unstable loop: none with the phase beyond).
   */
  readonly phaseMarginDeg: number | null;
  /** Gain crossing that the phase margin belongs to. */
  readonly crossoverHz: number | null;
  /** Frequency at which the loop oscillates at the limit of `gainMarginDb`; 0: it diverges without oscillating. */
  readonly phaseCrossoverHz: number | null;
  /**
   * Largest |1/(1 + L)| from ω = 0 to the end of the band, and at least the 1 it has where L has died away (unless the
   * response ends real). null for an unstable loop.
   */
  readonly sensitivityPeak: number | null;
}

interface GainCrossing {
  readonly omega: number;
  /** rad from ±180°, −π … π; positive: the phase lags less than half a turn. */
  readonly phase: number;
}

/** Relative distance from 1 of a limiting gain, and rad from half a turn, below which a loop is on the verge. */
const ON_THE_VERGE = 1e-9;

/**
 * Margins of a loop given as a function, over all its crossings.
 *
 * The function is evaluated some hundreds of times: on a logarithmic grid, closer where the curve turns fast, and at the
 * crossings. Where the lowest frequency is too high to show the course towards ω = 0, lower ones are evaluated, four decades at
 * most. Meaning and signs of the results: {@link LoopMargins}.
 *
 * @throws RangeError on frequencies that do not rise from above 0, or counts of poles that are no counts
 */
export function findLoopMargins(loop: LoopToJudge): LoopMargins | Unavailable {
  const curve = traceLoop(loop);
  return 'unavailable' in curve ? curve : marginsOfCurve(curve, loop);
}

/**
 * Margins of a loop given as a table, cubic between its points, which must be closer than half a turn.
 *
 * The table must reach down to where gain and phase run as the poles at the origin make them. Of one that ends above a slow
 * integral term state the poles at the origin that it shows: one for a rate loop that falls by 20 dB a decade with the phase near
 * −90°. The verdict is the same as long as nothing crosses further down.
 *
 * @throws RangeError on fewer than three points, unequal lengths, frequencies that do not rise from above 0, or counts of
 *   poles that are no counts
 */
export function marginsOnGrid(loop: LoopTable): LoopMargins | Unavailable {
  const curve = interpolateResponse(loop);
  return 'unavailable' in curve ? curve : marginsOfCurve(curve, loop);
}

/** Gain margin (a factor) that a sensitivity peak guarantees: Ms/(Ms − 1). K. J. Åström and T. Hägglund, 1995; from memory. */
export const guaranteedGainMargin = (sensitivityPeak: number): number =>
  sensitivityPeak > 1 ? sensitivityPeak / (sensitivityPeak - 1) : Infinity;

/** Phase margin in degrees that a sensitivity peak guarantees: 2·asin(1/(2·Ms)). Same source. */
export const guaranteedPhaseMarginDeg = (sensitivityPeak: number): number =>
  (360 / Math.PI) * Math.asin(Math.min(1, 1 / (2 * sensitivityPeak)));

function marginsOfCurve(curve: ResponseCurve, structure: LoopStructure): LoopMargins | Unavailable {
  const ranges = findStableGains(curve, structure);
  if ('unavailable' in ranges) return ranges;
  const crossings = findGainCrossings(curve);

  const holding = ranges.find(({ low, high }) => low < 1 - ON_THE_VERGE && high > 1 + ON_THE_VERGE) ?? null;
  // A curve that runs along the real axis touches −1 without crossing.
  const touches = crossings.some(({ phase }) => Math.abs(phase) < ON_THE_VERGE);
  const stable = holding !== null && !touches;
  const limits = stable ? limitsOfStable(holding) : limitsOfUnstable(ranges);
  const nearest = choosePhaseMargin(crossings, stable);
  return {
    stable,
    gainMarginDb: limits.up === null ? null : decibel(limits.up),
    gainReductionMarginDb: limits.down === null ? null : decibel(1 / limits.down),
    phaseMarginDeg: nearest === null ? null : (nearest.phase * 180) / Math.PI,
    crossoverHz: nearest === null ? null : nearest.omega / (2 * Math.PI),
    phaseCrossoverHz: limits.upOmega === null ? null : limits.upOmega / (2 * Math.PI),
    sensitivityPeak: stable ? findSensitivityPeak(curve, structure) : null,
  };
}

interface GainLimits {
  readonly up: number | null;
  readonly upOmega: number | null;
  readonly down: number | null;
}

const limitsOfStable = ({ low, high, highOmega }: StableGains): GainLimits => ({
  up: Number.isFinite(high) ? high : null,
  upOmega: highOmega,
  down: low > 0 ? low : null,
});

/** The nearest gain below 1 at which the loop turns stable is how far it must come down, the one above how far up. */
function limitsOfUnstable(ranges: readonly StableGains[]): GainLimits {
  const below = ranges.filter(({ high }) => high <= 1 + ON_THE_VERGE).at(-1);
  const above = ranges.find(({ low }) => low >= 1 - ON_THE_VERGE);
  return { up: below?.high ?? null, upOmega: below?.highOmega ?? null, down: above?.low ?? null };
}

function findGainCrossings(curve: ResponseCurve): GainCrossing[] {
  const { x, logGain } = curve;
  const crossings: GainCrossing[] = [];
  for (let i = 0; i + 1 < x.length; i++) {
    const from = logGain[i]!;
    const to = logGain[i + 1]!;
    if (from >= 0 === to >= 0) continue;
    const at = findRoot((u) => curve.at(u, i).logGain, x[i]!, x[i + 1]!, from, to);
    crossings.push({ omega: Math.exp(at), phase: wrapPhase(curve.at(at, i).phase + Math.PI) });
  }
  return crossings;
}

function choosePhaseMargin(crossings: readonly GainCrossing[], stable: boolean): GainCrossing | null {
  let chosen: GainCrossing | null = null;
  for (const crossing of crossings) {
    const candidate = stable ? { ...crossing, phase: Math.abs(crossing.phase) } : crossing;
    if (!stable && candidate.phase >= 0) continue;
    if (chosen === null || candidate.phase < chosen.phase) chosen = candidate;
  }
  return chosen;
}

/** |1 + L|², which is least where the curve comes closest to −1. */
const squaredDistance = (logGain: number, phase: number): number => {
  const gain = Math.exp(logGain);
  // (1 − |L|)² + 2·|L|·(1 + cos φ): no cancellation close to −1.
  return (1 - gain) ** 2 + 4 * gain * Math.cos(phase / 2) ** 2;
};

/** Every local minimum that may be the least is refined: a light resonance can come closer than the crossover does. */
function findSensitivityPeak(
  curve: ResponseCurve,
  { polesAtOrigin, endsReal = false }: LoopStructure,
): number {
  const { x } = curve;
  const squares = x.map((_, i) => squaredDistance(curve.logGain[i]!, curve.phase[i]!));
  let least = Math.min(...squares);
  const limit = 1.5 * least;
  for (let i = 0; i < x.length; i++) {
    const before = squares[i - 1] ?? Infinity;
    const after = squares[i + 1] ?? Infinity;
    if (squares[i]! > limit || squares[i]! > before || squares[i]! > after) continue;
    const at = (u: number): number => {
      const point = curve.at(u, i > 0 && u < x[i]! ? i - 1 : Math.min(i, x.length - 2));
      return squaredDistance(point.logGain, point.phase);
    };
    least = Math.min(least, at(findMinimum(at, x[Math.max(0, i - 1)]!, x[Math.min(x.length - 1, i + 1)]!)));
  }
  if (polesAtOrigin === 0) {
    // The curve starts on the real axis at ω = 0, on the half where its first point is.
    const start = Math.cos(curve.phase[0]!) < 0 ? Math.PI : 0;
    least = Math.min(least, squaredDistance(staticLogGain(curve), start));
  }
  return 1 / Math.sqrt(endsReal ? least : Math.min(1, least));
}

/** Never −0. */
const decibel = (ratio: number): number => 20 * Math.log10(ratio) + 0;
