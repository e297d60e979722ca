import type { AxisName, BodyAxis, Flight, Signal } from '@settle/parser';
import { firstSignal } from '../signals.js';

export const BODY_AXIS_OF: Readonly<Record<AxisName, BodyAxis>> = { roll: 'x', pitch: 'y', yaw: 'z' };

/** What an axis has to show its motion with. */
export interface AxisSignals {
  readonly axis: AxisName;
  /** Body rate: the controller's measured rate, else the raw gyro. */
  readonly rate: Signal | null;
  readonly attitude: Signal | null;
  readonly rateReference: Signal | null;
  readonly attitudeReference: Signal | null;
  readonly demand: Signal | null;
  readonly stick: Signal | null;
}

export function axisSignals(flight: Flight, axis: AxisName): AxisSignals {
  return {
    axis,
    rate: firstSignal(flight, `rate.${axis}.measured`, `gyro.${BODY_AXIS_OF[axis]}`),
    attitude: firstSignal(flight, `attitude.${axis}.measured`),
    rateReference: firstSignal(flight, `rate.${axis}.reference`),
    attitudeReference: firstSignal(flight, `attitude.${axis}.reference`),
    demand: firstSignal(flight, `rate.${axis}.demand`),
    stick: firstSignal(flight, `stick.${axis}`),
  };
}
