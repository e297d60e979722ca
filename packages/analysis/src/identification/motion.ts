/** How an axis moves, as far as it shows without a plant: how far, how fast, and how restless its demand is. */
import { smoothed } from '../signals.js';

/** How an axis moves, whatever makes it. */
export interface Motion {
  /** Standard deviation of the rate below some 5 Hz, rad/s. */
  readonly rateStd: number;
  /** Mean frequency of that motion (from its derivative), Hz. */
  readonly rateHz: number;
  /** Mean frequency of the demand asked, Hz, and the standard deviation of what of it is faster than some 5 Hz. */
  readonly demandHz: number;
  readonly fastDemandStd: number;
  /** Standard deviation of the stick, −1…1; 0 without one. */
  readonly stickStd: number;
}

/** Two moving averages of this length let through what is slower than some 5 Hz. */
const SMOOTHING_S = 0.12;

export function motionOf(
  rate: Float64Array | null,
  demand: Float64Array | null,
  stick: Float64Array | null,
  stepS: number,
): Motion {
  const width = Math.max(1, Math.round(SMOOTHING_S / stepS));
  const slow = rate === null ? null : frequencyOf(smoothed(smoothed(rate, width), width), stepS);
  const asked = demand === null ? null : frequencyOf(smoothed(demand, 1), stepS);
  const calm = demand === null ? null : smoothed(smoothed(demand, width), width);
  const fast =
    demand === null
      ? null
      : frequencyOf(
          demand.map((v, i) => v - calm![i]!),
          stepS,
        );
  return {
    rateStd: slow?.std ?? 0,
    rateHz: slow?.hz ?? 0,
    demandHz: asked?.hz ?? 0,
    fastDemandStd: fast?.std ?? 0,
    stickStd: stick === null ? 0 : frequencyOf(stick, stepS).std,
  };
}

/** Standard deviation, and that of the derivative over it: the mean frequency of a motion (S. O. Rice, 1944). */
function frequencyOf(values: Float64Array, stepS: number): { std: number; hz: number } {
  let mean = 0;
  for (const v of values) mean += v / values.length;
  let square = 0;
  let slope = 0;
  for (let i = 1; i < values.length; i++) {
    square += (values[i]! - mean) ** 2;
    slope += ((values[i]! - values[i - 1]!) / stepS) ** 2;
  }
  if (!(square > 0)) return { std: 0, hz: 0 };
  return { std: Math.sqrt(square / values.length), hz: Math.sqrt(slope / square) / (2 * Math.PI) };
}
