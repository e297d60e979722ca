/** Rotors told apart at one multiple of their speeds, on lines of known level. */
import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { madeSensorRecord } from '../../../../tests/support/sensor-record.js';
import { orderBand, turning } from './order-band.js';
import { separateRotors, type BandFrame } from './separate-rotors.js';

const RATE = 400;
const COUNT = 30 * RATE;
const MEAN_HZ = 60;

/** Two rotors this far apart that swing against one another, with these amplitudes for a share of the time, in noise. */
function bandOf(apartHz: number, amplitudes: readonly number[], noiseStd: number, share = 1) {
  const noise = randomSource(32);
  const ahead = amplitudes.map((_, r) =>
    Float64Array.from({ length: COUNT }, (_, i) => {
      const t = i / RATE;
      const sign = r === 0 ? -1 : 1;
      return sign * (Math.PI * apartHz * t + 1.5 * Math.sin(1.3 * t));
    }),
  );
  const values = Float64Array.from({ length: COUNT }, (_, i) =>
    amplitudes.reduce(
      (sum, a, r) =>
        sum + (i < share * COUNT ? a : 0) * Math.cos((2 * Math.PI * MEAN_HZ * i) / RATE + ahead[r]![i]! + r),
      noiseStd * noise.normal(),
    ),
  );
  const record = madeSensorRecord(values, RATE);
  const turns = Float64Array.from({ length: COUNT }, (_, i) => (MEAN_HZ * i) / RATE);
  const band = orderBand(record, values, turning(turns, 1), 1, MEAN_HZ);
  const rotors = ahead.map((angle, r): BandFrame => ({
    rotor: r + 1,
    offsetHz: (r === 0 ? -1 : 1) * (apartHz / 2),
    angle: Float64Array.from(
      { length: band.z.length / 2 },
      (_, i) => angle[Math.min(COUNT - 1, i * band.factor + ((band.factor - 1) >> 1))]!,
    ),
  }));
  // The mean turns steadily here.
  return { band, frames: { rotors, still: new Float64Array(band.z.length / 2) } };
}

describe('rotors told apart', () => {
  test('of two rotors two hertz apart each has the rms of its own amplitude, the weak one too', () => {
    const { band, frames } = bandOf(2, [1, 0.2], 0.1);
    const lines = separateRotors(band, frames, 0.3, 0.001);
    expect(lines).toHaveLength(2);
    for (const [r, amplitude] of [1, 0.2].entries()) {
      const line = lines.find(({ frames: own }) => own.includes(r))!;
      expect(Math.abs(line.rms / (amplitude / Math.SQRT2) - 1)).toBeLessThan(0.06);
    }
  });

  test('a rotor that makes no line has none, though its neighbour is strong', () => {
    const { band, frames } = bandOf(2, [1, 0], 0.1);
    expect(separateRotors(band, frames, 0.3, 0.001).map((line) => line.frames)).toEqual([[0]]);
  });

  test('what is at rest with a rotor only for a fifth of the time is none of its lines, most of the time it may be', () => {
    const lines = (share: number) => {
      const { band, frames } = bandOf(2, [0, 0.5], 0.05, share);
      return separateRotors({ ...band, order: 2 }, frames, 0.3, 0.001);
    };
    expect(lines(0.2)).toEqual([]);
    expect(lines(0.7).map((line) => line.frames)).toEqual([[1]]);
  });

  test('noise alone gives no line', () => {
    const { band, frames } = bandOf(2, [0, 0], 0.1);
    expect(separateRotors(band, frames, 0.3, 0.001)).toEqual([]);
  });
});
