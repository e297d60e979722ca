/**
 * The demand that reached the motors.
 *
 * What a controller asks and what its motors do part company as soon as one of them meets a stop: a loop identified from
 * the demand asked looks weaker than it is there. Each motor's share of every axis is learnt from samples away from the
 * stops; the demand asked, mixed by those shares and cut at the stops, gives the demand applied.
 */
import { AXES, type AxisName, type Flight, type Interval, type Signal } from '@settle/parser';
import { Matrix, pseudoInverse } from 'ml-matrix';
import { stopsOf } from '../actuators.js';
import { firstSignal, indexAtOrAfter, motorSignals } from '../signals.js';
import { solveLeastSquares } from '../spectrum/least-squares.js';

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

/** Samples away from the stops that a motor's shares are learnt from, at least. */
const FEWEST_SAMPLES = 30;
/** Share of a motor's variance that the mix must explain to be believed. */
const BELIEVED = 0.97;

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

/** Share of a step within which two samples are of one instant. */
const SAME_INSTANT = 0.08;

/** Steps from a time to the nearest sample of an even clock. */
function distanceTo(clock: Float64Array, timeS: number): number {
  const step = (clock.at(-1)! - clock[0]!) / (clock.length - 1);
  const place = (timeS - clock[0]!) / step;
  return Math.abs(place - Math.round(place));
}

interface MotorMix {
  /** Change of command per unit of demand, one per known axis. */
  readonly shares: readonly number[];
  /** What the command is without any demand, on the wanted clock. */
  readonly common: Float64Array;
  readonly low: number;
  readonly high: number;
}

/** @returns null where the motors do not follow the demands */
function learnMix(
  flight: Flight,
  interval: Interval,
  motors: readonly Signal[],
  clock: Float64Array,
  asked: Readonly<Record<AxisName, Float64Array | null>>,
  known: readonly AxisName[],
): MotorMix[] | null {
  const throttle = firstSignal(flight, 'throttle');
  const mix: MotorMix[] = [];
  for (const motor of motors) {
    const { low, high } = stopsOf(motor, interval);
    const { timeS } = motor.clock;
    const first = indexAtOrAfter(timeS, Math.max(interval.startS, clock[0]!));
    const end = indexAtOrAfter(timeS, Math.min(interval.endS, clock.at(-1)!));
    const free: number[] = [];
    for (let i = first; i < end; i++) {
      const v = motor.values[i]!;
      if (!Number.isFinite(v)) continue;
      if (low !== null && v - low < 0.005) continue;
      if (high !== null && high - v < 0.005) continue;
      free.push(i);
    }
    // A demand full of sensor noise cannot be read between its samples: motors logged at the same instants come first.
    const together = free.filter((i) => distanceTo(clock, timeS[i]!) < SAME_INSTANT);
    if (together.length >= FEWEST_SAMPLES) free.splice(0, free.length, ...together);
    if (free.length < FEWEST_SAMPLES) return null;
    const at = Float64Array.from(free, (i) => timeS[i]!);
    const y = Float64Array.from(free, (i) => motor.values[i]!);
    const common = throttle === null ? null : interpolate(throttle.clock.timeS, throttle.values, at);
    const columns = [
      ...known.map((axis) => interpolate(clock, asked[axis]!, at)),
      ...(common === null ? [] : [common]),
      new Float64Array(at.length).fill(1),
    ];
    // A throttle that never moves cannot be told from the constant.
    const fit =
      solveLeastSquares(columns, y) ??
      (common === null
        ? null
        : solveLeastSquares([...columns.slice(0, known.length), new Float64Array(at.length).fill(1)], y));
    if (fit === null) return null;
    let mean = 0;
    for (const v of y) mean += v / y.length;
    let total = 0;
    for (const v of y) total += (v - mean) ** 2;
    if (
      fit.residualSumOfSquares > (1 - BELIEVED) * total &&
      Math.sqrt(fit.residualSumOfSquares / y.length) > 0.01
    )
      return null;
    const shares = known.map((_, a) => fit.coefficients[a]!);
    // What is left when the demands are taken out changes slowly: it is read off the free samples.
    const rest = Float64Array.from(y, (v, i) => {
      let left = v;
      for (let a = 0; a < known.length; a++) left -= shares[a]! * columns[a]![i]!;
      return left;
    });
    mix.push({
      shares,
      common: interpolate(at, rest, clock),
      low: low ?? Number.NEGATIVE_INFINITY,
      high: high ?? Number.POSITIVE_INFINITY,
    });
  }
  return mix;
}

/** Straight lines between samples; the ends held. */
export function interpolate(timeS: Float64Array, values: Float64Array, at: Float64Array): Float64Array {
  const out = new Float64Array(at.length);
  let i = 0;
  for (let k = 0; k < at.length; k++) {
    const t = at[k]!;
    while (i < timeS.length - 2 && timeS[i + 1]! <= t) i++;
    const a = timeS[i]!;
    const b = timeS[Math.min(i + 1, timeS.length - 1)]!;
    const x = b > a ? Math.min(1, Math.max(0, (t - a) / (b - a))) : 0;
    const left = values[i]!;
    const right = values[Math.min(i + 1, values.length - 1)]!;
    out[k] =
      Number.isFinite(left) && Number.isFinite(right)
        ? left + x * (right - left)
        : Number.isFinite(left)
          ? left
          : 0;
  }
  return out;
}
