/** Which way each motor answers each axis' demand, learnt from the log. */
import { AXES, type AxisName, type Flight, type Interval } from '@settle/parser';
import { stopsOf } from '../motor-stops.js';
import { firstSignal, indexAtOrAfter, interpolate, motorSignals } from '../signals.js';
import { solveLeastSquares } from '../spectrum/least-squares.js';

/** Change of each motor's command per unit of demand; 0 on an axis whose demand is not logged or does not move. */
export type MotorMix = readonly Readonly<Record<AxisName, number>>[];

const FEWEST_SAMPLES = 30;
/** Share of a motor's variance that its mix must explain. */
const BELIEVED = 0.7;

/** @returns null with fewer than three motors, or where they do not follow the demands */
export function learnMotorMix(flight: Flight, interval: Interval): MotorMix | null {
  const motors = motorSignals(flight);
  const demands = AXES.flatMap((axis) => {
    const signal = firstSignal(flight, `rate.${axis}.demand`);
    return signal === null ? [] : [{ axis, signal }];
  });
  if (motors.length < 3 || demands.length === 0) return null;
  const throttle = flight.signals.get('throttle');
  const mix: Record<AxisName, number>[] = [];
  for (const motor of motors) {
    const { low, high } = stopsOf(motor, interval);
    const { timeS } = motor.clock;
    const free: number[] = [];
    for (let i = indexAtOrAfter(timeS, interval.startS); i < timeS.length && timeS[i]! < interval.endS; i++) {
      const v = motor.values[i]!;
      const onStop = (low !== null && v - low < 0.005) || (high !== null && high - v < 0.005);
      if (Number.isFinite(v) && !onStop) free.push(i);
    }
    if (free.length < FEWEST_SAMPLES) return null;
    const at = Float64Array.from(free, (i) => timeS[i]!);
    const y = Float64Array.from(free, (i) => motor.values[i]!);
    const columns = demands.map(({ signal }) => interpolate(signal.clock.timeS, signal.values, at));
    const rest = [new Float64Array(at.length).fill(1)];
    const withThrottle =
      throttle === undefined ? null : interpolate(throttle.clock.timeS, throttle.values, at);
    const fit =
      (withThrottle === null ? null : solveLeastSquares([...columns, ...rest, withThrottle], y)) ??
      solveLeastSquares([...columns, ...rest], y);
    if (fit === null) return null;
    const mean = y.reduce((sum, v) => sum + v / y.length, 0);
    const total = y.reduce((sum, v) => sum + (v - mean) ** 2, 0);
    if (fit.residualSumOfSquares > (1 - BELIEVED) * total) return null;
    const shares: Record<AxisName, number> = { roll: 0, pitch: 0, yaw: 0 };
    demands.forEach(({ axis }, d) => (shares[axis] = fit.coefficients[d]!));
    mix.push(shares);
  }
  return mix;
}
