import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import {
  analyticBand,
  bandpassAnalytic,
  envelope,
  transformRecord,
  unwrappedPhase,
  type AnalyticSignal,
} from './analytic.js';

const fs = 100;
const record = (count: number, value: (timeS: number) => number): Float64Array =>
  Float64Array.from({ length: count }, (_, i) => value(i / fs));

/** Indices that lie at least `marginS` inside the record. */
function inside(count: number, sampleRateHz: number, lengthS: number, marginS: number): number[] {
  return Array.from({ length: count }, (_, i) => i).filter((i) => {
    const t = i / sampleRateHz;
    return t >= marginS && t <= lengthS - marginS;
  });
}

describe('band signal', () => {
  const x = record(
    6000,
    (t) => 5 + 0.2 * t + 2 * Math.cos(2 * Math.PI * 2 * t + 0.4) + 3 * Math.sin(2 * Math.PI * 9 * t),
  );

  test('keeps a tone inside the band with amplitude, phase and time, and drops offset, trend and other tones', () => {
    const band = bandpassAnalytic(x, fs, 1.5, 2.5);
    expect(band.re).toHaveLength(6000);
    for (const i of inside(6000, fs, 60, 3 * band.edgeS)) {
      const phase = 2 * Math.PI * 2 * (i / fs) + 0.4;
      expect(Math.abs(band.re[i]! - 2 * Math.cos(phase))).toBeLessThan(0.02);
      expect(Math.abs(band.im[i]! - 2 * Math.sin(phase))).toBeLessThan(0.02);
    }
  });

  test('thinned, its samples are those of the full-rate signal', () => {
    const full = bandpassAnalytic(x, fs, 1.5, 2.5);
    const thin = bandpassAnalytic(x, fs, 1.5, 2.5, { decimateTo: 10 });
    expect(thin.sampleRateHz).toBe(12.5);
    expect(thin.re).toHaveLength(750);
    thin.re.forEach((value, i) => {
      expect(Math.abs(value - full.re[8 * i]!)).toBeLessThan(1e-10);
      expect(Math.abs(thin.im[i]! - full.im[8 * i]!)).toBeLessThan(1e-10);
    });
  });

  test('is never thinned below the rate asked for, nor below what the band needs', () => {
    expect(bandpassAnalytic(x, fs, 1.5, 2.5, { decimateTo: 60 }).sampleRateHz).toBe(100);
    expect(bandpassAnalytic(x, fs, 8, 10, { decimateTo: 1, transitionHz: 1 }).sampleRateHz).toBe(12.5);
  });

  test('one transform serves several bands', () => {
    const transform = transformRecord(x, fs);
    const direct = bandpassAnalytic(x, fs, 8, 10);
    expect(Array.from(analyticBand(transform, 8, 10).re)).toEqual(Array.from(direct.re));
    const middle = envelope(analyticBand(transform, 8, 10))[3000]!;
    expect(Math.abs(middle - 3)).toBeLessThan(0.01);
  });

  test('envelope follows a growing oscillation, and the phase advances by 2πf', () => {
    const growing = record(4000, (t) => 0.1 * Math.exp(0.1 * t) * Math.sin(2 * Math.PI * 3 * t));
    const band = bandpassAnalytic(growing, fs, 2, 4);
    const level = envelope(band);
    const phase = unwrappedPhase(band);
    for (const i of inside(4000, fs, 40, 2 * band.edgeS)) {
      expect(Math.abs(level[i]! / (0.1 * Math.exp(0.1 * (i / fs))) - 1)).toBeLessThan(0.03);
    }
    expect((phase[3000]! - phase[1000]!) / (2 * Math.PI * 20)).toBeCloseTo(3, 3);
  });

  test('band power of white noise is its density times the bandwidth: σ²·(high − low + ¾ of a flank)/(fs/2)', () => {
    // Half-cosine amplitude flanks pass ∫cos⁴ = 3/8 of their width in power, each.
    const noise = randomSource(9).normals(200_000);
    const band = bandpassAnalytic(noise, fs, 10, 20, { transitionHz: 4 });
    const power = band.re.reduce((sum, re, i) => sum + (re ** 2 + band.im[i]! ** 2) / 2, 0) / band.re.length;
    expect(power / ((10 + 0.75 * 4) / 50)).toBeGreaterThan(0.98);
    expect(power / ((10 + 0.75 * 4) / 50)).toBeLessThan(1.02);
  });
});

describe('ends', () => {
  // The table in the module's heading, per cent of the amplitude, band ±20 %, every phase.
  const cases = [
    { continuation: 'point', rms5: 5, rms20: 1, end: 98, oneIn: 20, threeIn: 8 },
    { continuation: 'mirror', rms5: 8, rms20: 2, end: 98, oneIn: 17, threeIn: 7 },
    { continuation: 'zero', rms5: 6, rms20: 1.5, end: 56, oneIn: 9, threeIn: 4 },
  ] as const;

  test.each(cases)('$continuation continuation is as good as the heading says', (row) => {
    const worst = { rms5: 0, rms20: 0, end: 0, oneIn: 0, threeIn: 0 };
    for (let p = 0; p < 48; p++) {
      const band = (cycles: number): AnalyticSignal => {
        const tone = record(cycles * fs, (t) => Math.cos(2 * Math.PI * t + (p * Math.PI) / 24));
        return bandpassAnalytic(tone, fs, 0.8, 1.2, { continuation: row.continuation, detrend: 'mean' });
      };
      const errorOf = (level: number): number => 100 * Math.abs(level - 1);
      const short = band(5);
      const long = band(20);
      worst.rms5 = Math.max(worst.rms5, errorOf(rootMeanSquare(short.re) * Math.SQRT2));
      worst.rms20 = Math.max(worst.rms20, errorOf(rootMeanSquare(long.re) * Math.SQRT2));
      envelope(long).forEach((level, i) => {
        const cyclesIn = Math.min(i, 1999 - i) / fs;
        worst.end = Math.max(worst.end, errorOf(level));
        if (cyclesIn >= 1) worst.oneIn = Math.max(worst.oneIn, errorOf(level));
        if (cyclesIn >= 3) worst.threeIn = Math.max(worst.threeIn, errorOf(level));
      });
    }
    for (const key of ['rms5', 'rms20', 'end', 'oneIn', 'threeIn'] as const) {
      expect(worst[key]).toBeLessThan(row[key]);
      expect(worst[key]).toBeGreaterThan(0.7 * row[key]); // the heading does not paint it black either
    }
  });

  function rootMeanSquare(x: Float64Array): number {
    return Math.sqrt(x.reduce((sum, value) => sum + value * value, 0) / x.length);
  }
});

test.each([
  ['a band from zero', () => bandpassAnalytic(new Float64Array(100), fs, 0, 2), 'between 0 and 50 Hz'],
  ['a band beyond Nyquist', () => bandpassAnalytic(new Float64Array(100), fs, 40, 50), 'between 0 and 50 Hz'],
  ['a band upside down', () => bandpassAnalytic(new Float64Array(100), fs, 3, 2), 'got 3 to 2 Hz'],
  ['a missing sample', () => bandpassAnalytic([1, Number.NaN, 2, 3], fs, 1, 2), 'not a finite number'],
  ['one sample', () => bandpassAnalytic([1], fs, 1, 2), 'at least two samples'],
  ['an output rate of zero', () => bandpassAnalytic([1, 2, 3], fs, 1, 2, { decimateTo: 0 }), 'decimateTo'],
])('%s is refused', (_what, act, message) => {
  expect(act).toThrow(RangeError);
  expect(act).toThrow(message);
});
