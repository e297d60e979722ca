/**
 * Averaged spectra of uniformly sampled records: power, cross spectrum, coherence, frequency response, and how
 * far each can be trusted.
 *
 * Method: P. D. Welch, "The use of fast Fourier transform for the estimation of power spectra", IEEE Trans. Audio
 * Electroacoust. 15(2), 1967: overlapping, windowed segments, averaged. Scaling follows SciPy's `welch` and `csd`:
 * one-sided, S[k] = 2|X[k]|²/(fs·Σw²), and 1 in place of 2 at zero frequency and at Nyquist; cross spectra are
 * conj(X)·Y, so their phase is that of y against x. A last piece shorter than a segment is left out.
 */
import { chiSquareQuantile } from '../statistics/distributions.js';
import { detrendInPlace, type Detrend } from './detrend.js';
import { binFrequenciesHz, transformReal } from './fft.js';
import { overlapCorrelation, windowSamples, type WindowName } from './windows.js';

export interface WelchOptions {
  /** Samples per segment; the record's length if that is shorter. Any integer from 1, not only powers of two. Default 256. */
  readonly segmentLength?: number;
  /** Share of a segment that the next one repeats, 0 to below 1; rounded down to whole samples. Default 0.5. */
  readonly overlap?: number;
  /** Periodic form. Default Hann: with it 50 % overlap loses almost no information. */
  readonly window?: WindowName;
  /** Removed from each segment before the window. Default the mean. */
  readonly detrend?: Detrend;
  /** `density`: unit²/Hz, for noise. `spectrum`: unit², A²/2 at the peak of a tone on a bin. Default density. */
  readonly scaling?: 'density' | 'spectrum';
}

/** What every averaged spectrum carries. */
export interface SpectrumBasis {
  /** ⌊segmentLength/2⌋ + 1 frequencies from 0, Hz. */
  readonly frequenciesHz: Float64Array;
  readonly sampleRateHz: number;
  readonly segmentLength: number;
  /** Segments averaged, overlap not discounted. */
  readonly segments: number;
  /** Independent segments that would give the same variance: K/(1 + 2Σ(1 − j/K)ρ_j²). */
  readonly effectiveSegments: number;
  /** Chi-square degrees of freedom of a bin, 2·effectiveSegments; half of it at zero frequency and at Nyquist. */
  readonly degreesOfFreedom: number;
  /** Spacing of the frequencies, Hz. */
  readonly binWidthHz: number;
  /** Width of the rectangular filter that passes as much noise as a bin, Hz. */
  readonly noiseBandwidthHz: number;
}

export interface PowerSpectrum extends SpectrumBasis {
  /** One value per frequency: unit²/Hz (density) or unit² (spectrum). */
  readonly values: Float64Array;
  readonly scaling: 'density' | 'spectrum';
}

export interface CrossSpectrum extends SpectrumBasis {
  /** Real and imaginary part of conj(X)·Y, averaged and scaled as a power spectrum. */
  readonly re: Float64Array;
  readonly im: Float64Array;
}

export interface Coherence extends SpectrumBasis {
  /** Magnitude-squared coherence, 0 … 1; 0 where one of the signals has no power at all. */
  readonly values: Float64Array;
}

export interface FrequencyResponse extends Coherence {
  /** y per x. */
  readonly re: Float64Array;
  readonly im: Float64Array;
  readonly magnitude: Float64Array;
  /** −π … π. */
  readonly phaseRad: Float64Array;
  /** Standard deviation of the magnitude relative to it, and of the phase in rad; Infinity where the coherence is 0. */
  readonly randomError: Float64Array;
}

/**
 * Power spectrum of a uniformly sampled record.
 *
 * @throws RangeError on an empty record, a sample that is not finite, or options outside their range
 */
