/**
 * Frequency and level of a tone from a few bins of one spectrum: quick, without a noise model. For standard
 * deviations, growth or several tones use the least-squares fit of `tone-fit.ts`, started from here.
 *
 * Offsets are in bins of the transform, −0.5 … 0.5 for a true peak: frequency = (k + offset)·sampleRateHz/N.
 */

export interface PeakOffset {
  /** Bins from the middle one. */
  readonly offset: number;
  /** Level at the offset, in the unit of the inputs. */
  readonly peak: number;
}

/**
 * Vertex of the parabola through three equally spaced levels, in dB for spectra (J. O. Smith, *Spectral Audio Signal
 * Processing*, "Quadratic Interpolation of Spectral Peaks", eq. 6.29–6.31). Exact for a Gaussian window; with Hann and no
 * zero padding it is up to 0.016 bin and 0.32 dB off, so prefer {@link hannOffset} there.
 *
 * @returns offset 0 and the middle level for a flat or hollow triple, where there is no peak to find
 */
export function parabolicPeak(before: number, middle: number, after: number): PeakOffset {
  const curvature = before - 2 * middle + after;
  if (!(curvature < 0)) return { offset: 0, peak: middle };
  const offset = (before - after) / (2 * curvature) + 0; // no negative zero
  return { offset, peak: middle - ((before - after) * offset) / 4 };
}

/**
 * Offset of a lone tone under a periodic Hann window from three bin magnitudes, 2(a₊ − a₋)/(a₋ + 2a₀ + a₊). Without noise
 * it is off by about 1e-6 bin for a thousand samples (the Hann kernel replaced by its limit for long records).
 *
 * @returns 0 when all three are 0
 */
export function hannOffset(before: number, middle: number, after: number): number {
  const total = before + 2 * middle + after;
  return total > 0 ? (2 * (after - before)) / total : 0;
}

/**
 * The same from the two largest bins only (T. Grandke, "Interpolation algorithms for discrete Fourier transforms of
 * weighted signals", IEEE Trans. Instrum. Meas. 32(2), 1983; from memory, checked by computation): (2a − 1)/(a + 1) with a
 * the ratio of the upper bin to the lower; offset from the lower one, 0 … 1.
 */
export function hannOffsetFromPair(lower: number, upper: number): number {
  const total = lower + upper;
  return total > 0 ? (2 * upper - lower) / total : 0;
}

/** Factor by which the middle bin of a Hann-windowed tone at `offset` falls short of the tone on a bin: sinc(δ)/(1 − δ²). */
export function hannAttenuation(offset: number): number {
  if (Math.abs(offset) < 1e-6) return 1;
  if (Math.abs(Math.abs(offset) - 1) < 1e-6) return 0.5;
  return Math.sin(Math.PI * offset) / (Math.PI * offset * (1 - offset * offset));
}

/**
 * Offset of a tone under a rectangular window from three complex bins, Re[(X₋ − X₊)/(2X₀ − X₋ − X₊)]
 * (E. Jacobsen and P. Kootsookos, IEEE Signal Processing Magazine, May 2007).
 *
 * @param bins interleaved X₋, X₀, X₊ (six numbers)
 * @returns 0 where the denominator vanishes
 */
export function jacobsenOffset(bins: ArrayLike<number>): number {
  const numeratorRe = bins[0]! - bins[4]!;
  const numeratorIm = bins[1]! - bins[5]!;
  const re = 2 * bins[2]! - bins[0]! - bins[4]!;
  const im = 2 * bins[3]! - bins[1]! - bins[5]!;
  const square = re * re + im * im;
  return square > 0 ? (numeratorRe * re + numeratorIm * im) / square : 0;
}

/**
 * {@link jacobsenOffset} without its bias for short records: (N/π)·atan(tan(π/N)·δ), exact for a lone complex tone
 * (Ç. Candan, IEEE Signal Processing Letters 20(9), 2013; from memory, checked by computation).
 *
 * @param length N, samples transformed, at least 3
 */
export function candanOffset(bins: ArrayLike<number>, length: number): number {
  return (length / Math.PI) * Math.atan(Math.tan(Math.PI / length) * jacobsenOffset(bins));
}

/** The earlier form of the same correction, tan(π/N)/(π/N)·δ (Ç. Candan, IEEE Signal Processing Letters 18(6), 2011). */
export function candanOffsetLinear(bins: ArrayLike<number>, length: number): number {
  return (Math.tan(Math.PI / length) / (Math.PI / length)) * jacobsenOffset(bins);
}

/** Smallest standard deviations that an unbiased estimator can have; `null` below three samples. */
export interface ToneBound {
  readonly frequencyStdHz: number;
  readonly amplitudeStd: number;
  /** Of the phase at the first sample. */
  readonly phaseStdRad: number;
}

/**
 * Cramér–Rao bound for one real tone in white noise, all of frequency, amplitude and phase unknown (S. M. Kay,
 * *Fundamentals of Statistical Signal Processing: Estimation Theory*, 1993, eq. 3.41, from memory, checked against a
 * numerical Fisher matrix). An approximation for tones well away from zero frequency and Nyquist.
 *
 * @param noiseStd standard deviation of the noise per sample, unit of `amplitude`
 */
export function cramerRaoTone(
  amplitude: number,
  noiseStd: number,
  samples: number,
  sampleRateHz: number,
): ToneBound | null {
  if (samples < 3) return null;
  const ratio = amplitude ** 2 / (2 * noiseStd ** 2);
  const omegaStd = Math.sqrt(12 / (ratio * samples * (samples ** 2 - 1)));
  return {
    frequencyStdHz: (omegaStd * sampleRateHz) / (2 * Math.PI),
    amplitudeStd: noiseStd * Math.sqrt(2 / samples),
    phaseStdRad: Math.sqrt((2 * (2 * samples - 1)) / (ratio * samples * (samples + 1))),
  };
}
