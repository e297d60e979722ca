import { describe, expect, test } from 'vitest';
import {
  decimalsFor,
  formatBytes,
  formatEstimate,
  formatPercent,
  formatRate,
  formatSignificant,
  formatSigned,
  formatSureness,
  formatTime,
  formatValue,
} from './numbers.js';

describe('rounding by uncertainty', () => {
  // Worked examples of the rule: 0.827 ± 0.119 → 0.83 ± 0.12, 0.827 ± 0.367 → 0.8 ± 0.4 (Particle Data Group,
  // Review of Particle Physics, introduction; from memory).
  test.each([
    [0.827, 0.119, '0.83 ± 0.12'],
    [0.827, 0.367, '0.8 ± 0.4'],
    [2.4313, 0.0121, '2.431 ± 0.012'],
    [84.23, 12.6, '84 ± 13'],
    [14.674, 0.964, '14.7 ± 1.0'],
    [1234, 120, '1230 ± 120'],
    [1234, 480, '1200 ± 500'],
    [-0.02, 0.05, '-0.02 ± 0.05'],
    [-0.001, 0.05, '0.00 ± 0.05'],
  ])('%d with standard deviation %d reads "%s"', (value, std, text) => {
    expect(formatEstimate(value, std)).toBe(text);
  });

  test('a standard deviation on a limit of the rule keeps two digits up to 354 and one from 355 to 949', () => {
    expect([0.354, 0.355, 0.949, 0.95].map(decimalsFor)).toEqual([2, 1, 1, 1]);
  });

  test.each([null, 0, -1, Number.NaN, Number.POSITIVE_INFINITY])(
    'without a usable standard deviation (%s) the value stands alone, to three digits',
    (std) => {
      expect(formatEstimate(3.14159, std)).toBe('3.14');
    },
  );

  test('a standard deviation below the last printed digit is said to be smaller, never zero', () => {
    expect(formatEstimate(1, 1e-9)).toBe('1.000000 ± <0.000001');
  });

  test('in prose the value alone keeps the digits its standard deviation supports', () => {
    expect(formatValue(2.4313, 0.121)).toBe('2.43');
    expect(formatValue(2.4313, 0.0121)).toBe('2.43');
    expect(formatValue(55.894, 0.22)).toBe('55.9');
  });

  test.each([null, Number.NaN, Number.POSITIVE_INFINITY])('%s is printed as n/a', (value) => {
    expect(formatEstimate(value, 1)).toBe('n/a');
    expect(formatValue(value, 1)).toBe('n/a');
    expect(formatSignificant(value)).toBe('n/a');
  });
});

describe('single numbers', () => {
  test.each([
    [0.12345, 3, '0.123'],
    [12345, 3, '12300'],
    [0, 3, '0'],
    [-0.0227, 2, '-0.023'],
    [99.96, 3, '100.0'],
    [3e-8, 3, '0.000000'],
  ])('%d to %d significant digits is "%s"', (value, digits, text) => {
    expect(formatSignificant(value, digits)).toBe(text);
  });

  test('growth carries its sign, and a growth that rounds to nothing carries none', () => {
    expect(formatSigned(0.3466, 0.041)).toBe('+0.35 ± 0.04');
    expect(formatSigned(-0.3466, 0.041)).toBe('-0.35 ± 0.04');
    expect(formatSigned(0.0001, 0.05)).toBe('0.00 ± 0.05');
  });

  test('a share is whole per cent, and only an exact share is 0 or 100', () => {
    expect([0, 0.001, 0.5, 0.999, 1].map(formatPercent)).toEqual(['0', '1', '50', '99', '100']);
  });

  test('an estimate never claims certainty, even where its confidence came out as 1', () => {
    expect([0.4, 0.85, 0.999, 1].map(formatSureness)).toEqual(['40 %', '85 %', '99 %', '99 %']);
  });

  test('a sample rate has no trailing zeros', () => {
    expect([100.0003, 99.6, 120, 20480.4, 0].map(formatRate)).toEqual(['100', '99.6', '120', '20480', '0']);
  });

  test('times have a tenth of a second', () => {
    expect(formatTime(4.26)).toBe('4.3');
  });

  test('sizes use powers of 1000', () => {
    expect([999, 4096, 23_400_000, 5e12].map(formatBytes)).toEqual(['999 B', '4.1 kB', '23 MB', '5000 GB']);
  });
});
