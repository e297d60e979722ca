/** Records resampled against a rotor's angle. */
import { describe, expect, test } from 'vitest';
import { lineSpectrum } from './line-spectrum.js';
import { onTurnClock, refine, turnClock, type RelativeSpeed } from './turn-records.js';

const RATE = 200;
const SECONDS = 20;
const COUNT = RATE * SECONDS;

function speedOf(at: (t: number) => number): RelativeSpeed {
  return {
    startS: 0,
    stepS: 0.01,
    values: Float64Array.from({ length: 100 * SECONDS + 2 }, (_, i) => at(i / 100)),
  };
}

describe('a record with samples in between', () => {
  test('of a sine of whole periods are the sine, between the samples as well', () => {
    const sine = (t: number): number => Math.sin(2 * Math.PI * 35 * t + 0.4);
    const { fine, length } = refine(
      Float64Array.from({ length: COUNT }, (_, i) => sine(i / RATE)),
      0,
      RATE,
    );
    expect(length).toBe(COUNT);
    expect(fine).toHaveLength(4 * COUNT);
    for (let k = 0; k < fine.length; k += 97) expect(fine[k]!).toBeCloseTo(sine(k / (4 * RATE)), 9);
  });
});

describe('the clock of a rotor', () => {
  test('that turns steadily is the clock', () => {
    const { timeS, relativeSpeed } = turnClock(
      speedOf(() => 1),
      0,
      SECONDS,
      RATE,
    );
    for (let i = 0; i < COUNT; i += 111) {
      expect(timeS[i]!).toBeCloseTo(i / RATE, 9);
      expect(relativeSpeed[i]!).toBeCloseTo(1, 9);
    }
  });

  test('that speeds up as 1 + t/T has turned ⅜ of its way after half the time', () => {
    const { timeS } = turnClock(
      speedOf((t) => 1 + t / SECONDS),
      0,
      SECONDS,
      RATE,
    );
    // Turned: t + t²/2T, of 1.5 T in all; at T/2 that is 0.625 T, 5/12 of it.
    const i = Math.round((5 / 12) * COUNT);
    expect(timeS[i]!).toBeCloseTo(SECONDS / 2, 1);
  });
});

describe('a line that follows a swinging speed', () => {
  // 40 Hz on average, ±10 % every 4 s; its angle is the integral of its speed.
  const swing = 0.1;
  const rad = (2 * Math.PI) / 4;
  const turned = (t: number): number => t + (swing / rad) * (1 - Math.cos(rad * t));
  const values = Float64Array.from({ length: COUNT }, (_, i) =>
    Math.sin(2 * Math.PI * 40 * turned(i / RATE)),
  );
  const clock = turnClock(
    speedOf((t) => 1 + swing * Math.sin(rad * t)),
    0,
    SECONDS,
    RATE,
  );
  const within = (record: Float64Array, reachHz: number): number => {
    const { density, binHz } = lineSpectrum(record, RATE, 8);
    return density.reduce((sum, v, k) => (Math.abs(k * binHz - 40) <= reachHz ? sum + v * binHz : sum), 0);
  };

  test('is smeared in time: little of its power lies within half a hertz of its mean', () => {
    expect(within(values, 0.5)).toBeLessThan(0.5 * 0.3);
  });

  test('against its own angle is one line of the same power, ½ A²', () => {
    const record = onTurnClock(refine(values, 0, RATE), clock);
    // Each sample is weighted by the time it stands for, which moves (½ swing²)/4 of the power beside the line.
    expect(Math.abs(within(record, 0.5) / 0.5 - 1)).toBeLessThan(0.02);
  });
});
