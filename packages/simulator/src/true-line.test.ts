import { describe, expect, test } from 'vitest';
import { trueLine, trueSpan } from './true-line.js';
import type { FlightTruth } from './truth.js';

/** A truth that holds nothing but a pitch rate. */
function moving(rate: (t: number) => number, lastsS: number): FlightTruth {
  const n = lastsS * 400;
  const timeS = Float64Array.from({ length: n }, (_, i) => i / 400);
  const none = new Float64Array(n);
  return {
    motion: { timeS, roll: none, pitch: none, yaw: none, p: none, q: timeS.map(rate), r: none, height: none },
  } as unknown as FlightTruth;
}

describe('the true line', () => {
  test('of a sine is its frequency and amplitude, whatever slow drift stands beside it', () => {
    const truth = moving((t) => 0.7 * Math.sin(2 * Math.PI * 3.4 * t + 1) + 0.05 * t, 10);
    const line = trueLine(truth, 'pitch', { startS: 0, endS: 10 }, 3);
    expect(line.frequencyHz).toBeCloseTo(3.4, 3);
    expect(line.rateAmplitudeRadS).toBeCloseTo(0.7, 2);
  });

  test('stands out for as long as it lasts', () => {
    const truth = moving((t) => (t > 4 && t < 7 ? Math.sin(2 * Math.PI * 5 * t) : 0), 10);
    const span = trueSpan(truth, 'pitch', { startS: 0, endS: 10 }, 5)!;
    expect(Math.abs(span.startS - 4)).toBeLessThan(0.3);
    expect(Math.abs(span.endS - 7)).toBeLessThan(0.3);
  });

  test('that never was has no span', () => {
    expect(
      trueSpan(
        moving(() => 0.001, 5),
        'pitch',
        { startS: 0, endS: 5 },
        5,
      ),
    ).toBeNull();
  });
});
