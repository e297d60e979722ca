/** What is known of the rotors' speeds, for the reader: mean, range, and how they follow the throttle. */
import type { Flight, Interval } from '@settle/parser';
import { evenRecord, motorSignals, smoothed } from '../signals.js';
import { meanOf } from './relative-speeds.js';
import type { RotorAngles } from './rotor-angles.js';
import type { RotorStudy, RotorTrack } from './vibration-study.js';

const TRACK_HZ = 10;
/** Of the mean speed, as a share: measured on simulated flights. */
const SPEED_STD = { 'speed-channel': 0.001, spectrum: 0.008 } as const;
/** Of a rotor that does not show, as a share: a worn motor may turn a tenth slower than its command makes one expect. */
const UNSEEN_STD = 0.05;
/** The throttle must range over this ratio between its 5th and 95th percentile for an exponent to be fitted: ±15 %. */
const MOVES = 1.15 / 0.85;
/** Slower than a rotor follows, s. */
const SLOW_S = 1;

export function describeRotors(flight: Flight, interval: Interval, angles: RotorAngles): RotorStudy {
  const tracks = angles.rotors.map((rotor): RotorTrack => {
    const { values, startS, stepS } = rotor.speed;
    const every = Math.max(1, Math.round(1 / TRACK_HZ / stepS));
    const count = Math.floor((values.length - 1) / every) + 1;
    return {
      rotor: rotor.rotor,
      timeS: Float64Array.from({ length: count }, (_, i) => startS + i * every * stepS),
      hz: Float64Array.from({ length: count }, (_, i) => rotor.meanHz * values[i * every]!),
    };
  });
  const all = tracks.flatMap((track) => [...track.hz]).sort((a, b) => a - b);
  const throttle = meanCommand(flight, interval);
  const exponent =
    throttle === null || angles.from === 'spectrum' ? null : fitExponent(tracks, throttle.values, throttle);
  return {
    from: angles.from,
    tracks,
    hoverHz: meanOf(angles.rotors.map((rotor) => rotor.meanHz)),
    hoverStdHz:
      meanOf(angles.rotors.map((rotor) => rotor.meanHz)) *
      Math.hypot(SPEED_STD[angles.from], (UNSEEN_STD * Math.sqrt(angles.unseen)) / angles.rotors.length),
    unseen: angles.unseen,
    lowHz: all[Math.floor(0.05 * all.length)]!,
    highHz: all[Math.floor(0.95 * all.length)]!,
    throttleExponent: exponent?.slope ?? angles.exponent?.power ?? null,
    throttleExponentStd: exponent?.std ?? angles.exponent?.std ?? null,
    hoverThrottle: throttle === null ? null : meanOf(throttle.values),
    evidence: angles.evidence,
  };
}

interface Commands {
  readonly startS: number;
  readonly values: Float64Array;
}

/** Mean of the motor commands (else the throttle) at the rate of the tracks, slow part only. */
export function meanCommand(flight: Flight, interval: Interval): Commands | null {
  const throttle = flight.signals.get('throttle') ?? flight.signals.get('stick.throttle');
  const motors = motorSignals(flight);
  const signals = motors.length > 0 ? motors : throttle === undefined ? [] : [throttle];
  const records = signals.flatMap((signal) => evenRecord(signal, interval, TRACK_HZ) ?? []);
  if (records.length === 0) return null;
  const length = Math.min(...records.map((record) => record.values.length));
  const mean = Float64Array.from({ length }, (_, i) => meanOf(records.map((record) => record.values[i]!)));
  return { startS: records[0]!.startS, values: smoothed(mean, SLOW_S * TRACK_HZ) };
}

/** Whether the throttle ranges over ±15 % or more, or over another ratio. */
export function throttleMoves(values: Float64Array, ratio = MOVES): boolean {
  const sorted = [...values].sort((a, b) => a - b);
  const low = sorted[Math.floor(0.05 * sorted.length)] ?? 0;
  const high = sorted[Math.floor(0.95 * sorted.length)] ?? 0;
  return low > 0 && high / low >= ratio;
}

/** Slope of ln speed on ln throttle, both slow. */
function fitExponent(
  tracks: readonly RotorTrack[],
  values: Float64Array,
  { startS }: Commands,
): { slope: number; std: number } | null {
  if (!throttleMoves(values)) return null;
  const first = tracks[0]!;
  const length = Math.min(...tracks.map((track) => track.hz.length));
  const speed = smoothed(
    Float64Array.from({ length }, (_, i) => meanOf(tracks.map((track) => track.hz[i]!))),
    SLOW_S * TRACK_HZ,
  );
  const x: number[] = [];
  const y: number[] = [];
  for (let i = 0; i < length; i++) {
    const k = Math.round((first.timeS[i]! - startS) * TRACK_HZ);
    const command = values[k];
    if (command === undefined || !(command > 0) || !(speed[i]! > 0)) continue;
    x.push(Math.log(command));
    y.push(Math.log(speed[i]!));
  }
  if (x.length < 20) return null;
  const mx = meanOf(x);
  const my = meanOf(y);
  const xx = x.reduce((sum, v) => sum + (v - mx) ** 2, 0);
  const slope = x.reduce((sum, v, i) => sum + (v - mx) * (y[i]! - my), 0) / xx;
  const left = y.reduce((sum, v, i) => sum + (v - my - slope * (x[i]! - mx)) ** 2, 0);
  // Averaged over a second, so one independent value per second.
  const independent = Math.max(2, x.length / (SLOW_S * TRACK_HZ));
  return { slope, std: Math.hypot(Math.sqrt(left / independent / (xx / (x.length / independent))), 0.01) };
}
