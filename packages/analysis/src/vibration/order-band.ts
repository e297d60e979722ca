/**
 * The surroundings of one multiple of the rotors' mean speed in one record: turned back by that multiple of the mean angle and
 * thinned out, so that all rotors stand near rest and everything that follows is done on few samples.
 *
 * The samples know nothing of half their rate: a folded multiple comes to rest as well as one that is not.
 */
import { nextPowerOfTwo, transformComplex } from '../spectrum/fft.js';
import { chiSquareQuantile } from '../statistics/distributions.js';
import type { SensorRecord } from './sensor-records.js';

export interface OrderBand {
  readonly record: SensorRecord;
  readonly order: number;
  readonly rateHz: number;
  /** Samples of the record per sample of the band; the first stands at the middle of the first of them. */
  readonly factor: number;
  /** Complex, interleaved: half the amplitude of a real line, turning with its distance from rest. */
  readonly z: Float64Array;
  /** Reliable to this far either side of rest, Hz. */
  readonly reachHz: number;
}

/** Least reach, and the share of the frequency within which the rotors differ, Hz. */
const LEAST_REACH_HZ = 8;
const SPREAD = 0.1;
const MOST_REACH_HZ = 30;

/** cos and sin of 2π·order·turns, interleaved. */
export function turning(turns: Float64Array, order: number): Float64Array {
  const out = new Float64Array(2 * turns.length);
  for (let i = 0; i < turns.length; i++) {
    const x = 2 * Math.PI * (order * turns[i]! - Math.floor(order * turns[i]!));
    out[2 * i] = Math.cos(x);
    out[2 * i + 1] = Math.sin(x);
  }
  return out;
}

/**
 * @param values of the record, or what is left of them
 * @param cosSin of the angle to turn back by
 */
export function orderBand(
  record: SensorRecord,
  values: Float64Array,
  cosSin: Float64Array,
  order: number,
  meanHz: number,
): OrderBand {
  const wanted = Math.min(MOST_REACH_HZ, Math.max(LEAST_REACH_HZ, SPREAD * order * meanHz));
  // A Blackman window six steps long passes nothing beyond half the new rate, to −58 dB (reference-values.md, section 1).
  const factor = Math.max(1, Math.floor(record.sampleRateHz / (4 * wanted)));
  const rateHz = record.sampleRateHz / factor;
  const count = Math.floor(values.length / factor);
  const weights = kernelOf(factor);
  const half = (weights.length - factor) / 2;
  const z = new Float64Array(2 * count);
  for (let i = 0; i < count; i++) {
    const from = i * factor - half;
    let re = 0;
    let im = 0;
    let sum = 0;
    const first = Math.max(0, -from);
    const last = Math.min(weights.length, values.length - from);
    for (let k = first; k < last; k++) {
      const w = weights[k]!;
      const v = w * values[from + k]!;
      re += v * cosSin[2 * (from + k)]!;
      im -= v * cosSin[2 * (from + k) + 1]!;
      sum += w;
    }
    z[2 * i] = re / sum;
    z[2 * i + 1] = im / sum;
  }
  return { record, order, rateHz, factor, z, reachHz: Math.min(wanted, 0.25 * rateHz) };
}

/** Odd where the factor is, so that it stands in the middle of the samples it replaces. */
function kernelLength(factor: number): number {
  return factor % 2 === 0 ? 6 * factor : 6 * factor + 1;
}

const kernels = new Map<number, Float64Array>();

function kernelOf(factor: number): Float64Array {
  if (factor === 1) return Float64Array.of(1);
  const known = kernels.get(factor);
  if (known !== undefined) return known;
  const length = kernelLength(factor);
  const weights = Float64Array.from({ length }, (_, k) => {
    const x = (2 * Math.PI * (k + 0.5)) / length;
    return 0.42 - 0.5 * Math.cos(x) + 0.08 * Math.cos(2 * x);
  });
  const sum = weights.reduce((s, w) => s + w, 0);
  const made = weights.map((w) => w / sum);
  kernels.set(factor, made);
  return made;
}

