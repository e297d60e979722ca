/** How much an axis moved, and how sure that is: averages over a hover with their standard errors by block bootstrap. */
import type { Interval, Signal } from '@settle/parser';
import { evenRecord, indexAtOrAfter } from '../signals.js';
import { blockLengthFor, bootstrapMeans, bootstrapStd, correlationTime } from '../statistics/index.js';
import type { Measured } from './hover-summary.js';

/** Squares are gathered over this time before they are resampled: a hover of hours is as quick as one of seconds. */
const GATHERED_S = 0.1;
/** Fewer gathered values show no error. */
const FEWEST = 20;

export interface Series {
  readonly values: Float64Array;
  readonly stepS: number;
}

const gather = ({ values, stepS }: Series, of: (v: number) => number): Float64Array => {
  const length = Math.max(1, Math.round(GATHERED_S / stepS));
  const count = Math.floor(values.length / length);
  return Float64Array.from({ length: count }, (_, k) => {
    let sum = 0;
    for (let i = k * length; i < (k + 1) * length; i++) sum += of(values[i]!);
    return sum / length;
  });
};

/** Root of the mean square of a series, about its mean where `aboutMean`. Times `unit`. null for a series too short. */
export function rmsOf(series: Series, unit: number, aboutMean: boolean, from: string): Measured | null {
  const squares = gather(series, (v) => v * v);
  const values = gather(series, (v) => v);
  if (squares.length < FEWEST) return null;
  const rms = ([square, mean]: readonly number[]): number =>
    unit * Math.sqrt(Math.max(0, square! - (aboutMean ? mean! ** 2 : 0)));
  return withBootstrap([squares, values], rms, `${from}, standard error by stationary block bootstrap`);
}

/** Mean of a series times `unit`. */
export function meanOf(series: Series, unit: number, from: string): Measured | null {
  const values = gather(series, (v) => v);
  if (values.length < FEWEST) return null;
  return withBootstrap(
    [values],
    ([mean]) => unit * mean!,
    `${from}, standard error by stationary block bootstrap`,
  );
}

/** @param columns per stretch of time; the first decides how long blocks must be */
export function withBootstrap(
  columns: readonly Float64Array[],
  of: (means: readonly number[]) => number,
  from: string,
): Measured {
  const first = columns[0]!;
  const blockLength = blockLengthFor(first.length, correlationTime(first));
  const means = columns.map((column) => column.reduce((sum, v) => sum + v, 0) / column.length);
  const std = bootstrapStd(bootstrapMeans(columns, { blockLength }), of);
  return { value: of(means), std: Number.isFinite(std) ? std : null, from };
}

/** A channel over an interval as an even series; null where it has too little. */
export function seriesOf(signal: Signal | null, interval: Interval): Series | null {
  const record = signal === null ? null : evenRecord(signal, interval);
  return record === null ? null : { values: record.values, stepS: 1 / record.sampleRateHz };
}

/** Reference minus measured, on the slower of the two clocks. */
export function errorSeries(
  reference: Signal | null,
  measured: Signal | null,
  interval: Interval,
): Series | null {
  if (reference === null || measured === null) return null;
  const rate = Math.min(reference.clock.sampleRateHz, measured.clock.sampleRateHz);
  const a = evenRecord(reference, interval, rate);
  const b = evenRecord(measured, interval, rate);
  if (a === null || b === null) return null;
  const shift = Math.round((b.startS - a.startS) * rate);
  const first = Math.max(0, -shift);
  const end = Math.min(b.values.length, a.values.length - shift);
  if (end <= first) return null;
  return {
    values: Float64Array.from(
      { length: end - first },
      (_, i) => a.values[first + i + shift]! - b.values[first + i]!,
    ),
    stepS: 1 / rate,
  };
}

/** 1 where any of the commands stands on a stop, else 0, on the clock of the first. */
export function stopSeries(
  motors: readonly { readonly signal: Signal; readonly low: number | null; readonly high: number | null }[],
  interval: Interval,
  atStop: number,
): Series | null {
  const clock = motors[0]?.signal.clock;
  if (clock === undefined) return null;
  const first = indexAtOrAfter(clock.timeS, interval.startS);
  const end = indexAtOrAfter(clock.timeS, interval.endS);
  const values = new Float64Array(Math.max(0, end - first));
  for (const { signal, low, high } of motors) {
    if (signal.clock !== clock) continue;
    for (let i = first; i < end; i++) {
      const v = signal.values[i]!;
      if ((low !== null && v - low <= atStop) || (high !== null && high - v <= atStop)) values[i - first] = 1;
    }
  }
  return { values, stepS: 1 / clock.sampleRateHz };
}
