/**
 * What pictures of a flight are drawn from: series thinned to what a pixel can show, in the units a person reads. Every
 * number is finite or null; a picture that cannot be drawn says why.
 */
import type { AxisName, BodyAxis, Interval } from '@settle/parser';
import type { Oscillation, Phase } from '../diagnosis.js';
import type { Unavailable } from '../unavailable.js';
import type { LineKind, Sensor } from '../vibration/vibration-study.js';

/** Values over time, oldest first. A null breaks the line: samples are missing there. */
export interface TimeSeries {
  readonly timeS: readonly number[];
  readonly values: readonly (number | null)[];
}

/** Lowest and highest of what is plausible at each place, two times in three. */
export interface Band {
  readonly low: readonly (number | null)[];
  readonly high: readonly (number | null)[];
}

export interface FlightPicture {
  readonly durationS: number;
  readonly phases: readonly Phase[];
  readonly hover: Interval;
  /** Body rates, deg/s; angles, deg, where the log has no rate at all. */
  readonly quantity: 'rate' | 'angle';
  /** null where the log has none. */
  readonly motion: Readonly<Record<AxisName, TimeSeries | null>>;
  /** m, up; null where it is not logged. */
  readonly height: TimeSeries | null;
  readonly swings: readonly {
    readonly axis: AxisName;
    readonly frequencyHz: number;
    readonly startS: number;
    readonly endS: number;
  }[];
}

export interface CloseUpPicture {
  readonly axis: AxisName;
  /** The stretch shown. */
  readonly stretch: Interval;
  /** Why this stretch. */
  readonly chosen: 'largest-swing' | 'largest-motion';
  /** deg/s. */
  readonly rate: {
    readonly measured: TimeSeries;
    readonly reference: TimeSeries | null;
    /** Amplitude of the swing, from the middle to the peak; null without one. */
    readonly envelope: TimeSeries | null;
    /** Mean over the stretch: the middle the envelope stands around. */
    readonly middle: number;
  } | null;
  /** deg. */
  readonly attitude: { readonly measured: TimeSeries; readonly reference: TimeSeries | null } | null;
  readonly oscillation: Oscillation | null;
}

export interface SpectrumPicture {
  readonly axis: AxisName;
  readonly frequencyHz: readonly number[];
  /** Amplitude density of the body rate, (deg/s)/√Hz. */
  readonly level: readonly number[];
  /** The background the lines stand on, same unit. */
  readonly background: readonly number[];
  readonly lines: readonly {
    readonly frequencyHz: number;
    readonly rateAmplitudeDegS: number | null;
    /** A wobble of the aircraft, or faster motion folded down by a slow log. */
    readonly what: 'swing' | 'folded';
  }[];
  /** Between which frequencies wobbles were looked for. */
  readonly searchedHz: { readonly lowest: number; readonly highest: number };
}

export interface SpectrogramPicture {
  readonly axis: AxisName;
  /** Edges of the cells, one more than cells. */
  readonly timeEdgesS: readonly number[];
  readonly frequencyEdgesHz: readonly number[];
  /** Row by row of time, then frequency: amplitude density, dB re 1 (deg/s)/√Hz. */
  readonly levelDb: readonly (readonly number[])[];
  readonly lines: readonly { readonly frequencyHz: number; readonly startS: number; readonly endS: number }[];
}

export interface LoopPicture {
  readonly axis: AxisName;
  readonly loop: 'rate' | 'attitude';
  readonly frequencyHz: readonly number[];
  readonly gainDb: readonly number[];
  readonly gainBand: Band;
  /** Continuous, −180 being where it counts. */
  readonly phaseDeg: readonly number[];
  readonly phaseBand: Band;
  /** What the hover itself shows of the loop, one frequency each. */
  readonly shown: readonly {
    readonly frequencyHz: number;
    readonly gainDb: number;
    /** null where only the size is known. */
    readonly phaseDeg: number | null;
    readonly from: 'stick' | 'swing' | 'single-gain';
  }[];
  readonly stable: boolean;
  readonly gainMarginDb: number | null;
  readonly gainMarginStdDb: number | null;
  readonly phaseCrossoverHz: number | null;
  readonly phaseMarginDeg: number | null;
  readonly phaseMarginStdDeg: number | null;
  readonly crossoverHz: number | null;
}

