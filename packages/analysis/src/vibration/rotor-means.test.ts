/** Mean speeds of several rotors from a rough common one, on lines of known speeds. */
import { expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { madeSensorRecord } from '../../../../tests/support/sensor-record.js';
import { angleOf } from './order-lines.js';
import { rotorMeans } from './rotor-means.js';
import type { SensorRecord } from './sensor-records.js';

const RATE = 400;
const SECONDS = 30;
const MEANS_HZ = [58.8, 60.1, 61.2, 59.5];
/** Each rotor's speed goes its own way, rad/s. */
const SWINGS = [0.7, 1.1, 1.6, 2.3];
const SHARE = 0.03;

function recordOf(levels: readonly number[]): SensorRecord {
  const noise = randomSource(34);
  const turned = (r: number, t: number): number =>
    MEANS_HZ[r]! * (t + (SHARE / SWINGS[r]!) * (1 - Math.cos(SWINGS[r]! * t)));
  const values = Float64Array.from({ length: SECONDS * RATE }, (_, i) =>
    levels.reduce(
      (sum, level, r) =>
        sum +
        level * Math.sin(2 * Math.PI * turned(r, i / RATE) + r) +
        level * Math.sin(4 * Math.PI * turned(r, i / RATE) + 2 * r),
      0.1 * noise.normal(),
    ),
  );
  return madeSensorRecord(values, RATE);
}

function placed(levels: readonly number[], roughHz: number) {
  const record = recordOf(levels);
  const rotors = SWINGS.map((swing, r) => {
    const speed = {
      startS: 0,
      stepS: 0.01,
      values: Float64Array.from(
        { length: 100 * SECONDS + 1 },
        (_, i) => 1 + SHARE * Math.sin(swing * 0.01 * i),
      ),
    };
    return { ...angleOf(r + 1, speed, roughHz, record), speed };
  });
  return rotorMeans(rotors, [record], 14);
}

// The mean of the course over a hover that is no whole number of swings is off by its share of a swing: 0.2 %.
test('every rotor gets its own mean speed within half a percent, from one that is two percent off', () => {
  const { rotors } = placed([0.3, 0.2, 0.25, 0.3], 61.1);
  rotors.forEach((rotor, r) => {
    expect(Math.abs(rotor.meanHz / MEANS_HZ[r]! - 1)).toBeLessThan(0.005);
  });
});

test('a rotor that shows nothing stands at the mean of the others', () => {
  const { rotors } = placed([0.3, 0.3, 0, 0.3], 60);
  const others = [0, 1, 3].map((r) => rotors[r]!.meanHz);
  expect(rotors[2]!.meanHz).toBeCloseTo(
    others.reduce((sum, hz) => sum + hz / 3, 0),
    9,
  );
});

test('noise alone moves nothing', () => {
  const { rotors, score } = placed([0, 0, 0, 0], 60);
  expect(score).toBe(0);
  for (const rotor of rotors) expect(rotor.meanHz).toBe(60);
});
