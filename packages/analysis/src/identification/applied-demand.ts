/**
 * The demand that reached the motors.
 *
 * What a controller asks and what its motors do part company as soon as one of them meets a stop: a loop identified from
 * the demand asked looks weaker than it is there. Each motor's share of every axis is learnt from samples away from the
 * stops; the demand asked, mixed by those shares and cut at the stops, gives the demand applied.
 */
import { AXES, type AxisName, type Flight, type Interval, type Signal } from '@settle/parser';
import { Matrix, pseudoInverse } from 'ml-matrix';
import { stopsOf } from '../motor-stops.js';
import { motorSignals } from '../signals.js';
import { learnMix } from './motor-shares.js';

export interface AppliedDemands {
  /** On the clock of the rates; null where an axis has no demand at all. */
  readonly perAxis: Readonly<Record<AxisName, Float64Array | null>>;
  /** Share of samples at which a stop changed the demand of the axis by more than 1 % of full authority. */
  readonly cutShare: Readonly<Record<AxisName, number>>;
  /** Which channels were used, in words. */
  readonly from: string;
  /** The motors' limits are not known: the demand applied is taken to be the demand asked. */
  readonly stopsUnknown: boolean;
}

/**
 * @param clock times at which the demand is wanted, s, rising
 * @param asked demand of each axis at those times
 */
export function applyStops(
  flight: Flight,
  interval: Interval,
  clock: Float64Array,
  asked: Readonly<Record<AxisName, Float64Array | null>>,
  askedFrom: string,
): AppliedDemands {
  const none = { roll: 0, pitch: 0, yaw: 0 };
  const motors = motorSignals(flight);
  const known = AXES.filter((axis) => asked[axis] !== null);
  if (motors.length >= 2 && meetNoStop(motors, { startS: clock[0]!, endS: clock.at(-1)! }))
    return {
      perAxis: asked,
      cutShare: none,
      from: `${askedFrom}, of which the motors cut nothing`,
      stopsUnknown: false,
    };
  const mix =
    motors.length < 2 || known.length === 0 ? null : learnMix(flight, interval, motors, clock, asked, known);
  if (mix === null)
    return {
      perAxis: asked,
      cutShare: none,
      from:
        motors.length < 2
          ? `${askedFrom} (no motor commands, so what the stops take away is not seen)`
          : `${askedFrom} (the motor commands do not follow the demands logged)`,
      stopsUnknown: true,
    };
  const n = clock.length;
  const inverse = pseudoInverse(new Matrix(mix.map((m) => [...m.shares])));
  const applied = Object.fromEntries(
    AXES.map((axis) => [axis, asked[axis] === null ? null : Float64Array.from(asked[axis])]),
  ) as Record<AxisName, Float64Array | null>;
  const cut: Record<AxisName, number> = { ...none };
  for (let k = 0; k < n; k++) {
    let any = false;
    const lost = mix.map((m) => {
      let value = m.common[k]!;
      for (let a = 0; a < known.length; a++) value += m.shares[a]! * asked[known[a]!]![k]!;
      const held = Math.max(m.low, Math.min(m.high, value));
      if (held !== value) any = true;
      return held - value;
    });
    if (!any) continue;
    for (let a = 0; a < known.length; a++) {
      let change = 0;
      for (let i = 0; i < lost.length; i++) change += inverse.get(a, i) * lost[i]!;
      const axis = known[a]!;
      applied[axis]![k] = applied[axis]![k]! + change;
      if (Math.abs(change) > 0.01) cut[axis] += 1 / n;
    }
  }
  return {
    perAxis: applied,
    cutShare: cut,
    from: `${askedFrom}, cut at the motors' stops`,
    stopsUnknown: false,
  };
}

/** A command logged more slowly than this may have met its stops between samples, Hz. */
const SEES_STOPS_HZ = 40;

/** Whether it is seen that no motor was at a stop: then demands reach the motors whole, whatever mixes them. */
function meetNoStop(motors: readonly Signal[], interval: Interval): boolean {
  return motors.every((motor) => {
    const { low, high } = stopsOf(motor, interval);
    return low === null && high === null && motor.clock.sampleRateHz >= SEES_STOPS_HZ;
  });
}
