/** What turns while the throttle hardly moves: seen where it is, folded, and where nothing turns. */
import { describe, expect, test } from 'vitest';
import { calmFlight, feltBy } from '../../../../tests/support/calm-flight.js';
import { randomSource } from '../../../../tests/support/random.js';
import { calmBases } from './calm-base.js';
import { clustersOf } from './find-base.js';
import type { SensorRecord } from './sensor-records.js';
import type { Commands } from './relative-speeds.js';

const LOWEST_HZ = 14;
const baseOf = (commands: Commands, record: SensorRecord) => {
  const found = calmBases(
    commands,
    clustersOf([record], LOWEST_HZ),
    record.sampleRateHz,
    LOWEST_HZ,
    record.sampleRateHz < 350,
  );
  return found?.clear === true ? found.likely[0]! : null;
};

/** A lightly damped mode shaken by noise: an oscillator, sampled finely. */
function mode(hz: number, dampingRatio: number, seed: number): (timeS: number) => number {
  const noise = randomSource(seed);
  const step = 1 / 4000;
  const w = 2 * Math.PI * hz;
  const decay = Math.exp(-dampingRatio * w * step);
  let re = 0;
  let im = 0;
  let now = 0;
  return (timeS) => {
    for (; now <= timeS; now += step) {
      const next = decay * (re * Math.cos(w * step) - im * Math.sin(w * step));
      im = decay * (re * Math.sin(w * step) + im * Math.cos(w * step));
      re = next + 0.12 * noise.normal();
    }
    return re;
  };
}

describe('once per revolution in a calm hover', () => {
  test.for([
    ['fast log', 500, 61, [1, 2]],
    ['slow log, seen where it is', 160, 43, [1, 2]],
    ['slow log, folded', 133, 97, [1, 2]],
    ['slow log, folded, no second line', 160, 112, [1]],
    ['slow log, second line stronger than the first', 125, 90, [1, 2, 2, 2]],
  ] as const)('%s', ([, rate, hz, orders]) => {
    for (const seed of [1, 2]) {
      const flight = calmFlight([0.99 * hz, 1.012 * hz, hz, 1.004 * hz], seed);
      const found = baseOf(flight.commands, feltBy(flight, rate, orders, seed + 10));
      expect(found, `seed ${String(seed)}`).not.toBeNull();
      expect(Math.abs(found!.baseHz / (1.0015 * hz) - 1)).toBeLessThan(0.015);
    }
  });

  // Weight off centre: the lines of one multiple stand as far apart as those of different things.
  test.for([
    ['fast log', 500],
    ['slow log', 160],
  ] as const)('rotors that turn 20 %% apart, %s', ([, rate]) => {
    for (const seed of [3, 4]) {
      const flight = calmFlight([55, 66, 58, 61], seed);
      const found = baseOf(flight.commands, feltBy(flight, rate, [1, 2], seed + 10));
      expect(found, `seed ${String(seed)}`).not.toBeNull();
      expect(Math.abs(found!.baseHz / 60 - 1)).toBeLessThan(0.02);
    }
  });

  test.for([1, 2])('a tone and a mode are no rotor, seed %i', (seed) => {
    const { commands } = calmFlight([50, 50.3, 50.6, 50.1], seed);
    const rings = mode(47, 0.01, seed + 20);
    const felt = (t: number): number => rings(t) + Math.sin(2 * Math.PI * 60 * t);
    const record = feltBy({ commands, turns: [] }, 160, [], seed + 30, felt);
    expect(clustersOf([record], LOWEST_HZ).length).toBeGreaterThanOrEqual(2);
    expect(baseOf(commands, record)).toBeNull();
  });

  test.for([1, 2])('commands of another flight say nothing, seed %i', (seed) => {
    const flight = calmFlight([97, 98, 97.4, 96.1], seed);
    const other = calmFlight([97, 98, 97.4, 96.1], seed + 40);
    expect(baseOf(other.commands, feltBy(flight, 133, [1, 2], seed + 50))).toBeNull();
  });
});
