import type { Flight, Interval } from '@settle/parser';
import { WINDOW_CYCLES } from './narrowness.js';
import { indexAtOrAfter, quantile, rotorSignals } from '../signals.js';

/** Where oscillations are looked for; what turns with the rotors is vibration. */
export interface SearchBand {
  readonly lowestHz: number;
  readonly highestHz: number;
  readonly why: string;
}

const LOWEST_HZ = 0.1;
/** A sampled sinusoid needs room below the Nyquist frequency for an octave around it. */
const LOG_SHARE = 0.4;
/** No rate loop of a hovering aircraft with lags of its rotors oscillates faster (common practice, no source). */
const HIGHEST_HZ = 30;
/** Rotor lines wander with throttle; stay this share below the slowest. */
const BELOW_ROTORS = 0.8;

/**
 * The band for one hover: at least five cycles in its length, at most two fifths of the fastest rate or attitude log.
 *
 * @param sampleRateHz of the fastest of those channels
 */
export function searchBand(flight: Flight, hover: Interval, sampleRateHz: number): SearchBand {
  const lowestHz = Math.max(LOWEST_HZ, WINDOW_CYCLES / (hover.endS - hover.startS));
  const below = belowRotors(flight, hover);
  const logLimitHz = LOG_SHARE * sampleRateHz;
  if (logLimitHz < below.highestHz)
    return {
      lowestHz,
      highestHz: logLimitHz,
      why: `up to two fifths of the ${sampleRateHz.toFixed(0)} Hz at which the motion is logged`,
    };
  return { lowestHz, ...below };
}

function belowRotors(flight: Flight, hover: Interval): { highestHz: number; why: string } {
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
      highestHz: BELOW_ROTORS * slowest,
      why: `up to 80 % of the slowest rotor's ${slowest.toFixed(1)} revolutions per second; above that is vibration`,
    };
  return {
    highestHz: HIGHEST_HZ,
    why: Number.isFinite(slowest)
      ? 'up to 30 Hz, well below the rotors'
      : 'up to 30 Hz; without rotor speeds, a line near that could still be a slow rotor',
  };
}
