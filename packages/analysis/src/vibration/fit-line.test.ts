/** Tones and modes told apart, on spectra that are written down. */
import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { findPeaks } from './find-peaks.js';
import { fitLine, type FittedLine } from './fit-line.js';
import { lineSpectrum, type LineSpectrum } from './line-spectrum.js';

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

  // The floor is a running median, which a mode's own skirts lift: the wider the mode, the more.
  test.for([0.005, 0.012, 0.025, 0.04])(
    'of damping ratio %s, rung by white noise under other noise, has its level within a tenth in nine of ten records',
    (dampingRatio) => {
      const ratios = Array.from({ length: 10 }, (_, seed) => {
        const { values, rms } = ringing(60 + 15 * seed, dampingRatio, 300 + seed);
        const spectrum = lineSpectrum(values, RATE, 4);
        return fitted(spectrum, 60 + 15 * seed, new Float64Array(spectrum.density.length)).rms / rms;
      });
      const near = ratios.filter((ratio) => Math.abs(ratio - 1) < 0.1);
      expect(near.length, ratios.map((ratio) => ratio.toFixed(2)).join(' ')).toBeGreaterThanOrEqual(9);
    },
  );
});

const RATE = 800;

/** A resonator in white noise, 17 dB over other noise at its top. */
function ringing(hz: number, dampingRatio: number, seed: number): { values: Float64Array; rms: number } {
  const noise = randomSource(seed);
  const omega = (2 * Math.PI * hz) / RATE;
  const keep = Math.exp(-dampingRatio * omega);
  const turn = 2 * keep * Math.cos(omega * Math.sqrt(1 - dampingRatio ** 2));
  const rung = new Float64Array(30 * RATE);
  let before = 0;
  let now = 0;
  for (let i = -RATE; i < rung.length; i++) {
    [before, now] = [now, turn * now - keep ** 2 * before + noise.normal()];
    if (i >= 0) rung[i] = now;
  }
  const rms = Math.sqrt(rung.reduce((sum, v) => sum + v * v, 0) / rung.length);
  const top = rms ** 2 / (Math.PI * dampingRatio * hz);
  const other = Math.sqrt((top / 50) * (RATE / 2));
  return { values: rung.map((v) => v + other * noise.normal()), rms };
}
