/** Peaks of spectra whose lines and background are known. */
import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { findPeaks } from './find-peaks.js';
import { lineSpectrum } from './line-spectrum.js';

const RATE = 400;
const NOISE_STD = 0.05;
/** White noise of standard deviation s at rate f has the one-sided density 2 s²/f. */
const FLOOR = (2 * NOISE_STD ** 2) / RATE;

function spectrumOf(seconds: number, seed: number, at: (t: number) => number) {
  const noise = randomSource(seed);
  const values = Float64Array.from(
    { length: seconds * RATE },
    (_, i) => at(i / RATE) + NOISE_STD * noise.normal(),
  );
  return lineSpectrum(values, RATE, 4);
}

const sine =
  (hz: number, amplitude: number) =>
  (t: number): number =>
    amplitude * Math.sin(2 * Math.PI * hz * t);

describe('a peak of a sine in white noise', () => {
  test('has its frequency, A/√2 of rms, and stands A²/2 over noise bandwidth and floor above it', () => {
    const spectrum = spectrumOf(40, 81, sine(73.3, 0.2));
    const peaks = findPeaks(spectrum, 14, 195, 0.001);
    expect(peaks).toHaveLength(1);
    const { frequencyHz, frequencyStdHz, rms, aboveFloorDb } = peaks[0]!;
    expect(Math.abs(frequencyHz - 73.3)).toBeLessThan(3 * frequencyStdHz);
    expect(frequencyStdHz).toBeLessThan(0.02);
    expect(Math.abs(rms / (0.2 / Math.SQRT2) - 1)).toBeLessThan(0.02);
    // Off the middle of a bin a Hann window loses up to 1.42 dB; the background is known to half a decibel or so.
    const most = 10 * Math.log10(0.02 / (1.5 * spectrum.binHz * FLOOR));
    expect(aboveFloorDb).toBeLessThan(most + 0.8);
    expect(aboveFloorDb).toBeGreaterThan(most - 1.42 - 0.8);
  });

  test('two sines two hertz apart are two peaks, each with its own rms', () => {
    const at = (t: number): number => sine(60, 0.2)(t) + sine(62, 0.1)(t);
    const peaks = findPeaks(spectrumOf(40, 82, at), 14, 195, 0.001);
    expect(peaks.map(({ frequencyHz }) => Math.round(frequencyHz))).toEqual([60, 62]);
    for (const [i, amplitude] of [0.2, 0.1].entries())
      expect(Math.abs(peaks[i]!.rms / (amplitude / Math.SQRT2) - 1)).toBeLessThan(0.05);
  });

  test('two sines a third of the resolution apart are one peak that holds the power of both', () => {
    const at = (t: number): number => sine(60, 0.1)(t) + sine(60.08, 0.1)(t);
    const peaks = findPeaks(spectrumOf(50, 83, at), 14, 195, 0.001);
    expect(peaks).toHaveLength(1);
    expect(Math.abs(peaks[0]!.rms / 0.1 - 1)).toBeLessThan(0.1);
  });

  test('outside the band that is asked for there is none', () => {
    const spectrum = spectrumOf(40, 84, (t) => sine(10, 0.2)(t) + sine(190, 0.2)(t));
    expect(findPeaks(spectrum, 14, 180, 0.001)).toEqual([]);
  });
});

describe('noise alone', () => {
  test('shows a peak no more often than the rate that is asked for', () => {
    const rate = 0.1;
    const records = 100;
    let shown = 0;
    for (let i = 0; i < records; i++)
      if (
        findPeaks(
          spectrumOf(12, 1000 + i, () => 0),
          14,
          195,
          rate,
        ).length > 0
      )
        shown++;
    // Three standard deviations of a binomial count.
    expect(shown).toBeLessThan(records * rate + 3 * Math.sqrt(records * rate));
    // A threshold that nothing could pass would find no line either.
    expect(shown).toBeGreaterThan(0);
  });
});
