/** Tone estimators against published formulas, computed tables and the Cramér–Rao bound. */
import { describe, expect, test } from 'vitest';
import {
  candanOffset,
  candanOffsetLinear,
  cramerRaoTone,
  fitTone,
  hannAttenuation,
  hannOffset,
  hannOffsetFromPair,
  jacobsenOffset,
  parabolicPeak,
  powerSpectralDensity,
  transformComplex,
  windowSamples,
  type WindowName,
} from '../../packages/analysis/src/spectrum/index.js';
import { randomSource } from '../support/random.js';

/** Interleaved bins k − 1, k, k + 1 of a unit complex tone `offset` bins above bin k. */
function threeBins(length: number, offset: number, window: WindowName): Float64Array {
  const w = windowSamples(window, length);
  const k = Math.floor(length / 4);
  const z = new Float64Array(2 * length);
  for (let n = 0; n < length; n++) {
    const angle = (2 * Math.PI * (((k + offset) * n) % length)) / length + 0.7;
    z[2 * n] = w[n]! * Math.cos(angle);
    z[2 * n + 1] = w[n]! * Math.sin(angle);
  }
  return transformComplex(z).slice(2 * (k - 1), 2 * (k + 2));
}

function magnitudes(bins: Float64Array): [number, number, number] {
  return [Math.hypot(bins[0]!, bins[1]!), Math.hypot(bins[2]!, bins[3]!), Math.hypot(bins[4]!, bins[5]!)];
}

function decibels(bins: Float64Array): [number, number, number] {
  return magnitudes(bins).map((value) => 20 * Math.log10(value)) as [number, number, number];
}

describe('parabola through three levels (J. O. Smith, *Spectral Audio Signal Processing*, eq. 6.29–6.31)', () => {
  test('(3, 5, 4) peaks at 1/6 with 5.0416667', () => {
    const { offset, peak } = parabolicPeak(3, 5, 4);
    expect(offset).toBeCloseTo(1 / 6, 12);
    expect(peak).toBeCloseTo(5.0416667, 7);
  });

  // Pure complex tone, 1024 samples, no zero padding: computed with NumPy.
  test.each([
    ['rectangular', 0.16723, 0.32, -2.73, 0],
    ['hann', 0.01601, 0.29, 0, 0.3238],
    ['hamming', 0.01602, 0.29, 0, 0.3952],
    ['blackman', 0.00664, 0.29, 0, 0.0911],
    ['blackmanHarris', 0.0032, 0.29, 0, 0.0318],
  ] as const)('bias under %s: at most %d bin, at offset %d', (window, bias, at, lowDb, highDb) => {
    let worst = 0;
    let worstAt = 0;
    let low = Infinity;
    let high = -Infinity;
    const onBin = 20 * Math.log10(windowSamples(window, 1024).reduce((sum, value) => sum + value, 0));
    for (let step = 0; step <= 50; step++) {
      const truth = step / 100;
      const { offset, peak } = parabolicPeak(...decibels(threeBins(1024, truth, window)));
      // On the bin itself a rectangular window leaves its neighbours at rounding level: no parabola there.
      if (window === 'rectangular' && step === 0) continue;
      if (Math.abs(offset - truth) > worst) {
        worst = Math.abs(offset - truth);
        worstAt = truth;
      }
      low = Math.min(low, peak - onBin);
      high = Math.max(high, peak - onBin);
    }
    expect(Math.abs(worst - bias)).toBeLessThan(1e-4);
    expect(Math.abs(worstAt - at)).toBeLessThan(0.0101);
    expect(Math.abs(high - highDb)).toBeLessThan(window === 'rectangular' ? 2e-3 : 1e-3);
    expect(Math.abs(low - lowDb)).toBeLessThan(window === 'rectangular' ? 2e-3 : 1e-3);
  });

  test.each([
    [0.1, 0.10789],
    [0.2, 0.21387],
    [0.25, 0.26554],
    [0.3, 0.31599],
    [0.4, 0.41214],
    [0.5, 0.5],
  ])('under Hann an offset of %d reads %d', (truth, reads) => {
    const { offset } = parabolicPeak(...decibels(threeBins(1024, truth, 'hann')));
    expect(Math.abs(offset - reads)).toBeLessThan(1e-4);
  });
});

describe('Hann, exact to 1e-6 bin and level (T. Grandke, IEEE Trans. Instrum. Meas. 32(2), 1983)', () => {
  test.each([-0.5, -0.37, -0.1, 0, 0.2, 0.44, 0.5])('offset %d', (truth) => {
    const [before, middle, after] = magnitudes(threeBins(1024, truth, 'hann'));
    expect(Math.abs(hannOffset(before, middle, after) - truth)).toBeLessThan(1e-6);
    if (truth >= 0) expect(Math.abs(hannOffsetFromPair(middle, after) - truth)).toBeLessThan(1e-6);
    else expect(Math.abs(hannOffsetFromPair(before, middle) - 1 - truth)).toBeLessThan(1e-6);
    expect(Math.abs(middle / hannAttenuation(truth) / 512 - 1)).toBeLessThan(1e-5);
  });

  test('the tone of the SciPy `welch` example, 0.36 bin off its bin, is read to 0.01 bin', () => {
    const source = randomSource(7);
    const x = Float64Array.from(
      { length: 100_000 },
      (_, i) => 2 * Math.SQRT2 * Math.sin(2 * Math.PI * 0.1234 * i) + Math.sqrt(5) * source.normal(),
    );
    const { values, binWidthHz } = powerSpectralDensity(x, 10_000, { segmentLength: 1024 });
    const k = values.indexOf(Math.max(...values));
    const offset = hannOffset(Math.sqrt(values[k - 1]!), Math.sqrt(values[k]!), Math.sqrt(values[k + 1]!));
    expect(Math.abs((k + offset) * binWidthHz - 1234)).toBeLessThan(0.01 * binWidthHz);
  });
});

