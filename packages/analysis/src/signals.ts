import type { ChannelName, Flight, Interval, Signal } from '@settle/parser';

/** Evenly spaced samples cut from one channel. `startS` is on the flight's clock. */
export interface EvenRecord {
  readonly startS: number;
  readonly sampleRateHz: number;
  readonly values: Float64Array;
}

/** Motor commands of a flight in the order of their numbers. */
export function motorSignals(flight: Flight): Signal[] {
  return numbered(flight, 'motor', 'command');
}

/** Rotor speeds of a flight in the order of their numbers. */
export function rotorSignals(flight: Flight): Signal[] {
  return numbered(flight, 'rotor', 'speed');
}

function numbered(flight: Flight, kind: 'motor' | 'rotor', what: 'command' | 'speed'): Signal[] {
  const found: { index: number; signal: Signal }[] = [];
  for (const [name, signal] of flight.signals) {
    const parts = name.split('.');
    if (parts[0] === kind && parts[2] === what) found.push({ index: Number(parts[1]), signal });
  }
  return found.sort((a, b) => a.index - b.index).map((f) => f.signal);
}

/** The first of these channels that the flight has. */
export function firstSignal(flight: Flight, ...names: readonly ChannelName[]): Signal | null {
  for (const name of names) {
    const signal = flight.signals.get(name);
    if (signal !== undefined) return signal;
  }
  return null;
}

/** Index of the first sample at or after a time; the length if there is none. */
export function indexAtOrAfter(timeS: Float64Array, atS: number): number {
  let low = 0;
  let high = timeS.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (timeS[middle]! < atS) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** A clock whose steps scatter by less than this keeps its samples as they are, on an even grid. */
const EVEN_JITTER_PCT = 25;

/**
 * Even samples of a channel over an interval. Intervals beyond the channel are cut to it.
 *
 * At the log's own rate every sample keeps its value and takes the nearest place of an even grid: between samples lies
 * nothing to interpolate from, and straight lines would take away up to a third of what swings near half the Nyquist
 * frequency. Only missing samples are bridged by straight lines, as is everything when `sampleRateHz` asks for another
 * rate or the clock is too uneven.
 *
 * @returns null when fewer than two finite samples lie in the interval
 */
export function evenRecord(signal: Signal, interval: Interval, sampleRateHz?: number): EvenRecord | null {
  const { timeS } = signal.clock;
  const first = indexAtOrAfter(timeS, interval.startS);
  const end = indexAtOrAfter(timeS, interval.endS + 1e-9);
  const kept: number[] = [];
  for (let i = first; i < end; i++) if (Number.isFinite(signal.values[i]!)) kept.push(i);
  if (kept.length < 2) return null;
  const rate = sampleRateHz ?? signal.clock.sampleRateHz;
  const startS = timeS[kept[0]!]!;
  const endS = timeS[kept[kept.length - 1]!]!;
  const keepsSamples = sampleRateHz === undefined && signal.clock.jitterPct < EVEN_JITTER_PCT;
  const count = keepsSamples
    ? Math.round((endS - startS) * rate) + 1
    : Math.floor((endS - startS) * rate + 1e-6) + 1;
  const values = new Float64Array(count);
  const place = (k: number): number => {
    const position = (timeS[kept[k]!]! - startS) * rate;
    return keepsSamples ? Math.round(position) : position;
  };
  let at = 0;
  for (let i = 0; i < count; i++) {
    while (at < kept.length - 2 && place(at + 1) < i) at++;
    const a = place(at);
    const b = place(at + 1);
    const x = b > a ? Math.min(1, Math.max(0, (i - a) / (b - a))) : 1;
    const from = signal.values[kept[at]!]!;
    values[i] = from + x * (signal.values[kept[at + 1]!]! - from);
  }
  return { startS, sampleRateHz: rate, values };
}

/** The value below which a share of the finite values lies; NaN for none. */
export function quantile(values: ArrayLike<number>, share: number): number {
  const sorted = Float64Array.from(Array.from(values).filter(Number.isFinite)).sort();
  if (sorted.length === 0) return Number.NaN;
  return sorted[Math.min(sorted.length - 1, Math.max(0, Math.round(share * (sorted.length - 1))))]!;
}

/** Centred moving average over `width` samples (made odd), ends by what there is. */
export function smoothed(values: Float64Array, width: number): Float64Array {
  const half = Math.max(0, Math.floor(width / 2));
  if (half === 0) return Float64Array.from(values);
  const sums = new Float64Array(values.length + 1);
  for (let i = 0; i < values.length; i++) sums[i + 1] = sums[i]! + values[i]!;
  return values.map((_, i) => {
    const a = Math.max(0, i - half);
    const b = Math.min(values.length, i + half + 1);
    return (sums[b]! - sums[a]!) / (b - a);
  });
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
