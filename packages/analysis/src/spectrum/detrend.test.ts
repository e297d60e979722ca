import { expect, test } from 'vitest';
import { detrended } from './detrend.js';

test('the mean and the straight line are taken out exactly', () => {
  expect(Array.from(detrended([1, 2, 6], 'mean'))).toEqual([-2, -1, 3]);
  expect(Array.from(detrended([5, 7, 9, 11], 'linear'))).toEqual([0, 0, 0, 0]);
});

test('the line is the least-squares one: what is left has no mean and no slope', () => {
  const left = detrended([0, 3, 1, 8, 2], 'linear');
  expect(left.reduce((sum, value) => sum + value, 0)).toBeCloseTo(0, 14);
  expect(left.reduce((sum, value, i) => sum + i * value, 0)).toBeCloseTo(0, 13);
  expect(left[3]).toBeCloseTo(8 - 2.8 - 0.9, 14); // slope Σ(i − 2)x/10 = 0.9, mean 2.8
});

test('none copies, and one sample or none at all is no line', () => {
  const x = Float64Array.of(1, 2);
  const copy = detrended(x, 'none');
  copy[0] = 9;
  expect(Array.from(x)).toEqual([1, 2]);
  expect(Array.from(detrended([4], 'linear'))).toEqual([0]);
  expect(detrended([], 'linear')).toHaveLength(0);
});
