import { describe, expect, it } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { bandAmplitude, measureLine } from './measure.js';
import { recordSpectrum } from './record-spectrum.js';

describe('measureLine', () => {
  // S. Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, 1993, eq. 3.41 (from memory):
  // var(w) >= 12 / (eta N (N² − 1)) rad²/sample², eta = A²/(2 sigma²).
  it('scatters by 0.9 to 1.5 times the Cramér–Rao bound on tones in white noise, and says so', () => {
    for (const [samples, sampleRateHz, sigma, hz] of [
      [1000, 100, 0.1, 4.37],
      [1000, 100, 1, 4.37],
      [400, 50, 0.5, 2.2],
    ] as const) {
      const runs = 400;
      const errors: number[] = [];
      let within = 0;
      for (let run = 0; run < runs; run++) {
        const random = randomSource(4000 + run);
        const phase = 2 * Math.PI * random.uniform();
        const values = Float64Array.from(
          { length: samples },
          (_, i) => Math.cos((2 * Math.PI * hz * i) / sampleRateHz + phase) + sigma * random.normal(),
        );
        const record = recordSpectrum(values, sampleRateHz);
        const line = measureLine(record, hz * 1.01, 0, (samples - 1) / sampleRateHz);
        errors.push(line.frequencyHz - hz);
        if (Math.abs(line.frequencyHz - hz) < line.frequencyStdHz) within++;
      }
      const eta = 1 / (2 * sigma * sigma);
      const bound =
        (Math.sqrt(12 / (eta * samples * (samples * samples - 1))) * sampleRateHz) / (2 * Math.PI);
      const scatter = Math.sqrt(errors.reduce((sum, e) => sum + e * e, 0) / runs);
      expect(scatter / bound).toBeGreaterThan(0.9);
      expect(scatter / bound).toBeLessThan(1.5);
      expect(within / runs).toBeGreaterThan(0.6);
      expect(within / runs).toBeLessThan(0.76);
    }
  });

  it('reads the growth rate of a growing line within its stated spread', () => {
    let within = 0;
    for (let run = 0; run < 100; run++) {
      const random = randomSource(100 + run);
      const values = Float64Array.from({ length: 400 }, (_, i) => {
        const t = i / 100;
        return Math.exp(0.8 * t) * Math.cos(2 * Math.PI * 5 * t) + 0.3 * random.normal();
      });
      const line = measureLine(recordSpectrum(values, 100), 5.05, 0, 3.99);
      expect(line.growthPerS).toBeGreaterThan(0.55);
      expect(line.growthPerS).toBeLessThan(1.05);
      if (Math.abs(line.growthPerS - 0.8) < 2 * line.growthStdPerS) within++;
    }
    expect(within).toBeGreaterThan(80);
  });
});

describe('bandAmplitude', () => {
  it('gives a tone of whole cycles its amplitude', () => {
    const values = Float64Array.from(
      { length: 1000 },
      (_, i) => 7 * Math.cos((2 * Math.PI * 3 * i) / 100 + 0.4),
    );
    expect(bandAmplitude(recordSpectrum(values, 100), 3, 0, 10)).toBeCloseTo(7, 0);
  });

  it('leaves out what lies beyond 20 %', () => {
    const values = Float64Array.from(
      { length: 1000 },
      (_, i) => Math.cos((2 * Math.PI * 3 * i) / 100) + 5 * Math.cos((2 * Math.PI * 4 * i) / 100),
    );
    expect(bandAmplitude(recordSpectrum(values, 100), 3, 0, 10)).toBeCloseTo(1, 1);
  });
});
