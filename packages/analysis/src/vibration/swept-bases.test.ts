/** What turns while the throttle moves, from lines made to follow commands in a known way: seen where they are, folded, and of nothing. */
import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { madeSensorRecord } from '../../../../tests/support/sensor-record.js';
import type { Commands } from './relative-speeds.js';
import type { SensorRecord } from './sensor-records.js';
import { sweptBases } from './swept-bases.js';

const SECONDS = 24;
const FINE_HZ = 4000;

interface Hover {
  readonly commands: Commands;
  /** Turns of each rotor at every 4000th of a second. */
  readonly turns: readonly Float64Array[];
}

/** Commands of four motors that swing by ±20 % together every 8 s and by 3 % each for itself; speeds behind a first-order lag. */
function hover(baseHz: number, power: number, lagS: number): Hover {
  const told = [0, 1, 2, 3].map((motor) => (t: number): number => {
    const own = 0.03 * Math.sin((1.1 + 0.3 * motor) * t + motor);
    return 1 + 0.2 * Math.sin((2 * Math.PI * t) / 8) + own;
  });
  const commands = told.map((of, m) => {
    const values = Float64Array.from({ length: 100 * SECONDS + 1 }, (_, i) => of(i / 100));
    const mean = values.reduce((sum, v) => sum + v, 0) / values.length;
    return { rotor: m + 1, startS: 0, mean: 0.5, values: values.map((v) => v / mean) };
  });
  const turns = told.map((of, m) => {
    let thrust = of(0);
    const speeds = Float64Array.from({ length: FINE_HZ * SECONDS + 1 }, (_, i) => {
      thrust += (of(i / FINE_HZ) - thrust) / (lagS * FINE_HZ);
      return thrust ** power;
    });
    const mean = speeds.reduce((sum, v) => sum + v, 0) / speeds.length;
    // Four rotors within 2 % of one another.
    const ownHz = baseHz * (1 + 0.0066 * (m - 1.5));
    let sum = 0;
    return speeds.map((v) => (sum += (ownHz * v) / mean / FINE_HZ));
  });
  return { commands, turns };
}

/** A sensor at `rate`: each order of each rotor with this amplitude, in noise; a tone as strong that follows nothing. */
function felt({ turns }: Hover, rate: number, amplitudes: readonly number[], seed: number): SensorRecord {
  const noise = randomSource(seed);
  const values = Float64Array.from({ length: SECONDS * rate }, (_, i) => {
    const at = Math.round((i * FINE_HZ) / rate);
    const lines = turns.reduce(
      (sum, own, r) =>
        sum + amplitudes.reduce((part, a, k) => part + a * Math.sin(2 * Math.PI * (k + 1) * own[at]! + r), 0),
      0,
    );
    return lines + 0.2 * Math.sin((2 * Math.PI * 0.31 * rate * i) / rate) + 0.3 * noise.normal();
  });
  return madeSensorRecord(values, rate, 'accel');
}

describe('once per revolution while the throttle moves', () => {
  test.for([
    ['fast log', 800, 73, [0.2, 0.1], 0.5, 0.05],
    ['thrust that grows faster than the command', 500, 48, [0.2, 0.05, 0.05], 0.9, 0.08],
    ['slow log, second line folded', 200, 64, [0.2, 0.2], 0.6, 0.04],
    ['slow log, all folded', 125, 97, [0.2, 0.2], 0.75, 0.06],
    ['slow log, folded beyond the rate', 100, 128, [0.2, 0.1], 0.5, 0.06],
  ] as const)('%s', ([, rate, baseHz, amplitudes, power, lagS]) => {
    for (const seed of [1, 2]) {
      const flown = hover(baseHz, power, lagS);
      const [first] = sweptBases(flown.commands, [felt(flown, rate, amplitudes, seed)], rate < 350);
      expect(first, `seed ${String(seed)}`).toBeDefined();
      expect(Math.abs(first!.baseHz / baseHz - 1)).toBeLessThan(0.012);
      expect(Math.abs(first!.power - power)).toBeLessThan(0.07);
    }
  });

  test.for([800, 200, 100])('a tone and noise alone have none, %d Hz', (rate) => {
    for (const seed of [3, 4, 5]) {
      const flown = hover(60, 0.5, 0.05);
      expect(sweptBases(flown.commands, [felt(flown, rate, [0], seed)], rate < 350)).toEqual([]);
    }
  });

  const cut = (record: SensorRecord, seconds: number): SensorRecord => ({
    ...record,
    values: record.values.subarray(0, seconds * record.sampleRateHz),
  });

  test.for([800, 200])('of sixteen seconds a tone and noise alone tell none, %d Hz', (rate) => {
    for (const seed of [7, 8, 9]) {
      const flown = hover(60, 0.5, 0.05);
      expect(sweptBases(flown.commands, [cut(felt(flown, rate, [0], seed), 16)], rate < 350)).toEqual([]);
    }
  });

  test('of a hop of twelve seconds nothing is told, whatever it holds', () => {
    const flown = hover(73, 0.5, 0.05);
    expect(sweptBases(flown.commands, [cut(felt(flown, 800, [0.5, 0.5], 13), 12)], false)).toEqual([]);
  });

  test('of a hover longer than its records the mean of all of it is told', () => {
    const flown = hover(73, 0.5, 0.05);
    const whole = felt(flown, 800, [0.2, 0.1], 6);
    // Two swings and an eighth of the next: the rotors turn faster there than in the mean.
    const [first] = sweptBases(flown.commands, [cut(whole, 17)], false);
    expect(Math.abs(first!.baseHz / 73 - 1)).toBeLessThan(0.012);
  });
});
