import type { Flight, Interval } from '@settle/parser';
import { evenRecord, firstSignal, motorSignals, quantile, smoothed, type EvenRecord } from '../signals.js';

/** One number that is low on the ground and high in hover, and what it is made of. */
export interface PowerRecord extends EvenRecord {
  readonly from: string;
  /** Level that carries the aircraft. */
  readonly hoverLevel: number;
  /** Level of rotors at idle, or nothing; null when the record never goes low. */
  readonly idleLevel: number | null;
}

const RATE_HZ = 50;
/** Power below this share of the hover level cannot carry the aircraft. */
export const CARRIES_SHARE = 0.6;
/** Inertial sensors shake at least this many times more in flight than on the ground. */
const SHAKE_RATIO = 4;

/** No motor that lifts anything is told less than this, share of full command (common practice, no source). */
export const TURNS_SHARE = 0.05;

/** Motor commands are there, and none of them ever asks for more than idling. */
export function motorsNeverTurn(flight: Flight): boolean {
  const motors = motorSignals(flight);
  return motors.length > 0 && motors.every(({ values }) => values.every((v) => !(v > TURNS_SHARE)));
}

/**
 * Finds what tells ground from flight: motor commands, else the throttle, else how strongly the inertial sensors shake.
 *
 * @returns null when the flight has none of them
 */
export function powerRecord(flight: Flight): PowerRecord | null {
  const whole: Interval = { startS: 0, endS: Number.POSITIVE_INFINITY };
  const motors = motorSignals(flight).map((signal) => evenRecord(signal, whole, RATE_HZ));
  const usable = motors.filter((m): m is EvenRecord => m !== null);
  if (usable.length > 0) {
    const length = Math.min(...usable.map((m) => m.values.length));
    const mean = new Float64Array(length);
    for (const motor of usable)
      for (let i = 0; i < length; i++) mean[i] = mean[i]! + motor.values[i]! / usable.length;
    return levels({ ...usable[0]!, values: mean }, 'motor commands', 1);
  }
  const throttle = firstSignal(flight, 'throttle', 'stick.throttle');
  if (throttle !== null) {
    const record = evenRecord(throttle, whole, RATE_HZ);
    if (record !== null) return levels(record, 'throttle', 1);
  }
  return shakeRecord(flight);
}

function levels(record: EvenRecord, from: string, smoothS: number): PowerRecord | null {
  // The level is read from the smoothed record, so that motors banging between their stops still show their mean.
  const slow = smoothed(record.values, smoothS * 0.3 * record.sampleRateHz);
  const top = quantile(slow, 0.95);
  if (!(top > 0)) return null;
  const hoverLevel = quantile(
    slow.filter((v) => v > 0.6 * top),
    0.5,
  );
  const low = slow.filter((v) => v < CARRIES_SHARE * hoverLevel);
  const enough = low.length >= 0.2 * record.sampleRateHz;
  return { ...record, values: slow, from, hoverLevel, idleLevel: enough ? quantile(low, 0.25) : null };
}

/** Level of fast motion of gyro or accelerometer, which rises with rotor speed squared. */
function shakeRecord(flight: Flight): PowerRecord | null {
  const signal = firstSignal(
    flight,
    'accel.z',
    'accel.x',
    'gyro.x',
    'gyro.y',
    'rate.roll.measured',
    'rate.pitch.measured',
  );
  if (signal === null) return null;
  const record = evenRecord(signal, { startS: 0, endS: Number.POSITIVE_INFINITY });
  if (record === null || record.sampleRateHz < 20) return null;
  const { values, sampleRateHz } = record;
  const per = Math.max(1, Math.round(sampleRateHz / RATE_HZ));
  const count = Math.floor((values.length - 2) / per);
  if (count < 20) return null;
  const power = new Float64Array(count);
  for (let i = 0; i < count; i++) {
    // Second differences pass what is fast and leave out attitude and gravity.
    for (let j = 0; j < per; j++) {
      const k = i * per + j;
      power[i] = power[i]! + (values[k]! - 2 * values[k + 1]! + values[k + 2]!) ** 2 / per;
    }
  }
  const rate = sampleRateHz / per;
  const level = smoothed(power, 0.25 * rate).map(Math.sqrt);
  const high = quantile(level, 0.75);
  const low = quantile(level, 0.02);
  const name = `shaking of ${signal.channel}`;
  const base = { startS: record.startS, sampleRateHz: rate, values: level, from: name };
  if (!(low * SHAKE_RATIO < high)) return { ...base, hoverLevel: high, idleLevel: null };
  return { ...base, hoverLevel: high, idleLevel: low };
}
