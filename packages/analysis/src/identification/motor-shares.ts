/** How much each motor's command changes with the demand of each axis, learnt from samples away from its stops. */
import type { AxisName, Flight, Interval, Signal } from '@settle/parser';
import { stopsOf } from '../motor-stops.js';
import { firstSignal, indexAtOrAfter, interpolate } from '../signals.js';
import { solveLeastSquares } from '../spectrum/least-squares.js';

/** Samples away from the stops that a motor's shares are learnt from, at least. */
const FEWEST_SAMPLES = 30;
/** Where demands jump from end to end between samples, some motor samples are of another instant: one of these shares follows. */
const FOLLOWING = [0.7, 0.5];
const TRIMS = 3;
/** Share of a motor's variance that the mix must explain to be believed. */
const BELIEVED = 0.97;

/** Share of a step within which two samples are of one instant. */
const SAME_INSTANT = 0.08;

/** Steps from a time to the nearest sample of an even clock. */
function distanceTo(clock: Float64Array, timeS: number): number {
  const step = (clock.at(-1)! - clock[0]!) / (clock.length - 1);
  const place = (timeS - clock[0]!) / step;
  return Math.abs(place - Math.round(place));
}

export interface MotorMix {
  /** Change of command per unit of demand, one per known axis. */
  readonly shares: readonly number[];
  /** What the command is without any demand, on the wanted clock. */
  readonly common: Float64Array;
  readonly low: number;
  readonly high: number;
}

/** @returns null where the motors do not follow the demands */
export function learnMix(
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
    const samples: MotorSamples = {
      at,
      command: Float64Array.from(free, (i) => motor.values[i]!),
      demands: known.map((axis) => interpolate(clock, asked[axis]!, at)),
      throttle: throttle === null ? null : interpolate(throttle.clock.timeS, throttle.values, at),
    };
    const found =
      followed(samples) ??
      FOLLOWING.reduce<Followed | null>((best, share) => best ?? followed(trimmed(samples, share)), null);
    if (found === null) return null;
    const { kept, shares } = found;
    // What is left when the demands are taken out changes slowly: it is read off the free samples.
    const rest = Float64Array.from(kept.command, (v, i) =>
      shares.reduce((left, share, a) => left - share * kept.demands[a]![i]!, v),
    );
    mix.push({
      shares,
      common: interpolate(kept.at, rest, clock),
      low: low ?? Number.NEGATIVE_INFINITY,
      high: high ?? Number.POSITIVE_INFINITY,
    });
  }
  return mix;
}

/** A motor away from its stops. */
interface MotorSamples {
  readonly at: Float64Array;
  readonly command: Float64Array;
  readonly demands: readonly Float64Array[];
  readonly throttle: Float64Array | null;
}

interface CommandFit {
  /** Change of command per unit of each demand. */
  readonly shares: readonly number[];
  /** What demands, throttle and constant leave of the commands. */
  readonly left: (of: MotorSamples) => Float64Array;
}

function fitCommand(samples: MotorSamples): CommandFit | null {
  const solve = (columnsOf: (of: MotorSamples) => Float64Array[]): CommandFit | null => {
    const fit = solveLeastSquares(columnsOf(samples), samples.command);
    if (fit === null) return null;
    return {
      shares: samples.demands.map((_, a) => fit.coefficients[a]!),
      left: (of) => {
        const columns = columnsOf(of);
        return of.command.map((v, i) =>
          columns.reduce((rest, column, c) => rest - fit.coefficients[c]! * column[i]!, v),
        );
      },
    };
  };
  const one = ({ command }: MotorSamples): Float64Array => new Float64Array(command.length).fill(1);
  // A throttle that never moves cannot be told from the constant.
  return (
    (samples.throttle === null ? null : solve((of) => [...of.demands, of.throttle!, one(of)])) ??
    solve((of) => [...of.demands, one(of)])
  );
}

interface Followed {
  readonly kept: MotorSamples;
  readonly shares: readonly number[];
}

/** The samples and what they say; null where the motor does not follow the demands in them. */
function followed(kept: MotorSamples): Followed | null {
  const shares = sharesOf(kept);
  return shares === null ? null : { kept, shares };
}

/** @returns the change of command per unit of each demand; null where the motor does not follow them */
function sharesOf(samples: MotorSamples): readonly number[] | null {
  const fit = fitCommand(samples);
  if (fit === null) return null;
  const { command } = samples;
  const mean = command.reduce((sum, v) => sum + v / command.length, 0);
  const total = command.reduce((sum, v) => sum + (v - mean) ** 2, 0);
  const left = fit.left(samples).reduce((sum, v) => sum + v * v, 0);
  const follows = left <= (1 - BELIEVED) * total || Math.sqrt(left / command.length) <= 0.01;
  return follows ? fit.shares : null;
}

/** The samples that follow the demands best (least trimmed squares: P. Rousseeuw, 1984; from memory). */
function trimmed(samples: MotorSamples, share: number): MotorSamples {
  let kept = samples;
  const many = Math.round(share * samples.at.length);
  for (let round = 0; round < TRIMS; round++) {
    const fit = fitCommand(kept);
    if (fit === null) return kept;
    const { demands, throttle, command } = samples;
    const off = fit.left(samples).map(Math.abs);
    const places = [...off.keys()]
      .sort((a, b) => off[a]! - off[b]!)
      .slice(0, many)
      .sort((a, b) => a - b);
    const pick = (values: Float64Array): Float64Array => Float64Array.from(places, (i) => values[i]!);
    kept = {
      at: pick(samples.at),
      command: pick(command),
      demands: demands.map(pick),
      throttle: throttle === null ? null : pick(throttle),
    };
  }
  return kept;
}
