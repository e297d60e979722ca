/** What a line of a rotor is: its place in the frame that turns a whole number of times as fast as the rotor does. */
import type { SensorRecord } from './sensor-records.js';

/** Angle of a rotor in turns, at the samples of the records. */
export interface RotorAngle {
  readonly rotor: number | null;
  readonly meanHz: number;
  readonly turns: Float64Array;
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
