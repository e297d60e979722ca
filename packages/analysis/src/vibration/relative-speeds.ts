/** How the rotors' speeds may have gone over the hover: measured, or guessed from what the motors were told. */
import type { Flight, Interval, Signal } from '@settle/parser';
import { evenRecord, motorSignals, quantile, rotorSignals, smoothed, type EvenRecord } from '../signals.js';
import { solveLeastSquares } from '../spectrum/least-squares.js';
import { resampleUniform } from '../spectrum/resample.js';
import type { RelativeSpeed } from './turn-records.js';
import { withoutFoldedNoise } from './without-folded-noise.js';

export interface SpeedGuess {
  /** From 1; null: all rotors together. */
  readonly rotor: number | null;
  readonly speed: RelativeSpeed;
  /** Revolutions per second, mean over the interval; null where only the course is known. */
  readonly meanHz: number | null;
  /** Mean speed over that of all rotors, as far as the commands tell. */
  readonly share: number;
}

/** Slowest and fastest rotors looked for where no speed is logged, revolutions per second. */
export const SLOWEST_HZ = 12;
export const FASTEST_HZ = 250;
/** Rate of the speeds, Hz. */
const SPEED_RATE_HZ = 100;
/** Slower than this a rotor stands, revolutions per second. */
const STANDS_HZ = 3;

/** Speeds of the rotors as logged. */
export function loggedSpeeds(flight: Flight, interval: Interval): SpeedGuess[] {
  return rotorSignals(flight).flatMap((signal, i) => {
    const record = evenRecord(withoutStops(signal), interval, SPEED_RATE_HZ);
    if (record === null) return [];
    const mean = meanOf(record.values);
    if (!(mean > STANDS_HZ)) return [];
    const values = record.values.map((v) => v / mean);
    return [
      {
        rotor: i + 1,
        meanHz: mean,
        share: 1,
        speed: { startS: record.startS, stepS: 1 / SPEED_RATE_HZ, values },
      },
    ];
  });
}

/** A rotor that carries does not stop for a moment: such samples are missing ones. */
const LEAST_SHARE = 0.4;

function withoutStops(signal: Signal): Signal {
  const least = LEAST_SHARE * quantile(signal.values, 0.5);
  return { ...signal, values: signal.values.map((v) => (v > least ? v : Number.NaN)) };
}

/** What the motors were told over an interval (else the throttle), at the rate of the speeds, over its mean. */
export type Commands = readonly {
  readonly rotor: number | null;
  readonly startS: number;
  readonly values: Float64Array;
  /** What `values` are over. */
  readonly mean: number;
}[];

/**
 * @param motors what they were told
 * @returns one per motor, or one for all
 */
export function commandsOf(
  flight: Flight,
  interval: Interval,
  motors: readonly Signal[] = motorSignals(flight),
): Commands {
  const throttle = flight.signals.get('throttle') ?? flight.signals.get('stick.throttle');
  const sources: readonly (readonly [number | null, Signal])[] =
    motors.length > 0
      ? motors.map((signal, i) => [i + 1, signal] as const)
      : throttle === undefined
        ? []
        : [[null, throttle] as const];
  return sources.flatMap(([rotor, signal]) => {
    const logged = evenRecord(signal, interval);
    if (logged === null) return [];
    const record = atSpeedRate(logged);
    const mean = meanOf(record.values);
    return mean > 0.02
      ? [{ rotor, startS: record.startS, values: record.values.map((v) => v / mean), mean }]
      : [];
  });
}

/** Without what the log's rate folded down, on the clock of the speeds: averaged where that is slower, by straight lines where not. */
function atSpeedRate({ startS, sampleRateHz, values }: EvenRecord): Pick<EvenRecord, 'startS' | 'values'> {
  const clean = smoothed(withoutFoldedNoise(values, sampleRateHz), sampleRateHz / SPEED_RATE_HZ);
  const timeS = Float64Array.from(clean, (_, i) => startS + i / sampleRateHz);
  return resampleUniform(timeS, clean, SPEED_RATE_HZ, { method: 'linear' });
}

