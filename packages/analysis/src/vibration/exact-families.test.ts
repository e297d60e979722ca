/** Bases that several lines speak for by their exact multiples. */
import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { exactBases, isHigherPart } from './exact-families.js';
import type { PeakCluster } from './find-base.js';

const clusters = (...lines: readonly (readonly [number, number])[]): PeakCluster[] =>
  lines.map(([hz, height]) => ({ hz, height, at: [], told: null }));

describe('a base is given', () => {
  test('by two rotors, each with its blade pass, beside a stronger mode', () => {
    const lines = clusters([23.11, 5], [131.22, 5], [118.8, 4.4], [39.6, 3.5], [43.74, 3.5]);
    expect(exactBases(lines)).toEqual([(39.6 + 43.74) / 2]);
  });

  test('by one rotor with two multiples', () => {
    expect(exactBases(clusters([59.7, 8], [179.2, 8], [119.45, 6]))[0]).toBeCloseTo(59.7, 6);
  });

  test('that may be a multiple, where all lines are even ones', () => {
    expect(exactBases(clusters([64, 8], [66, 7], [128, 8], [132, 6]))).toEqual([65]);
  });
});

describe('none is given', () => {
  test.for([
    ['by one line with one multiple', clusters([40, 5], [120, 5], [77, 4])],
    ['by multiples that are 1 % off', clusters([40, 5], [121.2, 5], [43, 5], [130.3, 4])],
    ['by two lines that are no rotors of one aircraft', clusters([20, 5], [60, 5], [31, 4], [93, 4])],
    ['by the mains', clusters([50, 8], [100, 7], [150, 6])],
  ] as const)('%s', ([, lines]) => {
    expect(exactBases(lines)).toEqual([]);
  });

  // Eight lines are what a busy spectrum shows; each pair has two multiples to meet, within 0.4 %.
  test('by lines that have nothing to do with one another, but for one spectrum in a hundred', () => {
    const random = randomSource(7);
    let given = 0;
    for (let n = 0; n < 1000; n++) {
      const lines = Array.from({ length: 8 }, () => [20 * 10 ** random.uniform(), 4] as const);
      if (exactBases(clusters(...lines)).length > 0) given++;
    }
    expect(given).toBeLessThan(20);
  });
});

describe('in a slow log a line at half of what stands for a base is sooner the first multiple', () => {
  const told = (hz: number, height: number, ...readings: number[]): PeakCluster => ({
    ...clusters([hz, height])[0]!,
    told: readings.length > 0 ? readings : null,
  });

  test.for([
    ['higher and exactly there', [told(28.56, 10), told(57.18, 8.6), told(56.2, 8)], true],
    ['told to be folded', [told(28.56, 10, -171.44), told(57.18, 8.6)], false],
    ['lower', [told(28.56, 8), told(57.18, 8.6)], false],
    ['not exactly there', [told(28.2, 10), told(57.18, 8.6)], false],
    ['alone', [told(28.56, 10)], false],
  ] as const)('%s', ([, lines, expected]) => {
    expect(isHigherPart(lines, 57, 2)).toBe(expected);
  });
});
