/** Change of sample rate: jittered or gappy samples onto a uniform clock, and thinning with an anti-alias filter. */
import { cosineSumWindow } from './windows.js';

export interface UniformRecord {
  /** Sample i is at startS + i/sampleRateHz. */
  readonly values: Float64Array;
  readonly startS: number;
  readonly sampleRateHz: number;
  /** Runs of samples that bridge a gap: first index and one past the last. Their values are a straight line, not data. */
  readonly bridged: readonly { readonly from: number; readonly to: number }[];
}

export interface ResampleOptions {
  /** Default the first sample's time. */
  readonly startS?: number;
  /** Default the last sample's time. Samples outside the data are never made up: the span is clipped to it. */
  readonly endS?: number;
  /**
   * `linear`: no overshoot, but −3.9 dB at Nyquist half-way between samples. `cubic` (default): Hermite with three-point
   * slopes; a tone at a tenth of the sample rate comes out within 0.2 %.
   */
  readonly method?: 'linear' | 'cubic';
  /** A step longer than this is a gap: bridged by a straight line and reported, s. Default three median steps. */
  readonly maxStepS?: number;
}

/**
 * Interpolates samples at strictly increasing times onto a uniform clock. No filter: when the new rate is lower than
 * the old, thin with {@link decimate} afterwards instead.
 *
 * @param timeS s, strictly increasing
 * @param x same length; NaN marks a missing sample
 * @throws RangeError with fewer than two samples present, times that do not increase, or an empty span
 */
export function resampleUniform(
  timeS: ArrayLike<number>,
  x: ArrayLike<number>,
  sampleRateHz: number,
  options: ResampleOptions = {},
): UniformRecord {
  if (timeS.length !== x.length) throw new RangeError(`${timeS.length} times for ${x.length} samples`);
  if (!(sampleRateHz > 0 && Number.isFinite(sampleRateHz))) {
    throw new RangeError(`sampleRateHz must be positive, got ${sampleRateHz}`);
  }
  const { t, y } = presentSamples(timeS, x);
  const last = t.length - 1;
  const maxStepS = options.maxStepS ?? 3 * medianStep(t);
  const cubic = (options.method ?? 'cubic') === 'cubic';
  const startS = Math.max(options.startS ?? t[0]!, t[0]!);
  const endS = Math.min(options.endS ?? t[last]!, t[last]!);
  if (!(endS >= startS)) throw new RangeError(`no data between ${startS} s and ${endS} s`);
  // The small term keeps the last sample when rounding puts it a hair beyond the end.
  const count = Math.floor((endS - startS) * sampleRateHz + 1e-6) + 1;
  const values = new Float64Array(count);
  const bridged: { from: number; to: number }[] = [];
  let k = 0;
  for (let i = 0; i < count; i++) {
    const at = Math.min(startS + i / sampleRateHz, t[last]!);
    while (k < last - 1 && t[k + 1]! <= at) k++;
    const step = t[k + 1]! - t[k]!;
    const gap = step > maxStepS;
    const share = (at - t[k]!) / step;
    if (gap && share > 0 && share < 1) {
      const open = bridged[bridged.length - 1];
      if (open?.to === i) open.to = i + 1;
      else bridged.push({ from: i, to: i + 1 });
    }
    values[i] =
      cubic && !gap
        ? hermite(
            y[k]!,
            y[k + 1]!,
            slopeAt(t, y, k, maxStepS) * step,
            slopeAt(t, y, k + 1, maxStepS) * step,
            share,
          )
        : y[k]! + share * (y[k + 1]! - y[k]!);
  }
  return { values, startS, sampleRateHz, bridged };
}

/**
 * Keeps every `factor`-th sample after a zero-phase low-pass: sample i of the result is at input sample i·factor.
 *
 * The filter is a windowed sinc (Nuttall window, 40 input samples per side and factor): flat within 0.001 dB up to 0.4 of
 * the new rate, −6 dB at half of it, at least 90 dB down from 0.6 of it, so that what folds back lands above 0.4. Over
 * the ends the record is continued by reflection about the end sample; the first and last twenty results lean on that.
 *
 * @param factor whole, from 1; 1 copies
 * @throws RangeError on an empty record or another factor
 */
