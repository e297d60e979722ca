import type { AxisName } from '@settle/parser';
import { describe, expect, it } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { drivenResonance } from '../../../../tests/support/resonance.js';
import { complex, type Complex } from '../control/complex.js';
import { rateSpectra, structuralPeak as peakOf } from './structural-peak.js';

const HZ = 200;
const STEP_S = 1 / HZ;
const SAMPLES = 30 * HZ;

const scaled = (values: Float64Array, size: number): Float64Array => {
  const rms = Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / values.length);
  return values.map((v) => (v * size) / rms);
};

/** Gyro noise and what gusts make of a rigid axis: a spectrum that falls by 6 dB per octave from 2 Hz on. */
function rigid(seed: number): Float64Array {
  const random = randomSource(seed);
  const gusts = drivenResonance(random, {
    dampingRatio: 0.5,
    hz: 2,
    sampleRateHz: HZ,
    samples: SAMPLES,
    slope: 0,
  });
  const noise = scaled(random.normals(SAMPLES), 0.01);
  return scaled(gusts, 0.02).map((v, i) => v + noise[i]!);
}

/** A mode of 2 % damping whose RMS is this share of the gyro noise's: 12 dB above it at its peak for 0.5. */
function mode(seed: number, hz: number, share = 0.5): Float64Array {
  const options = { dampingRatio: 0.02, hz, sampleRateHz: HZ, samples: SAMPLES, slope: 0 } as const;
  return scaled(drivenResonance(randomSource(seed + 5000), options), 0.01 * share);
}

const sum = (a: Float64Array, b: Float64Array): Float64Array => a.map((v, i) => v + b[i]!);

const rates = (seed: number) => ({ roll: rigid(seed), pitch: rigid(seed + 1), yaw: rigid(seed + 2) });

const structuralPeak = (
  axis: AxisName,
  of: Parameters<typeof rateSpectra>[0],
  stepS: number,
  loop: Parameters<typeof peakOf>[2],
  swings: Parameters<typeof peakOf>[3],
) => peakOf(axis, rateSpectra(of, stepS), loop, swings);

describe('structuralPeak', () => {
  it('finds a lightly damped mode that gusts shake, within a bin, and on its own axis only', () => {
    for (const [k, hz] of [12, 17, 23, 31].entries()) {
      const calm = rates(300 + 10 * k);
      const shaken = { ...calm, pitch: sum(calm.pitch, mode(300 + 10 * k, hz)) };
      expect(Math.abs(structuralPeak('pitch', shaken, STEP_S, null, [])!.frequencyHz - hz)).toBeLessThan(0.6);
      expect(structuralPeak('roll', shaken, STEP_S, null, [])).toBeNull();
    }
  });

  it('finds one in a rigid axis at most once in 100 hovers', () => {
    let found = 0;
    for (let seed = 1000; seed < 1180; seed += 3)
      for (const axis of ['roll', 'pitch', 'yaw'] as const)
        found += Number(structuralPeak(axis, rates(seed), STEP_S, null, []) !== null);
    expect(found).toBeLessThanOrEqual(2);
  });

  it('takes a line that all axes have for something that turns, and a multiple of a swing for the swing', () => {
    const calm = rates(400);
    const line = Float64Array.from(
      { length: SAMPLES },
      (_, i) => 0.01 * Math.sin(2 * Math.PI * 21.3 * i * STEP_S),
    );
    const turning = { roll: sum(calm.roll, line), pitch: sum(calm.pitch, line), yaw: sum(calm.yaw, line) };
    const one = { ...calm, roll: turning.roll };
    expect(structuralPeak('roll', turning, STEP_S, null, [])).toBeNull();
    expect(structuralPeak('roll', one, STEP_S, null, [])!.frequencyHz).toBeCloseTo(21.5, 0);
    expect(structuralPeak('roll', one, STEP_S, null, [{ axis: 'pitch', frequencyHz: 7.1 }])).toBeNull();
  });

  it('is not misled by the peak of the loop itself where that is known', () => {
    // A loop near its limit at 14 Hz makes a peak of noise: 1/(1 + L) has a damping ratio of 3 % there.
    const w0 = 2 * Math.PI * 14;
    const loop = (w: number): Complex => {
      // 1 + L = (s² + 2 ζ w0 s + w0²)/(s² + 2 ζ₁ w0 s + w0²), ζ = 0.03, ζ₁ = 0.5
      const closed = complex(w0 * w0 - w * w, 2 * 0.03 * w0 * w);
      const open = complex(w0 * w0 - w * w, 2 * 0.5 * w0 * w);
      const d = open.re ** 2 + open.im ** 2;
      return complex(
        (closed.re * open.re + closed.im * open.im) / d - 1,
        (closed.im * open.re - closed.re * open.im) / d,
      );
    };
    const calm = rates(500);
    const peak = drivenResonance(randomSource(7), {
      dampingRatio: 0.03,
      hz: 14,
      sampleRateHz: HZ,
      samples: SAMPLES,
      slope: 0,
    });
    const noise = randomSource(8).normals(SAMPLES);
    // Noise through 1/(1 + L): the resonance's rate, in proportion, and the noise itself.
    const own = scaled(peak, 0.01 * Math.sqrt((0.47 ** 2 / 0.03) * 2 * Math.PI * 14 * STEP_S));
    const near = { ...calm, roll: own.map((v, i) => v + 0.01 * noise[i]!) };
    expect(structuralPeak('roll', near, STEP_S, null, [])!.frequencyHz).toBeCloseTo(14, 0);
    expect(structuralPeak('roll', near, STEP_S, loop, [])).toBeNull();
  });

  it('says nothing of an axis that swings by itself, wherever its peaks are', () => {
    const calm = rates(600);
    const shaken = { ...calm, pitch: sum(calm.pitch, mode(600, 23)) };
    const swing = (axis: AxisName) => [{ axis, frequencyHz: 16.6 }];
    // Within a bin of 0.5 Hz.
    const seen = structuralPeak('pitch', shaken, STEP_S, null, swing('roll'))!;
    expect(Math.abs(seen.frequencyHz - 23)).toBeLessThan(0.6);
    expect(structuralPeak('pitch', shaken, STEP_S, null, swing('pitch'))).toBeNull();
  });

  it('says nothing of a hop', () => {
    const short = { roll: mode(9, 20).subarray(0, 6 * HZ), pitch: null, yaw: null };
    expect(structuralPeak('roll', short, STEP_S, null, [])).toBeNull();
    expect(structuralPeak('pitch', short, STEP_S, null, [])).toBeNull();
  });
});
