/** How much of the gyro's vibration reaches the demand of an axis: through the known controller, or as the log shows it. */
import type { AxisName, Flight, Interval } from '@settle/parser';
import { absolute, complex } from '../control/complex.js';
import { controllerAt, type AxisController } from '../identification/controller.js';
import { BODY_AXIS_OF } from '../oscillation/axis-signals.js';
import { evenRecord } from '../signals.js';
import { crossSpectralDensity, powerSpectralDensity } from '../spectrum/welch.js';

export interface DemandGain {
  readonly axis: AxisName;
  /** Demand power per power of the logged gyro, (1/(rad/s))², at a frequency; existing filters included where `includesFilters`. */
  readonly powerGain: (frequencyHz: number) => number;
  readonly includesFilters: boolean;
  readonly from: string;
}

/** |P + D|² of the controller; the integral term does nothing at these frequencies. */
export function controllerPowerGain(controller: AxisController, frequencyHz: number): number {
  return absolute(controllerAt({ ...controller, ki: 0 }, complex(0, 2 * Math.PI * frequencyHz))) ** 2;
}

/** A demand logged at less than this share of the gyro's rate folds what the gyro still shows. */
const SAME_RATE = 0.95;
const SEGMENT_S = 0.5;
/** Fewer averages than this make chance look like a connection. */
const FEWEST_SEGMENTS = 8;

/**
 * Coherent output: |S_xy|²/S_xx² of gyro x and demand y (J. S. Bendat and A. G. Piersol, *Random Data*). It takes everything in that
 * lies between the two, known or not. Needs both at the same rate, and as many averages as make chance small.
 *
 * @returns null where the log does not show it
 */
export function loggedPowerGain(flight: Flight, hover: Interval, axis: AxisName): DemandGain | null {
  const gyro =
    flight.signals.get(`gyro.${BODY_AXIS_OF[axis]}`) ?? flight.signals.get(`rate.${axis}.measured`);
  const demand = flight.signals.get(`rate.${axis}.demand`);
  if (gyro === undefined || demand === undefined) return null;
  const x = evenRecord(gyro, hover);
  const y = evenRecord(demand, hover);
  if (x === null || y === null || y.sampleRateHz < SAME_RATE * x.sampleRateHz) return null;
  const same =
    Math.abs(x.sampleRateHz / y.sampleRateHz - 1) < 0.01 ? y : evenRecord(demand, hover, x.sampleRateHz);
  if (same === null) return null;
  const n = Math.min(x.values.length, same.values.length);
  const segmentLength = Math.max(32, Math.round(SEGMENT_S * x.sampleRateHz));
  if (n < (FEWEST_SEGMENTS / 2 + 0.5) * segmentLength) return null;
  const a = x.values.subarray(0, n);
  const b = same.values.subarray(0, n);
  const options = { segmentLength };
  const xx = powerSpectralDensity(a, x.sampleRateHz, options);
  const yy = powerSpectralDensity(b, x.sampleRateHz, options);
  const xy = crossSpectralDensity(a, b, x.sampleRateHz, options);
  const chance = 1 / xx.effectiveSegments;
  const gain = xx.values.map((power, k) => {
    const cross = xy.re[k]! ** 2 + xy.im[k]! ** 2;
    if (!(power > 0) || !(yy.values[k]! > 0)) return 0;
    const coherence = cross / (power * yy.values[k]!);
    // What two unrelated signals share by chance is taken off.
    const real = Math.max(0, (coherence - chance) / (1 - chance));
    return (real * yy.values[k]!) / power;
  });
  return {
    axis,
    powerGain: (hz) => {
      const k = Math.round(hz / xx.binWidthHz);
      return gain[Math.min(gain.length - 1, Math.max(0, k))]!;
    },
    includesFilters: true,
    from: 'the logged demand, as far as it goes with the logged gyro',
  };
}

/** What a log shows of one controller, as another one would have made it. */
export function scaledGain(logged: DemandGain, flown: AxisController, next: AxisController): DemandGain {
  return {
    ...logged,
    powerGain: (hz) =>
      (logged.powerGain(hz) * controllerPowerGain(next, hz)) / controllerPowerGain(flown, hz),
    from: `${logged.from}, as the gains of the next hover change it`,
  };
}

export function demandGainOf(
  flight: Flight,
  hover: Interval,
  axis: AxisName,
  controller: AxisController | undefined,
): DemandGain | null {
  if (controller !== undefined)
    return {
      axis,
      powerGain: (hz) => controllerPowerGain(controller, hz),
      includesFilters: false,
      from: `the controller’s P and D gains from ${controller.from}`,
    };
  return loggedPowerGain(flight, hover, axis);
}
