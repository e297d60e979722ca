/** How speeds follow commands, from lines that were made to follow them in a known way. */
import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { madeSensorRecord } from '../../../../tests/support/sensor-record.js';
import { focusCourse } from './focus-course.js';
import type { Commands } from './relative-speeds.js';
import type { SensorRecord } from './sensor-records.js';

const RATE = 400;
const SECONDS = 30;
const BASE_HZ = 60;

/** Commands that swing by ±20 % every 6 s. */
const told = Float64Array.from(
  { length: 100 * SECONDS + 1 },
  (_, i) => 1 + 0.2 * Math.sin((2 * Math.PI * i) / 600),
);
const commands: Commands = [{ rotor: 1, startS: 0, values: told, mean: 0.5 }];

/** A rotor whose speed is the command through a first-order lag, to a power; its first two orders in noise. */
function flown(power: number, lagS: number): SensorRecord {
  const noise = randomSource(97);
  const step = 1 / RATE;
  const speeds = new Float64Array(SECONDS * RATE);
  let thrust = told[0]!;
  for (let i = 0; i < speeds.length; i++) {
    thrust += (step / lagS) * (told[Math.floor((100 * i) / RATE)]! - thrust);
    speeds[i] = thrust ** power;
  }
  const mean = speeds.reduce((sum, v) => sum + v, 0) / speeds.length;
  let turns = 0;
  const values = speeds.map((speed) => {
    turns += (step * BASE_HZ * speed) / mean;
    return 0.1 * Math.sin(2 * Math.PI * turns) + 0.05 * Math.sin(4 * Math.PI * turns) + 0.05 * noise.normal();
  });
  return madeSensorRecord(values, RATE, 'accel');
}

describe('the course of a rotor that follows its commands', () => {
  test.for([
    [0.5, 0.04],
    [0.8, 0.09],
    [1, 0.06],
  ] as const)(
    'to the power %d, %d s late, is found from another one and a base 3 %% off',
    ([power, lagS]) => {
      const start = { power: 0.7, lagS: 0.12, baseHz: 1.03 * BASE_HZ };
      for (const together of [false, true]) {
        const found = focusCourse(commands, start, [flown(power, lagS)], 12, 0.2, false, together);
        expect(Math.abs(found.power - power)).toBeLessThan(0.06);
        expect(Math.abs(found.lagS - lagS)).toBeLessThan(0.025);
        expect(Math.abs(found.baseHz / BASE_HZ - 1)).toBeLessThan(0.005);
      }
    },
  );

  test('of a record in which nothing follows them stays as it was', () => {
    const noise = randomSource(98);
    const values = Float64Array.from(
      { length: SECONDS * RATE },
      (_, i) => 0.1 * Math.sin((2 * Math.PI * 61 * i) / RATE) + 0.05 * noise.normal(),
    );
    const record = madeSensorRecord(values, RATE, 'accel');
    const start = { power: 0.8, lagS: 0.05, baseHz: BASE_HZ };
    expect(focusCourse(commands, start, [record], 12, 0.2, false, true)).toEqual(start);
  });
});