/** What thinning out left of a line at a distance from rest: 0 … 1. */
export function bandGain(band: OrderBand, offsetHz: number): number {
  const weights = kernelOf(band.factor);
  const middle = (weights.length - 1) / 2;
  const step = (2 * Math.PI * offsetHz) / band.record.sampleRateHz;
  return Math.abs(weights.reduce((sum, w, k) => sum + w * Math.cos(step * (k - middle)), 0));
}

/** Averaged two-sided spectrum of a band around rest. */
export interface RestSpectrum {
  readonly binHz: number;
  /** From −reach to +reach; the middle one is rest. unit²/Hz */
  readonly density: Float64Array;
  readonly middle: number;
  readonly degreesOfFreedom: number;
  /** Width of the window's noise bandwidth, bins. */
  readonly noiseBins: number;
}

/** Segments of spectra around rest, s. */
export const SEGMENT_S = 4;

/**
 * @param z complex samples of a band, turned so that the line of interest rests
 * @param average of the segments' powers; or of their amplitudes, squared: then the segments in which a line is loud count less, and
 *   what it averages is no density of noise
 */
export function restSpectrum(
  band: OrderBand,
  z: Float64Array,
  segmentS = SEGMENT_S,
  average: 'power' | 'amplitude' = 'power',
): RestSpectrum {
  const count = z.length / 2;
  const length = Math.max(4, Math.min(count, Math.round(segmentS * band.rateHz)));
  const padded = nextPowerOfTwo(length);
  const binHz = band.rateHz / padded;
  const middle = Math.max(3, Math.floor(band.reachHz / binHz));
  const density = new Float64Array(2 * middle + 1);
  const window = hannWindow(length);
  const power = window.reduce((sum, w) => sum + w * w, 0) * band.rateHz;
  const hop = Math.max(1, length >> 1);
  let segments = 0;
  const buffer = new Float64Array(2 * padded);
  for (let from = 0; from + length <= count; from += hop) {
    segments++;
    for (let i = 0; i < length; i++) {
      buffer[2 * i] = window[i]! * z[2 * (from + i)]!;
      buffer[2 * i + 1] = window[i]! * z[2 * (from + i) + 1]!;
    }
    const bins = transformComplex(buffer);
    for (let b = -middle; b <= middle; b++) {
      const k = (b + padded) % padded;
      const own = bins[2 * k]! ** 2 + bins[2 * k + 1]! ** 2;
      density[b + middle]! += average === 'power' ? own : Math.sqrt(own);
    }
  }
  // What thinning out took away went by the frequency before turning: nothing to put back here.
  for (let k = 0; k < density.length; k++)
    density[k] = (density[k]! / Math.max(1, segments)) ** (average === 'power' ? 1 : 2) / power;
  // Hann at half overlap (Welch 1967).
  const freedom = segments <= 1 ? 2 : (36 * segments * segments) / (19 * segments - 1);
  return { binHz, density, middle, degreesOfFreedom: freedom, noiseBins: (1.5 * padded) / length };
}

let lastWindow = new Float64Array(0);

/** The window of the last length asked for is kept: thousands of spectra of one band follow one another. */
export function hannWindow(length: number): Float64Array {
  if (lastWindow.length !== length)
    lastWindow = Float64Array.from(
      { length },
      (_, i) => 0.5 - 0.5 * Math.cos((2 * Math.PI * (i + 0.5)) / length),
    );
  return lastWindow;
}

/** Background of a spectrum around rest: median of what is no line, brought up to its mean. */
export function restFloor({ density, degreesOfFreedom }: RestSpectrum): number {
  const sorted = Float64Array.from(density).sort();
  const median = sorted[sorted.length >> 1]!;
  const quiet = sorted.filter((v) => v < 6 * median);
  const level = quiet[quiet.length >> 1]!;
  return Math.max(1e-300, (level * degreesOfFreedom) / chiSquareQuantile(0.5, degreesOfFreedom));
}