export interface CoherencePicture {
  readonly axis: AxisName;
  /** The channel from outside the loop. */
  readonly instrument: string;
  readonly frequencyHz: readonly number[];
  /** Magnitude-squared coherence of the stick with demand and with body rate, 0…1. */
  readonly withDemand: readonly number[] | null;
  readonly withRate: readonly number[];
  /** What two unrelated signals exceed one time in twenty. */
  readonly byChance: number;
  readonly segments: number;
}

export interface StepPicture {
  readonly axis: AxisName;
  readonly timeS: readonly number[];
  /** Body rate after a step of the rate reference by 1, with today's gains, attitude loop open. */
  readonly value: readonly number[];
  readonly band: Band;
  readonly riseTimeS: number | null;
  readonly overshootPct: number | null;
}

export interface GainPicture {
  readonly axis: AxisName;
  /**
   * `advice`: x is the share of the advised change that is made, 0 today's gains, 1 the advised ones. `factor`: no change is
   * advised, x is a common factor on all rate gains.
   */
  readonly along: 'advice' | 'factor';
  readonly x: readonly number[];
  readonly gainMarginDb: readonly (number | null)[];
  readonly gainBand: Band;
  readonly phaseMarginDeg: readonly (number | null)[];
  readonly phaseBand: Band;
  /** Today's margins, without filters that are still to be added. */
  readonly today: { readonly gainMarginDb: number | null; readonly phaseMarginDeg: number | null };
  readonly advised: { readonly gainMarginDb: number | null; readonly phaseMarginDeg: number | null } | null;
  readonly required: { readonly gainMarginDb: number; readonly phaseMarginDeg: number };
  /** Factors of the advice on P, I and D; null without one. */
  readonly factors: { readonly P: number; readonly I: number; readonly D: number } | null;
  /** The curve is with the filters that are to be added. */
  readonly withFilters: boolean;
}

export interface MotorPicture {
  readonly hover: Interval;
  readonly motors: readonly {
    readonly number: number;
    /** Share of full command, 0…1. */
    readonly command: TimeSeries;
    /** Where it meets its stops in hover; null where it never does. */
    readonly low: number | null;
    readonly high: number | null;
    readonly lowStopShare: number;
    readonly highStopShare: number;
  }[];
}

export interface VibrationSpectrumPicture {
  readonly sensor: Sensor;
  readonly axis: BodyAxis;
  readonly unit: 'deg/s' | 'm/s²';
  readonly frequencyHz: readonly number[];
  /** Amplitude density, unit/√Hz. */
  readonly level: readonly number[];
  readonly background: readonly number[];
  readonly lines: readonly {
    readonly frequencyHz: number;
    readonly rms: number;
    readonly kind: LineKind;
    readonly order: number | null;
    readonly rotor: number | null;
    readonly trueFrequencyHz: number | null;
  }[];
}

export interface CampbellPicture {
  readonly sensor: Sensor;
  readonly unit: 'deg/s' | 'm/s²';
  readonly points: readonly {
    readonly rotorHz: number;
    readonly frequencyHz: number;
    readonly axis: BodyAxis;
    readonly rms: number;
    readonly kind: LineKind;
    readonly order: number | null;
  }[];
  /** Orders that some line follows. */
  readonly orders: readonly number[];
  readonly halfSampleRateHz: number;
}

/** One gyro axis as it reaches the controller, with today's filters and with the proposed ones. */
export interface FilteredPicture {
  readonly axis: BodyAxis;
  readonly frequencyHz: readonly number[];
  /** (deg/s)/√Hz. */
  readonly before: readonly number[];
  readonly after: readonly number[];
}

export interface VibrationPicture {
  readonly spectra: readonly VibrationSpectrumPicture[];
  readonly campbell: readonly CampbellPicture[] | Unavailable;
  readonly filtered: readonly FilteredPicture[] | Unavailable;
}

export interface AxisPictures {
  readonly closeUp: CloseUpPicture | Unavailable;
  readonly spectrum: SpectrumPicture | Unavailable;
  readonly spectrogram: SpectrogramPicture | Unavailable;
  readonly rateLoop: LoopPicture | Unavailable;
  readonly attitudeLoop: LoopPicture | Unavailable;
  readonly coherence: CoherencePicture | Unavailable;
  readonly step: StepPicture | Unavailable;
  readonly gains: GainPicture | Unavailable;
}

export interface PictureData {
  readonly flight: FlightPicture;
  readonly axes: Readonly<Record<AxisName, AxisPictures>>;
  readonly motors: MotorPicture | Unavailable;
  readonly vibration: VibrationPicture | Unavailable;
}
