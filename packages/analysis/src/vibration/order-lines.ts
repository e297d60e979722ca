/**
 * Lines that turn with a rotor: every record is turned back by a multiple of the rotor's angle, which leaves what turned with it
 * standing still. The samples know nothing of half their rate, so a line that is folded stands still as well as one that is not.
 */
import { chiSquareQuantile } from '../statistics/distributions.js';
import type { SensorRecord } from './sensor-records.js';

/** Angle of a rotor in turns, at the samples of the records. */
export interface RotorAngle {
  readonly rotor: number | null;
  readonly meanHz: number;
  readonly turns: Float64Array;
}

/** A line at rest in the frame that turns `order` times as fast as a rotor. */
export interface OrderLine {
  readonly record: SensorRecord;
  readonly rotor: number | null;
  readonly order: number;
  /** Off the order, Hz: what the speed is wrong by, times the order. */
  readonly offsetHz: number;
  readonly rms: number;
  readonly aboveFloorDb: number;
  /** Floor there, unit²/Hz. */
  readonly floor: number;
  /** Share of the power within two hertz that stands still: near 1 for a line in focus. */
  readonly narrowness: number;
}

/** Rate to which the turned record is averaged down, Hz. */
const SLOW_HZ = 40;
/** Segment of the averaged spectrum, s. */
const SEGMENT_S = 4;
/** The line stands within this many bins of rest; the floor is read beyond, as far as this, Hz. */
const LINE_BINS = 2;
const WIDE_BINS = 8;
const REACH_HZ = 6;
/** What a bin of the floor's neighbours may be over it before it counts as another line. */
const OTHER_LINE = 6;

/** Averaged two-sided spectrum of a turned record around rest. */
export interface RestSpectrum {
  readonly binHz: number;
  /** From −reach to +reach; the middle one is rest. */
  readonly density: Float64Array;
  readonly middle: number;
  readonly degreesOfFreedom: number;
}

/**
 * @param cosSin cos and sin of the angle to turn back by, interleaved
 */
export function restSpectrum(values: Float64Array, cosSin: Float64Array, sampleRateHz: number): RestSpectrum {
  const factor = Math.max(1, Math.floor(sampleRateHz / SLOW_HZ));
  const rate = sampleRateHz / factor;
  const count = Math.floor(values.length / factor);
  const re = new Float64Array(count);
  const im = new Float64Array(count);
  for (let i = 0, j = 0; i < count; i++)
    for (let k = 0; k < factor; k++, j++) {
      re[i]! += (values[j]! * cosSin[2 * j]!) / factor;
      im[i]! -= (values[j]! * cosSin[2 * j + 1]!) / factor;
    }
  const length = Math.min(count, Math.round(SEGMENT_S * rate));
  const binHz = rate / length;
  const middle = Math.floor(Math.min(REACH_HZ, 0.4 * rate) / binHz);
  const density = new Float64Array(2 * middle + 1);
  const window = Float64Array.from(
    { length },
    (_, i) => 0.5 - 0.5 * Math.cos((2 * Math.PI * (i + 0.5)) / length),
  );
  const power = window.reduce((sum, w) => sum + w * w, 0) * rate;
  let segments = 0;
  for (let from = 0; from + length <= count; from += length >> 1) {
    segments++;
    for (let b = -middle; b <= middle; b++) {
      const step = (-2 * Math.PI * b) / length;
      const [cs, ss] = [Math.cos(step), Math.sin(step)];
      let [c, s] = [1, 0];
      let [sumRe, sumIm] = [0, 0];
      for (let i = 0; i < length; i++) {
        const w = window[i]!;
        const a = w * re[from + i]!;
        const d = w * im[from + i]!;
        sumRe += a * c - d * s;
        sumIm += a * s + d * c;
        const next = c * cs - s * ss;
        s = c * ss + s * cs;
        c = next;
      }
      // What averaging over `factor` samples took away at this distance from rest.
      const x = (Math.PI * b * binHz) / rate;
      const droop = x === 0 ? 1 : Math.sin(x) / (factor * Math.sin(x / factor));
      density[b + middle]! += (sumRe * sumRe + sumIm * sumIm) / power / (droop * droop);
    }
  }
  for (let i = 0; i < density.length; i++) density[i]! /= segments;
  // Hann at half overlap: 19 of 18 segments' worth (Welch 1967), two degrees of freedom each.
  const freedom = segments === 1 ? 2 : (36 * segments * segments) / (19 * segments - 1);
  return { binHz, density, middle, degreesOfFreedom: freedom };
}

/**
 * @param toleranceHz how far off rest the line may stand
 * @param falseAlarm chance that noise alone gives a line here
 * @returns null where nothing stands out
 */
export function lineAtRest(
  spectrum: RestSpectrum,
  toleranceHz: number,
  falseAlarm: number,
): Pick<OrderLine, 'offsetHz' | 'rms' | 'aboveFloorDb' | 'floor' | 'narrowness'> | null {
  const { density, middle, binHz, degreesOfFreedom } = spectrum;
  const reach = Math.min(middle - 1, Math.max(1, Math.round(toleranceHz / binHz)));
  let top = middle;
  for (let k = middle - reach; k <= middle + reach; k++) if (density[k]! > density[top]!) top = k;
  // A line of its own has its top here, not on the way up to another beyond.
  if (density[top - 1]! > density[top]! || density[top + 1]! > density[top]!) return null;
  const around: number[] = [];
  for (let k = 0; k < density.length; k++) if (Math.abs(k - top) > 2 * LINE_BINS) around.push(density[k]!);
  const median = medianOf(around);
  const floor = medianOf(around.filter((v) => v < OTHER_LINE * median));
  const level = Math.max(1e-300, (floor * degreesOfFreedom) / chiSquareQuantile(0.5, degreesOfFreedom));
  const tests = 2 * reach + 1;
  const over = (1.3 * chiSquareQuantile(1 - falseAlarm / tests, degreesOfFreedom)) / degreesOfFreedom;
  if (density[top]! < over * level) return null;
  let area = 0;
  for (let k = Math.max(0, top - LINE_BINS); k <= Math.min(density.length - 1, top + LINE_BINS); k++)
    area += Math.max(0, density[k]! - level) * binHz;
  let wide = 0;
  for (let k = Math.max(0, top - WIDE_BINS); k <= Math.min(density.length - 1, top + WIDE_BINS); k++)
    wide += (density[k]! - level) * binHz;
  const left = Math.sqrt(density[top - 1]!);
  const right = Math.sqrt(density[top + 1]!);
  const own = Math.sqrt(density[top]!);
  const shift = right >= left ? (2 * right - own) / (own + right) : -(2 * left - own) / (own + left);
  return {
    offsetHz: (top - middle + Math.max(-0.5, Math.min(0.5, shift))) * binHz,
    // Of a real sinusoid the turned record holds half the amplitude, so a quarter of its squares: power is twice that.
    rms: Math.sqrt(2 * area),
    aboveFloorDb: 10 * Math.log10(density[top]! / level),
    floor: 2 * level,
    narrowness: area / Math.max(area, wide),
  };
}

export function medianOf(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[sorted.length >> 1] ?? 0;
}

/** cos and sin of 2π·order·turns, interleaved. */
export function turning(turns: Float64Array, order: number): Float64Array {
  const out = new Float64Array(2 * turns.length);
  for (let i = 0; i < turns.length; i++) {
    const x = 2 * Math.PI * order * turns[i]!;
    out[2 * i] = Math.cos(x);
    out[2 * i + 1] = Math.sin(x);
  }
  return out;
}
