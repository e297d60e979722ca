/** Averaged spectra against published conventions, tables and worked examples. */
import { describe, expect, test } from 'vitest';
import {
  coherence,
  coherenceBias,
  coherenceRandomError,
  coherenceThreshold,
  effectiveSegmentCount,
  frequencyResponseH1,
  powerSpectralDensity,
  responseRandomError,
  spectrumConfidenceFactors,
  windowSamples,
} from '../../packages/analysis/src/spectrum/index.js';
import { chiSquareQuantile } from '../../packages/analysis/src/statistics/index.js';
import { randomSource } from '../support/random.js';

describe('scaling of a tone (computed with SciPy and with Octave `pwelch`)', () => {
  test('3·sin(2π·50t) at 1 kHz, Hann, 1000 per segment: peaks 4.5 and 3.0 per Hz, 2.1213203 rms', () => {
    const x = Float64Array.from({ length: 10_000 }, (_, i) => 3 * Math.sin((2 * Math.PI * 50 * i) / 1000));
    const spectrum = powerSpectralDensity(x, 1000, { segmentLength: 1000, scaling: 'spectrum' });
    const density = powerSpectralDensity(x, 1000, { segmentLength: 1000 });
    expect(Math.abs(spectrum.values[50]! - 4.5)).toBeLessThan(1e-9);
    expect(Math.abs(density.values[50]! - 3)).toBeLessThan(1e-9);
    const power = density.values.reduce((sum, value) => sum + value, 0) * density.binWidthHz;
    expect(Math.abs(Math.sqrt(power) - 2.1213203)).toBeLessThan(1e-6);
  });
});

describe('example of the SciPy documentation of `welch`: 2 Vrms at 1234 Hz in 0.001 V²/Hz, 10 kHz, 1e5 samples', () => {
  const source = randomSource(2024);
  const noiseStd = Math.sqrt((0.001 * 10_000) / 2);
  const x = Float64Array.from(
    { length: 100_000 },
    (_, i) => 2 * Math.SQRT2 * Math.sin((2 * Math.PI * 1234 * i) / 10_000) + noiseStd * source.normal(),
  );

  test('mean density of the upper half 0.00099249 within 3 %', () => {
    const { values } = powerSpectralDensity(x, 10_000, { segmentLength: 1024 });
    const upper = values.subarray(256);
    const mean = upper.reduce((sum, value) => sum + value, 0) / upper.length;
    expect(Math.abs(mean / 0.0009924865443739191 - 1)).toBeLessThan(0.03);
  });

  test('flat-top level 2.0077 V within 2 %, at 1230.469 Hz', () => {
    const { values, frequenciesHz } = powerSpectralDensity(x, 10_000, {
      segmentLength: 1024,
      window: 'flatTop',
      scaling: 'spectrum',
    });
    const peak = values.indexOf(Math.max(...values));
    expect(Math.abs(Math.sqrt(values[peak]!) / 2.0077340678640727 - 1)).toBeLessThan(0.02);
    expect(frequenciesHz[peak]).toBeCloseTo(1230.469, 3);
  });
});

describe('degrees of freedom of overlapped segments (P. D. Welch 1967; table computed)', () => {
  test.each([
    [1, 1.0, 2],
    [2, 1.946, 3.892],
    [4, 3.84, 7.68],
    [8, 7.629, 15.258],
    [10, 9.524, 19.048],
    [16, 15.208, 30.416],
    [32, 30.366, 60.731],
    [64, 60.681, 121.363],
    [100, 94.787, 189.573],
  ])('%i Hann segments at 50 %% are worth %d', (segments, effective, nu) => {
    const length = 128 + (segments - 1) * 64;
    const spectrum = powerSpectralDensity(new Float64Array(length), 1, { segmentLength: 128 });
    expect(spectrum.segments).toBe(segments);
    expect(Math.abs(spectrum.effectiveSegments - effective)).toBeLessThan(6e-4);
    expect(Math.abs(spectrum.degreesOfFreedom - nu)).toBeLessThan(6e-4);
    const closedForm = (36 * segments ** 2) / (19 * segments - 1);
    expect(spectrum.degreesOfFreedom / closedForm).toBeCloseTo(1, 12);
  });

  test('for ever longer records a Hann segment at 50 % is worth 0.94737', () => {
    expect(effectiveSegmentCount(windowSamples('hann', 256), 128, 1e7) / 1e7).toBeCloseTo(0.94737, 5);
  });

  test.each([
    [0.5, 'hann'],
    [0.75, 'hann'],
    [0.75, 'blackmanHarris'],
    [0.5, 'rectangular'],
  ] as const)(
    'simulated: the variance of the density at overlap %d of %s is what the formula says',
    (overlap, window) => {
      const source = randomSource(31);
      let sum = 0;
      let squares = 0;
      let count = 0;
      let effective = 0;
      for (let run = 0; run < 1500; run++) {
        const spectrum = powerSpectralDensity(source.normals(352), 2, { segmentLength: 64, overlap, window });
        effective = spectrum.effectiveSegments;
        for (const k of [6, 11, 16, 21, 26]) {
          sum += spectrum.values[k]!;
          squares += spectrum.values[k]! ** 2;
          count++;
        }
      }
      const mean = sum / count;
      const variance = squares / count - mean * mean;
      expect(Math.abs((mean * mean) / variance / effective - 1)).toBeLessThan(0.07);
    },
  );
});

