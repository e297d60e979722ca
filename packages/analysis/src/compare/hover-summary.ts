/**
 * What of one hover is kept for comparing it with others: small and plain data (JSON), so that a comparison of many long flights
 * never holds more than one of them in full.
 */
import type { AxisName, FlownConfiguration, GainsFile } from '@settle/parser';
import type { Diagnosis } from '../diagnosis.js';
import type { AxisController } from '../identification/controller.js';
import type { StructuralPeak } from '../identification/structural-peak.js';
import type { PlantNormal } from '../identification/fit-plant.js';
import type { PlantParameters } from '../identification/plant-model.js';
import type { LineKind, Sensor } from '../vibration/vibration-study.js';

/** A value with its standard error, in the units of the contract. */
export interface Measured {
  readonly value: number;
  /** null: not known. */
  readonly std: number | null;
  /** How it was got. */
  readonly from: string;
}

/** What an axis did and which loops it flew with. */
export interface AxisSummary {
  readonly axis: AxisName;
  /** deg/s RMS about the mean. */
  readonly rateRms: Measured | null;
  /** deg/s RMS. */
  readonly rateError: Measured | null;
  /** deg RMS. */
  readonly attitudeError: Measured | null;
  /** RMS of the angular acceleration that the demand applied does not explain, deg/s². */
  readonly disturbance: Measured | null;
  /**
   * Motion met over motion that the loops would let such a disturbance cause, between 0.3 and 3 Hz; 1 where the identified loops
   * are right.
   */
  readonly modelCheck: Measured | null;
  /** Steady demand, share of full authority. */
  readonly trim: Measured | null;
  readonly controller: AxisController | null;
  /** Something of the structure that gusts shake; null: none seen. */
  readonly structuralPeak: StructuralPeak | null;
  readonly gyroDelayS: number;
  readonly plant: PlantParameters | null;
  readonly normal: PlantNormal | null;
  /** Shown by sticks, not only by its own swing. */
  readonly shownByStick: boolean;
}

/** A line of one kind at one sensor, over its axes. */
export interface LineSummary {
  readonly sensor: Sensor;
  readonly kind: LineKind;
  /** Of the rotor speed; null where it follows none. */
  readonly order: number | null;
  readonly frequencyHz: number;
  readonly frequencyStdHz: number;
  /** Root of the sum of squares over axes and rotors: deg/s or m/s². */
  readonly rms: Measured;
  /** Axis of the sensor that shows it most. */
  readonly axis: 'x' | 'y' | 'z';
}

export interface BandLevels {
  readonly sensor: Sensor;
  readonly axis: 'x' | 'y' | 'z';
  readonly fromHz: number;
  readonly rms: readonly number[];
}

/** What the person wrote down of a hover; nothing of it is measured. */
export interface HoverNotes {
  /** What was changed since the hover before. */
  readonly changes: readonly string[];
  readonly note: string | null;
  readonly weather: string | null;
  /** RFC 3339, as written. */
  readonly date: string | null;
}

/** Who a hover is. */
export interface HoverIdentity {
  readonly name: string;
  readonly gains: GainsFile | null;
  /** Overrides that of the gains file. */
  readonly configuration?: FlownConfiguration;
  readonly notes?: HoverNotes;
}

export interface HoverSummary {
  readonly name: string;
  readonly hoverS: number;
  readonly diagnosis: Diagnosis;
  readonly axes: Readonly<Record<AxisName, AxisSummary>>;
  readonly lines: readonly LineSummary[];
  /** Whole vibration by sensor: root of the sum of squares over its axes, deg/s or m/s². */
  readonly levels: readonly {
    readonly sensor: Sensor;
    readonly sampleRateHz: number;
    readonly rms: Measured;
  }[];
  /** RMS of each sensor axis in bands of 1 Hz, the first from `fromHz`, deg/s or m/s². */
  readonly bands: readonly BandLevels[];
  readonly rotorHz: Measured | null;
  readonly throttle: Measured | null;
  /** Share of the hover in which any motor stood on a stop. */
  readonly saturation: Measured | null;
  readonly gains: GainsFile | null;
  readonly configuration: FlownConfiguration;
  readonly notes: HoverNotes | null;
}