export function powerSpectralDensity(
  x: ArrayLike<number>,
  sampleRateHz: number,
  options: WelchOptions = {},
): PowerSpectrum {
  const layout = segmentLayout(x.length, sampleRateHz, options);
  const values = new Float64Array(layout.basis.frequenciesHz.length);
  for (let s = 0; s < layout.basis.segments; s++) {
    const bins = segmentTransform(x, s, layout);
    for (let k = 0; k < values.length; k++) values[k]! += bins[2 * k]! ** 2 + bins[2 * k + 1]! ** 2;
  }
  applyScale(values, layout);
  requireFinite(values);
  return { ...layout.basis, values, scaling: layout.scaling };
}

/**
 * Cross spectrum conj(X)·Y of two records of the same length on the same clock.
 *
 * @throws RangeError as {@link powerSpectralDensity}, and when the lengths differ
 */
export function crossSpectralDensity(
  x: ArrayLike<number>,
  y: ArrayLike<number>,
  sampleRateHz: number,
  options: WelchOptions = {},
): CrossSpectrum {
  const { basis, re, im } = crossSpectra(x, y, sampleRateHz, options);
  return { ...basis, re, im };
}

/**
 * Magnitude-squared coherence |Sxy|²/(Sxx·Syy).
 *
 * @throws RangeError as {@link crossSpectralDensity}, and for a single segment, where it would be 1 whatever the data
 */
export function coherence(
  x: ArrayLike<number>,
  y: ArrayLike<number>,
  sampleRateHz: number,
  options: WelchOptions = {},
): Coherence {
  const { basis, values } = coherentSpectra(x, y, sampleRateHz, options);
  return { ...basis, values };
}

/**
 * Frequency response H1 = Sxy/Sxx: unbiased by noise on y that is unrelated to x, too small with noise on x.
 * Random error per {@link responseRandomError}. Where x has no power the response is 0 and its error infinite.
 *
 * @throws RangeError as {@link coherence}
 */
export function frequencyResponseH1(
  x: ArrayLike<number>,
  y: ArrayLike<number>,
  sampleRateHz: number,
  options: WelchOptions = {},
): FrequencyResponse {
  const spectra = coherentSpectra(x, y, sampleRateHz, options);
  const bins = spectra.values.length;
  const re = new Float64Array(bins);
  const im = new Float64Array(bins);
  const magnitude = new Float64Array(bins);
  const phaseRad = new Float64Array(bins);
  const randomError = new Float64Array(bins);
  for (let k = 0; k < bins; k++) {
    if (spectra.xx[k]! > 0) {
      re[k] = spectra.re[k]! / spectra.xx[k]!;
      im[k] = spectra.im[k]! / spectra.xx[k]!;
    }
    magnitude[k] = Math.hypot(re[k]!, im[k]!);
    phaseRad[k] = Math.atan2(im[k]!, re[k]!);
    randomError[k] = responseRandomError(spectra.values[k]!, spectra.basis.effectiveSegments);
  }
  return { ...spectra.basis, values: spectra.values, re, im, magnitude, phaseRad, randomError };
}

/**
 * Random error √((1 − γ²)/(2γ²·n)) of an estimated frequency response: standard deviation of its magnitude relative
 * to it and of its phase in rad (J. S. Bendat and A. G. Piersol, *Random Data*, 2nd ed., p. 317).
 *
 * @param coherenceSquared γ², 0 … 1
 * @param independentSegments n
 * @returns Infinity for γ² = 0
 */
export function responseRandomError(coherenceSquared: number, independentSegments: number): number {
  return Math.sqrt((1 - coherenceSquared) / (2 * coherenceSquared * independentSegments));
}

/** Relative standard deviation √2·(1 − γ²)/(|γ|√n) of an estimated coherence (same source; checked by simulation). */
export function coherenceRandomError(coherenceSquared: number, independentSegments: number): number {
  return (Math.SQRT2 * (1 - coherenceSquared)) / Math.sqrt(coherenceSquared * independentSegments);
}

/** How much (1 − γ²)²/n an estimated coherence lies above the true γ² on average. */
export function coherenceBias(coherenceSquared: number, independentSegments: number): number {
  return (1 - coherenceSquared) ** 2 / independentSegments;
}

