/** Density of a record and the background its lines stand on. */
import { powerSpectralDensity } from '../spectrum/welch.js';
import { chiSquareQuantile } from '../statistics/distributions.js';
import { orderStatistic } from '../statistics/order-statistic.js';

export interface LineSpectrum {
  readonly sampleRateHz: number;
  readonly binHz: number;
  /** Width of the noise that one bin passes, in bins: 1.5 for Hann. */
  readonly noiseBins: number;
  readonly segmentS: number;
  /** Chi-square degrees of freedom of a bin. */
  readonly degreesOfFreedom: number;
  readonly frequencyHz: Float64Array;
  readonly density: Float64Array;
  readonly floor: Float64Array;
}

/** Half width of the stretch whose median is the background: this share of the frequency, at least this many bins, at least this many Hz. */
const FLOOR_SHARE = 0.12;
const FLOOR_BINS = 14;
const FLOOR_HZ = 5;
/** Lines are left out of the background in a second pass: what stands this far over the first. */
const LINE_OVER = 4;

/**
 * @param values mean removed
 * @param segmentS length of the segments averaged, s; cut to the record
 */
export function lineSpectrum(values: Float64Array, sampleRateHz: number, segmentS: number): LineSpectrum {
  // The nearest power of two: the transform is many times as quick.
  const wanted = Math.max(32, 2 ** Math.round(Math.log2(segmentS * sampleRateHz)));
  const segmentLength = Math.min(values.length, wanted);
  const welch = powerSpectralDensity(values, sampleRateHz, { segmentLength });
  const density = welch.values;
  const floor = background(density, welch.binWidthHz, welch.degreesOfFreedom);
  return {
    sampleRateHz,
    binHz: welch.binWidthHz,
    noiseBins: welch.noiseBandwidthHz / welch.binWidthHz,
    segmentS: segmentLength / sampleRateHz,
    degreesOfFreedom: welch.degreesOfFreedom,
    frequencyHz: welch.frequenciesHz,
    density,
    floor,
  };
}

/** Running median over its chi-square median, twice: the second time without what stood out the first. */
function background(density: Float64Array, binHz: number, freedom: number): Float64Array {
  const toMean = freedom / chiSquareQuantile(0.5, freedom);
  const first = runningMedian(density, null, binHz).map((v) => v * toMean);
  const out = runningMedian(density, first, binHz);
  // Leaving out the highest lowers the median of the rest a little; with so few left out it does not matter.
  return out.map((v) => v * toMean);
}

function runningMedian(density: Float64Array, first: Float64Array | null, binHz: number): Float64Array {
  const n = density.length;
  const out = new Float64Array(n);
  const points: number[] = [];
  for (let k = 0; k < n;) {
    points.push(k);
    const half = Math.round(Math.max(FLOOR_BINS, FLOOR_HZ / binHz, FLOOR_SHARE * k));
    // Between points a quarter of the stretch apart the median hardly changes.
    k += Math.max(1, Math.round(half / 4));
  }
  const around = new Float64Array(n);
  let last = -1;
  for (const k of points) {
    const half = Math.round(Math.max(FLOOR_BINS, FLOOR_HZ / binHz, FLOOR_SHARE * k));
    let count = 0;
    for (let i = Math.max(1, k - half); i <= Math.min(n - 2, k + half); i++)
      if (first === null || density[i]! < LINE_OVER * first[i]!) around[count++] = density[i]!;
    const middle = count === 0 ? (first?.[k] ?? density[k]!) : orderStatistic(around, count, count >> 1);
    out[k] = Math.max(middle, 1e-300);
    for (let i = last + 1; i < k; i++) {
      const share = (i - last) / (k - last);
      out[i] = out[last]! ** (1 - share) * out[k]! ** share;
    }
    last = k;
  }
  for (let i = last + 1; i < n; i++) out[i] = out[last]!;
  return out;
}