export function decimate(x: ArrayLike<number>, factor: number): Float64Array {
  if (!Number.isInteger(factor) || factor < 1)
    throw new RangeError(`factor must be a whole number, got ${factor}`);
  const n = x.length;
  if (n < 1) throw new RangeError('nothing to thin');
  if (factor === 1) return Float64Array.from(x);
  const kernel = lowPassKernel(factor);
  const half = (kernel.length - 1) / 2;
  const out = new Float64Array(Math.floor((n - 1) / factor) + 1);
  for (let i = 0; i < out.length; i++) {
    const centre = i * factor;
    let value = 0;
    if (centre >= half && centre + half < n) {
      for (let j = -half; j <= half; j++) value += kernel[half + j]! * x[centre + j]!;
    } else {
      for (let j = -half; j <= half; j++) value += kernel[half + j]! * continuedAt(x, centre + j);
    }
    out[i] = value;
  }
  return out;
}

function lowPassKernel(factor: number): Float64Array {
  const half = 20 * factor;
  const window = cosineSumWindow([0.3635819, 0.4891775, 0.1365995, 0.0106411], 2 * half + 1, 'symmetric');
  const kernel = new Float64Array(window.length);
  let total = 0;
  for (let j = -half; j <= half; j++) {
    const angle = (Math.PI * j) / factor;
    kernel[half + j] = window[half + j]! * (j === 0 ? 1 : Math.sin(angle) / angle);
    total += kernel[half + j]!;
  }
  for (let j = 0; j < kernel.length; j++) kernel[j]! /= total;
  return kernel;
}

/** Value beyond the ends by reflection about the end samples; a record shorter than the reach is held at the far value. */
function continuedAt(x: ArrayLike<number>, i: number): number {
  const last = x.length - 1;
  if (i < 0) return 2 * x[0]! - x[Math.min(-i, last)]!;
  if (i > last) return 2 * x[last]! - x[Math.max(2 * last - i, 0)]!;
  return x[i]!;
}

function presentSamples(
  timeS: ArrayLike<number>,
  x: ArrayLike<number>,
): { t: Float64Array; y: Float64Array } {
  const t = new Float64Array(x.length);
  const y = new Float64Array(x.length);
  let count = 0;
  for (let i = 0; i < x.length; i++) {
    if (Number.isNaN(x[i]!)) continue;
    if (!Number.isFinite(x[i]!) || !Number.isFinite(timeS[i]!))
      throw new RangeError(`sample ${i} is not finite`);
    if (count > 0 && !(timeS[i]! > t[count - 1]!)) throw new RangeError('times must increase strictly');
    t[count] = timeS[i]!;
    y[count] = x[i]!;
    count++;
  }
  if (count < 2) throw new RangeError('interpolation needs at least two samples');
  return { t: t.subarray(0, count), y: y.subarray(0, count) };
}

function medianStep(t: Float64Array): number {
  const steps = new Float64Array(t.length - 1);
  for (let i = 0; i < steps.length; i++) steps[i] = t[i + 1]! - t[i]!;
  steps.sort();
  return steps[Math.floor(steps.length / 2)]!;
}

/** Slope of the parabola through a sample and its neighbours; one-sided at the ends and next to gaps. */
function slopeAt(t: Float64Array, y: Float64Array, k: number, maxStepS: number): number {
  const hasBefore = k > 0 && t[k]! - t[k - 1]! <= maxStepS;
  const hasAfter = k < t.length - 1 && t[k + 1]! - t[k]! <= maxStepS;
  const before = hasBefore ? (y[k]! - y[k - 1]!) / (t[k]! - t[k - 1]!) : 0;
  const after = hasAfter ? (y[k + 1]! - y[k]!) / (t[k + 1]! - t[k]!) : 0;
  if (!hasBefore) return after;
  if (!hasAfter) return before;
  const left = t[k]! - t[k - 1]!;
  const right = t[k + 1]! - t[k]!;
  return (before * right + after * left) / (left + right);
}

function hermite(y0: number, y1: number, d0: number, d1: number, s: number): number {
  const s2 = s * s;
  const s3 = s2 * s;
  return (2 * s3 - 3 * s2 + 1) * y0 + (s3 - 2 * s2 + s) * d0 + (3 * s2 - 2 * s3) * y1 + (s3 - s2) * d1;
}
