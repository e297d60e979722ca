import { describe, expect, it } from 'vitest';
import { madeFlight } from '../../../tests/support/made-flight.js';
import { motorSignals } from './signals.js';
import { stopsOf } from './motor-stops.js';

const HZ = 100;
const WHOLE = { startS: 0, endS: 20 };

/** A command that swings by ±0.6 about the middle, twice a second and a little, between the stops given. */
const swinging =
  (low: number, high: number, size = 0.6) =>
  (t: number): number =>
    Math.max(low, Math.min(high, 0.5 + size * Math.sin(2 * Math.PI * 2.137 * t)));

/** Four sines that never meet: nearly a normal distribution. */
const rough = (t: number): number =>
  [1.31, 2.73, 4.19, 5.57].reduce((sum, hz) => sum + 0.03 * Math.sin(2 * Math.PI * hz * t), 0.5);

const stops = (at: (t: number) => number) =>
  stopsOf(motorSignals(madeFlight(20, { 'motor.1.command': { hz: HZ, at } }))[0]!, WHOLE);

describe('stopsOf', () => {
  it('finds both stops, wherever they are', () => {
    expect(stops(swinging(0.05, 1))).toEqual({ low: 0.05, high: 1 });
    expect(stops(swinging(0.12, 0.85))).toEqual({ low: 0.12, high: 0.85 });
  });

  it('is not misled by a motor that was off for a moment, below its stop while flying', () => {
    const at = swinging(0.05, 0.95);
    const { low, high } = stops((t) => (t < 0.5 ? 0 : t < 0.53 ? 1 : at(t)));
    expect(low).toBeCloseTo(0.05, 9);
    expect(high).toBeCloseTo(0.95, 9);
  });

  it('finds none where the command keeps away from both ends', () => {
    expect(stops(rough)).toEqual({ low: null, high: null });
  });

  it('finds none in a command logged coarsely, though it comes back to the same numbers', () => {
    for (const digits of [50, 100, 200, 1000])
      expect(stops((t) => Math.round(rough(t) * digits) / digits)).toEqual({ low: null, high: null });
  });

  it('takes the crests of a small, slow swing for no stop, however fine or coarse the log', () => {
    for (const hz of [0.7, 2.13, 6.3])
      for (const size of [0.01, 0.04, 0.2])
        for (const digits of [100, 256, 1000, 100_000]) {
          const crest = (t: number): number =>
            Math.round((0.5 + size * Math.sin(2 * Math.PI * hz * t)) * digits) / digits;
          expect([hz, size, digits, stops(crest)]).toEqual([hz, size, digits, { low: null, high: null }]);
        }
  });

  it('still finds a stop that cuts the crests of such a swing', () => {
    for (const digits of [256, 100_000]) {
      const cut = (t: number): number =>
        Math.round(Math.max(0.47, 0.5 + 0.04 * Math.sin(2 * Math.PI * 2.13 * t)) * digits) / digits;
      const { low, high } = stops(cut);
      expect(low).toBeCloseTo(0.47, 2);
      expect(high).toBeNull();
    }
  });
});
