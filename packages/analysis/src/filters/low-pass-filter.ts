/** Digital low-passes by the bilinear transform with the −3 dB frequency kept: what SciPy's `butter(1)` and `butter(2)` give. */
import type { Biquad } from './biquad.js';

export type LowPassOrder = 1 | 2;

/**
 * First order, or second-order Butterworth (the cookbook's low-pass with Q = 1/√2 is the same).
 *
 * @throws RangeError unless 0 < cut-off < half the sample rate
 */
export function designLowPass(cutoffHz: number, order: LowPassOrder, sampleRateHz: number): Biquad {
  if (!(cutoffHz > 0 && cutoffHz < sampleRateHz / 2))
    throw new RangeError(`a low-pass needs a cut-off between 0 and ${sampleRateHz / 2} Hz, not ${cutoffHz}`);
  const k = Math.tan((Math.PI * cutoffHz) / sampleRateHz);
  if (order === 1) {
    const b = k / (1 + k);
    return { b0: b, b1: b, b2: 0, a1: (k - 1) / (k + 1), a2: 0 };
  }
  const a0 = 1 + Math.SQRT2 * k + k * k;
  const b = (k * k) / a0;
  return { b0: b, b1: 2 * b, b2: b, a1: (2 * (k * k - 1)) / a0, a2: (1 - Math.SQRT2 * k + k * k) / a0 };
}

/**
 * The filter that turns a signal behind one low-pass into the same signal behind another: both have their zeros at Nyquist, which
 * cancel, so what is left is stable and divides by nothing small.
 */
export function exchangeLowPass(there: Biquad, wanted: Biquad): Biquad {
  const b = wanted.b0 / there.b0;
  return { b0: b, b1: b * there.a1, b2: b * there.a2, a1: wanted.a1, a2: wanted.a2 };
}
