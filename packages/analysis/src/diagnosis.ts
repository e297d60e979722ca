import type { AxisName, BodyAxis } from '@settle/parser';
import type { LoopMargins } from './control/margins.js';
import type { NotchPlan } from './notch/plan-types.js';
import type { Unavailable } from './unavailable.js';

export { isUnavailable, type Unavailable } from './unavailable.js';

export type PhaseKind = 'ground' | 'takeoff' | 'hover' | 'manoeuvre' | 'landing' | 'upset';

export interface Phase {
  readonly kind: PhaseKind;
  readonly startS: number;
  readonly endS: number;
}

export type Regime = 'growing' | 'limit-cycle' | 'driven' | 'decaying';

export type Origin =
  'rate-loop' | 'attitude-loop' | 'position-loop' | 'pilot' | 'outer-loop' | 'structure' | 'unknown';

export interface Oscillation {
  readonly frequencyHz: number;
  readonly frequencyStdHz: number;
  /** √2 × RMS of the body-rate component within 20 % of `frequencyHz`, over [startS, endS]; deg/s. */
  readonly rateAmplitudeDegS: number;
  readonly rateAmplitudeStdDegS: number;
  /** The same of the angle, in deg; null without an attitude channel. */
  readonly attitudeAmplitudeDeg: number | null;
  readonly startS: number;
  readonly endS: number;
  /** Slope of the log envelope in 1/s; positive grows. */
  readonly envelopeGrowthPerS: number;
  readonly envelopeGrowthStdPerS: number;
  readonly regime: Regime;
  /** The axis whose larger swing at the same frequency this one moves along with; null when it stands for itself. */
  readonly follows: AxisName | null;
  /** Share of the time in which the axis' demand or a motor stood on a stop; null when neither is logged. */
  readonly clippedShare: number | null;
  /** Of the closed-loop pole; zero or less when growing or cycling; null where the record cannot show it. */
  readonly dampingRatio: number | null;
  readonly dampingRatioStd: number | null;
  readonly origin: Origin;
  /** 0…1: of those said 0.8, 80 % are right. */
  readonly confidence: number;
  /** Other axes and the reference at this frequency, clipping, and what else is known, in plain sentences. */
  readonly evidence: readonly string[];
}

export interface Response {
  readonly bandwidthHz: number;
  readonly delayS: number;
  readonly riseTimeS: number | null;
  readonly overshootPct: number | null;
  readonly coherentBandHz: readonly [number, number];
}

/** Of an identified loop, with standard deviations; null where the margin itself is. */
export interface Margins extends LoopMargins {
  readonly gainMarginStdDb: number | null;
  readonly phaseMarginStdDeg: number | null;
  /** Channels and method. */
  readonly from: string;
}

export interface Plant {
  /** Angular acceleration per unit demand, rad/s². */
  readonly effectiveness: number;
  readonly lagS: number;
  readonly delayS: number;
  readonly effectivenessStd: number;
  readonly lagStdS: number;
  readonly delayStdS: number;
}

export interface AxisDiagnosis {
  /** Strongest first; empty when nothing stands out. */
  readonly oscillations: readonly Oscillation[];
  /** Why no oscillation could be looked for on this axis; null when one was. */
  readonly notSearched: string | null;
  readonly tracking:
    { readonly rateErrorRmsDegS: number | null; readonly attitudeErrorRmsDeg: number | null } | Unavailable;
  readonly response: Response | Unavailable;
  readonly margins: { readonly rate: Margins | Unavailable; readonly attitude: Margins | Unavailable };
  readonly plant: Plant | Unavailable;
}

export interface VibrationLine {
  readonly sensor: 'gyro' | 'accel';
  readonly axis: BodyAxis;
  readonly frequencyHz: number;
  readonly frequencyStdHz: number;
  /** deg/s or m/s². */
  readonly rms: number;
  readonly aboveFloorDb: number;
  /** Multiple of the rotor speed; null where it follows none. */
  readonly order: number | null;
  /** From 1, where the speeds tell the rotors apart. */
  readonly rotor: number | null;
  /** Of an aliased line, where its family fixes it. */
  readonly trueFrequencyHz: number | null;
  /** 0…1: of those said 0.8, 80 % are right. */
  readonly confidence: number;
  readonly evidence: readonly string[];
  readonly kind:
    | 'rotor'
    | 'blade-pass'
    | 'rotor-harmonic'
    | 'structure'
    | 'control-loop'
    | 'electrical'
    | 'alias'
    | 'unknown';
}