describe('Jacobsen and Candan, rectangular window (computed values)', () => {
  test.each([
    [16, 0.25, 0.24697735, 0.25020099, 0.25],
    [16, 0.4, 0.3956602, 0.4008245, 0.4],
    [64, 0.25, 0.24981171, 0.25001255, 0.25],
  ])('%i samples, offset %d', (length, truth, jacobsen, candan2011, candan2013) => {
    const bins = threeBins(length, truth, 'rectangular');
    expect(Math.abs(jacobsenOffset(bins) - jacobsen)).toBeLessThan(1e-7);
    expect(Math.abs(candanOffsetLinear(bins, length) - candan2011)).toBeLessThan(1e-7);
    expect(Math.abs(candanOffset(bins, length) - candan2013)).toBeLessThan(1e-7);
  });

  test('the correction factor tan(π/N)/(π/N) is 1.01305237 for 16 and 1.00080397 for 64', () => {
    const flat = Float64Array.of(-1, 0, 0, 0, -2, 0); // (X₋ − X₊)/(2X₀ − X₋ − X₊) = 1/3
    expect(Math.abs(3 * candanOffsetLinear(flat, 16) - 1.01305237)).toBeLessThan(1e-8);
    expect(Math.abs(3 * candanOffsetLinear(flat, 64) - 1.00080397)).toBeLessThan(1e-8);
  });
});

describe('Cramér–Rao bound of a real tone (S. M. Kay, *Estimation Theory*, 1993, eq. 3.41; values computed)', () => {
  test.each([
    [1000, 1000, 2.46562e-3, 4.47214e-3, 8.93757e-3],
    [4096, 400, 1.18972e-4, 2.20971e-3, 4.41861e-3],
  ])('amplitude 1, noise 0.1, %i samples at %i Hz', (samples, rate, frequency, amplitude, phase) => {
    const bound = cramerRaoTone(1, 0.1, samples, rate)!;
    expect(Math.abs(bound.frequencyStdHz / frequency - 1)).toBeLessThan(1e-5);
    expect(Math.abs(bound.amplitudeStd / amplitude - 1)).toBeLessThan(1e-5);
    expect(Math.abs(bound.phaseStdRad / phase - 1)).toBeLessThan(1e-5);
  });

  test.each([
    ['a strong tone, 1000 samples', 1000, 1000, 50.3, 0.1],
    ['a weak tone, 1000 samples', 1000, 1000, 212.7, 0.7],
    ['five cycles, 200 samples', 200, 50, 1.27, 0.3],
    ['4096 samples', 4096, 400, 7.123, 0.1],
  ])(
    'simulated, 400 runs, %s: the fit scatters by 0.9 to 1.5 times the bound, unbiased',
    (_name, n, rate, f, noise) => {
      const bound = cramerRaoTone(1, noise, n, rate)!;
      const source = randomSource(n + Math.round(1000 * noise));
      const runs = 400;
      const errors = { frequency: 0, amplitude: 0, phase: 0 };
      let sum = 0;
      let statedVariance = 0;
      const binHz = rate / n;
      for (let run = 0; run < runs; run++) {
        const phase = 2 * Math.PI * source.uniform();
        const x = Float64Array.from(
          { length: n },
          (_, i) => Math.cos((2 * Math.PI * f * i) / rate + phase) + noise * source.normal(),
        );
        const startHz = Math.round(f / binHz) * binHz; // what the largest bin would tell
        const fit = fitTone(x, rate, startHz, { referenceS: 0, noise: 'white' });
        if ('unavailable' in fit) throw new Error(fit.unavailable);
        errors.frequency += (fit.frequencyHz - f) ** 2 / runs;
        errors.amplitude += (fit.amplitude - 1) ** 2 / runs;
        const turn = fit.phaseRad - phase;
        errors.phase += (turn - 2 * Math.PI * Math.round(turn / (2 * Math.PI))) ** 2 / runs;
        sum += fit.frequencyHz - f;
        statedVariance += fit.frequencyStdHz ** 2 / runs;
      }
      for (const [value, limit] of [
        [errors.frequency, bound.frequencyStdHz],
        [errors.amplitude, bound.amplitudeStd],
        [errors.phase, bound.phaseStdRad],
      ] as const) {
        expect(Math.sqrt(value) / limit).toBeGreaterThan(0.9);
        expect(Math.sqrt(value) / limit).toBeLessThan(1.5);
      }
      expect(Math.abs(sum / runs)).toBeLessThan((3.5 * bound.frequencyStdHz) / Math.sqrt(runs));
      // What the fit says of itself is what happens.
      expect(Math.abs(Math.sqrt(statedVariance / errors.frequency) - 1)).toBeLessThan(0.12);
    },
  );
});
