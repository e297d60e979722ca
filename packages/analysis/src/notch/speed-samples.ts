/**
 * Rotor speed at a few moments that stand for the whole hover, and what a schedule would make of it at the same moments: the pairs
 * show what is left of a line's wandering once a notch follows.
 */
import type { Flight } from '@settle/parser';
import { firstSignal, interpolate, motorSignals, smoothed } from '../signals.js';
import { isUnavailable } from '../unavailable.js';
import type { RotorStudy, StudiedLine, VibrationStudy } from '../vibration/vibration-study.js';
import type { Schedule } from './plan-types.js';

/** Moments, sorted by rotor speed. */
export const SAMPLES = 9;
/** Steady lines wander from hover to hover, and speeds are measured, by about this much (judgement, no source). */
const IN_HAND = 0.01;
/** The exponent of throttle where the log does not show it: thrust ∝ speed², throttle about thrust (momentum theory). */
const PLAIN_EXPONENT = 0.5;
/** The throttle is smoothed before it tunes a filter, s (common practice, no source). */
const SMOOTHING_S = 0.2;

export interface SpeedSamples {
  /** Mean over the rotors at the moments, Hz. */
  readonly meanHz: Float64Array;
  /** Of one rotor at the same moments. */
  readonly rotorHz: ReadonlyMap<number, Float64Array>;
  /** Rotor speed as a schedule has it at the same moments. */
  readonly schedules: Readonly<Partial<Record<Schedule, Float64Array>>>;
  readonly hoverHz: number;
  readonly exponent: number;
  readonly hoverThrottle: number | null;
}

/** Mean rotor speed on a clock of its own. */
export interface SpeedCourse {
  readonly timeS: Float64Array;
  readonly hz: Float64Array;
}

export function sampleSpeeds(flight: Flight, study: VibrationStudy): SpeedSamples | null {
  if (isUnavailable(study.rotor)) return null;
  const rotor = study.rotor;
  const course = meanCourse(rotor);
  const exponent = rotor.throttleExponent ?? PLAIN_EXPONENT;
  const schedules: Partial<Record<Schedule, Float64Array>> = {};
  if (course === null) {
    const meanHz = Float64Array.from(
      { length: SAMPLES },
      (_, k) => rotor.lowHz + ((k + 0.5) / SAMPLES) * (rotor.highHz - rotor.lowHz),
    );
    return {
      meanHz,
      rotorHz: new Map(),
      schedules,
      hoverHz: rotor.hoverHz,
      exponent,
      hoverThrottle: rotor.hoverThrottle,
    };
  }
  const order = Array.from(course.hz, (_, i) => i).sort((a, b) => course.hz[a]! - course.hz[b]!);
  const moments = Array.from(
    { length: SAMPLES },
    (_, k) => order[Math.min(order.length - 1, Math.floor(((k + 0.5) / SAMPLES) * order.length))]!,
  );
  // On the whole clock first: the moments are in order of speed, and interpolation goes forward in time.
  const at = (timeS: Float64Array, hz: Float64Array): Float64Array => {
    const whole = interpolate(timeS, hz, course.timeS);
    return Float64Array.from(moments, (i) => whole[i]!);
  };
  if (rotor.from === 'speed-channel') schedules['rotor-speed'] = at(course.timeS, course.hz);
  const throttle = scheduleByThrottle(flight, rotor, course.timeS);
  if (throttle !== null) schedules.throttle = Float64Array.from(moments, (i) => throttle[i]!);
  return {
    meanHz: at(course.timeS, course.hz),
    rotorHz: new Map(
      rotor.tracks.flatMap((track) =>
        track.rotor === null || track.hz.length === 0
          ? []
          : [[track.rotor, at(track.timeS, track.hz)] as const],
      ),
    ),
    schedules,
    hoverHz: rotor.hoverHz,
    exponent,
    hoverThrottle: rotor.hoverThrottle,
  };
}

/** The track that stands for all rotors, else the mean of theirs; null without any. */
export function meanCourse(rotor: RotorStudy): SpeedCourse | null {
  const tracks = rotor.tracks.filter((track) => track.timeS.length > 1);
  const all = tracks.find((track) => track.rotor === null) ?? null;
  const first = all ?? tracks[0];
  if (first === undefined) return null;
  if (all !== null) return finiteOnly(all.timeS, all.hz);
  const others = tracks.map((track) => interpolate(track.timeS, track.hz, first.timeS));
  return finiteOnly(
    first.timeS,
    first.hz.map((_, i) => others.reduce((sum, hz) => sum + hz[i]! / others.length, 0)),
  );
}

function finiteOnly(timeS: Float64Array, hz: Float64Array): SpeedCourse | null {
  const kept = Array.from(hz, (_, i) => i).filter((i) => Number.isFinite(hz[i]!) && hz[i]! > 0);
  if (kept.length < 2) return null;
  return { timeS: Float64Array.from(kept, (i) => timeS[i]!), hz: Float64Array.from(kept, (i) => hz[i]!) };
}

/** Rotor speed that the throttle makes one expect, hoverHz·(throttle/hover throttle)^exponent; null without a throttle. */
export function scheduleByThrottle(
  flight: Flight,
  rotor: RotorStudy,
  timeS: Float64Array,
): Float64Array | null {
  const throttle = throttleAt(flight, timeS);
  if (throttle === null) return null;
  const usable = throttle.filter((v) => Number.isFinite(v) && v > 0);
  if (usable.length < throttle.length / 2) return null;
  const level = rotor.hoverThrottle ?? usable.reduce((sum, v) => sum + v / usable.length, 0);
  if (!(level > 0)) return null;
  const exponent = rotor.throttleExponent ?? PLAIN_EXPONENT;
  return throttle.map((v) => rotor.hoverHz * ((v > 0 ? v : level) / level) ** exponent);
}

/** The throttle, else the mean of the motor commands, smoothed. */
function throttleAt(flight: Flight, timeS: Float64Array): Float64Array | null {
  const signal = firstSignal(flight, 'throttle');
  const sources = signal === null ? motorSignals(flight) : [signal];
  if (sources.length === 0) return null;
  const sum = new Float64Array(timeS.length);
  for (const { clock, values } of sources) {
    const smooth = smoothed(values, SMOOTHING_S * clock.sampleRateHz);
    interpolate(clock.timeS, smooth, timeS).forEach((v, i) => (sum[i] = sum[i]! + v / sources.length));
  }
  return sum;
}

/**
 * Frequencies of a line at the moments. A line of the rotors goes with their speed around its own mean; any other ranges evenly
 * over its 5th to 95th percentile and as much beyond as belongs to them. A little is kept in hand either way.
 */
export function lineSamples(line: StudiedLine, speeds: SpeedSamples | null): Float64Array {
  const inHand = (k: number): number => 1 + (k % 2 === 0 ? IN_HAND : -IN_HAND);
  if (speeds === null || line.order === null) {
    const wide = (line.highHz - line.lowHz) / 0.9;
    const middle = (line.highHz + line.lowHz) / 2;
    return Float64Array.from(
      { length: SAMPLES },
      (_, k) => (middle + wide * ((k + 0.5) / SAMPLES - 0.5)) * inHand(k),
    );
  }
  const own = (line.rotor === null ? undefined : speeds.rotorHz.get(line.rotor)) ?? speeds.meanHz;
  const mean = own.reduce((sum, hz) => sum + hz / SAMPLES, 0);
  return own.map((hz, k) => ((line.frequencyHz * hz) / mean) * inHand(k));
}