export interface Notch {
  readonly centreHz: number;
  readonly bandwidthHz: number;
  readonly depthDb: number;
  readonly orders: readonly number[];
  readonly scheduledBy: null | 'throttle' | 'rotor-speed';
  readonly holdsAt: { readonly throttle: number | null; readonly rotorHz: number | null };
  readonly phaseLagDeg: number;
  readonly phaseLagAtHz: number;
  readonly noiseBeforeDegS: number;
  readonly noiseAfterDegS: number;
}

export interface Vibration {
  readonly sensorRateHz: number;
  readonly rotor:
    | {
        readonly hoverHz: number;
        /** Standard deviation. */
        readonly hoverStdHz: number;
        readonly lowHz: number;
        readonly highHz: number;
        readonly from: 'speed-channel' | 'spectrum';
        /** Rotors of which no line shows in the spectrum: taken to turn as their commands make one expect. */
        readonly unseenRotors: number;
      }
    | Unavailable;
  readonly lines: readonly VibrationLine[];
  readonly levels: readonly {
    readonly sensor: 'gyro' | 'accel';
    readonly axis: BodyAxis;
    readonly rms: number;
    readonly overRange: number;
  }[];
  readonly notches: readonly Notch[];
}

export interface Actuators {
  readonly motors: readonly {
    readonly mean: number;
    readonly lowStopShare: number;
    readonly highStopShare: number;
  }[];
  readonly hoverThrottle: number | null;
  /** Steady demand over hover as a share of full authority; null on an axis without a demand. */
  readonly trim: Readonly<Record<AxisName, number | null>>;
}

export interface Battery {
  readonly startV: number;
  readonly lowestV: number;
  readonly meanA: number | null;
  readonly peakA: number | null;
}

export type Severity = 'danger' | 'fault' | 'note';

export interface Finding {
  readonly id: string;
  readonly axis: AxisName | null;
  readonly severity: Severity;
  readonly confidence: number;
  readonly summary: string;
  readonly evidence: readonly string[];
}

export interface Advice {
  /** 1: before the next hover, all together; 2 and up: after that hover confirms. */
  readonly step: number;
  readonly kind: 'gain' | 'filter' | 'mechanical' | 'logging' | 'flying' | 'do-not-fly';
  readonly axis?: AxisName;
  readonly loop?: 'rate' | 'attitude' | 'position';
  readonly term?: 'P' | 'I' | 'D' | 'FF';
  readonly factor?: number;
  readonly from?: number;
  readonly to?: number;
  readonly filter?: {
    readonly at: 'gyro' | 'derivative';
    readonly type: 'notch' | 'low-pass';
    readonly centreHz?: number;
    readonly bandwidthHz?: number;
    readonly depthDb?: number;
    readonly cutoffHz?: number;
  };
  readonly basis: 'margins' | 'ultimate-cycle' | 'scaling' | 'rule-of-thumb';
  readonly because: readonly string[];
  readonly watchFor: string;
  readonly text: string;
  readonly expect?: readonly {
    readonly axis: AxisName;
    readonly gainMarginDb: number;
    readonly phaseMarginDeg: number;
    readonly oscillationHz: number | null;
  }[];
}

/** Everything `settle diagnose --json` prints; the contract other programs rely on. */
export interface Diagnosis {
  readonly schema: 'settle.diagnosis/1';
  readonly flight: {
    readonly name: string;
    readonly durationS: number;
    readonly sampleRatesHz: Partial<Record<'attitude' | 'rate' | 'imu' | 'motor', number>>;
  };
  readonly phases: readonly Phase[];
  /** Which channels told the phases apart. */
  readonly phasesFrom: string;
  /** The hover that was analysed: the longest, or the interval asked for. */
  readonly analysed: { readonly startS: number; readonly endS: number };
  /** Frequencies between which oscillations were looked for. */
  readonly searchedHz: { readonly lowest: number; readonly highest: number; readonly why: string };
  /**
   * Chance that well-damped motion is called an oscillation, per axis and channel: for swings below 5 deg/s and 2°, for
   * those beyond 40 deg/s or 10°, and for those between.
   */
  readonly falseAlarmRate: { readonly small: number; readonly medium: number; readonly large: number };
  readonly axes: Readonly<Record<AxisName, AxisDiagnosis>>;
  readonly vibration: Vibration | Unavailable;
  /** Filters proposed, what they cost, and what others would. */
  readonly filters: NotchPlan | Unavailable;
  readonly actuators: Actuators | Unavailable;
  readonly battery: Battery | Unavailable;
  /** Most urgent first. */
  readonly findings: readonly Finding[];
  readonly advice: readonly Advice[];
  readonly cautions: readonly string[];
}
