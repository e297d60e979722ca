/** Values at a place of the sorted order. */
import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { orderStatistic } from './order-statistic.js';

describe('the value at a place of the sorted order', () => {
  test('of 3 1 2 the middle one is 2, the first 1, the last 3', () => {
    expect([0, 1, 2].map((place) => orderStatistic(Float64Array.of(3, 1, 2), 3, place))).toEqual([1, 2, 3]);
  });

  test('is what sorting gives, at every place, among equal values too', () => {
    const random = randomSource(71);
    for (const count of [1, 2, 3, 7, 50, 129]) {
      const values = Float64Array.from({ length: count }, () => Math.floor(20 * random.uniform()));
      const sorted = values.slice().sort();
      for (let place = 0; place < count; place++)
        expect(orderStatistic(values.slice(), count, place)).toBe(sorted[place]);
    }
  });

  test('looks at the first values only', () => {
    expect(orderStatistic(Float64Array.of(5, 4, 1, 0), 2, 0)).toBe(4);
  });

  test('a place that does not exist is an error', () => {
    expect(() => orderStatistic(Float64Array.of(1, 2), 2, 2)).toThrow('no place 2 among 2 values');
  });
});