describe('chi-square', () => {
  test.each([
    [10, 3.24697, 20.48318],
    [20, 9.59078, 34.16961],
    [30, 16.79077, 46.97924],
  ])('quantiles of standard tables, %i degrees of freedom', (nu, low, high) => {
    expect(Math.abs(chiSquareQuantile(0.025, nu) - low)).toBeLessThan(1e-5);
    expect(Math.abs(chiSquareQuantile(0.975, nu) - high)).toBeLessThan(1e-5);
  });

  test.each([
    [10, 0.48821, 3.07979],
    [20, 0.58532, 2.08534],
    [30, 0.63858, 1.7867],
    [(36 * 100) / 189, 0.57869, 2.13087],
  ])('95 %% interval of a density, %d degrees of freedom (computed)', (nu, low, high) => {
    const factors = spectrumConfidenceFactors(nu);
    expect(Math.abs(factors.low - low)).toBeLessThan(1e-4);
    expect(Math.abs(factors.high - high)).toBeLessThan(1e-4);
  });

  test.each([
    [8, -2.612, 3.754],
    [10, -2.376, 3.286],
    [64, -1.027, 1.167],
  ])('95 %% interval of %i Hann segments at 50 %%, dB (computed)', (segments, low, high) => {
    const factors = spectrumConfidenceFactors((36 * segments ** 2) / (19 * segments - 1));
    expect(Math.abs(10 * Math.log10(factors.low) - low)).toBeLessThan(1e-3);
    expect(Math.abs(10 * Math.log10(factors.high) - high)).toBeLessThan(1e-3);
  });
});

describe('random error of a frequency response (Bendat & Piersol, *Random Data*, 2nd ed., p. 317; table computed)', () => {
  test.each([
    [0.5, 100, 0.07071, 0.593, 4.051],
    [0.6, 10, 0.18257, 1.457, 10.461],
    [0.6, 50, 0.08165, 0.682, 4.678],
    [0.8, 10, 0.1118, 0.921, 6.406],
    [0.9, 20, 0.0527, 0.446, 3.02],
    [0.95, 50, 0.02294, 0.197, 1.314],
    [0.99, 10, 0.02247, 0.193, 1.288],
  ])('coherence %d, %i averages', (gamma2, averages, error, gainDb, phaseDeg) => {
    const eps = responseRandomError(gamma2, averages);
    expect(Math.abs(eps - error)).toBeLessThan(1e-5);
    expect(Math.abs(20 * Math.log10(1 + eps) - gainDb)).toBeLessThan(1e-3);
    expect(Math.abs((eps * 180) / Math.PI - phaseDeg)).toBeLessThan(1e-3);
  });

  test.each([
    [5, 0.5271],
    [10, 0.2831],
    [20, 0.1459],
    [50, 0.0593],
  ])('%i averages: unrelated signals pass a coherence of %d one time in twenty', (averages, threshold) => {
    expect(Math.abs(coherenceThreshold(averages) - threshold)).toBeLessThan(1e-4);
  });

  test.each([
    [0.6, 0],
    [0.9, 0],
    [0.6, 0.5],
  ])(
    'simulated, coherence %d, overlap %d: scatter of gain and phase within 10 %% of the formula',
    (gamma2, overlap) => {
      const source = randomSource(41);
      const noiseStd = Math.sqrt((1 - gamma2) / gamma2);
      const gains: number[] = [];
      const phases: number[] = [];
      let averages = 0;
      for (let run = 0; run < 500; run++) {
        const x = source.normals(50 * 32);
        const y = x.map((value) => value + noiseStd * source.normal());
        const h = frequencyResponseH1(x, y, 1, { segmentLength: 32, overlap });
        averages = h.effectiveSegments;
        for (const k of [4, 8, 12]) {
          gains.push(h.magnitude[k]!);
          phases.push(h.phaseRad[k]!);
        }
      }
      const expected = responseRandomError(gamma2, averages);
      expect(Math.abs(standardDeviation(gains) / mean(gains) / expected - 1)).toBeLessThan(0.1);
      expect(Math.abs(standardDeviation(phases) / expected - 1)).toBeLessThan(0.1);
      expect(Math.abs(mean(gains) - 1)).toBeLessThan(0.02);
    },
  );

  test('simulated, 50 averages, coherence 0.3: mean 0.3098 and relative scatter within 10 % of the formulas', () => {
    const source = randomSource(43);
    const noiseStd = Math.sqrt(0.7 / 0.3);
    const values: number[] = [];
    for (let run = 0; run < 1000; run++) {
      const x = source.normals(50 * 32);
      const y = x.map((value) => value + noiseStd * source.normal());
      const gamma = coherence(x, y, 1, { segmentLength: 32, overlap: 0, window: 'rectangular' });
      values.push(gamma.values[5]!, gamma.values[10]!);
    }
    expect(coherenceBias(0.3, 50)).toBeCloseTo(0.0098, 6);
    expect(Math.abs(mean(values) - 0.3098)).toBeLessThan(0.007); // three standard errors of the mean of 2000
    expect(Math.abs(standardDeviation(values) / 0.3 / coherenceRandomError(0.3, 50) - 1)).toBeLessThan(0.1);
  });
});

function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

function standardDeviation(values: readonly number[]): number {
  const centre = mean(values);
  return Math.sqrt(values.reduce((sum, value) => sum + (value - centre) ** 2, 0) / (values.length - 1));
}
