import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import {
  coherence,
  coherenceThreshold,
  crossSpectralDensity,
  frequencyResponseH1,
  powerSpectralDensity,
  responseRandomError,
  segmentCount,
  spectrumConfidenceFactors,
} from './welch.js';

const sine = (amplitude: number, frequencyHz: number, sampleRateHz: number, count: number): Float64Array =>
  Float64Array.from(
    { length: count },
    (_, i) => amplitude * Math.sin((2 * Math.PI * frequencyHz * i) / sampleRateHz),
  );

describe('scaling', () => {
  test.each([1000, 1024])(
    'segments of %i: white noise of variance 4 has density 4/(fs/2) and total power 4',
    (n) => {
      const x = randomSource(5)
        .normals(200_000)
        .map((value) => 2 * value);
      const { values, binWidthHz } = powerSpectralDensity(x, 500, { segmentLength: n });
      const total = values.reduce((sum, value) => sum + value, 0) * binWidthHz;
      expect(total).toBeGreaterThan(3.95);
      expect(total).toBeLessThan(4.05);
      const middle = values.slice(10, -10);
      const mean = middle.reduce((sum, value) => sum + value, 0) / middle.length;
      expect(mean * 250).toBeGreaterThan(3.95);
      expect(mean * 250).toBeLessThan(4.05);
    },
  );

  test('one rectangular segment without detrending holds exactly the mean square of its samples (Parseval)', () => {
    for (const n of [255, 256]) {
      const x = randomSource(n).normals(n);
      const meanSquare = x.reduce((sum, value) => sum + value * value, 0) / n;
      const spectrum = powerSpectralDensity(x, 100, {
        segmentLength: n,
        window: 'rectangular',
        detrend: 'none',
      });
      const total = spectrum.values.reduce((sum, value) => sum + value, 0) * spectrum.binWidthHz;
      expect(total / meanSquare).toBeCloseTo(1, 12);
    }
  });

  test('spectrum scaling is density times the noise bandwidth', () => {
    const x = randomSource(1).normals(3000);
    const density = powerSpectralDensity(x, 200, { segmentLength: 300, window: 'blackman' });
    const spectrum = powerSpectralDensity(x, 200, {
      segmentLength: 300,
      window: 'blackman',
      scaling: 'spectrum',
    });
    density.values.forEach((value, k) =>
      expect((value * density.noiseBandwidthHz) / spectrum.values[k]!).toBeCloseTo(1, 12),
    );
  });

  test('a ramp disappears under linear detrending and not under the mean', () => {
    const ramp = Float64Array.from({ length: 512 }, (_, i) => 3 * i - 7);
    const left = powerSpectralDensity(ramp, 1, { segmentLength: 128, detrend: 'linear' });
    const kept = powerSpectralDensity(ramp, 1, { segmentLength: 128, detrend: 'mean' });
    expect(Math.max(...left.values)).toBeLessThan(1e-18);
    expect(Math.max(...kept.values)).toBeGreaterThan(1000);
  });
});

describe('segments', () => {
  test('a record shorter than a segment becomes one segment of its own length', () => {
    const { segmentLength, segments, degreesOfFreedom } = powerSpectralDensity(new Float64Array(100), 10);
    expect({ segmentLength, segments, degreesOfFreedom }).toEqual({
      segmentLength: 100,
      segments: 1,
      degreesOfFreedom: 2,
    });
  });

  test('counts follow length, overlap and whole hops', () => {
    expect(segmentCount(1000, { segmentLength: 100, overlap: 0 })).toBe(10);
    expect(segmentCount(1000, { segmentLength: 100, overlap: 0.5 })).toBe(19);
    expect(segmentCount(1000, { segmentLength: 100, overlap: 0.75 })).toBe(37);
    expect(segmentCount(20, { segmentLength: 10, overlap: 0.7 })).toBe(4);
  });

  test('without overlap every segment is independent', () => {
    const spectrum = powerSpectralDensity(new Float64Array(1000), 1, { segmentLength: 100, overlap: 0 });
    expect(spectrum.effectiveSegments).toBe(10);
  });
});

