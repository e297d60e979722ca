/** What the placing of notches takes and what it hands on. */
import type { AxisName, BodyAxis, Flight, GainsFile, GyroNotch, Interval } from '@settle/parser';
import type { Margins, Notch } from '../diagnosis.js';
import type { NotchDefinition } from '../filters/index.js';
import type { AxisController } from '../identification/controller.js';
import type { AxisIdentification } from '../identification/identify.js';
import type { PowerSpectrum } from '../spectrum/welch.js';
import type { Unavailable } from '../unavailable.js';
import type { VibrationStudy } from '../vibration/vibration-study.js';

export type PerAxis<T> = Readonly<Partial<Record<AxisName, T>>>;

export interface NotchInput {
  readonly flight: Flight;
  readonly hover: Interval;
  readonly study: VibrationStudy;
  /** Of the next hover, which filters are placed for. */
  readonly controllers: PerAxis<AxisController>;
  /** That the logged hover was flown with; those of the next hover where it is not given. */
  readonly flown?: PerAxis<AxisController>;
  readonly loops: PerAxis<AxisIdentification>;
  /** Axes that swing by themselves: their demand is no measure of what vibration makes of it. */
  readonly swinging?: ReadonlySet<AxisName>;
  readonly gains: GainsFile | null;
  /** Ripple amplitude allowed in the demand, share of full demand; default {@link RIPPLE_TARGET}. */
  readonly rippleTarget?: number;
}

/** √2·RMS of the demand, share of full demand. */
export const RIPPLE_TARGET = 0.01;

export type Schedule = 'throttle' | 'rotor-speed';

/** A notch as one would type it in. */
export interface NotchSetting {
  readonly centreHz: number;
  /** −3 dB width (definition `exact-width`). */
  readonly bandwidthHz: number;
  readonly depthDb: number;
  /** Multiples of the rotor speed it takes out; empty for a line that follows none. */
  readonly orders: readonly number[];
  readonly scheduledBy: Schedule | null;
  /** Existing notch that this one takes the place of; null: it is new. */
  readonly replaces: GyroNotch | null;
}

export interface PlacedNotch extends NotchSetting, Notch {
  readonly definition: NotchDefinition;
  /** The definition in words. */
  readonly definitionText: string;
  /** centre/bandwidth in the definition named. */
  readonly q: number;
  /** Width and Q to type in where the program uses the cookbook's definition, at this filter rate. */
  readonly widthOtherDefinitionHz: number;
  readonly qOtherDefinition: number;
  readonly filterRateHz: number;
  /** Axis whose noise before and after is given: the one with most of it; and the band it is measured in. */
  readonly noiseAxis: BodyAxis;
  readonly noiseBandHz: readonly [number, number];
  /** How the centre moves away from the operating point at which it holds. */
  readonly movesAs: string;
  readonly warnings: readonly string[];
}

export interface LowPassSetting {
  readonly cutoffHz: number;
  readonly order: 2;
  /** Cut-off of the low-pass that it takes the place of; null: none is known. */
  readonly replacesHz: number | null;
}

export interface Alternative {
  readonly name: string;
  readonly notches: readonly NotchSetting[];
  readonly lowPass: LowPassSetting | null;
  /** √2·RMS of the demand that vibration makes, share of full demand. */
  readonly ripple: PerAxis<number>;
  readonly worstRipple: number;
  readonly meetsTarget: boolean;
  /** Beyond what today's filters take, at {@link NotchPlan.lagAtHz}, degrees. */
  readonly phaseLagDeg: number;
  /** Beyond today's, at 2, 5 and 10 Hz. */
  readonly lagsDeg: readonly { readonly frequencyHz: number; readonly lagDeg: number }[];
  /** Of the rate loop with these filters in it. */
  readonly margins: PerAxis<Margins | Unavailable>;
}

export interface BeforeAfter {
  readonly axis: AxisName;
  /** RMS of the gyro from {@link VibrationStudy.lowestHz} up, as it reaches the controller, deg/s. */
  readonly gyroBeforeDegS: number;
  readonly gyroAfterDegS: number;
  /** √2·RMS of the demand, share of full demand; null where the way from gyro to demand is not known. */
  readonly demandBefore: number | null;
  readonly demandAfter: number | null;
}

export interface NotchPlan {
  /** Whether the ripple is over the target, so that something is to be done. */
  readonly needed: boolean;
  /** Why it cannot be told whether filters are needed; null when it can. */
  readonly undecided: string | null;
  /** Whether what is proposed brings the ripple under the target on every axis that is known. */
  readonly meetsTarget: boolean;
  readonly because: readonly string[];
  readonly notches: readonly PlacedNotch[];
  readonly lowPass: LowPassSetting | null;
  /** The advised one is the second; first comes no new filter, with the gains advised. */
  readonly alternatives: readonly Alternative[];
  readonly ripple: {
    /** With the gains and filters that the log was flown with. */
    readonly flown: PerAxis<number>;
    /** With the gains of the next hover: without new filters, and with those that are proposed. */
    readonly before: PerAxis<number>;
    readonly after: PerAxis<number>;
    readonly target: number;
  };
  readonly beforeAfter: readonly BeforeAfter[];
  /** Frequency at which lags are given: the highest crossover of the rate loops, or an assumed one. */
  readonly lagAtHz: number;
  readonly lagAtFrom: 'crossover' | 'assumed';
  readonly marginsAfter: PerAxis<Margins | Unavailable>;
  /** Rate at which the controller filters, Hz. */
  readonly filterRateHz: number;
  readonly assumptions: readonly string[];
}

/** One gyro axis as it reaches the controller, with today's filters and with the proposed ones; (rad/s)²/Hz. */
export interface GyroSpectra {
  readonly axis: BodyAxis;
  readonly before: PowerSpectrum;
  readonly after: PowerSpectrum;
}

/** A plan with the spectra it was judged by, which pictures are drawn from and which no result carries. */
export interface StudiedPlan {
  readonly plan: NotchPlan;
  /** Empty where it cannot be told what vibration does. */
  readonly spectra: readonly GyroSpectra[];
  /** Ripple on an axis with the proposed filters and another controller; null where it cannot be told. */
  readonly rippleWith: (axis: AxisName, controller: AxisController) => number | null;
}
