import { describe, expect, test } from 'vitest';
import {
  HANN_NOISE_BANDWIDTH_BINS,
  coherentGain,
  cosineSumWindow,
  equivalentNoiseBandwidthBins,
  highestSidelobeDb,
  mainLobeWidthBins,
  overlapCorrelation,
  scallopingLossDb,
  WINDOW_NAMES,
  windowSamples,
} from './windows.js';

describe('window samples', () => {
  test('the periodic Hann of eight samples repeats with period eight', () => {
    const half = Math.SQRT1_2 / 2;
    const expected = [0, 0.5 - half, 0.5, 0.5 + half, 1, 0.5 + half, 0.5, 0.5 - half];
    windowSamples('hann', 8).forEach((value, i) => expect(value).toBeCloseTo(expected[i]!, 15));
  });

  test('the symmetric Hann of five samples starts and ends at zero', () => {
    [0, 0.5, 1, 0.5, 0].forEach((value, i) =>
      expect(windowSamples('hann', 5, 'symmetric')[i]).toBeCloseTo(value, 15),
    );
  });

  test.each(WINDOW_NAMES)('%s peaks at 1, and one sample is 1', (name) => {
    expect(windowSamples(name, 64)[32]).toBeCloseTo(1, 8);
    expect(Array.from(windowSamples(name, 1))).toEqual([1]);
  });

  test('a window of no or half a sample is refused', () => {
    expect(() => windowSamples('hann', 0)).toThrow('at least one sample');
    expect(() => cosineSumWindow([1], 2.5)).toThrow('at least one sample');
  });
});

describe('figures of a window', () => {
  test('periodic: exact values of the Hann by hand', () => {
    const w = windowSamples('hann', 128);
    expect(equivalentNoiseBandwidthBins(w)).toBeCloseTo(HANN_NOISE_BANDWIDTH_BINS, 12);
    expect(coherentGain(w)).toBeCloseTo(0.5, 14);
    expect(equivalentNoiseBandwidthBins(w)).toBeCloseTo(1.5, 13);
    expect(overlapCorrelation(w, 64)).toBeCloseTo(1 / 6, 13);
    expect(mainLobeWidthBins(w, 20 * Math.log10(2))).toBeCloseTo(2, 3);
  });

  test('rectangular: scalloping 20·log10(π/2), and windows a length apart share nothing', () => {
    const w = windowSamples('rectangular', 4096);
    expect(scallopingLossDb(w)).toBeCloseTo(20 * Math.log10(Math.PI / 2), 5);
    expect(overlapCorrelation(w, 1024)).toBe(0.75);
    expect(overlapCorrelation(w, 4096)).toBe(0);
    expect(highestSidelobeDb(w)).toBeCloseTo(-13.26, 2);
  });

  test('a width is asked for by a positive drop that the window reaches', () => {
    expect(() => mainLobeWidthBins(windowSamples('hann', 16), -3)).toThrow('must be positive');
    expect(() => mainLobeWidthBins(Float64Array.of(1, 0, 0, 0), 3)).toThrow('never falls by 3 dB');
  });
});