/** z turned by −angle (sign −1) or +angle (sign 1), angle in rad by sample. */
export function turned(z: Float64Array, angle: Float64Array, sign: 1 | -1): Float64Array {
  const out = new Float64Array(z.length);
  for (let i = 0; i < angle.length; i++) {
    const c = Math.cos(angle[i]!);
    const s = sign * Math.sin(angle[i]!);
    const re = z[2 * i]!;
    const im = z[2 * i + 1]!;
    out[2 * i] = re * c - im * s;
    out[2 * i + 1] = re * s + im * c;
  }
  return out;
}

/** Noise bandwidth of {@link flatBand}, Hz per Hz of its half width (from the kernel's transform). */
export const FLAT_NOISE = 1.0583;

/**
 * Complex low-pass that passes nothing beyond `halfWidthHz`: a Hann kernel h, once more over what it left (2h − h²), so that the
 * middle of its band is nearly flat and what is modulated slowly keeps its power.
 */
export function flatBand(z: Float64Array, rateHz: number, halfWidthHz: number): Float64Array {
  const once = smoothedBand(z, rateHz, halfWidthHz);
  const left = smoothedBand(
    z.map((v, i) => v - once[i]!),
    rateHz,
    halfWidthHz,
  );
  return once.map((v, i) => v + left[i]!);
}

/** Complex low-pass by a Hann kernel that passes nothing beyond `halfWidthHz`. */
export function smoothedBand(z: Float64Array, rateHz: number, halfWidthHz: number): Float64Array {
  const count = z.length / 2;
  // The kernel's first zero stands at 2 over its length.
  const half = Math.max(1, Math.min(count - 1, Math.round(rateHz / halfWidthHz)));
  const weights = Float64Array.from(
    { length: 2 * half + 1 },
    (_, k) => 0.5 + 0.5 * Math.cos((Math.PI * (k - half)) / (half + 0.5)),
  );
  const out = new Float64Array(z.length);
  // Its values at every quarter of its length say all that it passes; what lies between is drawn straight.
  const step = Math.max(1, Math.floor(half / 6));
  let before = -1;
  for (let i = 0; ; i = Math.min(i + step, count - 1)) {
    let re = 0;
    let im = 0;
    let sum = 0;
    for (let k = Math.max(0, half - i); k < Math.min(weights.length, count - i + half); k++) {
      const w = weights[k]!;
      re += w * z[2 * (i + k - half)]!;
      im += w * z[2 * (i + k - half) + 1]!;
      sum += w;
    }
    out[2 * i] = re / sum;
    out[2 * i + 1] = im / sum;
    for (let j = before + 1; before >= 0 && j < i; j++) {
      const u = (j - before) / (i - before);
      out[2 * j] = out[2 * before]! + u * (out[2 * i]! - out[2 * before]!);
      out[2 * j + 1] = out[2 * before + 1]! + u * (out[2 * i + 1]! - out[2 * before + 1]!);
    }
    before = i;
    if (i === count - 1) break;
  }
  return out;
}

/** Takes a band's lines out of the record: r − 2 Re(z e^{jθ}), z by cubics (Catmull and Rom) between its samples. */
export function subtractBand(
  values: Float64Array,
  z: Float64Array,
  factor: number,
  cosSin: Float64Array,
): void {
  const last = z.length / 2 - 1;
  for (let j = 0; j < values.length; j++) {
    const x = Math.max(0, Math.min(last, (j - (factor - 1) / 2) / factor));
    const i = Math.min(last, Math.floor(x));
    const re = cubic(z, i, last, x - i, 0);
    const im = cubic(z, i, last, x - i, 1);
    values[j]! -= 2 * (re * cosSin[2 * j]! - im * cosSin[2 * j + 1]!);
  }
}

function cubic(z: Float64Array, i: number, last: number, u: number, part: 0 | 1): number {
  const b = z[2 * i + part]!;
  if (u === 0) return b;
  const a = z[2 * Math.max(0, i - 1) + part]!;
  const c = z[2 * Math.min(last, i + 1) + part]!;
  const d = z[2 * Math.min(last, i + 2) + part]!;
  return b + 0.5 * u * (c - a + u * (2 * a - 5 * b + 4 * c - d + u * (3 * (b - c) + d - a)));
}