/**
 * Coherence that two unrelated signals exceed with probability `falseAlarm`: 1 − falseAlarm^(1/(n − 1)).
 *
 * @returns 1 for n ≤ 1, where nothing can be said
 */
export function coherenceThreshold(independentSegments: number, falseAlarm = 0.05): number {
  return independentSegments > 1 ? 1 - falseAlarm ** (1 / (independentSegments - 1)) : 1;
}

/**
 * Factors that turn an averaged spectrum into its confidence interval: the truth lies between `low`·S and `high`·S
 * with the stated probability, ν/χ²(1 − α/2) and ν/χ²(α/2).
 *
 * @param degreesOfFreedom ν, need not be whole
 * @param level probability, 0 … 1
 */
export function spectrumConfidenceFactors(
  degreesOfFreedom: number,
  level = 0.95,
): { readonly low: number; readonly high: number } {
  const tail = (1 - level) / 2;
  return {
    low: degreesOfFreedom / chiSquareQuantile(1 - tail, degreesOfFreedom),
    high: degreesOfFreedom / chiSquareQuantile(tail, degreesOfFreedom),
  };
}

/** Segments that a record of `length` samples yields under these options. */
export function segmentCount(length: number, options: WelchOptions = {}): number {
  const { segmentLength, hop } = segmentShape(length, options);
  return Math.floor((length - segmentLength) / hop) + 1;
}

/**
 * Independent segments worth of K overlapping ones: K/(1 + 2Σ_{j≥1}(1 − j/K)ρ_j²), ρ_j the window's correlation with
 * itself j hops on (Welch 1967; Hann at 50 %: 36K²/(19K − 1) degrees of freedom).
 */
export function effectiveSegmentCount(window: Float64Array, hop: number, segments: number): number {
  let shared = 0;
  for (let j = 1; j < segments && j * hop < window.length; j++) {
    shared += (1 - j / segments) * overlapCorrelation(window, j * hop) ** 2;
  }
  return segments / (1 + 2 * shared);
}

interface SegmentLayout {
  readonly basis: SpectrumBasis;
  readonly window: Float64Array;
  readonly hop: number;
  readonly detrend: Detrend;
  readonly scaling: 'density' | 'spectrum';
  /** Factor from a sum of |X|² over the segments to one-sided values, before the two end bins are halved. */
  readonly scale: number;
  readonly segment: Float64Array;
}

function segmentShape(length: number, options: WelchOptions): { segmentLength: number; hop: number } {
  const wanted = options.segmentLength ?? 256;
  const overlap = options.overlap ?? 0.5;
  if (length < 1) throw new RangeError('a spectrum needs at least one sample');
  if (!Number.isInteger(wanted) || wanted < 1) {
    throw new RangeError(`segmentLength must be a whole number of samples from 1, got ${wanted}`);
  }
  if (!(overlap >= 0 && overlap < 1))
    throw new RangeError(`overlap must be from 0 to below 1, got ${overlap}`);
  const segmentLength = Math.min(wanted, length);
  // The small term keeps, for instance, 0.7·10 from being rounded down to 6.
  const hop = segmentLength - Math.floor(overlap * segmentLength + 1e-9);
  return { segmentLength, hop };
}

function segmentLayout(length: number, sampleRateHz: number, options: WelchOptions): SegmentLayout {
  if (!(sampleRateHz > 0 && Number.isFinite(sampleRateHz))) {
    throw new RangeError(`sampleRateHz must be positive, got ${sampleRateHz}`);
  }
  const { segmentLength, hop } = segmentShape(length, options);
  const segments = segmentCount(length, options);
  const window = windowSamples(options.window ?? 'hann', segmentLength);
  let sum = 0;
  let squares = 0;
  for (const w of window) {
    sum += w;
    squares += w * w;
  }
  const effectiveSegments = effectiveSegmentCount(window, hop, segments);
  const scaling = options.scaling ?? 'density';
  return {
    basis: {
      frequenciesHz: binFrequenciesHz(segmentLength, sampleRateHz),
      sampleRateHz,
      segmentLength,
      segments,
      effectiveSegments,
      degreesOfFreedom: 2 * effectiveSegments,
      binWidthHz: sampleRateHz / segmentLength,
      noiseBandwidthHz: (sampleRateHz * squares) / (sum * sum),
    },
    window,
    hop,
    detrend: options.detrend ?? 'mean',
    scaling,
    scale: 2 / segments / (scaling === 'density' ? sampleRateHz * squares : sum * sum),
    segment: new Float64Array(segmentLength),
  };
}

