/** What a line of a rotor is: its place in the frame that turns a whole number of times as fast as the rotor does. */
import type { SensorRecord } from './sensor-records.js';
import type { RelativeSpeed } from './turn-records.js';

/** Angle of a rotor in turns, at the samples of the records. */
export interface RotorAngle {
  readonly rotor: number | null;
  readonly meanHz: number;
  readonly turns: Float64Array;
}

/** A rotor and how its speed goes. */
export type TurningRotor = RotorAngle & { readonly speed: RelativeSpeed };

/** Turns of a rotor at the samples of a record. */
export function angleOf(
  rotor: number | null,
  speed: RelativeSpeed,
  meanHz: number,
  record: Pick<SensorRecord, 'startS' | 'sampleRateHz' | 'values'>,
): RotorAngle {
  const { values, stepS } = speed;
  const n = record.values.length;
  const turns = new Float64Array(n);
  const step = 1 / record.sampleRateHz;
  for (let i = 1; i < n; i++) {
    const t = record.startS + (i - 0.5) * step;
    const x = Math.max(0, Math.min(values.length - 1.000001, (t - speed.startS) / stepS));
    const k = Math.floor(x);
    turns[i] = turns[i - 1]! + step * meanHz * (values[k]! + (x - k) * (values[k + 1]! - values[k]!));
  }
  return { rotor, meanHz, turns };
}

/** A line at rest in the frame that turns `order` times as fast as a rotor. */
export interface OrderLine {
  readonly record: SensorRecord;
  readonly rotor: number | null;
  readonly order: number;
  /** Off the order, Hz: what the speed is wrong by, times the order. */
  readonly offsetHz: number;
  readonly rms: number;
  readonly aboveFloorDb: number;
  /** Floor there, unit²/Hz. */
  readonly floor: number;
}