describe('two signals', () => {
  const fs = 100;
  const source = randomSource(11);
  const x = source.normals(20_000);
  // y[n] = 0.5·x[n − 3]: a gain and a pure delay of 30 ms.
  const y = Float64Array.from(x, (_, i) => (i >= 3 ? 0.5 * x[i - 3]! : 0));

  test('a delayed copy answers with its gain, and with a phase that falls by 360°·f·delay', () => {
    const h = frequencyResponseH1(x, y, fs, { segmentLength: 1000 });
    for (const f of [2, 5, 10, 15]) {
      const k = Math.round(f / h.binWidthHz);
      expect(h.magnitude[k]).toBeGreaterThan(0.497);
      expect(h.magnitude[k]).toBeLessThan(0.503);
      const phase = Math.atan2(Math.sin(-2 * Math.PI * f * 0.03), Math.cos(2 * Math.PI * f * 0.03));
      expect(Math.abs(h.phaseRad[k]! - phase)).toBeLessThan(0.005);
      expect(h.values[k]).toBeGreaterThan(0.999);
    }
  });

  test('the cross spectrum of a signal with itself is its power spectrum', () => {
    const cross = crossSpectralDensity(x, x, fs, { segmentLength: 500 });
    const power = powerSpectralDensity(x, fs, { segmentLength: 500 });
    expect(Math.max(...cross.im.map(Math.abs))).toBe(0);
    cross.re.forEach((value, k) => expect(value / power.values[k]!).toBeCloseTo(1, 13));
  });

  test('coherence stays within 0 and 1 and is 0 where a signal has no power', () => {
    const silent = coherence(x, new Float64Array(x.length), fs);
    expect(Array.from(new Set(silent.values))).toEqual([0]);
    for (const value of coherence(x, y, fs).values) {
      expect(value).toBeGreaterThanOrEqual(0);
      expect(value).toBeLessThanOrEqual(1);
    }
  });

  test('a response to nothing is 0 with an infinite error, never NaN', () => {
    const h = frequencyResponseH1(new Float64Array(2000), x.subarray(0, 2000), fs);
    expect(Array.from(new Set(h.magnitude))).toEqual([0]);
    expect(Array.from(new Set(h.randomError))).toEqual([Infinity]);
  });

  test('coherence of a single segment would be 1 whatever the data and is refused', () => {
    expect(() => coherence(x.subarray(0, 300), y.subarray(0, 300), fs)).toThrow('at least two segments');
  });

  test('unrelated signals pass the five per cent threshold five per cent of the time', () => {
    const noise = randomSource(77);
    let above = 0;
    let bins = 0;
    for (let run = 0; run < 200; run++) {
      const gamma = coherence(noise.normals(1280), noise.normals(1280), 1, {
        segmentLength: 128,
        overlap: 0,
      });
      const limit = coherenceThreshold(gamma.effectiveSegments);
      for (const value of gamma.values.subarray(2, 63)) {
        bins++;
        if (value > limit) above++;
      }
    }
    expect(above / bins).toBeGreaterThan(0.044);
    expect(above / bins).toBeLessThan(0.056);
  });
});

describe('trust', () => {
  test('95 per cent intervals cover the true density of white noise 95 per cent of the time', () => {
    const noise = randomSource(3);
    let inside = 0;
    let bins = 0;
    for (let run = 0; run < 300; run++) {
      const spectrum = powerSpectralDensity(noise.normals(704), 2, { segmentLength: 128 }); // 10 segments
      const { low, high } = spectrumConfidenceFactors(spectrum.degreesOfFreedom);
      for (const value of spectrum.values.subarray(2, 63)) {
        bins++;
        if (low * value <= 1 && high * value >= 1) inside++;
      }
    }
    expect(inside / bins).toBeGreaterThan(0.94);
    expect(inside / bins).toBeLessThan(0.96);
  });

  test('the random error is 0 for perfect coherence and unbounded for none', () => {
    expect(responseRandomError(1, 10)).toBe(0);
    expect(responseRandomError(0, 10)).toBe(Infinity);
    expect(coherenceThreshold(1)).toBe(1);
  });
});

describe('refusals', () => {
  test.each([
    ['a sample that is not finite', () => powerSpectralDensity([1, Number.NaN, 2], 1), 'not a finite number'],
    ['an empty record', () => powerSpectralDensity([], 1), 'at least one sample'],
    ['a sample rate of zero', () => powerSpectralDensity([1, 2], 0), 'sampleRateHz must be positive'],
    ['full overlap', () => powerSpectralDensity([1, 2], 1, { overlap: 1 }), 'overlap must be'],
    [
      'half a segment',
      () => powerSpectralDensity([1, 2], 1, { segmentLength: 1.5 }),
      'whole number of samples',
    ],
    ['records of different length', () => coherence([1, 2], [1], 1), 'differ in length: 2 and 1'],
  ])('%s', (_what, act, message) => {
    expect(act).toThrow(RangeError);
    expect(act).toThrow(message);
  });
});

test('a tone on a bin reads A²/2 in a spectrum, whatever the window', () => {
  for (const window of ['rectangular', 'hann', 'flatTop'] as const) {
    const { values } = powerSpectralDensity(sine(3, 50, 1000, 4000), 1000, {
      segmentLength: 1000,
      window,
      scaling: 'spectrum',
    });
    expect(values[50]).toBeCloseTo(4.5, 10);
  }
});
