import type { AxisName, Interval } from '@settle/parser';
import type { FlightTruth } from './truth.js';

/** The strongest line of the noise-free body rate near a frequency, over one interval. */
export interface TrueLine {
  readonly frequencyHz: number;
  /** √2 × RMS of the body rate within 20 % of the frequency, rad/s (the contract's definition). */
  readonly rateAmplitudeRadS: number;
}

/** Body rate (p, q or r) of an axis. */
export function trueRate(truth: FlightTruth, axis: AxisName): Float64Array {
  return axis === 'roll' ? truth.motion.p : axis === 'pitch' ? truth.motion.q : truth.motion.r;
}

/**
 * Measures the true motion: peak of the Hann-windowed Fourier transform within `spread` of `nearHz`, refined by
 * golden-section search, and the band's amplitude by summing the unwindowed transform over its whole bins (Parseval).
 * A record of n cycles, if they are not whole, leaks up to about 1/n of the power out of the band.
 */
export function trueLine(
  truth: FlightTruth,
  axis: AxisName,
  interval: Interval,
  nearHz: number,
  spread = 0.4,
): TrueLine {
  const { timeS } = truth.motion;
  const series = trueRate(truth, axis);
  let first = 0;
  while (first < timeS.length && timeS[first]! < interval.startS) first++;
  let end = first;
  while (end < timeS.length && timeS[end]! < interval.endS) end++;
  const n = end - first;
  const rateHz = 1 / (timeS[1]! - timeS[0]!);
  let mean = 0;
  for (let i = first; i < end; i++) mean += series[i]! / n;
  const plain = Float64Array.from({ length: n }, (_, i) => series[first + i]! - mean);
  const windowed = plain.map((v, i) => (1 - Math.cos((2 * Math.PI * i) / n)) * v);
  const transform = (frequencyHz: number, values: Float64Array): number => {
    const step = (2 * Math.PI * frequencyHz) / rateHz;
    const [c, s] = [Math.cos(step), Math.sin(step)];
    let re = 0;
    let im = 0;
    // Turned on from sample to sample: over ten thousand of them the rounding stays below 1e-12.
    let x = 1;
    let y = 0;
    for (let i = 0; i < n; i++) {
      const value = values[i]!;
      re += value * x;
      im += value * y;
      const next = x * c - y * s;
      y = x * s + y * c;
      x = next;
    }
    return re * re + im * im;
  };
  const bin = rateHz / n;
  let best = nearHz;
  let bestPower = -1;
  for (let f = nearHz * (1 - spread); f <= nearHz * (1 + spread); f += bin / 2) {
    const power = transform(f, windowed);
    if (power > bestPower) {
      bestPower = power;
      best = f;
    }
  }
  const golden = (Math.sqrt(5) - 1) / 2;
  let low = best - bin / 2;
  let high = best + bin / 2;
  for (let i = 0; i < 30; i++) {
    const a = high - golden * (high - low);
    const b = low + golden * (high - low);
    if (transform(a, windowed) > transform(b, windowed)) high = b;
    else low = a;
  }
  const frequencyHz = (low + high) / 2;
  let sum = 0;
  for (let k = Math.ceil((0.8 * frequencyHz) / bin); k <= Math.floor((1.2 * frequencyHz) / bin); k++) {
    sum += transform(k * bin, plain);
  }
  // One-sided: each bin stands for itself and its mirror image.
  const meanSquare = (2 * sum) / (n * n);
  return { frequencyHz, rateAmplitudeRadS: Math.sqrt(2 * meanSquare) };
}

/**
 * Where a line of the true motion stands out: the longest stretch in which its envelope exceeds `share` of its greatest
 * value (and `floorRadS`). The envelope is the complex demodulation at the line, averaged twice over two cycles.
 */
export function trueSpan(
  truth: FlightTruth,
  axis: AxisName,
  interval: Interval,
  frequencyHz: number,
  share = 0.15,
  floorRadS = 0.02,
): Interval | null {
  const { timeS } = truth.motion;
  const series = trueRate(truth, axis);
  const stepS = timeS[1]! - timeS[0]!;
  const first = Math.max(0, Math.ceil(interval.startS / stepS));
  const n = Math.min(timeS.length, Math.floor(interval.endS / stepS)) - first;
  if (n < 3) return null;
  let re = new Float64Array(n);
  let im = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    const phase = 2 * Math.PI * frequencyHz * i * stepS;
    re[i] = 2 * series[first + i]! * Math.cos(phase);
    im[i] = 2 * series[first + i]! * Math.sin(phase);
  }
  const width = Math.max(1, Math.round(2 / frequencyHz / stepS));
  for (let pass = 0; pass < 2; pass++) {
    re = runningMean(re, width);
    im = runningMean(im, width);
  }
  let greatest = 0;
  for (let i = 0; i < n; i++) greatest = Math.max(greatest, Math.hypot(re[i]!, im[i]!));
  const limit = Math.max(share * greatest, floorRadS);
  let best: Interval | null = null;
  let start: number | null = null;
  for (let i = 0; i <= n; i++) {
    const on = i < n && Math.hypot(re[i]!, im[i]!) >= limit;
    if (on && start === null) start = i;
    if (!on && start !== null) {
      const found = { startS: (first + start) * stepS, endS: (first + i) * stepS };
      if (best === null || found.endS - found.startS > best.endS - best.startS) best = found;
      start = null;
    }
  }
  return best;
}

/** Centred mean over `width` samples, over what there is of them at the ends. */
function runningMean(values: Float64Array<ArrayBuffer>, width: number): Float64Array<ArrayBuffer> {
  const n = values.length;
  const sums = new Float64Array(n + 1);
  for (let i = 0; i < n; i++) sums[i + 1] = sums[i]! + values[i]!;
  const half = Math.floor(width / 2);
  return values.map((_, i) => {
    const low = Math.max(0, i - half);
    const high = Math.min(n, i + half + 1);
    return (sums[high]! - sums[low]!) / (high - low);
  });
}
