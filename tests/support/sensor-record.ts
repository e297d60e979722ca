import type { SensorRecord } from '../../packages/analysis/src/vibration/sensor-records.js';

/** One axis of a made sensor, from 0 s on; its signal, which only clipping looks at, is left out. */
export function madeSensorRecord(
  values: Float64Array,
  sampleRateHz: number,
  sensor: SensorRecord['sensor'] = 'gyro',
): SensorRecord {
  return { sensor, axis: 'x', startS: 0, sampleRateHz, values } as unknown as SensorRecord;
}
