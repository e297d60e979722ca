/** The inertial sensors over an interval, each axis on an even clock. */
import {
  BODY_AXES,
  type BodyAxis,
  type ChannelName,
  type Flight,
  type Interval,
  type Signal,
} from '@settle/parser';
import { evenRecord } from '../signals.js';
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
    const record = evenRecord(signal, interval);
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
