/** What the study of vibration hands on: lines with what each one is, how the rotors turned, how well the sensors saw it. */
import type { BodyAxis, Interval } from '@settle/parser';
import type { Unavailable } from '../unavailable.js';

export type Sensor = 'gyro' | 'accel';

export type LineKind =
  | 'rotor'
  | 'blade-pass'
  | 'rotor-harmonic'
  | 'structure'
  | 'control-loop'
  | 'electrical'
  | 'alias'
  | 'unknown';

/** Density of one sensor axis, one-sided, mean removed. */
export interface SensorSpectrum {
  readonly sensor: Sensor;
  readonly axis: BodyAxis;
  readonly sampleRateHz: number;
  /** Samples of the record and averages behind each value (equivalent independent segments). */
  readonly averages: number;
  readonly frequencyHz: Float64Array;
  /** (rad/s)²/Hz or (m/s²)²/Hz. */
  readonly density: Float64Array;
  /** The background the lines stand on, same unit. */
  readonly floor: Float64Array;
}

/** One line of one sensor axis. */
export interface StudiedLine {
  readonly sensor: Sensor;
  readonly axis: BodyAxis;
  /** Where it stands in the log, time mean over the hover; its standard deviation as an estimate. */
  readonly frequencyHz: number;
  readonly frequencyStdHz: number;
  /** How far the frequency itself ranges over the hover: 5th and 95th percentile. */
  readonly lowHz: number;
  readonly highHz: number;
  /** rad/s or m/s², over the hover. */
  readonly rms: number;
  readonly aboveFloorDb: number;
  readonly kind: LineKind;
  /** Multiple of the rotor speed, of families of rotors; null where it follows none. */
  readonly order: number | null;
  /** From 1, where the speeds tell the rotors apart. */
  readonly rotor: number | null;
  /** Of a folded line, where its family or a second log fixes it. */
  readonly trueFrequencyHz: number | null;
  readonly confidence: number;
  readonly evidence: readonly string[];
}

/** Once per revolution of one rotor (or of all, where they cannot be told apart) over the hover. */
export interface RotorTrack {
  /** From 1; null: stands for all rotors together. */
  readonly rotor: number | null;
  readonly timeS: Float64Array;
  readonly hz: Float64Array;
}

export interface RotorStudy {
  readonly from: 'speed-channel' | 'spectrum';
  readonly tracks: readonly RotorTrack[];
  /** Time mean over the hover of the mean over rotors; 5th and 95th percentile. */
  readonly hoverHz: number;
  readonly hoverStdHz: number;
  /** Rotors of which no line shows: taken to turn as their commands make one expect. */
  readonly unseen: number;
  readonly lowHz: number;
  readonly highHz: number;
  /** f ∝ throttle^exponent, fitted only where the throttle ranges over ±15 % or more; else null (taken as 0.5 to 1). */
  readonly throttleExponent: number | null;
  readonly throttleExponentStd: number | null;
  /** Throttle at which hoverHz holds; null where none is logged. */
  readonly hoverThrottle: number | null;
  readonly evidence: readonly string[];
}

/** How well one sensor axis saw what it was there to see. */
export interface SensorHealth {
  readonly sensor: Sensor;
  readonly axis: BodyAxis;
  readonly sampleRateHz: number;
  /** rad/s or m/s² over the hover, above the lowest frequency that counts as vibration. */
  readonly rms: number;
  /** Samples at the end of range in runs, in the hover. */
  readonly overRange: number;
  /** Smallest step between different values, same unit; null where the values are not on a grid. */
  readonly quantum: number | null;
  /** Share of samples that are missing in the hover. */
  readonly missingShare: number;
  /** Share of the vibration's power in the top tenth of the band, over what a level floor would hold there. */
  readonly nyquistExcess: number;
}

export interface CampbellPoint {
  readonly rotorHz: number;
  readonly frequencyHz: number;
  readonly sensor: Sensor;
  readonly axis: BodyAxis;
  /** rad/s or m/s² rms over the short stretch. */
  readonly rms: number;
  readonly kind: LineKind;
  readonly order: number | null;
}

export interface VibrationStudy {
  readonly interval: Interval;
  /** Below this nothing counts as vibration: motion of the aircraft, which the diagnosis deals with. */
  readonly lowestHz: number;
  readonly spectra: readonly SensorSpectrum[];
  /** On the ground with idling rotors, and by thirds of the throttle, where the log has them. */
  readonly elsewhere: readonly { readonly where: string; readonly spectra: readonly SensorSpectrum[] }[];
  /** Strongest first within each sensor. */
  readonly lines: readonly StudiedLine[];
  readonly rotor: RotorStudy | Unavailable;
  readonly sensors: readonly SensorHealth[];
  readonly campbell: readonly CampbellPoint[];
  /** Chance that one sensor axis without any line shows one. */
  readonly falseAlarmRate: number;
}
