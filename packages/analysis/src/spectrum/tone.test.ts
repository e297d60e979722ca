import { describe, expect, test } from 'vitest';
import {
  cramerRaoTone,
  hannAttenuation,
  hannOffset,
  hannOffsetFromPair,
  jacobsenOffset,
  parabolicPeak,
} from './tone.js';

describe('offsets from three bins', () => {
  test('a symmetric triple peaks in the middle, a mirrored one at the mirrored offset', () => {
    expect(parabolicPeak(1, 5, 1)).toEqual({ offset: 0, peak: 5 });
    expect(parabolicPeak(4, 5, 3).offset).toBeCloseTo(-parabolicPeak(3, 5, 4).offset, 15);
  });

  test('a parabola is found exactly', () => {
    const level = (bin: number): number => 7 - 2 * (bin - 0.3) ** 2;
    const { offset, peak } = parabolicPeak(level(-1), level(0), level(1));
    expect(offset).toBeCloseTo(0.3, 14);
    expect(peak).toBeCloseTo(7, 14);
  });

  test('where there is no peak the middle is returned', () => {
    expect(parabolicPeak(2, 2, 2)).toEqual({ offset: 0, peak: 2 });
    expect(parabolicPeak(3, 1, 3)).toEqual({ offset: 0, peak: 1 });
  });

  test('no signal at all has no offset', () => {
    expect(hannOffset(0, 0, 0)).toBe(0);
    expect(hannOffsetFromPair(0, 0)).toBe(0);
    expect(jacobsenOffset([0, 0, 0, 0, 0, 0])).toBe(0);
  });

  test('the Hann main lobe is 1 on the bin, half one bin away, and −1.42 dB half-way', () => {
    expect(hannAttenuation(0)).toBe(1);
    expect(hannAttenuation(1)).toBe(0.5);
    expect(20 * Math.log10(hannAttenuation(0.5))).toBeCloseTo(-1.4236, 4);
  });
});

test('the bound falls with N^1.5 for the frequency and with √N for the amplitude', () => {
  const short = cramerRaoTone(1, 0.1, 1000, 100)!;
  const long = cramerRaoTone(1, 0.1, 4000, 100)!;
  expect(short.frequencyStdHz / long.frequencyStdHz).toBeCloseTo(8, 4);
  expect(short.amplitudeStd / long.amplitudeStd).toBeCloseTo(2, 12);
  expect(cramerRaoTone(1, 0.1, 2, 100)).toBeNull();
});
