/** Rotors taken out of a record, of lines, noise and modes that are known. */
import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { madeSensorRecord } from '../../../../tests/support/sensor-record.js';
import type { RotorAngles } from './rotor-angles.js';
import { MeanAngle, takeOutRotors } from './take-out-rotors.js';

const RATE = 400;
const SECONDS = 30;
const COUNT = RATE * SECONDS;
const NOISE_STD = 0.02;

/** Rotors at these means, all swung by a share. */
function anglesOf(means: readonly number[], swing: number): RotorAngles {
  const turned = (t: number): number => t + (swing / 0.8) * (1 - Math.cos(0.8 * t));
  const rotors = means.map((meanHz, i) => ({
    rotor: i + 1,
    meanHz,
    turns: Float64Array.from({ length: COUNT }, (_, k) => meanHz * turned(k / RATE)),
  }));
  return { from: 'speed-channel', rotors } as unknown as RotorAngles;
}

function taken(angles: RotorAngles, at: (i: number) => number, seed: number) {
  const noise = randomSource(seed);
  const values = Float64Array.from({ length: COUNT }, (_, i) => at(i) + NOISE_STD * noise.normal());
  const record = madeSensorRecord(values, RATE);
  return takeOutRotors(angles.rotors, new MeanAngle(angles.rotors), record, 14, 0.005);
}

const rms = (values: Float64Array): number =>
  Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / values.length);

/** A mode of half width γ: noise through a resonator of two poles, of rms one. */
function mode(hz: number, gammaHz: number, seed: number): Float64Array {
  const noise = randomSource(seed);
  const r = Math.exp((-2 * Math.PI * gammaHz) / RATE);
  const c = 2 * r * Math.cos((2 * Math.PI * hz) / RATE);
  const out = new Float64Array(COUNT);
  for (let i = 2; i < COUNT; i++) out[i] = c * out[i - 1]! - r * r * out[i - 2]! + noise.normal();
  const scale = 1 / rms(out);
  return out.map((v) => v * scale);
}

describe('taking rotors out of a record', () => {
  test('gives each its lines with their rms, names the rotor, and leaves the noise', () => {
    const angles = anglesOf([60, 63], 0.05);
    const [first, second] = angles.rotors;
    const { lines, rest } = taken(
      angles,
      (i) =>
        0.2 * Math.sin(2 * Math.PI * first!.turns[i]!) + 0.1 * Math.sin(2 * Math.PI * 2 * second!.turns[i]!),
      91,
    );
    expect(lines.map(({ order, rotor }) => [order, rotor])).toEqual([
      [1, 1],
      [2, 2],
    ]);
    for (const [i, amplitude] of [0.2, 0.1].entries())
      expect(Math.abs(lines[i]!.rms / (amplitude / Math.SQRT2) - 1)).toBeLessThan(0.03);
    expect(Math.abs(lines[0]!.trueHz / 60 - 1)).toBeLessThan(0.01);
    // What lies within a hertz of a line goes with it: 4 of 200 Hz, and the ends of the record keep a little.
    expect(Math.abs(rms(rest) / NOISE_STD - 1)).toBeLessThan(0.05);
  });

  test('a line beyond half the sample rate is known for folded, with its true frequency', () => {
    const angles = anglesOf([130], 0.03);
    const { lines } = taken(angles, (i) => 0.1 * Math.sin(2 * Math.PI * 2 * angles.rotors[0]!.turns[i]!), 92);
    expect(lines).toHaveLength(1);
    const { folded, order, trueHz, loggedHz } = lines[0]!;
    expect([folded, order]).toEqual([true, 2]);
    expect(trueHz / angles.rotors[0]!.meanHz).toBeCloseTo(2, 3);
    expect(loggedHz + trueHz).toBeCloseTo(RATE, 6);
  });

  test('a line that turns round at half the sample rate stands where it does on average, below it', () => {
    const angles = anglesOf([99], 0.1);
    const { lines } = taken(angles, (i) => 0.1 * Math.sin(2 * Math.PI * 2 * angles.rotors[0]!.turns[i]!), 97);
    expect(lines.map(({ order }) => order)).toEqual([2]);
    // 198 (1 + 0.1 sin x) Hz, folded at 200 Hz.
    const swept = Array.from(
      { length: 1000 },
      (_, i) => 198 * (1 + 0.1 * Math.sin((2 * Math.PI * i) / 1000)),
    );
    const mean = swept.reduce((sum, hz) => sum + Math.min(hz, RATE - hz), 0) / swept.length;
    expect(mean).toBeLessThan(190);
    expect(Math.abs(lines[0]!.loggedHz - mean)).toBeLessThan(1);
    expect(Math.abs(lines[0]!.trueHz / 198 - 1)).toBeLessThan(0.01);
  });

  test('a folded line much stronger than the others is a rotor’s if it comes to rest with one and with nothing else', () => {
    const angles = anglesOf([110], 0.05);
    const { lines } = taken(
      angles,
      (i) =>
        0.02 * Math.sin(2 * Math.PI * angles.rotors[0]!.turns[i]!) +
        0.4 * Math.sin(2 * Math.PI * 3 * angles.rotors[0]!.turns[i]!),
      98,
    );
    expect(lines.map(({ order, folded }) => [order, folded]).sort()).toEqual([
      [1, false],
      [3, true],
    ]);
  });

  test('a weak line whose range a strong folded one passes through is none of what that one left', () => {
    // 130 and, folded, 400 − 2 · 140 = 120 Hz: they swing across one another and are never together for long.
    const angles = anglesOf([130, 140], 0.05);
    const [first, second] = angles.rotors;
    const { lines } = taken(
      angles,
      (i) =>
        0.4 * Math.sin(2 * Math.PI * first!.turns[i]!) + 0.04 * Math.sin(2 * Math.PI * 2 * second!.turns[i]!),
      99,
    );
    expect(lines.map(({ order, rotor }) => [order, rotor])).toEqual([
      [1, 1],
      [2, 2],
    ]);
    expect(Math.abs(lines[1]!.rms / (0.04 / Math.SQRT2) - 1)).toBeLessThan(0.1);
  });

  test.for([
    ['narrow', 0.3],
    ['wide', 3],
  ] as const)('a %s mode that constant rotors stand in is no line of theirs, and stays', ([, gammaHz]) => {
    const ringing = mode(62, gammaHz, 93);
    const { lines, rest } = taken(anglesOf([61.2, 61.9, 62.5, 63.3], 0), (i) => 0.2 * ringing[i]!, 94);
    expect(lines.map(({ order, rotor, rms: found }) => [order, rotor, found])).toEqual([]);
    expect(Math.abs(rms(rest) / Math.hypot(0.2, NOISE_STD) - 1)).toBeLessThan(0.02);
  });

  test('a rotor that stands out of a mode keeps its level, and the mode its own', () => {
    const ringing = mode(62, 3, 95);
    const angles = anglesOf([61], 0.004);
    const { lines, rest } = taken(
      angles,
      (i) => 0.2 * ringing[i]! + 0.15 * Math.sin(2 * Math.PI * angles.rotors[0]!.turns[i]!),
      96,
    );
    const first = lines.filter(({ order }) => order === 1);
    expect(first).toHaveLength(1);
    expect(Math.abs(first[0]!.rms / (0.15 / Math.SQRT2) - 1)).toBeLessThan(0.1);
    expect(Math.abs(rms(rest) / Math.hypot(0.2, NOISE_STD) - 1)).toBeLessThan(0.1);
  });
});
