import { AXES, type AxisName, type Flight, type Interval, type Signal } from '@settle/parser';
import type { Actuators, Unavailable } from './diagnosis.js';
import { AT_STOP, stopsOf, valuesDuring } from './motor-stops.js';
import { firstSignal, indexAtOrAfter, motorSignals } from './signals.js';

function meanDuring(signal: Signal, interval: Interval): number | null {
  const values = valuesDuring(signal, interval);
  if (values.length === 0) return null;
  let sum = 0;
  for (const v of values) sum += v;
  return sum / values.length;
}

/**
 * Motor commands, stops, hover throttle and steady demand over an interval.
 *
 * A stop is an extreme of the command that stands at the end of the range or is held again and again.
 */
export function describeActuators(flight: Flight, interval: Interval): Actuators | Unavailable {
  const motors = motorSignals(flight);
  const throttle = firstSignal(flight, 'throttle');
  const demand = (axis: AxisName): Signal | null => firstSignal(flight, `rate.${axis}.demand`);
  if (motors.length === 0 && throttle === null && AXES.every((axis) => demand(axis) === null))
    return {
      unavailable:
        'no motor commands, throttle or demands in the log; log the motor commands at 50 Hz or more',
    };
  const described = motors.flatMap((signal) => {
    const values = valuesDuring(signal, interval);
    const mean = meanDuring(signal, interval);
    if (mean === null) return [];
    const { low, high } = stopsOf(signal, interval);
    const share = (level: number | null): number =>
      level === null ? 0 : values.filter((v) => Math.abs(v - level) <= AT_STOP).length / values.length;
    return [{ mean, lowStopShare: share(low), highStopShare: share(high) }];
  });
  const meanMotor =
    described.length === 0 ? null : described.reduce((sum, motor) => sum + motor.mean, 0) / described.length;
  const trim = (axis: AxisName): number | null => {
    const signal = demand(axis);
    return signal === null ? null : meanDuring(signal, interval);
  };
  return {
    motors: described,
    hoverThrottle: (throttle === null ? null : meanDuring(throttle, interval)) ?? meanMotor,
    trim: { roll: trim('roll'), pitch: trim('pitch'), yaw: trim('yaw') },
  };
}

/**
 * Share of an interval in which the axis' demand, or any motor, stood on a stop.
 *
 * @returns null when neither demand nor motor commands are logged
 */
export function clippedShare(
  flight: Flight,
  axis: AxisName,
  hover: Interval,
  interval: Interval,
): number | null {
  const motors = motorSignals(flight);
  const demand = firstSignal(flight, `rate.${axis}.demand`);
  let share: number | null = null;
  if (demand !== null) {
    const values = valuesDuring(demand, interval);
    if (values.length > 0) share = values.filter((v) => Math.abs(v) >= 0.999).length / values.length;
  }
  if (motors.length > 0) {
    const { timeS } = motors[0]!.clock;
    const stops = motors.map((motor) => stopsOf(motor, hover));
    let count = 0;
    let at = 0;
    for (
      let i = indexAtOrAfter(timeS, interval.startS);
      i < timeS.length && timeS[i]! <= interval.endS;
      i++
    ) {
      count++;
      const clipped = motors.some((motor, m) => {
        const v = motor.values[i] ?? Number.NaN;
        const { low, high } = stops[m]!;
        return (
          (low !== null && Math.abs(v - low) <= AT_STOP) || (high !== null && Math.abs(v - high) <= AT_STOP)
        );
      });
      if (clipped) at++;
    }
    if (count > 0) share = Math.max(share ?? 0, at / count);
  }
  return share;
}
