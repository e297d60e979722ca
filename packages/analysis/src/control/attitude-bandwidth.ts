/**
 * Bandwidth and phase delay of the attitude response to control, as handling-qualities work defines them: ADS-33E-PRF, 29 Feb
 * 2000, and J. Ham, C. Gardner and M. Tischler, "Flight Testing and Frequency Domain Analysis for Rotorcraft Handling Qualities
 * Characteristics". Its levels for piloted machines are no measure for a small one and are left out.
 */
import type { Unavailable } from '../unavailable.js';
import { intervalOf } from './interpolate.js';
import {
  frequencyText,
  interpolateResponse,
  traceResponse,
  type ResponseCurve,
  type ResponseFunction,
  type ResponseTable,
} from './response-curve.js';
import { findRoot } from './search.js';

/** What a steady stick asks for: a steady rate of turn, or a steady angle. */
export type CommandType = 'rate' | 'attitude';

export interface AttitudeBandwidth {
  /** Frequency at which the attitude lags the control by 180°. */
  readonly phaseCrossoverHz: number;
  /** Where 45° are left to that; null: beyond already at the lowest frequency. */
  readonly phaseLimitedHz: number | null;
  /** Where the gain is 6 dB above that at the phase crossover; null: nowhere above the lowest frequency. */
  readonly gainLimitedHz: number | null;
  /** Rate command: the lesser of both. Attitude command: the phase-limited one. null: what it needs is null. */
  readonly bandwidthHz: number | null;
  readonly limitedBy: 'phase' | 'gain' | null;
  /** Phase beyond 180° at twice the phase crossover, per rad/s of that; null: the band ends before. */
  readonly phaseDelayS: number | null;
  /** Phase there, degrees. */
  readonly phaseAtTwiceDeg: number | null;
}

const HALF_TURN = Math.PI;
const SIX_DB = (6 / 20) * Math.LN10;

/**
 * @param source response of attitude to control, as a function or a table; at its lowest frequency the phase must lie between
 *   −270° and +90°, and a table must have points closer than half a turn
 */
export function findAttitudeBandwidth(
  source: ResponseFunction | ResponseTable,
  command: CommandType,
): AttitudeBandwidth | Unavailable {
  const curve = 'response' in source ? traceResponse(source) : interpolateResponse(source);
  if ('unavailable' in curve) return curve;
  // Control to attitude starts near −90° (rate command) or 0° (attitude command).
  const shift = curve.phase[0]! > Math.PI / 2 ? -2 * Math.PI : 0;
  const phase = curve.phase.map((value) => value + shift);
  const phaseAt = (x: number, i: number): number => curve.at(x, i).phase + shift;

  const crossover = firstFall(curve, phase, phaseAt, -HALF_TURN);
  if (crossover === null) {
    const end = frequencyText(Math.exp(curve.x.at(-1)!));
    return { unavailable: `the attitude does not come to lag by 180° up to ${end}` };
  }
  const gainAt = (x: number, i: number): number => curve.at(x, i).logGain;
  const gainLevel = gainAt(crossover, intervalOf(curve.x, crossover)) + SIX_DB;
  const toHz = (x: number | null): number | null => (x === null ? null : Math.exp(x) / (2 * Math.PI));
  const before = (x: number | null): number | null => (x !== null && x <= crossover ? x : null);
  const phaseLimitedHz = toHz(firstFall(curve, phase, phaseAt, -0.75 * HALF_TURN));
  const gainLimitedHz = toHz(before(firstFall(curve, curve.logGain, gainAt, gainLevel)));

  const twice = crossover + Math.LN2;
  const phaseAtTwice = twice > curve.x.at(-1)! ? null : phaseAt(twice, intervalOf(curve.x, twice));
  return {
    phaseCrossoverHz: Math.exp(crossover) / (2 * Math.PI),
    phaseLimitedHz,
    gainLimitedHz,
    ...limitingBandwidth({ phaseLimitedHz, gainLimitedHz }, command),
    phaseDelayS: phaseAtTwice === null ? null : (-phaseAtTwice - HALF_TURN) / (2 * Math.exp(crossover)),
    phaseAtTwiceDeg: phaseAtTwice === null ? null : (phaseAtTwice * 180) / Math.PI,
  };
}

/** The bandwidth of the two limits that counts. A response with the gain limit below the phase limit invites oscillation with the pilot. */
export function limitingBandwidth(
  limits: Pick<AttitudeBandwidth, 'phaseLimitedHz' | 'gainLimitedHz'>,
  command: CommandType,
): Pick<AttitudeBandwidth, 'bandwidthHz' | 'limitedBy'> {
  const { phaseLimitedHz: phase, gainLimitedHz: gain } = limits;
  if (phase === null || (command === 'rate' && gain === null)) return { bandwidthHz: null, limitedBy: null };
  return command === 'rate' && gain! < phase
    ? { bandwidthHz: gain, limitedBy: 'gain' }
    : { bandwidthHz: phase, limitedBy: 'phase' };
}

/** ln ω at which a quantity of the curve first falls to a level from above; null: never. */
function firstFall(
  curve: ResponseCurve,
  values: readonly number[],
  at: (x: number, i: number) => number,
  level: number,
): number | null {
  for (let i = 0; i + 1 < values.length; i++) {
    const from = values[i]! - level;
    const to = values[i + 1]! - level;
    if (from > 0 && to <= 0) {
      return findRoot((x) => at(x, i) - level, curve.x[i]!, curve.x[i + 1]!, from, to);
    }
  }
  return null;
}
