import { describe, expect, test } from 'vitest';
import {
  chiSquareProbability,
  chiSquareQuantile,
  fProbability,
  fQuantile,
  normalProbability,
  normalQuantile,
  studentProbability,
  studentQuantile,
} from './distributions.js';

const PROBABILITIES = [1e-6, 0.001, 0.025, 0.3, 0.5, 0.9, 0.975, 0.9999];

/** Probabilities are good to about 1e-10 absolute, hence the looser share where they are small. */
const reached = (probability: number, p: number): void =>
  expect(Math.abs(probability - p)).toBeLessThan(1e-10 + 1e-9 * Math.min(p, 1 - p));

describe('a quantile is where the probability is reached', () => {
  test.each([1, 2, 3.892, 19.05, 189.57, 1000])('%d degrees of freedom', (nu) => {
    for (const p of PROBABILITIES) {
      reached(chiSquareProbability(chiSquareQuantile(p, nu), nu), p);
      reached(studentProbability(studentQuantile(p, nu), nu), p);
      reached(fProbability(fQuantile(p, nu, 7.5), nu, 7.5), p);
      reached(fProbability(fQuantile(p, 2, nu), 2, nu), p);
    }
  });

  test('normal', () => {
    for (const p of PROBABILITIES) reached(normalProbability(normalQuantile(p)), p);
  });
});

describe('closed forms', () => {
  test('two degrees of freedom: chi-square is exponential with mean 2', () => {
    for (const p of PROBABILITIES) expect(chiSquareQuantile(p, 2) / (-2 * Math.log1p(-p))).toBeCloseTo(1, 11);
  });

  test('one degree of freedom: Student is Cauchy, tan(π(p − ½))', () => {
    for (const p of [0.001, 0.1, 0.75, 0.99]) {
      expect(studentQuantile(p, 1) / Math.tan(Math.PI * (p - 0.5))).toBeCloseTo(1, 10);
    }
    expect(studentQuantile(0.5, 5)).toBe(0);
  });

  test('one numerator degree of freedom: F is Student squared; two: a power', () => {
    for (const nu of [3, 12.5, 200]) {
      for (const p of [0.05, 0.5, 0.95]) {
        expect(fQuantile(p, 1, nu) / studentQuantile((1 + p) / 2, nu) ** 2).toBeCloseTo(1, 9);
        expect(fQuantile(p, 2, nu) / ((nu / 2) * ((1 - p) ** (-2 / nu) - 1))).toBeCloseTo(1, 9);
      }
    }
  });
});

test.each([
  ['a probability above 1', () => chiSquareQuantile(1.1, 3)],
  ['a negative probability', () => normalQuantile(-0.1)],
  ['no degrees of freedom', () => fQuantile(0.5, -1, 3)],
  ['not a number', () => studentQuantile(Number.NaN, 3)],
])('%s throws', (_what, act) => {
  expect(act).toThrow(RangeError);
});
