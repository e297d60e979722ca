import type { Flight, Interval } from '@settle/parser';
import { indexAtOrAfter, quantile, rotorSignals } from '../signals.js';

/** Where oscillations are looked for; what turns with the rotors is vibration. */
export interface SearchBand {
  readonly lowestHz: number;
  readonly highestHz: number;
  readonly why: string;
}

const LOWEST_HZ = 0.1;
/** No rate loop of a hovering aircraft with lags of its rotors oscillates faster (common practice, no source). */
const HIGHEST_HZ = 30;
/** Rotor lines wander with throttle; stay this share below the slowest. */
const BELOW_ROTORS = 0.8;

export function searchBand(flight: Flight, hover: Interval): SearchBand {
  let slowest = Number.POSITIVE_INFINITY;
  for (const signal of rotorSignals(flight)) {
    const { timeS } = signal.clock;
    const speeds = signal.values.slice(
      indexAtOrAfter(timeS, hover.startS),
      indexAtOrAfter(timeS, hover.endS),
    );
    const low = quantile(speeds, 0.05);
    if (low > 1) slowest = Math.min(slowest, low);
  }
  if (BELOW_ROTORS * slowest < HIGHEST_HZ)
    return {
      lowestHz: LOWEST_HZ,
      highestHz: BELOW_ROTORS * slowest,
      why: `up to 80 % of the slowest rotor's ${slowest.toFixed(1)} revolutions per second; above that is vibration`,
    };
  return {
    lowestHz: LOWEST_HZ,
    highestHz: HIGHEST_HZ,
    why: Number.isFinite(slowest)
      ? 'up to 30 Hz, well below the rotors'
      : 'up to 30 Hz; without rotor speeds, a line near that could still be a slow rotor',
  };
}
