/** Rotors in their places while the throttle moves, from lines made to follow commands in a known way. */
import { describe, expect, test } from 'vitest';
import { feltSwept, sweptFlight } from '../../../../tests/support/swept-flight.js';
import { movingRotors } from './moving-rotors.js';

const AMPLITUDES = [0.2, 0.1];

describe('four rotors told alike', () => {
  const place = (seed: number, apart: number, strength: readonly number[]) => {
    const flown = sweptFlight(36, 0.6, 0.05, apart);
    const records = [0, 100, 200].map((more) => feltSwept(flown, 500, AMPLITUDES, seed + more, strength));
    return movingRotors(flown.commands, records, records, false);
  };

  test.for([
    [0.0066, [1, 1, 1, 1]],
    [0.02, [1, 1, 1, 1]],
    [0.0066, [1, 1, 1, 2.5]],
    [0.0066, [2.5, 1, 1, 1]],
  ] as const)('%f apart from one to the next, with strengths of %j', ([apart, strength]) => {
    const placed = place(21, apart, strength);
    expect(placed).not.toBeNull();
    expect(Math.abs(placed!.baseHz / 36 - 1)).toBeLessThan(0.005);
  });

  // The strongest at the end of a range of 6 % draws the middle of all that shows to itself.
  test.for([
    ['last', [1, 1, 1, 2.5]],
    ['first', [2.5, 1, 1, 1]],
  ] as const)('are not said to turn as fast as the strongest of them, the %s, 0.03 off', ([, strength]) => {
    for (const seed of [21, 22]) {
      const placed = place(seed, 0.02, strength);
      expect(placed, `seed ${String(seed)}`).not.toBeNull();
      expect(Math.abs(placed!.baseHz / 36 - 1)).toBeLessThan(0.015);
    }
  });
});
