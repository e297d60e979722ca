/** The filters run over the logged gyro, as the controller would run them: what of the noise is left, and what it does in the demand. */
import {
  BODY_AXES,
  type AxisName,
  type BodyAxis,
  type Flight,
  type Interval,
  type Signal,
} from '@settle/parser';
import { evenRecord, firstSignal, interpolate, type EvenRecord } from '../signals.js';
import {
  exchangeFilter,
  exchangeLowPass,
  runFilters,
  runTrackingNotch,
  type Biquad,
} from '../filters/index.js';
import { powerSpectralDensity, type PowerSpectrum } from '../spectrum/welch.js';
import { isUnavailable } from '../unavailable.js';
import type { VibrationStudy } from '../vibration/vibration-study.js';
import { lowPassFilters, notchFilterOf } from './candidate-filters.js';
import type { RippleModel } from './demand-ripple.js';
import { existingChain, existingNotch, existingPowerGain, type ExistingFilters } from './existing-filters.js';
import type { BeforeAfter, GyroSpectra, LowPassSetting, NotchSetting } from './plan-types.js';
import { meanCourse, scheduleByThrottle, type SpeedCourse } from './speed-samples.js';

const DEG = 180 / Math.PI;

export const AXIS_OF_BODY: Readonly<Record<BodyAxis, AxisName>> = { x: 'roll', y: 'pitch', z: 'yaw' };

export interface RunInput {
  readonly flight: Flight;
  readonly hover: Interval;
  readonly study: VibrationStudy;
  readonly existing: ExistingFilters;
  readonly model: RippleModel;
  readonly notches: readonly NotchSetting[];
  readonly lowPass: LowPassSetting | null;
}

/** Segments for the spectra, s: long enough to tell a line from the motion below it. */
const SEGMENT_S = 1;

export function runOverGyro(input: RunInput): GyroSpectra[] {
  return BODY_AXES.flatMap((axis) => {
    const signal = gyroSignal(input.flight, axis);
    const record = signal === null ? null : evenRecord(signal, input.hover);
    if (record === null || record.values.length < 32) return [];
    const today = asToday(record, input.existing);
    const then = withProposed(record, input);
    const segmentLength = Math.min(record.values.length, Math.round(SEGMENT_S * record.sampleRateHz));
    const spectrum = (x: Float64Array): PowerSpectrum =>
      powerSpectralDensity(x, record.sampleRateHz, { segmentLength, detrend: 'linear' });
    return [{ axis, before: spectrum(today), after: spectrum(then) }];
  });
}

/** The raw gyro of an axis, else the controller's body rate. */
export const gyroSignal = (flight: Flight, axis: BodyAxis): Signal | null =>
  firstSignal(flight, `gyro.${axis}`, `rate.${AXIS_OF_BODY[axis]}.measured`);

function asToday(record: EvenRecord, existing: ExistingFilters): Float64Array {
  if (!existing.taken.isRaw) return record.values;
  return runFilters(existingChain(existing, existing.taken.lowPassOrder, record.sampleRateHz), record.values);
}

/** Replaced filters are exchanged, not run twice: behind them the record is turned into what the new ones would have left. */
function withProposed(record: EvenRecord, input: RunInput): Float64Array {
  const { existing, notches, lowPass } = input;
  const rate = record.sampleRateHz;
  let y = asToday(record, existing);
  const fits = (hz: number): boolean => hz < 0.48 * rate;
  if (lowPass !== null && fits(lowPass.cutoffHz)) {
    const { own, old } = lowPassFilters(lowPass, existing, rate);
    y = runFilters([old === null ? own : exchange(old, own, existing)], y);
  }
  for (const notch of notches) {
    // What the log is too slow for folds to another place, and so would the filter: it is left out, not guessed.
    if (!fits(notch.centreHz) || notch.bandwidthHz > 0.4 * rate) continue;
    if (notch.replaces !== null && fits(notch.replaces.centreHz)) {
      const [undo] = exchangeFilter(existingNotch(notch.replaces, rate), notchFilterOf(notch, rate));
      y = runFilters([undo!], y);
    }
    const centres = centresOf(notch, record, input);
    y =
      centres === null
        ? runFilters([notchFilterOf(notch, rate)], y)
        : runTrackingNotch(
            { relativeWidth: notch.bandwidthHz / notch.centreHz, depthDb: notch.depthDb },
            y,
            centres,
            rate,
          );
  }
  return y;
}

/** A low-pass of first order has one zero at Nyquist, the one in its place two: the second does not cancel and need not. */
const exchange = (old: Biquad, own: Biquad, existing: ExistingFilters): Biquad =>
  existing.taken.lowPassOrder === 2
    ? exchangeLowPass(old, own)
    : // own/old with the common zero cancelled: b(1 + z⁻¹)(1 + a1·z⁻¹)/(…).
      {
        b0: own.b0 / old.b0,
        b1: (own.b0 / old.b0) * (1 + old.a1),
        b2: (own.b0 / old.b0) * old.a1,
        a1: own.a1,
        a2: own.a2,
      };

/** Centre at every sample of a record; null for a fixed notch, or where what it follows is not logged. */
function centresOf(
  notch: NotchSetting,
  record: EvenRecord,
  { flight, study }: RunInput,
): Float64Array | null {
  const order = notch.orders[0];
  if (notch.scheduledBy === null || order === undefined || isUnavailable(study.rotor)) return null;
  const timeS = Float64Array.from(record.values, (_, i) => record.startS + i / record.sampleRateHz);
  const course: SpeedCourse | null = meanCourse(study.rotor);
  const hz =
    notch.scheduledBy === 'throttle'
      ? scheduleByThrottle(flight, study.rotor, timeS)
      : course === null
        ? null
        : interpolate(course.timeS, course.hz, timeS);
  return hz === null ? null : hz.map((value) => order * value);
}

/** RMS within a band, unit of the record. */
export function bandRms(
  spectrum: PowerSpectrum,
  lowHz: number,
  highHz: number,
  gain?: (hz: number) => number,
): number {
  let power = 0;
  for (let k = 0; k < spectrum.values.length; k++) {
    const hz = spectrum.frequenciesHz[k]!;
    if (hz < lowHz || hz > highHz) continue;
    power += spectrum.values[k]! * spectrum.binWidthHz * (gain?.(hz) ?? 1);
  }
  return Math.sqrt(power);
}

export function compareBeforeAfter(
  input: RunInput,
  runs: readonly GyroSpectra[],
  filterRateHz: number,
): BeforeAfter[] {
  const { model, study, existing } = input;
  return runs.map(({ axis: body, before, after }) => {
    const axis = AXIS_OF_BODY[body];
    const gain = model.gains[axis];
    const ripple = (spectrum: PowerSpectrum): number | null => {
      if (gain === undefined) return null;
      // A gain read from the log has the existing filters in it, which the record has been through as well.
      const through = (hz: number): number =>
        gain.powerGain(hz) /
        (gain.includesFilters ? Math.max(1e-6, existingPowerGain(existing, hz, filterRateHz)) : 1);
      return Math.SQRT2 * bandRms(spectrum, study.lowestHz, Infinity, through);
    };
    return {
      axis,
      gyroBeforeDegS: bandRms(before, study.lowestHz, Infinity) * DEG,
      gyroAfterDegS: bandRms(after, study.lowestHz, Infinity) * DEG,
      demandBefore: ripple(before),
      demandAfter: ripple(after),
    };
  });
}
