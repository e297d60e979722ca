/** NIST Statistical Reference Datasets: certified means, autocorrelation and sinusoid fits. US government work, itl.nist.gov/div898/strd. */
import { readFileSync } from 'node:fs';
import { describe, expect, test, type TestContext } from 'vitest';
import {
  fitTone,
  fitTones,
  fitTonesAtTimes,
  powerSpectralDensity,
  type NoFit,
  type TonesFit,
} from '../../packages/analysis/src/spectrum/index.js';
import { openData } from '../support/open-data.js';

/** Rows of `columns` numbers below the last line that matches `afterLine`, which ends the text header. */
function readDat(path: string, columns: number, afterLine: RegExp, context: TestContext): number[][] {
  const lines = readFileSync(openData(path, context), 'utf8').split(/\r?\n/);
  const from = lines.findLastIndex((line) => afterLine.test(line));
  return lines
    .slice(from + 1)
    .filter((line) => line.trim() !== '')
    .map((line) => line.trim().split(/\s+/).map(Number))
    .filter((row) => row.length === columns && row.every((value) => Number.isFinite(value)));
}

function found<Fit extends object>(fit: Fit | NoFit): Fit {
  if ('unavailable' in fit) throw new Error(fit.unavailable);
  return fit;
}

describe('LEW.DAT, beam deflections, 200 values at t = 1 … 200', () => {
  const read = (context: TestContext): number[] => {
    const rows = readDat('nist/LEW.DAT', 1, /^-{5,}/, context);
    expect(rows).toHaveLength(200);
    return rows.map((row) => row[0]!);
  };

  test('mean, standard deviation and lag-1 autocorrelation are the certified ones', (context) => {
    const y = read(context);
    const mean = y.reduce((sum, value) => sum + value, 0) / y.length;
    const squares = y.reduce((sum, value) => sum + (value - mean) ** 2, 0);
    const lagged = y.reduce((sum, value, i) => (i > 0 ? sum + (value - mean) * (y[i - 1]! - mean) : sum), 0);
    expect(mean).toBeCloseTo(-177.435, 12);
    expect(Math.sqrt(squares / 199)).toBeCloseTo(277.332168044316, 10);
    expect(lagged / squares).toBeCloseTo(-0.307304800605679, 13);
  });

  test('the total of its one-sided spectrum is its certified variance (Parseval)', (context) => {
    const y = read(context);
    const { values } = powerSpectralDensity(y, 1, {
      segmentLength: 200,
      window: 'rectangular',
      scaling: 'spectrum',
    });
    const total = values.reduce((sum, value) => sum + value, 0);
    expect(Math.sqrt((total * 200) / 199)).toBeCloseTo(277.332168044316, 9);
  });

  test('the sinusoid has a frequency of 0.3018 to 0.3026 and an amplitude of 343 to 390, found from the largest bin', (context) => {
    const y = read(context);
    const { values, frequenciesHz } = powerSpectralDensity(y, 1, { segmentLength: 200 });
    const peakHz = frequenciesHz[values.indexOf(Math.max(...values))]!;
    const fit = found(fitTone(y, 1, peakHz));
    expect(fit.frequencyHz).toBeGreaterThan(0.3018);
    expect(fit.frequencyHz).toBeLessThan(0.3026);
    expect(fit.amplitude).toBeGreaterThan(343);
    expect(fit.amplitude).toBeLessThan(390);
  });
});

describe('ENSO.dat, monthly pressure differences, 168 values: annual cycle fixed, two further periods fitted', () => {
  const read = (context: TestContext): { y: number[]; month: number[] } => {
    const rows = readDat('nist/ENSO.dat', 2, /^Data:\s+y\s+x/, context);
    expect(rows).toHaveLength(168);
    return { y: rows.map((row) => row[0]!), month: rows.map((row) => row[1]!) };
  };
  // Certified values and standard deviations of the data file, lines 41 to 54. Time unit: months.
  const ANNUAL = { frequencyHz: 1 / 12, fixed: true };
  const START_1 = [1 / 40, 1 / 25];
  const START_2 = [1 / 44, 1 / 26];

  const check = (fit: TonesFit): void => {
    const [annual, slow, quick] = fit.tones;
    expect(Math.abs(fit.residualSumOfSquares / 788.53978668 - 1)).toBeLessThan(1e-10);
    expect(Math.abs(Math.sqrt(fit.residualVariance) / 2.2269642403 - 1)).toBeLessThan(1e-9);
    expect(Math.abs(1 / slow!.frequencyHz / 44.3110887 - 1)).toBeLessThan(1e-7);
    expect(Math.abs(1 / quick!.frequencyHz / 26.88761444 - 1)).toBeLessThan(1e-7);
    // sd of a period is that of the frequency times period²
    expect(Math.abs((slow!.frequencyStdHz * 44.3110887 ** 2) / 0.94408025976 - 1)).toBeLessThan(1e-5);
    expect(Math.abs((quick!.frequencyStdHz * 26.88761444 ** 2) / 0.4161293913 - 1)).toBeLessThan(1e-5);
    expect(Math.abs(fit.offset / 10.510749193 - 1)).toBeLessThan(1e-9);
    for (const [tone, cosine, sine] of [
      [annual, 3.0762128085, 0.53280138227],
      [slow, -1.6231428586, 0.52554493756],
      [quick, 0.21232288488, 1.4966870418],
    ] as const) {
      expect(Math.abs(tone!.amplitude * Math.cos(tone!.phaseRad) - cosine)).toBeLessThan(2e-6);
      expect(Math.abs(-tone!.amplitude * Math.sin(tone!.phaseRad) - sine)).toBeLessThan(2e-6);
    }
    expect(annual!.amplitude).toBeCloseTo(3.122, 3);
    expect(slow!.amplitude).toBeCloseTo(1.706, 3);
    expect(quick!.amplitude).toBeCloseTo(1.512, 3);
    expect(annual!.frequencyStdHz).toBe(0);
  };

  test('certified values from both starts, on the file’s own times', (context) => {
    const { y, month } = read(context);
    for (const starts of [START_1, START_2]) {
      const options = { noise: 'white', referenceS: 0, searchHz: 0.01 } as const;
      check(found(fitTonesAtTimes(month, y, [ANNUAL, ...starts], options)));
    }
  });

  test('the same on a uniform clock, whose first sample is month 1', (context) => {
    const { y } = read(context);
    check(found(fitTones(y, 1, [ANNUAL, ...START_2], { noise: 'white', referenceS: -1 })));
  });
});
