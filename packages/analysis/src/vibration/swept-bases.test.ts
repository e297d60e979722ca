/** What turns while the throttle moves, from lines made to follow commands in a known way: seen where they are, folded, and of nothing. */
import { describe, expect, test } from 'vitest';
import { feltSwept, sweptFlight } from '../../../../tests/support/swept-flight.js';
import type { SensorRecord } from './sensor-records.js';
import { sweptBases } from './swept-bases.js';

describe('once per revolution while the throttle moves', () => {
  test.for([
    ['fast log', 800, 73, [0.2, 0.1], 0.5, 0.05],
    ['thrust that grows faster than the command', 500, 48, [0.2, 0.05, 0.05], 0.9, 0.08],
    ['slow log, second line folded', 200, 64, [0.2, 0.2], 0.6, 0.04],
    ['slow log, all folded', 125, 97, [0.2, 0.2], 0.75, 0.06],
    ['slow log, folded beyond the rate', 100, 128, [0.2, 0.1], 0.5, 0.06],
  ] as const)('%s', ([, rate, baseHz, amplitudes, power, lagS]) => {
    const flown = sweptFlight(baseHz, power, lagS);
    const [first] = sweptBases(flown.commands, [feltSwept(flown, rate, amplitudes, 1)], rate < 350);
    expect(first).toBeDefined();
    expect(Math.abs(first!.baseHz / baseHz - 1)).toBeLessThan(0.012);
    expect(Math.abs(first!.power - power)).toBeLessThan(0.07);
  });

  test.for([800, 200, 100])('a tone and noise alone have none, %d Hz', (rate) => {
    for (const seed of [3, 4]) {
      const flown = sweptFlight(60, 0.5, 0.05);
      expect(sweptBases(flown.commands, [feltSwept(flown, rate, [0], seed)], rate < 350)).toEqual([]);
    }
  });

  const cut = (record: SensorRecord, seconds: number): SensorRecord => ({
    ...record,
    values: record.values.subarray(0, seconds * record.sampleRateHz),
  });

  test.for([800, 200])('of sixteen seconds a tone and noise alone tell none, %d Hz', (rate) => {
    for (const seed of [7, 8]) {
      const flown = sweptFlight(60, 0.5, 0.05);
      expect(sweptBases(flown.commands, [cut(feltSwept(flown, rate, [0], seed), 16)], rate < 350)).toEqual(
        [],
      );
    }
  });

  test('of a hop of twelve seconds nothing is told, whatever it holds', () => {
    const flown = sweptFlight(73, 0.5, 0.05);
    expect(sweptBases(flown.commands, [cut(feltSwept(flown, 800, [0.5, 0.5], 13), 12)], false)).toEqual([]);
  });

  test('of a hover longer than its records the mean of all of it is told', () => {
    const flown = sweptFlight(73, 0.5, 0.05);
    const whole = feltSwept(flown, 800, [0.2, 0.1], 6);
    // Two swings and an eighth of the next: the rotors turn faster there than in the mean.
    const [first] = sweptBases(flown.commands, [cut(whole, 17)], false);
    expect(Math.abs(first!.baseHz / 73 - 1)).toBeLessThan(0.012);
  });
});
