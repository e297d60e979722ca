/** Long series thinned to what a pixel can show: the lowest and the highest of every column survive. */
import type { Interval, Signal } from '@settle/parser';
import { indexAtOrAfter } from '../signals.js';
import type { TimeSeries } from './picture-data.js';

/** Columns of a wide picture: two points in each, one for every pixel of a wide plot. */
export const COLUMNS = 640;

/**
 * A channel over an interval, at most two points per column: the extremes of the column, in the order they came. A gap of the log,
 * or a missing value, breaks the line.
 *
 * @param scale factor into the unit of the picture
 * @returns null without a finite value in the interval
 */
export function thinSignal(
  signal: Signal,
  interval: Interval,
  scale: number,
  columns = COLUMNS,
): TimeSeries | null {
  const { timeS, gaps } = signal.clock;
  const first = indexAtOrAfter(timeS, interval.startS);
  const end = indexAtOrAfter(timeS, interval.endS + 1e-9);
  const columnS = Math.max(1e-9, interval.endS - interval.startS) / columns;
  const times: number[] = [];
  const values: (number | null)[] = [];
  let gap = 0;
  let previousS = Number.NEGATIVE_INFINITY;
  for (let i = first; i < end;) {
    while (gap < gaps.length && gaps[gap]!.endS <= previousS) gap++;
    if (gap < gaps.length && gaps[gap]!.startS >= previousS && gaps[gap]!.endS <= timeS[i]! + 1e-9) {
      if (values.length > 0 && values.at(-1) !== null) {
        times.push((previousS + timeS[i]!) / 2);
        values.push(null);
      }
      gap++;
    }
    const column = Math.floor((timeS[i]! - interval.startS) / columnS);
    let low = -1;
    let high = -1;
    let last = i;
    for (; last < end && Math.floor((timeS[last]! - interval.startS) / columnS) === column; last++) {
      const value = signal.values[last]!;
      if (!Number.isFinite(value)) continue;
      if (low < 0 || value < signal.values[low]!) low = last;
      if (high < 0 || value > signal.values[high]!) high = last;
    }
    if (low < 0) {
      if (values.length > 0 && values.at(-1) !== null) {
        times.push(timeS[i]!);
        values.push(null);
      }
    } else
      for (const k of low === high ? [low] : [Math.min(low, high), Math.max(low, high)]) {
        times.push(timeS[k]!);
        values.push(scale * signal.values[k]!);
      }
    previousS = timeS[last - 1]!;
    i = last;
  }
  return values.some((value) => value !== null) ? { timeS: times, values } : null;
}

/** An even record as a series, thinned alike. */
export function thinEven(
  values: Float64Array,
  startS: number,
  stepS: number,
  scale: number,
  columns = COLUMNS,
): TimeSeries {
  const perColumn = Math.max(1, values.length / columns);
  const times: number[] = [];
  const kept: number[] = [];
  for (let column = 0, from = 0; from < values.length; column++) {
    const to = Math.max(from + 1, Math.round((column + 1) * perColumn));
    let low = from;
    let high = from;
    for (let i = from; i < Math.min(to, values.length); i++) {
      if (values[i]! < values[low]!) low = i;
      if (values[i]! > values[high]!) high = i;
    }
    for (const k of low === high ? [low] : [Math.min(low, high), Math.max(low, high)]) {
      times.push(startS + k * stepS);
      kept.push(scale * values[k]!);
    }
    from = to;
  }
  return { timeS: times, values: kept };
}

/** Bins of a spectrum that share a column: which bin of each holds the highest value. */
export function thinSpectrum(
  frequencyHz: ArrayLike<number>,
  values: ArrayLike<number>,
  lowHz: number,
  highHz: number,
  spacing: 'log' | 'linear',
  columns = 420,
): number[] {
  const place = (hz: number): number =>
    spacing === 'log' ? Math.log(hz / lowHz) / Math.log(highHz / lowHz) : (hz - lowHz) / (highHz - lowHz);
  const kept: number[] = [];
  let column = -1;
  for (let k = 0; k < frequencyHz.length; k++) {
    const hz = frequencyHz[k]!;
    if (!(hz >= lowHz && hz <= highHz) || !(values[k]! > 0)) continue;
    const own = Math.floor(place(hz) * columns);
    if (own !== column) kept.push(k);
    else if (values[k]! > values[kept[kept.length - 1]!]!) kept[kept.length - 1] = k;
    column = own;
  }
  return kept;
}
