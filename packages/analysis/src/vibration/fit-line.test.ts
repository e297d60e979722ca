/** Tones and modes told apart, on spectra that are written down. */
import { describe, expect, test } from 'vitest';
import { findPeaks } from './find-peaks.js';
import { fitLine, type FittedLine } from './fit-line.js';
import type { LineSpectrum } from './line-spectrum.js';

const BIN_HZ = 0.25;
const BINS = 800;
const FLOOR = 1e-4;

/** What an average of many segments would show: no scatter. */
function spectrumOf(lines: (hz: number) => number): LineSpectrum {
  const frequencyHz = Float64Array.from({ length: BINS }, (_, k) => k * BIN_HZ);
  return {
    sampleRateHz: 2 * BINS * BIN_HZ,
    binHz: BIN_HZ,
    noiseBins: 1.5,
    segmentS: 1 / BIN_HZ,
    degreesOfFreedom: 30,
    frequencyHz,
    density: frequencyHz.map((hz) => FLOOR + lines(hz)),
    floor: new Float64Array(BINS).fill(FLOOR),
  };
}

/** S₀γ²/((f − f₀)² + γ²), of power πγS₀. */
const resonance =
  (hz: number, gammaHz: number, rms: number) =>
  (f: number): number =>
    (rms ** 2 * gammaHz) / Math.PI / ((f - hz) ** 2 + gammaHz ** 2);

/** A sine on a bin: ⅔ of its power per bin width in the middle, a quarter of that on either side (Hann). */
const tone =
  (hz: number, rms: number) =>
  (f: number): number => {
    const off = Math.abs(Math.round((f - hz) / BIN_HZ));
    return off > 1 ? 0 : ((off === 0 ? 1 : 0.25) * rms ** 2) / (1.5 * BIN_HZ);
  };

function fitted(spectrum: LineSpectrum, nearHz: number, known = new Float64Array(BINS)): FittedLine {
  const peak = findPeaks(spectrum, 14, 195, 0.01).reduce((a, b) =>
    Math.abs(b.frequencyHz - nearHz) < Math.abs(a.frequencyHz - nearHz) ? b : a,
  );
  return fitLine(spectrum, peak, known, () => false);
}

describe('a tone', () => {
  test('is one, with its frequency, its rms, and that much in the density it accounts for', () => {
    const line = fitted(spectrumOf(tone(80, 0.3)), 80);
    expect(line.kind).toBe('tone');
    expect(line.frequencyHz).toBeCloseTo(80, 3);
    expect(line.rms).toBeCloseTo(0.3, 6);
    expect(line.halfWidthHz).toBe(0);
    expect(Math.sqrt(line.density.reduce((sum, v) => sum + v * BIN_HZ, 0))).toBeCloseTo(0.3, 2);
  });
});

describe('a mode', () => {
  test.for([
    ['narrow', 60, 0.4],
    ['wide', 90, 2.5],
  ] as const)(
    '%s, has its frequency, its half width γ and the power πγS₀, skirts included',
    ([, hz, gamma]) => {
      // The window widens what it sees by 0.6 bins.
      const line = fitted(spectrumOf(resonance(hz, gamma + 0.6 * BIN_HZ, 0.3)), hz);
      expect(line.kind).toBe('mode');
      expect(Math.abs(line.frequencyHz - hz)).toBeLessThan(0.1 * gamma);
      expect(Math.abs(line.halfWidthHz / gamma - 1)).toBeLessThan(0.15);
      expect(Math.abs(line.rms / 0.3 - 1)).toBeLessThan(0.05);
    },
  );

  test('beside a stronger tone has its own power once the tone is known', () => {
    const strong = tone(70, 1);
    const spectrum = spectrumOf((f) => strong(f) + resonance(73, 0.7, 0.2)(f));
    const known = Float64Array.from({ length: BINS }, (_, k) => strong(k * BIN_HZ));
    const line = fitted(spectrum, 73, known);
    expect(line.kind).toBe('mode');
    expect(Math.abs(line.frequencyHz - 73)).toBeLessThan(0.15);
    expect(Math.abs(line.rms / 0.2 - 1)).toBeLessThan(0.1);
  });
});
