import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { decimate, resampleUniform } from './resample.js';

describe('onto a uniform clock', () => {
  test('a straight line comes back exactly whatever the jitter', () => {
    const timeS = [0, 0.9, 2.2, 3, 4.3, 5];
    const values = timeS.map((t) => 2 * t + 1);
    for (const method of ['linear', 'cubic'] as const) {
      const result = resampleUniform(timeS, values, 2, { method });
      expect(result.values).toHaveLength(11);
      result.values.forEach((value, i) => expect(value).toBeCloseTo(i + 1, 12));
      expect(result.bridged).toEqual([]);
    }
  });

  test('cubic: a jittered tone at a tenth of the sample rate is within 1.5 per cent everywhere and 0.2 per cent in level', () => {
    const source = randomSource(6);
    const timeS = Float64Array.from({ length: 2000 }, (_, i) => (i + 0.3 * (source.uniform() - 0.5)) / 100);
    const tone = (t: number): number => Math.sin(2 * Math.PI * 10 * t);
    const { values, startS } = resampleUniform(timeS, timeS.map(tone), 100);
    let along = 0;
    values.forEach((value, i) => {
      const truth = tone(startS + i / 100);
      along += value * truth;
      if (i > 0 && i < values.length - 1) expect(Math.abs(value - truth)).toBeLessThan(0.015);
    });
    expect(Math.abs((2 * along) / values.length - 1)).toBeLessThan(0.002);
  });

  test('a gap is bridged by a straight line and reported; next to it no slope is taken across', () => {
    const timeS = [0, 1, 2, 3, 10, 11, 12];
    const result = resampleUniform(timeS, [0, 0, 0, 0, 7, 7, 7], 1);
    expect(Array.from(result.values)).toEqual([0, 0, 0, 0, 1, 2, 3, 4, 5, 6, 7, 7, 7]);
    expect(result.bridged).toEqual([{ from: 4, to: 10 }]);
  });

  test('missing samples leave a gap of their own', () => {
    const x = [1, 1, Number.NaN, Number.NaN, Number.NaN, 1, 1, 1, 1, 1];
    const { bridged, values } = resampleUniform([0, 1, 2, 3, 4, 5, 6, 7, 8, 9], x, 1);
    expect(bridged).toEqual([{ from: 2, to: 5 }]);
    expect(Array.from(new Set(values))).toEqual([1]);
  });

  test('nothing is made up outside the data', () => {
    const result = resampleUniform([1, 2, 3], [5, 6, 7], 1, { startS: -10, endS: 10 });
    expect(result.startS).toBe(1);
    expect(Array.from(result.values)).toEqual([5, 6, 7]);
    expect(Array.from(resampleUniform([1, 2, 3], [5, 6, 7], 2, { startS: 1.5, endS: 2.6 }).values)).toEqual([
      5.5, 6, 6.5,
    ]);
  });

  test.each([
    ['one sample', () => resampleUniform([0, 1], [1, Number.NaN], 1), 'at least two samples'],
    ['time standing still', () => resampleUniform([0, 0], [1, 2], 1), 'increase strictly'],
    ['a span without data', () => resampleUniform([0, 1], [1, 2], 1, { startS: 3 }), 'no data between'],
    ['an infinite sample', () => resampleUniform([0, 1], [1, Infinity], 1), 'sample 1 is not finite'],
    ['lengths that differ', () => resampleUniform([0, 1], [1], 1), '2 times for 1 samples'],
    ['a rate of zero', () => resampleUniform([0, 1], [1, 2], 0), 'sampleRateHz must be positive'],
  ])('%s is refused', (_what, act, message) => {
    expect(act).toThrow(RangeError);
    expect(act).toThrow(message);
  });
});

describe('thinning', () => {
  /** Amplitude left of a unit tone at `share` of the new rate, both phases, away from the ends. */
  const gainAt = (share: number, factor: number): number => {
    let largest = 0;
    for (const phase of [0, Math.PI / 2]) {
      const x = Float64Array.from({ length: 200 * factor }, (_, i) =>
        Math.cos((2 * Math.PI * share * i) / factor + phase),
      );
      const y = decimate(x, factor);
      for (let i = 25; i < y.length - 25; i++) largest = Math.max(largest, Math.abs(y[i]!));
    }
    return largest;
  };

  test.each([2, 3, 8])(
    'by %i: a tone below 0.4 of the new rate passes in place, one above 0.6 is gone',
    (factor) => {
      const x = Float64Array.from({ length: 200 * factor }, (_, i) =>
        Math.cos((2 * Math.PI * 0.37 * i) / factor),
      );
      const y = decimate(x, factor);
      expect(y).toHaveLength(200);
      for (let i = 25; i < 175; i++) {
        expect(Math.abs(y[i]! - Math.cos(2 * Math.PI * 0.37 * i))).toBeLessThan(2e-4);
      }
      expect(20 * Math.log10(gainAt(0.61, factor))).toBeLessThan(-90);
      expect(20 * Math.log10(gainAt(0.77, factor))).toBeLessThan(-90);
    },
  );

  test('a constant and a ramp pass unchanged to the very ends', () => {
    const ramp = Float64Array.from({ length: 301 }, (_, i) => 4 - 0.5 * i);
    decimate(ramp, 3).forEach((value, i) => expect(value).toBeCloseTo(4 - 1.5 * i, 9));
    decimate(new Float64Array(50).fill(2), 7).forEach((value) => expect(value).toBeCloseTo(2, 12));
  });

  test('factor 1 copies; a record of one sample stays', () => {
    expect(Array.from(decimate([1, 2, 3], 1))).toEqual([1, 2, 3]);
    expect(decimate([5], 4)[0]).toBeCloseTo(5, 12);
    expect(() => decimate([1, 2], 0.5)).toThrow('whole number');
    expect(() => decimate([], 2)).toThrow('nothing to thin');
  });
});
