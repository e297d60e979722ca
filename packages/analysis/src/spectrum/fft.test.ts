import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import {
  binFrequenciesHz,
  inverseComplex,
  inverseReal,
  nextPowerOfTwo,
  transformComplex,
  transformReal,
} from './fft.js';

/** The definition, term by term. */
function sumOfTerms(z: Float64Array): Float64Array {
  const n = z.length / 2;
  const out = new Float64Array(2 * n);
  for (let k = 0; k < n; k++) {
    for (let i = 0; i < n; i++) {
      const angle = (-2 * Math.PI * ((k * i) % n)) / n;
      out[2 * k]! += z[2 * i]! * Math.cos(angle) - z[2 * i + 1]! * Math.sin(angle);
      out[2 * k + 1]! += z[2 * i]! * Math.sin(angle) + z[2 * i + 1]! * Math.cos(angle);
    }
  }
  return out;
}

function largestDifference(a: ArrayLike<number>, b: ArrayLike<number>): number {
  expect(a.length).toBe(b.length);
  let largest = 0;
  for (let i = 0; i < a.length; i++) largest = Math.max(largest, Math.abs(a[i]! - b[i]!));
  return largest;
}

describe('transform of any length', () => {
  const lengths = [1, 2, 3, 4, 5, 7, 8, 12, 16, 17, 31, 64, 97, 100, 128, 243, 256, 360];

  test.each(lengths)('%i complex samples agree with the defining sum and come back', (n) => {
    const z = randomSource(n).normals(2 * n);
    const transformed = transformComplex(z);
    expect(largestDifference(transformed, sumOfTerms(z))).toBeLessThan(1e-12 * n);
    expect(largestDifference(inverseComplex(transformed), z)).toBeLessThan(1e-13 * Math.max(10, n));
  });

  test.each(lengths)('%i real samples give the first half of the complex transform and come back', (n) => {
    const x = randomSource(1000 + n).normals(n);
    const z = new Float64Array(2 * n);
    x.forEach((value, i) => (z[2 * i] = value));
    const half = transformReal(x);
    expect(half.length).toBe(2 * (Math.floor(n / 2) + 1));
    expect(largestDifference(half, transformComplex(z).subarray(0, half.length))).toBeLessThan(1e-13 * n);
    expect(largestDifference(inverseReal(half, n), x)).toBeLessThan(1e-13 * Math.max(10, n));
  });

  test('energy is kept: the squares of the samples sum to those of the bins over N (Parseval)', () => {
    for (const n of [1000, 1024, 4099]) {
      const z = randomSource(n).normals(2 * n);
      const power = (values: Float64Array): number => values.reduce((sum, value) => sum + value * value, 0);
      expect(power(transformComplex(z)) / n / power(z)).toBeCloseTo(1, 12);
    }
  });

  test('a result is the caller’s own: the next transform of that length leaves it alone', () => {
    const first = transformReal([1, 2, 3, 4]);
    const kept = Array.from(first);
    transformReal([5, 6, 7, -8]);
    expect(Array.from(first)).toEqual(kept);
  });

  test('many different lengths in turn stay right when old plans are dropped', () => {
    for (const pass of [1, 2]) {
      for (let n = 2; n < 60; n++) {
        const x = randomSource(n * pass).normals(n);
        expect(largestDifference(inverseReal(transformReal(x), n), x)).toBeLessThan(1e-12);
      }
    }
  });

  test('an empty sequence, and half a spectrum that does not fit the length, are refused', () => {
    expect(() => transformReal([])).toThrow('at least one sample');
    expect(() => transformComplex(new Float64Array(3))).toThrow('at least one sample');
    expect(() => inverseReal(new Float64Array(6), 7)).toThrow('7 samples has 4 bins, got 3');
  });
});

test('nextPowerOfTwo is the smallest power of two that is at least n', () => {
  expect([0, 1, 2, 3, 4, 5, 1023, 1024, 1025].map(nextPowerOfTwo)).toEqual([
    1, 1, 2, 4, 4, 8, 1024, 1024, 2048,
  ]);
  expect(() => nextPowerOfTwo(Number.NaN)).toThrow(RangeError);
});

test('bins run from zero to Nyquist for even lengths, to half a bin below it for odd ones', () => {
  expect(Array.from(binFrequenciesHz(4, 100))).toEqual([0, 25, 50]);
  expect(Array.from(binFrequenciesHz(5, 100))).toEqual([0, 20, 40]);
});