function segmentTransform(x: ArrayLike<number>, index: number, layout: SegmentLayout): Float64Array {
  const { segment, window, hop } = layout;
  const start = index * hop;
  for (let i = 0; i < segment.length; i++) segment[i] = x[start + i]!;
  detrendInPlace(segment, layout.detrend);
  for (let i = 0; i < segment.length; i++) segment[i]! *= window[i]!;
  return transformReal(segment);
}

/** One-sided scale; zero frequency and (even lengths) Nyquist have no mirror image to add. */
function applyScale(values: Float64Array, layout: SegmentLayout): void {
  for (let k = 0; k < values.length; k++) values[k]! *= layout.scale;
  values[0]! /= 2;
  if (layout.basis.segmentLength % 2 === 0) values[values.length - 1]! /= 2;
}

interface CrossSpectra {
  readonly basis: SpectrumBasis;
  readonly xx: Float64Array;
  readonly yy: Float64Array;
  readonly re: Float64Array;
  readonly im: Float64Array;
}

function crossSpectra(
  x: ArrayLike<number>,
  y: ArrayLike<number>,
  sampleRateHz: number,
  options: WelchOptions,
): CrossSpectra {
  requireSameLength(x, y);
  const layout = segmentLayout(x.length, sampleRateHz, options);
  const bins = layout.basis.frequenciesHz.length;
  const xx = new Float64Array(bins);
  const yy = new Float64Array(bins);
  const re = new Float64Array(bins);
  const im = new Float64Array(bins);
  for (let s = 0; s < layout.basis.segments; s++) {
    const a = segmentTransform(x, s, layout);
    const b = segmentTransform(y, s, layout);
    for (let k = 0; k < bins; k++) {
      const aRe = a[2 * k]!;
      const aIm = a[2 * k + 1]!;
      const bRe = b[2 * k]!;
      const bIm = b[2 * k + 1]!;
      xx[k]! += aRe * aRe + aIm * aIm;
      yy[k]! += bRe * bRe + bIm * bIm;
      re[k]! += aRe * bRe + aIm * bIm;
      im[k]! += aRe * bIm - aIm * bRe;
    }
  }
  for (const values of [xx, yy, re, im]) applyScale(values, layout);
  requireFinite(xx);
  requireFinite(yy);
  return { basis: layout.basis, xx, yy, re, im };
}

function coherentSpectra(
  x: ArrayLike<number>,
  y: ArrayLike<number>,
  sampleRateHz: number,
  options: WelchOptions,
): CrossSpectra & { readonly values: Float64Array } {
  requireSameLength(x, y);
  if (segmentCount(x.length, options) < 2) {
    throw new RangeError('coherence needs at least two segments: shorten them or lengthen the record');
  }
  const spectra = crossSpectra(x, y, sampleRateHz, options);
  const values = new Float64Array(spectra.xx.length);
  for (let k = 0; k < values.length; k++) {
    const power = spectra.xx[k]! * spectra.yy[k]!;
    // Rounding can lift a perfect coherence a hair above 1.
    if (power > 0) values[k] = Math.min(1, (spectra.re[k]! ** 2 + spectra.im[k]! ** 2) / power);
  }
  return { ...spectra, values };
}

function requireSameLength(x: ArrayLike<number>, y: ArrayLike<number>): void {
  if (x.length !== y.length) throw new RangeError(`records differ in length: ${x.length} and ${y.length}`);
}

function requireFinite(values: Float64Array): void {
  for (const value of values) {
    if (!Number.isFinite(value))
      throw new RangeError('the record holds a sample that is not a finite number');
  }
}
