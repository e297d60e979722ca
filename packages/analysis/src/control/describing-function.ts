/**
 * What a saturation or a relay does to a sine: its gain for the fundamental (describing function) and the harmonics it adds.
 * A. Gelb and W. Vander Velde, *Multiple-Input Describing Functions and Nonlinear System Design*, 1968 (from memory); relay
 * test: K. J. Åström and T. Hägglund, Automatica 20(5), 1984.
 */
import { scale, unitPhasor, type Complex } from './complex.js';
import { findRoot } from './search.js';

/**
 * Gain of a saturation of slope 1 for the fundamental.
 *
 * @param ratio amplitude of the sine over the limit, A/d ≥ 0
 * @returns 1 up to a ratio of 1, then falling towards 4/(π·ratio)
 */
export function saturationGain(ratio: number): number {
  if (!(ratio >= 0)) throw new RangeError(`an amplitude of ${ratio} limits is not 0 or more`);
  if (ratio <= 1) return 1;
  const inverse = 1 / ratio;
  return (2 / Math.PI) * (Math.asin(inverse) + inverse * Math.sqrt(1 - inverse * inverse));
}

/** Amplitude over limit at which a saturation has this gain, 0 < gain ≤ 1; 1 for a gain of 1. */
export function saturationRatioOfGain(gain: number): number {
  if (!(gain > 0 && gain <= 1)) throw new RangeError(`a saturation of slope 1 has no gain of ${gain}`);
  if (gain === 1) return 1;
  // Bounds: N is at least 1/ratio and at most 4/(π·ratio).
  const f = (ratio: number): number => saturationGain(ratio) - gain;
  const high = 4 / (Math.PI * gain);
  return findRoot(f, 1, high, 1 - gain, f(high));
}

/** Share of evenly timed samples of a sine that lie at a limit, both limits together: 0 up to a ratio of 1. */
export function clippedShare(ratio: number): number {
  if (!(ratio >= 0)) throw new RangeError(`an amplitude of ${ratio} limits is not 0 or more`);
  return ratio <= 1 ? 0 : 1 - (2 / Math.PI) * Math.asin(1 / ratio);
}

/**
 * Amplitude over limit of a sine of which this share of the samples is clipped, 0 ≤ share < 1. Of 0 it is 1, the most that
 * nothing clipped allows.
 */
export function saturationRatioOfShare(share: number): number {
  if (!(share >= 0 && share < 1)) throw new RangeError(`a clipped share of ${share} is not in 0 … below 1`);
  return 1 / Math.cos((Math.PI / 2) * share);
}

/** Gain of the saturation for the fundamental of a sine of which this share of the samples is clipped, 0 ≤ share < 1. */
export const saturationGainOfShare = (share: number): number => saturationGain(saturationRatioOfShare(share));

/**
 * Amplitude of the harmonic sin(nθ) of a sine A·sin θ clipped at ±d, over d; signed. Even ones are 0.
 *
 * @param ratio A/d ≥ 0
 * @param order n ≥ 1; 1 is the fundamental, A/d times the gain
 */
export function clippedSineHarmonic(ratio: number, order: number): number {
  if (!Number.isInteger(order) || order < 1) throw new RangeError(`no harmonic of order ${order}`);
  if (order % 2 === 0) return 0;
  if (order === 1) return ratio * saturationGain(ratio);
  if (!(ratio > 1)) return saturationGain(ratio) - 1; // 0, and the check of the ratio
  // (4/π)·[ (A/d)·∫₀^α sin θ sin nθ dθ + ∫_α^{π/2} sin nθ dθ ], sin α = d/A.
  const alpha = Math.asin(1 / ratio);
  const inside =
    Math.sin((order - 1) * alpha) / (2 * (order - 1)) - Math.sin((order + 1) * alpha) / (2 * (order + 1));
  return (4 / Math.PI) * (ratio * inside + Math.cos(order * alpha) / order);
}

/**
 * Gain of a relay that switches between ±output, for a sine of this amplitude; with hysteresis it also lags.
 *
 * Inverted it is the relay test: output and measured amplitude of the limit cycle give the ultimate gain 4d/(πa), a few
 * percent off where the loop filters the harmonics weakly.
 *
 * @param hysteresis input beyond 0 that it takes to switch, 0 ≤ hysteresis ≤ amplitude; same unit as the amplitude
 * @returns output per input, phase −asin(hysteresis/amplitude)
 */
export function relayGain(output: number, amplitude: number, hysteresis = 0): Complex {
  if (!(output > 0) || !(amplitude > 0) || !(hysteresis >= 0 && hysteresis <= amplitude)) {
    throw new RangeError(
      `no relay gain for output ${output}, amplitude ${amplitude}, hysteresis ${hysteresis}`,
    );
  }
  return scale(unitPhasor(-Math.asin(hysteresis / amplitude)), (4 * output) / (Math.PI * amplitude));
}
