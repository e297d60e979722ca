import { describe, expect, test } from 'vitest';
import { makeColouredNoise } from './disturbance.js';
import { makeRandom, makeStream } from './random.js';

function moments(values: readonly number[]): { mean: number; std: number } {
  const mean = values.reduce((a, b) => a + b, 0) / values.length;
  return { mean, std: Math.sqrt(values.reduce((a, b) => a + (b - mean) ** 2, 0) / values.length) };
}

describe('random numbers', () => {
  const n = 100_000;

  test('uniform ones fill [0, 1) evenly', () => {
    const random = makeRandom(1);
    const { mean, std } = moments(Array.from({ length: n }, () => random.uniform()));
    // Four standard errors: std/√n.
    expect(Math.abs(mean - 0.5)).toBeLessThan((4 * 0.2887) / Math.sqrt(n));
    expect(std).toBeCloseTo(Math.sqrt(1 / 12), 2);
  });

  test('normal ones have mean 0, standard deviation 1 and 4.55 % beyond two', () => {
    const random = makeRandom(2);
    const values = Array.from({ length: n }, () => random.normal());
    const { mean, std } = moments(values);
    expect(Math.abs(mean)).toBeLessThan(4 / Math.sqrt(n));
    expect(Math.abs(std - 1)).toBeLessThan(4 / Math.sqrt(2 * n));
    expect(values.filter((v) => Math.abs(v) > 2).length / n).toBeCloseTo(0.0455, 2);
  });

  test('streams of one seed for two subjects have nothing in common', () => {
    const a = makeStream(5, 'wind');
    const b = makeStream(5, 'gyro');
    let sum = 0;
    for (let i = 0; i < n; i++) sum += a.normal() * b.normal();
    expect(Math.abs(sum / n)).toBeLessThan(4 / Math.sqrt(n));
  });

  test.each([1, 2] as const)('coloured noise of order %i has the standard deviation asked for', (order) => {
    const noise = makeColouredNoise(3, 2, order, 1 / 400, makeRandom(3));
    const { std } = moments(Array.from({ length: 400_000 }, () => noise.next()));
    // About 2·π·2 Hz·1000 s = 12 000 independent values: half a per cent; three of those.
    expect(Math.abs(std / 3 - 1)).toBeLessThan(0.03);
  });
});
