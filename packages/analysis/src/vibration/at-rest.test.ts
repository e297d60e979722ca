/** Amplitudes of what is brought to rest, folded or not, and what one complex series explains of another. */
import { describe, expect, test } from 'vitest';
import { atRest, shareExplained, middlesOf } from './at-rest.js';

const sampled = (rateHz: number, at: (t: number) => number) => {
  const timeS = Float64Array.from({ length: 10 * rateHz }, (_, i) => i / rateHz);
  return { timeS, values: timeS.map(at) };
};

describe('a sine of amplitude 3, a sixth of a turn early', () => {
  const line = (hz: number) => (t: number) => 7 + 3 * Math.cos(2 * Math.PI * hz * t + Math.PI / 3);

  // 130 Hz stands at 30 Hz in a log of 100 Hz, 70 Hz stands there mirrored.
  test.for([30, 70, 130])('comes to rest by its true frequency of %i Hz', (hz) => {
    const z = atRest(sampled(100, line(hz)), hz, Float64Array.of(3, 5), 0.6);
    for (const k of [0, 1]) {
      expect(z[2 * k]).toBeCloseTo(1.5, 2);
      expect(z[2 * k + 1]).toBeCloseTo(1.5 * Math.sqrt(3), 2);
    }
  });

  test('does not by another', () => {
    const z = atRest(sampled(100, line(30)), 41, Float64Array.of(3, 5), 0.6);
    expect(Math.hypot(z[0]!, z[1]!)).toBeLessThan(0.05);
  });
});

test('windows lie within their interval, four to a length', () => {
  const middleS = middlesOf({ startS: 2, endS: 4 }, 0.8);
  expect(middleS[0]).toBeCloseTo(2.4, 9);
  expect(middleS[1]! - middleS[0]!).toBeCloseTo(0.2, 9);
  expect(middleS.at(-1)!).toBeLessThanOrEqual(3.6 + 1e-9);
  expect(middleS.at(-1)!).toBeGreaterThan(3.3);
});

test('a complex factor explains its share', () => {
  // (1 + 2i) times the column, and as much power again that has nothing to do with it.
  const column = Float64Array.of(1, 0, 0, 1, -1, 0, 0, -1);
  const unlike = Float64Array.of(1, 0, 0, -1, -1, 0, 0, 1);
  const series = Float64Array.from({ length: 8 }, (_, i) => {
    const [re, im] = [column[2 * (i >> 1)]!, column[2 * (i >> 1) + 1]!];
    return (i % 2 === 0 ? re - 2 * im : im + 2 * re) + Math.sqrt(5) * unlike[i]!;
  });
  expect(shareExplained(series, [column])).toBeCloseTo(0.5, 12);
  expect(shareExplained(series, [column, unlike])).toBeCloseTo(1, 12);
  expect(shareExplained(series, [column, column])).toBe(0);
});
