/** How well each sensor axis could see what was there to see. */
import type { Interval } from '@settle/parser';
import { indexAtOrAfter } from '../signals.js';
import type { LineSpectrum } from './line-spectrum.js';
import type { SensorRecord } from './sensor-records.js';
import type { SensorHealth } from './vibration-study.js';

/** Runs of this many samples at an extreme are the end of a range. */
const RUN = 3;
/** Differences examined for a common step. */
const MOST_DIFFERENCES = 4000;
/** Share of the band, from its top, in which folded energy piles up. */
const TOP_SHARE = 0.1;

export function sensorHealth(
  record: SensorRecord,
  spectrum: LineSpectrum,
  interval: Interval,
  lowestHz: number,
): SensorHealth {
  const { signal } = record;
  const { timeS } = signal.clock;
  const from = indexAtOrAfter(timeS, interval.startS);
  const until = indexAtOrAfter(timeS, interval.endS);
  const values = signal.values.subarray(from, until);
  const finite = values.filter((v) => Number.isFinite(v));
  const expected = Math.max(1, Math.round((interval.endS - interval.startS) * record.sampleRateHz));
  return {
    sensor: record.sensor,
    axis: record.axis,
    sampleRateHz: record.sampleRateHz,
    rms: Math.sqrt(powerBetween(spectrum, lowestHz, record.sampleRateHz / 2)),
    overRange: atEnds(finite),
    quantum: stepOf(finite),
    missingShare: Math.max(0, 1 - finite.length / expected),
    nyquistExcess: nyquistExcess(spectrum, lowestHz),
  };
}

export function powerBetween({ density, binHz }: LineSpectrum, lowHz: number, highHz: number): number {
  let sum = 0;
  for (let k = Math.max(1, Math.ceil(lowHz / binHz)); k <= Math.min(density.length - 1, highHz / binHz); k++)
    sum += density[k]! * binHz;
  return sum;
}

/** Samples in runs at the highest or the lowest value. */
function atEnds(values: Float64Array): number {
  let low = Infinity;
  let high = -Infinity;
  for (const v of values) {
    low = Math.min(low, v);
    high = Math.max(high, v);
  }
  if (!(high > low)) return 0;
  let count = 0;
  let run = 0;
  let before = Number.NaN;
  for (const v of values) {
    run = v === before && (v === low || v === high) ? run + 1 : 1;
    before = v;
    if (v !== low && v !== high) continue;
    if (run === RUN) count += RUN;
    else if (run > RUN) count++;
  }
  return count;
}

/** Common step of the values; null where they are not on a grid. */
function stepOf(values: Float64Array): number | null {
  const steps: number[] = [];
  const every = Math.max(1, Math.floor(values.length / MOST_DIFFERENCES));
  for (let i = 1; i < values.length; i += every) {
    const d = Math.abs(values[i]! - values[i - 1]!);
    if (d > 0) steps.push(d);
  }
  if (steps.length < 50) return null;
  const smallest = steps.reduce((a, b) => Math.min(a, b));
  const off = steps.filter((d) => Math.abs(d / smallest - Math.round(d / smallest)) > 0.05).length;
  return off < 0.02 * steps.length ? smallest : null;
}

/** Power in the top of the band over what a floor as in the middle of it would hold there. */
function nyquistExcess({ density, floor, binHz }: LineSpectrum, lowestHz: number): number {
  const n = density.length - 1;
  const top = Math.ceil((1 - TOP_SHARE) * n);
  const middle = Math.max(Math.ceil(lowestHz / binHz), Math.floor(n / 4));
  let above = 0;
  for (let k = top; k < n; k++) above += density[k]!;
  const levels: number[] = [];
  for (let k = middle; k < Math.floor(0.75 * n); k++) levels.push(floor[k]!);
  levels.sort((a, b) => a - b);
  const level = levels[levels.length >> 1] ?? floor[n]!;
  return above / Math.max(1e-300, level * Math.max(1, n - top));
}
