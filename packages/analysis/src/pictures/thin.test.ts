import { describe, expect, test } from 'vitest';
import type { Signal } from '@settle/parser';
import { thinEven, thinSignal, thinSpectrum } from './thin.js';

/** Ten minutes at 400 Hz. */
const COUNT = 240_000;
const STEP_S = 1 / 400;

function signalOf(values: Float64Array, gaps: readonly { startS: number; endS: number }[] = []): Signal {
  const timeS = Float64Array.from(values, (_, i) => i * STEP_S);
  return { values, clock: { timeS, gaps, sampleRateHz: 400 } } as unknown as Signal;
}

const sine = (): Float64Array => Float64Array.from({ length: COUNT }, (_, i) => Math.sin(0.05 * i));

describe('thinning to what a pixel can show', () => {
  test('a single spike among 240,000 samples survives with its time, upwards and downwards', () => {
    const values = sine();
    values[100_003] = 9;
    values[170_007] = -8;
    const { timeS, values: kept } = thinSignal(signalOf(values), { startS: 0, endS: 600 }, 1)!;
    expect(kept.length).toBeLessThan(2000);
    expect(kept[timeS.indexOf(100_003 * STEP_S)]).toBe(9);
    expect(kept[timeS.indexOf(170_007 * STEP_S)]).toBe(-8);
  });

  test('every column keeps its lowest and its highest value, in the order they came', () => {
    const values = Float64Array.from([3, 1, 2, 5, 4, 6, 0, 7]);
    const thin = thinSignal(signalOf(values), { startS: 0, endS: 8 * STEP_S }, 10, 2)!;
    expect(thin.values).toEqual([10, 50, 0, 70]);
    expect(thin.timeS.map((timeS) => Math.round(timeS / STEP_S))).toEqual([1, 3, 6, 7]);
  });

  test('a gap of the log and a missing value break the line', () => {
    const values = Float64Array.from([1, 1, NaN, NaN, NaN, 1, 1]);
    const broken = thinSignal(signalOf(values), { startS: 0, endS: 6 * STEP_S }, 1)!;
    expect(broken.values.filter((value) => value === null)).toHaveLength(1);
    const gap = { startS: 2 * STEP_S, endS: 3 * STEP_S };
    const apart = thinSignal(
      signalOf(new Float64Array(6).fill(1), [gap]),
      { startS: 0, endS: 5 * STEP_S },
      1,
    )!;
    expect(apart.values).toEqual([1, 1, 1, null, 1, 1, 1]);
  });

  test('without a value in the interval there is nothing to draw', () => {
    expect(thinSignal(signalOf(new Float64Array(9).fill(NaN)), { startS: 0, endS: 1 }, 1)).toBeNull();
    expect(thinSignal(signalOf(new Float64Array(9)), { startS: 5, endS: 6 }, 1)).toBeNull();
  });

  test('an even record keeps its extremes too', () => {
    const values = sine();
    values[77_777] = -3;
    const { timeS, values: kept } = thinEven(values, 10, STEP_S, 2);
    expect(kept.length).toBeLessThan(2000);
    expect(kept[timeS.indexOf(10 + 77_777 * STEP_S)]).toBe(-6);
  });

  test('a spectrum keeps the peak of every column, on either spacing', () => {
    const hz = Float64Array.from({ length: 50_000 }, (_, k) => k * 0.01);
    const values = new Float64Array(50_000).fill(1);
    values[12_345] = 50;
    for (const spacing of ['log', 'linear'] as const) {
      const kept = thinSpectrum(hz, values, 1, 499, spacing);
      expect(kept.length).toBeLessThan(425);
      expect(kept).toContain(12_345);
      expect(kept.every((k, i) => i === 0 || k > kept[i - 1]!)).toBe(true);
    }
  });
});
