/** The inertial sensors over an interval, each axis on an even clock. */
import {
  BODY_AXES,
  type BodyAxis,
  type ChannelName,
  type Flight,
  type Interval,
  type Signal,
} from '@settle/parser';
import { evenRecord, indexAtOrAfter, type EvenRecord } from '../signals.js';
import type { Sensor } from './vibration-study.js';

export interface SensorRecord {
  readonly sensor: Sensor;
  readonly axis: BodyAxis;
  readonly signal: Signal;
  readonly startS: number;
  readonly sampleRateHz: number;
  /** rad/s or m/s², mean removed. */
  readonly values: Float64Array;
}

const RATE_OF: Readonly<Record<BodyAxis, ChannelName>> = {
  x: 'rate.roll.measured',
  y: 'rate.pitch.measured',
  z: 'rate.yaw.measured',
};
/** Fewer samples show no line. */
const FEWEST_SAMPLES = 64;

/**
 * Gyro (else the controller's measured rates) and accelerometer.
 *
 * @returns gyro x, y, z, then accelerometer x, y, z, as far as they are logged
 */
export function sensorRecords(flight: Flight, interval: Interval): SensorRecord[] {
  const gyro = BODY_AXES.flatMap((axis) => {
    const signal = flight.signals.get(`gyro.${axis}`) ?? flight.signals.get(RATE_OF[axis]);
    return signal === undefined ? [] : [{ sensor: 'gyro' as const, axis, signal }];
  });
  const accel = BODY_AXES.flatMap((axis) => {
    const signal = flight.signals.get(`accel.${axis}`);
    return signal === undefined ? [] : [{ sensor: 'accel' as const, axis, signal }];
  });
  return [...gyro, ...accel].flatMap(({ sensor, axis, signal }) => {
    const record = evenSamples(signal, interval);
    if (record === null || record.values.length < FEWEST_SAMPLES) return [];
    const mean = record.values.reduce((sum, v) => sum + v, 0) / record.values.length;
    return [
      {
        sensor,
        axis,
        signal,
        startS: record.startS,
        sampleRateHz: record.sampleRateHz,
        values: record.values.map((v) => v - mean),
      },
    ];
  });
}

/** Steps up to this many times the median are steps of the clock; longer ones are missing samples. */
const LONGEST_STEP = 1.7;
/** More than this share of the steps off the clock: it is too uneven to keep samples in their places. */
const MOST_OFF = 0.2;

/**
 * Every sample in its place on an even grid. The clock of a log with missing rows is slower on average than the sensor's, and a
 * grid of that rate would shift one sample after the other: every line would be smeared and stand too low.
 */
function evenSamples(signal: Signal, interval: Interval): EvenRecord | null {
  const { timeS } = signal.clock;
  const first = indexAtOrAfter(timeS, interval.startS);
  const end = indexAtOrAfter(timeS, interval.endS + 1e-9);
  const steps: number[] = [];
  for (let i = first + 1; i < end; i++) steps.push(timeS[i]! - timeS[i - 1]!);
  if (steps.length < FEWEST_SAMPLES) return evenRecord(signal, interval);
  const median = [...steps].sort((a, b) => a - b)[steps.length >> 1]!;
  const whole = steps.filter((step) => step < LONGEST_STEP * median);
  if (whole.length > (1 - 1e-4) * steps.length || whole.length < (1 - MOST_OFF) * steps.length)
    return evenRecord(signal, interval);
  const sampleRateHz = whole.length / whole.reduce((sum, step) => sum + step, 0);
  const startS = timeS[first]!;
  const values = new Float64Array(Math.round((timeS[end - 1]! - startS) * sampleRateHz) + 1);
  let last = -1;
  let before = 0;
  for (let i = first; i < end; i++) {
    const value = signal.values[i]!;
    if (!Number.isFinite(value)) continue;
    const place = Math.round((timeS[i]! - startS) * sampleRateHz);
    if (last < 0) before = value;
    for (let k = last + 1; k < place; k++)
      values[k] = before + ((k - last) / (place - last)) * (value - before);
    values[place] = value;
    last = place;
    before = value;
  }
  values.fill(before, last + 1);
  return { startS, sampleRateHz, values };
}