/** In less time than this commands that rise together are as soon gusts, s. */
const DRIFT_SHOWS_S = 15;
/** What the commands do together is looked at by means over this, s. */
const BLOCK_S = 0.5;
/** Times that a drift is fitted, and what is less off it than this counts alike, as a share. */
const FITS = 12;
const SURELY_ON = 1e-4;

/**
 * In a hover that stands still all rotors together carry the weight, and turn as fast at its end as at its beginning: commands that rise
 * slowly and all together make up for the battery, and no rotor follows that. A parabola over the whole hover is taken out,
 * if that is long enough to tell: the one with the least sum of absolute errors (least squares, weighted over and over), so that the
 * first and last moments, in which an aircraft may climb or sink, do not bend it.
 */
export function withoutDrift(commands: Commands): Commands {
  const length = Math.min(...commands.map(({ values }) => values.length));
  if (length < DRIFT_SHOWS_S * SPEED_RATE_HZ) return commands;
  const block = Math.round(BLOCK_S * SPEED_RATE_HZ);
  const together = Float64Array.from({ length: Math.floor(length / block) }, (_, b) =>
    meanOf(commands.map(({ values }) => meanOf(values.subarray(b * block, (b + 1) * block)))),
  );
  const drift = parabolaThrough(together);
  if (drift === null) return commands;
  const factor = (i: number): number => drift((i + 0.5) / block - 0.5);
  return commands.map((one) => ({ ...one, values: one.values.map((v, i) => v / factor(i)) }));
}

/** @returns its value, by index; null where it cannot be fitted */
function parabolaThrough(values: Float64Array): ((i: number) => number) | null {
  const powers = [0, 1, 2];
  const at = (i: number): number => i / values.length;
  let weights = values.map(() => 1);
  let fitted: ((i: number) => number) | null = null;
  for (let fits = 0; fits < FITS; fits++) {
    const root = weights.map(Math.sqrt);
    const fit = solveLeastSquares(
      powers.map((power) => root.map((w, i) => w * at(i) ** power)),
      values.map((v, i) => root[i]! * v),
    );
    if (fit === null) return null;
    const { coefficients } = fit;
    const value = (i: number): number =>
      powers.reduce((sum, power) => sum + coefficients[power]! * at(i) ** power, 0);
    weights = values.map((v, i) => 1 / Math.max(SURELY_ON, Math.abs(v - value(i))));
    fitted = value;
  }
  return fitted;
}

/** How fast each turns in the mean and no more: what a command does over the hover is not believed, so it names no rotor either. */
export function steadyOf(commands: Commands): Commands {
  return commands.map((one) => ({ ...one, rotor: null, values: one.values.map(() => 1) }));
}

/** Courses guessed from the commands: speed as command to a power, behind a first-order lag. */
export function speedsFrom(commands: Commands, power: number, lagS: number): SpeedGuess[] {
  const keep = Math.exp(-1 / (SPEED_RATE_HZ * lagS));
  const levels = commands.map(({ mean }) => mean ** power);
  return commands.map(({ rotor, startS, values: told }, i) => {
    let thrust = told[0]!;
    const values = told.map((v) => {
      thrust = v + (thrust - v) * keep;
      return Math.max(0.04, thrust) ** power;
    });
    const level = meanOf(values);
    return {
      rotor,
      meanHz: null,
      share: levels[i]! / meanOf(levels),
      speed: { startS, stepS: 1 / SPEED_RATE_HZ, values: values.map((v) => v / level) },
    };
  });
}

/** No course: everything as it stands in time. */
export function steadySpeed(interval: Interval): RelativeSpeed {
  const count = Math.max(2, Math.ceil((interval.endS - interval.startS) * 10) + 2);
  return { startS: interval.startS, stepS: 0.1, values: new Float64Array(count).fill(1) };
}

export function meanOf(values: ArrayLike<number>): number {
  let sum = 0;
  for (let i = 0; i < values.length; i++) sum += values[i]!;
  return sum / Math.max(1, values.length);
}
