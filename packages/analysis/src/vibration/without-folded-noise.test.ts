/** White noise goes, what is slow stays, however slow. */
import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { withoutFoldedNoise } from './without-folded-noise.js';

const RATE_HZ = 50;
const SECONDS = 24;

function rmsOf(values: Float64Array): number {
  return Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / values.length);
}

/** Sum of a signal from the start on, s: what a rotor runs ahead by. */
function courseOf(values: Float64Array): Float64Array {
  let sum = 0;
  return values.map((v) => (sum += v / RATE_HZ));
}

const flown = (what: (t: number) => number): Float64Array =>
  Float64Array.from({ length: SECONDS * RATE_HZ }, (_, i) => what(i / RATE_HZ));

describe('a motor command without folded noise', () => {
  test.for([1, 2, 3, 4])('is nearer to what the motors were told, seed %i', (seed) => {
    const noise = randomSource(seed);
    const told = flown((t) => 0.4 + 0.02 * Math.sin(2.2 * t) + 0.01 * Math.sin(5.1 * t + 1));
    const logged = told.map((v) => v + 0.03 * noise.normal());
    const clean = withoutFoldedNoise(logged, RATE_HZ);
    const off = (values: Float64Array): number => rmsOf(values.map((v, i) => v - told[i]!));
    expect(off(clean)).toBeLessThan(0.4 * off(logged));
  });

  test('keeps a throttle that swings once in the whole log', () => {
    const noise = randomSource(7);
    const told = flown((t) => 0.4 + 0.06 * Math.sin((2 * Math.PI * t) / SECONDS));
    const logged = told.map((v) => v + 0.02 * noise.normal());
    const clean = withoutFoldedNoise(logged, RATE_HZ);
    const wander = rmsOf(courseOf(told.map((v) => v - 0.4)));
    expect(rmsOf(courseOf(clean.map((v, i) => v - told[i]!)))).toBeLessThan(0.1 * wander);
  });

  test('of a command without noise nothing is taken that matters, and the mean stays', () => {
    const told = flown((t) => 0.4 + 0.05 * Math.sin(2 * Math.PI * 0.5 * t));
    const clean = withoutFoldedNoise(told, RATE_HZ);
    expect(rmsOf(clean.map((v, i) => v - told[i]!))).toBeLessThan(0.0005);
    const mean = (values: Float64Array): number => values.reduce((sum, v) => sum + v, 0) / values.length;
    expect(mean(clean)).toBeCloseTo(mean(told), 9);
  });

  test('a log too short to tell a floor stays as it is', () => {
    const short = randomSource(9).normals(5 * RATE_HZ);
    expect(withoutFoldedNoise(short, RATE_HZ)).toEqual(short);
  });
});
