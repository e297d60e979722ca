/** Where proportional control alone makes a loop oscillate. */
import type { Unavailable } from '../unavailable.js';
import { findStableGains, traceLoop, type LoopStructure } from './nyquist.js';
import type { ResponseFunction } from './response-curve.js';

export interface UltimatePoint {
  /** Factor on the response at which the closed loop stops being stable. */
  readonly gain: number;
  readonly frequencyHz: number;
  readonly periodS: number;
}

/**
 * Ultimate gain and frequency: the first gain, counted from 0 up, above which a closed loop that was stable is no longer, and
 * the phase crossing it belongs to.
 *
 * @throws RangeError as {@link traceLoop}
 */
export function findUltimatePoint(
  loop: ResponseFunction & Partial<LoopStructure>,
): UltimatePoint | Unavailable {
  const whole = { ...loop, unstablePoles: loop.unstablePoles ?? 0, polesAtOrigin: loop.polesAtOrigin ?? 0 };
  const curve = traceLoop(whole);
  if ('unavailable' in curve) return curve;
  const ranges = findStableGains(curve, whole);
  if ('unavailable' in ranges) return ranges;
  const first = ranges[0];
  if (first === undefined) return { unavailable: 'no proportional gain makes this loop stable' };
  if (first.highOmega === null) return { unavailable: 'no gain within the band makes this loop oscillate' };
  if (first.highOmega === 0)
    return { unavailable: 'at its highest gain this loop diverges without oscillating' };
  const frequencyHz = first.highOmega / (2 * Math.PI);
  return { gain: first.high, frequencyHz, periodS: 1 / frequencyHz };
}
