/** What the motors were told, as often as the demands of the axes are logged: a mix of those and of what all motors were told together. */
import { AXES, type Flight, type Interval, type Signal } from '@settle/parser';
import { indexAtOrAfter, interpolate } from '../signals.js';
import { solveLeastSquares } from '../spectrum/least-squares.js';
import { samplesIn } from './at-rest.js';

/** Demands are worth it where they are logged so many times as often. */
const FASTER = 1.3;
/** A demand belongs to a sample of the commands that lies so near, in steps of the demands. */
const NEAR_STEPS = 0.3;
/** Fewer samples tell no mix. */
const FEWEST = 100;
/** Of what tells a motor from all others the mix leaves at most this share, power. */
const MOST_LEFT = 0.02;

/**
 * A slow log of the commands folds what the loop passes on of noise and vibration down into swings that no rotor follows; one that is
 * logged more often does so less.
 *
 * @param motors as logged
 * @returns each at the rate of the demands, or as it was where they do not make it up
 */
export function commandsFromDemands(flight: Flight, interval: Interval, motors: readonly Signal[]): Signal[] {
  const demands = AXES.flatMap((axis) => flight.signals.get(`rate.${axis}.demand`) ?? []);
  const first = demands[0];
  const motor = motors[0];
  if (demands.length < AXES.length || first === undefined || motor === undefined) return [...motors];
  const rateHz = first.clock.sampleRateHz;
  const oneClock =
    demands.every((demand) => sameTimes(demand, first)) && motors.every((one) => sameTimes(one, motor));
  if (!oneClock || rateHz < FASTER * motor.clock.sampleRateHz) return [...motors];
  const timeS = first.clock.timeS;
  const together = motor.values.map(
    (_, i) => motors.reduce((sum, { values }) => sum + values[i]!, 0) / motors.length,
  );
  const common = samplesIn({ ...motor, values: together }, interval);
  if (common.values.length < FEWEST) return [...motors];
  const shared = interpolate(common.timeS, common.values, timeS);
  return motors.map((signal) => {
    const { timeS: at, values } = samplesIn(
      { ...signal, values: signal.values.map((v, i) => v - together[i]!) },
      interval,
    );
    const pairs = Array.from(at, (t, i) => ({ i, k: nearest(timeS, t) })).filter(
      ({ i, k }) =>
        Math.abs(timeS[k]! - at[i]!) * rateHz < NEAR_STEPS &&
        demands.every((demand) => Number.isFinite(demand.values[k]!)),
    );
    if (pairs.length < FEWEST) return signal;
    const own = Float64Array.from(pairs, ({ i }) => values[i]!);
    const mean = own.reduce((sum, v) => sum + v, 0) / own.length;
    const columns = [
      ...demands.map((demand) => Float64Array.from(pairs, ({ k }) => demand.values[k]!)),
      own.map(() => 1),
    ];
    const fit = solveLeastSquares(columns, own);
    const whole = own.reduce((sum, v) => sum + (v - mean) ** 2, 0);
    if (fit === null || !(fit.residualSumOfSquares < MOST_LEFT * whole)) return signal;
    return {
      ...signal,
      clock: first.clock,
      values: shared.map((v, k) =>
        demands.reduce(
          (sum, demand, j) => sum + fit.coefficients[j]! * demand.values[k]!,
          v + fit.coefficients[3]!,
        ),
      ),
    };
  });
}

function sameTimes({ clock: a }: Signal, { clock: b }: Signal): boolean {
  return a === b || (a.timeS.length === b.timeS.length && a.timeS.every((t, i) => t === b.timeS[i]));
}

function nearest(timeS: Float64Array, at: number): number {
  const after = Math.min(timeS.length - 1, indexAtOrAfter(timeS, at));
  return after > 0 && at - timeS[after - 1]! < timeS[after]! - at ? after - 1 : after;
}
