import { add, divide, complex, multiply, scale, type Complex } from './complex.js';

/** y = (b0 + b1 z⁻¹ + b2 z⁻²) / (1 + a1 z⁻¹ + a2 z⁻²) x, run once per loop step. */
export interface Biquad {
  readonly b0: number;
  readonly b1: number;
  readonly b2: number;
  readonly a1: number;
  readonly a2: number;
}

/** From (n0 + n1 s + n2 s²)/(d0 + d1 s + d2 s²) with frequency in units of `atRadS`, matched there (bilinear, prewarped). */
function bilinear(
  numerator: readonly [number, number, number],
  denominator: readonly [number, number, number],
  atRadS: number,
  stepS: number,
): Biquad {
  const k = 1 / Math.tan((atRadS * stepS) / 2);
  const [n0, n1, n2] = numerator;
  const [d0, d1, d2] = denominator;
  const a0 = d0 + d1 * k + d2 * k * k;
  return {
    b0: (n0 + n1 * k + n2 * k * k) / a0,
    b1: (2 * n0 - 2 * n2 * k * k) / a0,
    b2: (n0 - n1 * k + n2 * k * k) / a0,
    a1: (2 * d0 - 2 * d2 * k * k) / a0,
    a2: (d0 - d1 * k + d2 * k * k) / a0,
  };
}

/** Low-pass with its −3 dB point at `cutoffHz` (second order: Butterworth). */
export function lowPass(cutoffHz: number, order: 1 | 2, stepS: number): Biquad {
  const at = 2 * Math.PI * cutoffHz;
  if (order === 2) return bilinear([1, 0, 0], [1, Math.SQRT2, 1], at, stepS);
  const k = 1 / Math.tan((at * stepS) / 2);
  return { b0: 1 / (1 + k), b1: 1 / (1 + k), b2: 0, a1: (1 - k) / (1 + k), a2: 0 };
}

/** Notch of −`depthDb` at its centre and, for a deep one, −3 dB at the edges of `bandwidthHz`. */
export function notch(centreHz: number, bandwidthHz: number, depthDb: number, stepS: number): Biquad {
  const width = bandwidthHz / centreHz;
  return bilinear([1, width * 10 ** (-depthDb / 20), 1], [1, width, 1], 2 * Math.PI * centreHz, stepS);
}

/** Response of the filter at z. */
export function filterResponse(filter: Biquad, z: Complex): Complex {
  const inverse = divide(complex(1), z);
  const inverse2 = multiply(inverse, inverse);
  const top = add(complex(filter.b0), add(scale(inverse, filter.b1), scale(inverse2, filter.b2)));
  const bottom = add(complex(1), add(scale(inverse, filter.a1), scale(inverse2, filter.a2)));
  return divide(top, bottom);
}
