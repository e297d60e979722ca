import { describe, expect, it } from 'vitest';
import { interpolate } from './signals.js';

describe('interpolate', () => {
  it('draws straight lines between samples and holds the ends', () => {
    const out = interpolate(
      Float64Array.of(1, 2, 4),
      Float64Array.of(10, 20, 0),
      Float64Array.of(0, 1, 1.5, 3, 9),
    );
    expect([...out]).toEqual([10, 10, 15, 10, 0]);
  });
});
