/**
 * Data windows and the figures that describe them.
 *
 * All are sums of cosines, w[n] = Σ (−1)^m a_m cos(2πmn/D), with D = N for the periodic form (spectra) and
 * D = N − 1 for the symmetric one (filter design). Which form is meant matters: the noise bandwidth of a
 * 128-point Hann is 1.5000 bins periodic and 1.5118 symmetric.
 */
import { nextPowerOfTwo, transformReal } from './fft.js';

export type WindowName =
  'rectangular' | 'hann' | 'hamming' | 'blackman' | 'blackmanHarris' | 'nuttall' | 'flatTop';

export type WindowForm = 'periodic' | 'symmetric';

/**
 * Cosine coefficients a_0, a_1, …, signs alternating. F. J. Harris, "On the Use of Windows for Harmonic Analysis
 * with the DFT", Proc. IEEE 66(1), 1978 (Hamming, Blackman, 4-term Blackman–Harris); A. H. Nuttall, "Some windows
 * with very good sidelobe behavior", IEEE Trans. ASSP 29(1), 1981 (4-term, minimum sidelobe); the 5-term flat-top
 * is the set that SciPy and ISO 18431-2 use (from memory; agreement with SciPy is tested).
 */
const COEFFICIENTS: Readonly<Record<WindowName, readonly number[]>> = {
  rectangular: [1],
  hann: [0.5, 0.5],
  hamming: [0.54, 0.46],
  blackman: [0.42, 0.5, 0.08],
  blackmanHarris: [0.35875, 0.48829, 0.14128, 0.01168],
  nuttall: [0.3635819, 0.4891775, 0.1365995, 0.0106411],
  flatTop: [0.21557895, 0.41663158, 0.277263158, 0.083578947, 0.006947368],
};

/** Equivalent noise bandwidth of the Hann window, bins: so many independent looks does a window’s length of overlapping ones give (Harris 1978, table I). */
export const HANN_NOISE_BANDWIDTH_BINS = 1.5;

export const WINDOW_NAMES = Object.keys(COEFFICIENTS) as readonly WindowName[];

/** Samples of a named window; a single sample is 1. The array is fresh: the caller may change it. */
export function windowSamples(name: WindowName, length: number, form: WindowForm = 'periodic'): Float64Array {
  return cosineSumWindow(COEFFICIENTS[name], length, form);
}

/**
 * Window from its cosine coefficients.
 *
 * @param coefficients a_0, a_1, … without the alternating signs
 * @param length samples, at least 1
 */
export function cosineSumWindow(
  coefficients: readonly number[],
  length: number,
  form: WindowForm = 'periodic',
): Float64Array {
  if (!Number.isInteger(length) || length < 1) {
    throw new RangeError(`a window needs at least one sample, got ${length}`);
  }
  if (length === 1) return Float64Array.of(1);
  const step = (2 * Math.PI) / (form === 'periodic' ? length : length - 1);
  const w = new Float64Array(length);
  for (let n = 0; n < length; n++) {
    let value = 0;
    for (let m = 0; m < coefficients.length; m++) {
      value += (m % 2 === 0 ? 1 : -1) * coefficients[m]! * Math.cos(m * n * step);
    }
    w[n] = value;
  }
  return w;
}

/** Mean of the window: what it does to the amplitude of a tone on a bin. */
export function coherentGain(w: Float64Array): number {
  return sum(w) / w.length;
}

/** Equivalent noise bandwidth N·Σw²/(Σw)² in bins of sampleRateHz/N. */
export function equivalentNoiseBandwidthBins(w: Float64Array): number {
  const total = sum(w);
  return (w.length * sumOfSquares(w)) / (total * total);
}

/** Loss in dB (positive) of a tone half-way between two bins. */
export function scallopingLossDb(w: Float64Array): number {
  return -responseDb(w, 0.5);
}

/** Loss in signal-to-noise ratio of a tone half-way between two bins: noise bandwidth in dB plus scalloping, dB. */
export function worstCaseProcessingLossDb(w: Float64Array): number {
  return 10 * Math.log10(equivalentNoiseBandwidthBins(w)) + scallopingLossDb(w);
}

/** Full width in bins of the main lobe where it has fallen by `dropDb` (positive, for instance 3.0103 or 6.0206). */
export function mainLobeWidthBins(w: Float64Array, dropDb: number): number {
  if (!(dropDb > 0)) throw new RangeError(`the drop must be positive, got ${dropDb}`);
  const limit = -dropDb;
  let outside = 1 / 16;
  while (responseDb(w, outside) > limit) {
    outside += 1 / 16;
    if (outside > w.length / 2) throw new RangeError(`the window never falls by ${dropDb} dB`);
  }
  let inside = outside - 1 / 16;
  for (let i = 0; i < 50; i++) {
    const middle = (inside + outside) / 2;
    if (responseDb(w, middle) > limit) inside = middle;
    else outside = middle;
  }
  return inside + outside;
}

/** Highest sidelobe relative to the main lobe in dB (negative), searched on a 64 times finer frequency grid. */
export function highestSidelobeDb(w: Float64Array): number {
  const padded = new Float64Array(nextPowerOfTwo(64 * w.length));
  padded.set(w);
  const spectrum = transformReal(padded);
  const power = (k: number): number => spectrum[2 * k]! ** 2 + spectrum[2 * k + 1]! ** 2;
  const last = spectrum.length / 2 - 1;
  // Down the main lobe to its first minimum. A flat-top ripples on top, so first below half the amplitude.
  let k = 1;
  while (k < last && (power(k) > power(0) / 4 || power(k) <= power(k - 1))) k++;
  let highest = 0;
  for (; k <= last; k++) highest = Math.max(highest, power(k));
  return 10 * Math.log10(highest / power(0));
}

/** Correlation Σ w[n]w[n+hop] / Σw² of two windows `hop` samples apart; 0 when they no longer overlap. */
export function overlapCorrelation(w: Float64Array, hop: number): number {
  let shared = 0;
  for (let n = 0; n + hop < w.length; n++) shared += w[n]! * w[n + hop]!;
  return shared / sumOfSquares(w);
}

/** Magnitude in dB of the window's transform `bins` away from its centre, relative to the centre. */
function responseDb(w: Float64Array, bins: number): number {
  const step = (2 * Math.PI * bins) / w.length;
  let re = 0;
  let im = 0;
  for (let n = 0; n < w.length; n++) {
    re += w[n]! * Math.cos(step * n);
    im -= w[n]! * Math.sin(step * n);
  }
  return 20 * Math.log10(Math.hypot(re, im) / Math.abs(sum(w)));
}

function sum(w: Float64Array): number {
  let total = 0;
  for (const value of w) total += value;
  return total;
}

function sumOfSquares(w: Float64Array): number {
  let total = 0;
  for (const value of w) total += value * value;
  return total;
}
