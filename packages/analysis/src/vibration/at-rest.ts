/** What stands around a frequency, brought to rest window by window, in samples as uneven as they were logged. */
import type { Interval, Signal } from '@settle/parser';
import { indexAtOrAfter } from '../signals.js';
import { solveLeastSquares } from '../spectrum/least-squares.js';
import type { SensorRecord } from './sensor-records.js';

/** Windows begin so many to a length. */
const STEPS = 4;

export interface Samples {
  readonly timeS: Float64Array;
  readonly values: Float64Array;
}

/** Samples as they were logged; what is missing is left out. */
export function samplesIn({ clock, values }: Signal, { startS, endS }: Interval): Samples {
  const first = indexAtOrAfter(clock.timeS, startS);
  const end = indexAtOrAfter(clock.timeS, endS);
  const there = Array.from({ length: end - first }, (_, i) => first + i).filter((i) =>
    Number.isFinite(values[i]!),
  );
  return {
    timeS: Float64Array.from(there, (i) => clock.timeS[i]!),
    values: Float64Array.from(there, (i) => values[i]!),
  };
}

/** A signal with other values where it has these samples, which are some of its own. */
export function withSamples(signal: Signal, { timeS, values: own }: Samples): Signal {
  const values = signal.values.slice();
  let at = 0;
  signal.clock.timeS.forEach((t, i) => {
    if (at < timeS.length && t === timeS[at]) values[i] = own[at++]!;
  });
  return { ...signal, values };
}

export function samplesOf({ startS, sampleRateHz, values }: SensorRecord, untilS: number): Samples {
  const count = Math.min(values.length, Math.max(0, Math.ceil((untilS - startS) * sampleRateHz)));
  return {
    timeS: Float64Array.from({ length: count }, (_, i) => startS + i / sampleRateHz),
    values: values.subarray(0, count),
  };
}

/**
 * Turned back by a frequency and averaged by Hann windows, each without its own mean. By the true frequency of a line that is folded in
 * the samples it comes to rest as well.
 *
 * @param middleS of the windows, rising
 * @returns complex amplitudes, interleaved: a sine of amplitude 1 has one of size 1
 */
export function atRest(
  { timeS, values }: Samples,
  hz: number,
  middleS: Float64Array,
  windowS: number,
): Float64Array {
  const count = timeS.length;
  const cos = new Float64Array(count);
  const sin = new Float64Array(count);
  // The window is 1 + cos a cos b + sin a sin b, with the angles of the sample and of the middle.
  const windowCos = new Float64Array(count);
  const windowSin = new Float64Array(count);
  const turn = (2 * Math.PI) / windowS;
  for (let i = 0; i < count; i++) {
    const angle = 2 * Math.PI * hz * timeS[i]!;
    cos[i] = Math.cos(angle);
    sin[i] = Math.sin(angle);
    windowCos[i] = Math.cos(turn * timeS[i]!);
    windowSin[i] = Math.sin(turn * timeS[i]!);
  }
  const out = new Float64Array(2 * middleS.length);
  let first = 0;
  middleS.forEach((t, k) => {
    while (first < count && timeS[first]! < t - windowS / 2) first++;
    const b = Math.cos(turn * t);
    const c = Math.sin(turn * t);
    let weight = 0;
    let sum = 0;
    let re = 0;
    let im = 0;
    let plainRe = 0;
    let plainIm = 0;
    for (let i = first; i < count && timeS[i]! < t + windowS / 2; i++) {
      const w = 1 + windowCos[i]! * b + windowSin[i]! * c;
      const v = w * values[i]!;
      weight += w;
      sum += v;
      re += v * cos[i]!;
      im -= v * sin[i]!;
      plainRe += w * cos[i]!;
      plainIm -= w * sin[i]!;
    }
    if (!(weight > 0)) return;
    const mean = sum / weight;
    out[2 * k] = (2 * (re - mean * plainRe)) / weight;
    out[2 * k + 1] = (2 * (im - mean * plainIm)) / weight;
  });
  return out;
}

/** Middles of windows that overlap, all of them within an interval. */
export function middlesOf({ startS, endS }: Interval, windowS: number): Float64Array {
  const step = windowS / STEPS;
  return Float64Array.from(
    { length: Math.floor((endS - startS - windowS) / step) + 1 },
    (_, k) => startS + windowS / 2 + k * step,
  );
}

/**
 * Share of the power of a complex series that others explain by constant complex factors: multiple coherence.
 *
 * @returns 0 where they are not independent of one another, or all is zero
 */
export function shareExplained(series: Float64Array, columns: readonly Float64Array[]): number {
  const power = series.reduce((sum, v) => sum + v * v, 0);
  // A complex factor is a real one on the column and a real one on the column a quarter turn on.
  const solved = solveLeastSquares(
    columns.flatMap((z) => [z, z.map((_, i) => (i % 2 === 0 ? -z[i + 1]! : z[i - 1]!))]),
    series,
  );
  return solved === null || !(power > 0) ? 0 : 1 - solved.residualSumOfSquares / power;
}
