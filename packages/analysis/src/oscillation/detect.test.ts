import { describe, expect, it } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { drivenResonance } from '../../../../tests/support/resonance.js';
import { detectOscillations } from './detect.js';

const search = { lowestHz: 0.1, highestHz: 8, falseAlarmRate: 0.002 };

describe('detectOscillations', () => {
  it('keeps to its stated false-alarm rate on the least favourable well-damped motion, for short and long records', () => {
    const rate = 0.02;
    for (const cycles of [6, 12, 30, 100]) {
      const records = cycles < 50 ? 400 : 150;
      let alarms = 0;
      for (let seed = 0; seed < records; seed++) {
        const values = drivenResonance(randomSource(900_000 + 31 * seed + cycles), {
          dampingRatio: 0.3,
          hz: 1,
          sampleRateHz: 12,
          samples: 12 * cycles,
          slope: 2,
        });
        const options = { lowestHz: 0.1, highestHz: 4, falseAlarmRate: rate };
        if (detectOscillations(values, 12, options).length > 0) alarms++;
      }
      // 99.9 % upper limit of a binomial count at the stated rate (normal approximation).
      const limit = records * rate + 3.1 * Math.sqrt(records * rate);
      expect(alarms, `${String(cycles)} cycles`).toBeLessThanOrEqual(limit);
    }
  });

  it('finds a steady tone 6 dB above the noise around it, wherever it lies', () => {
    for (const hz of [0.2, 0.9, 3.3, 7.5]) {
      const random = randomSource(17);
      const sampleRateHz = 50;
      const values = Float64Array.from(
        { length: Math.max(1000, (40 * sampleRateHz) / hz) },
        (_, i) => 2 * Math.cos((2 * Math.PI * hz * i) / sampleRateHz) + 0.7 * random.normal(),
      );
      const [first] = detectOscillations(values, sampleRateHz, search);
      expect(first?.frequencyHz).toBeCloseTo(hz, 1);
      expect(first?.startS).toBeLessThan(3 / hz);
      expect(first?.endS).toBeGreaterThan(values.length / sampleRateHz - 3 / hz);
    }
  });

  it('tells two lines two thirds of an octave apart from each other', () => {
    const random = randomSource(3);
    const values = Float64Array.from(
      { length: 2000 },
      (_, i) =>
        Math.cos((2 * Math.PI * 2 * i) / 50) +
        0.9 * Math.cos((2 * Math.PI * 3.2 * i) / 50 + 1) +
        0.1 * random.normal(),
    );
    const found = detectOscillations(values, 50, search).map((c) => c.frequencyHz);
    expect(found.some((f) => Math.abs(f - 2) < 0.05)).toBe(true);
    expect(found.some((f) => Math.abs(f - 3.2) < 0.08)).toBe(true);
  });

  it('finds a growing line of seven cycles and one that dies away', () => {
    // A closed-loop damping ratio of −0.07: twelve times larger at one end of the record than at the other.
    for (const growth of [0.9, -0.9]) {
      const random = randomSource(5);
      const values = Float64Array.from({ length: 350 }, (_, i) => {
        const t = i / 100;
        return (
          Math.exp(growth * (growth > 0 ? t - 3.5 : t)) * Math.cos(2 * Math.PI * 2 * t) +
          0.02 * random.normal()
        );
      });
      expect(detectOscillations(values, 100, search)[0]?.frequencyHz).toBeCloseTo(2, 1);
    }
  });

  it('says when a line sets in and ends, to about two cycles', () => {
    const random = randomSource(8);
    const values = Float64Array.from({ length: 3000 }, (_, i) => {
      const t = i / 100;
      return (t > 10 && t < 18 ? Math.cos(2 * Math.PI * 3 * t) : 0) + 0.1 * random.normal();
    });
    const [first] = detectOscillations(values, 100, search);
    expect(Math.abs((first?.startS ?? 0) - 10)).toBeLessThan(0.7);
    expect(Math.abs((first?.endS ?? 0) - 18)).toBeLessThan(0.7);
  });

  it('finds nothing in fewer than five cycles, in a ramp, in a step, in a single pulse or in nothing', () => {
    const shapes: ((t: number) => number)[] = [
      (t) => Math.cos(2 * Math.PI * 0.4 * t),
      (t) => t,
      (t) => (t > 5 ? 1 : 0),
      (t) => Math.exp(-(((t - 5) / 0.3) ** 2)),
      () => 0,
    ];
    for (const [n, shape] of shapes.entries()) {
      const values = Float64Array.from({ length: 1000 }, (_, i) => shape(i / 100));
      expect(detectOscillations(values, 100, { ...search, lowestHz: 0.1 }), `shape ${String(n)}`).toEqual([]);
    }
  });
});
