/** What turns once per revolution, from lines that follow a known course: seen where they are, swept, folded. */
import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { madeSensorRecord } from '../../../../tests/support/sensor-record.js';
import { basesOf, clustersOf, followingPeaks, type FollowingPeak } from './find-base.js';
import type { SpeedGuess } from './relative-speeds.js';

const SECONDS = 30;

/** One rotor whose speed swings by a share, and the course that says so. */
function flown(rateHz: number, meanHz: number, share: number, orders: readonly number[]) {
  const noise = randomSource(33);
  const turned = (t: number): number => meanHz * (t + (share / 0.9) * (1 - Math.cos(0.9 * t)));
  const values = Float64Array.from({ length: SECONDS * rateHz }, (_, i) =>
    orders.reduce(
      (sum, order) => sum + 0.1 * Math.sin(2 * Math.PI * order * turned(i / rateHz)),
      0.05 * noise.normal(),
    ),
  );
  const record = madeSensorRecord(values, rateHz, 'accel');
  const speed = {
    startS: 0,
    stepS: 0.01,
    values: Float64Array.from({ length: 100 * SECONDS + 1 }, (_, i) => 1 + share * Math.sin(0.009 * i)),
  };
  const guess: SpeedGuess = { rotor: 1, meanHz: null, share: 1, speed };
  return { record, guess };
}

describe('the base of a family that follows the commands', () => {
  test.for([
    ['in a fast log', 400, 61],
    ['in a slow log, beyond half its rate', 150, 96],
  ] as const)('a swept rotor is found within 1 %% %s', ([, rate, hz]) => {
    const { record, guess } = flown(rate, hz, 0.12, [1, 2]);
    const { peaks } = followingPeaks([[guess]], [record], clustersOf([record], 14), 14, true);
    const base = basesOf(peaks, [1])[0]!;
    expect(Math.abs(base.hz / hz - 1)).toBeLessThan(0.01);
    expect(base.follows).toBe(true);
  });

  test('a tone that stands still while the commands move is no rotor', () => {
    const { record, guess } = flown(400, 61, 0.12, []);
    const values = record.values.map((v, i) => v + 0.1 * Math.sin((2 * Math.PI * 73 * i) / 400));
    const still = [{ ...record, values }];
    const { peaks } = followingPeaks([[guess]], still, clustersOf(still, 14), 14, false);
    expect(basesOf(peaks, [1])).toEqual([]);
  });
});

describe('a family of peaks', () => {
  const peak = (trueHz: number, gain: number, height = 5): FollowingPeak => ({ trueHz, gain, height });

  test('its first line is the base though its second stands higher', () => {
    expect(basesOf([peak(40, 0.8, 3), peak(80, 0.8, 6), peak(120, 0.8, 3)], [1])[0]!.hz).toBeCloseTo(40, 6);
  });

  test('rotors far apart are one family by their shares, around the mean of them all', () => {
    const shares = [0.9, 1.1, 0.95, 1.05];
    const peaks = shares.flatMap((share) => [peak(60 * share, 0.8), peak(120 * share, 0.5)]);
    expect(basesOf(peaks, shares)[0]!.hz).toBeCloseTo(60, 6);
    expect(Math.abs(basesOf(peaks, [1])[0]!.hz / 60 - 1)).toBeGreaterThan(0.01);
  });

  test('peaks that lose by being turned make none', () => {
    expect(basesOf([peak(40, -0.9), peak(80, -0.9)], [1])).toEqual([]);
  });

  test('a peak alone that neither gains nor loses makes none', () => {
    expect(basesOf([peak(40, 0)], [1])).toEqual([]);
  });
});
