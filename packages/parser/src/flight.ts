/**
 * The flight model: what every later stage reads. All values are SI, each group of channels stands on its own
 * clock, and every channel remembers where it came from and how that was decided.
 *
 * Axes follow ISO 1151: x forward, y right, z down; roll, pitch and yaw are rotations about x, y and z.
 */

export type AxisName = 'roll' | 'pitch' | 'yaw';
export type BodyAxis = 'x' | 'y' | 'z';

export const AXES: readonly AxisName[] = ['roll', 'pitch', 'yaw'];
export const BODY_AXES: readonly BodyAxis[] = ['x', 'y', 'z'];

/**
 * What a column means. Units of the values:
 *
 * | channel | unit |
 * | --- | --- |
 * | `attitude.*` | rad (yaw and roll unwrapped across ±180°) |
 * | `rate.*.reference`, `rate.*.measured`, `gyro.*` | rad/s |
 * | `rate.*.demand` and the controller terms | share of full authority, −1…1 |
 * | `accel.*` | m/s² (specific force: −9.81 on z when level and at rest) |
 * | `motor.N.command`, `throttle`, `stick.throttle` | 0…1 |
 * | `stick.roll`, `stick.pitch`, `stick.yaw` | −1…1 |
 * | `rotor.N.speed` | revolutions per second |
 * | `height` | m, up |
 * | `battery.voltage`, `battery.current` | V, A |
 * | `mode` | index into `Signal.labels` |
 *
 * Motors and rotors count from 1.
 */
export type ChannelName =
  | `attitude.${AxisName}.${'reference' | 'measured'}`
  | `rate.${AxisName}.${'reference' | 'measured' | 'demand' | 'proportional' | 'integral' | 'derivative' | 'feedforward'}`
  | `gyro.${BodyAxis}`
  | `accel.${BodyAxis}`
  | `motor.${number}.command`
  | `rotor.${number}.speed`
  | `stick.${AxisName | 'throttle'}`
  | 'throttle'
  | 'height'
  | 'battery.voltage'
  | 'battery.current'
  | 'mode';

export interface Interval {
  readonly startS: number;
  readonly endS: number;
}

/** Sample times shared by the channels of one group. */
export interface Clock {
  /** Strictly increasing, in s. Zero is the earliest sample of the flight over all its clocks. */
  readonly timeS: Float64Array;
  /** One over the mean step, gaps left out (a median would inherit the rounding of the logged times); 0 for a single sample. */
  readonly sampleRateHz: number;
  /** Standard deviation of the steps, gaps left out, in per cent of the median step. */
  readonly jitterPct: number;
  /** Where a step exceeds three median steps (and at least one sample is missing). */
  readonly gaps: readonly Interval[];
}

/** How a column became a channel. */
export interface ChannelDecision {
  readonly channel: ChannelName;
  readonly file: string;
  /** Header text as it stands in the file, or `column N` (from 1) where there is none or it is repeated. */
  readonly column: string;
  /** Text of the kind column, for a log with rows of several kinds. */
  readonly kind?: string;
  /** Unit of the column as logged, for instance `deg/s`. */
  readonly unit: string;
  /** `value in SI = logged value * scale + offset`, sign and frame conversion included. */
  readonly scale: number;
  readonly offset: number;
  /** Short plain sentences, in the order of the decisions: header words, units row, physics, map. */
  readonly decidedBy: readonly string[];
  /** Samples at the column's end of range in runs of three or more. */
  readonly clipped: number;
  /** Cells that hold no finite number although the row has one for its group. */
  readonly nonFinite: number;
}

export interface Signal {
  readonly channel: ChannelName;
  readonly clock: Clock;
  /** One value per clock sample; NaN where the log has none. */
  readonly values: Float64Array;
  readonly decision: ChannelDecision;
  /** For `mode` only: the texts the values index. */
  readonly labels?: readonly string[];
}

/** Something wrong with the log that did not stop it from being read. */
export interface LogProblem {
  readonly file: string;
  /** From 1, header included; null when the problem is not at one place. */
  readonly line: number | null;
  readonly column: string | null;
  readonly message: string;
  /** How many places it covers, the named one being the first. */
  readonly count: number;
}

export interface LogFile {
  readonly name: string;
  readonly bytes: number;
  readonly encoding: 'utf-8' | 'utf-16le' | 'utf-16be' | 'latin1';
  readonly delimiter: ',' | ';' | '\t' | ' ';
  readonly decimal: '.' | ',';
  /** Line numbers from 1; null when there is none. */
  readonly headerLine: number | null;
  readonly unitsLine: number | null;
  readonly rows: number;
  /** Header texts of the columns that became no channel. */
  readonly unusedColumns: readonly string[];
  /** Text cells of the clock, its unit and how that was decided. */
  readonly clock: { readonly column: string | null; readonly unit: string; readonly decidedBy: string };
  /** The pieces a clock that steps back splits the log into; `chosen` counts from 1. */
  readonly segments: { readonly count: number; readonly chosen: number };
}

/** Whether the log's body frame is known, so that results that depend on direction can be given. */
export interface FrameDecision {
  readonly logged: 'z-down' | 'z-up' | 'unknown';
  readonly decidedBy: string;
}

export interface Flight {
  readonly name: string;
  readonly files: readonly LogFile[];
  readonly signals: ReadonlyMap<ChannelName, Signal>;
  readonly frame: FrameDecision;
  readonly problems: readonly LogProblem[];
  /** From the first sample to the last over all clocks. */
  readonly durationS: number;
}
