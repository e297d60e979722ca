/** Commands as often as the demands are logged, where these make them up; else as they were. */
import { describe, expect, test } from 'vitest';
import { madeFlight } from '../../../../tests/support/made-flight.js';
import { randomSource } from '../../../../tests/support/random.js';
import { motorSignals } from '../signals.js';
import { commandsFromDemands } from './commands-from-demands.js';

const SECONDS = 12;
const HOVER = { startS: 0, endS: SECONDS };
const LOOP_HZ = 800;
const SIGNS = [
  [1, 1, 1],
  [-1, -1, 1],
  [-1, 1, -1],
  [1, -1, -1],
] as const;

/** A loop at 800 Hz with noisy demands; motors logged at 50 Hz, demands at `demandHz`. */
function hover(demandHz: number, bent: (command: number) => number, seed: number) {
  const noise = randomSource(seed);
  const demands = [0, 1, 2].map((a) =>
    Float64Array.from(
      { length: SECONDS * LOOP_HZ + 1 },
      (_, i) => 0.05 * Math.sin((1.3 + a) * (i / LOOP_HZ)) + 0.04 * noise.normal(),
    ),
  );
  const at = (series: Float64Array, t: number): number => series[Math.round(t * LOOP_HZ)]!;
  const told = (motor: number, t: number): number =>
    bent(
      demands.reduce(
        (sum, demand, a) => sum + 0.7 * SIGNS[motor]![a]! * at(demand, t),
        0.4 + 0.05 * Math.sin(0.6 * t),
      ),
    );
  const flight = madeFlight(SECONDS, {
    ...Object.fromEntries(
      ['roll', 'pitch', 'yaw'].map((axis, a) => [
        `rate.${axis}.demand`,
        { hz: demandHz, at: (t: number) => at(demands[a]!, t) },
      ]),
    ),
    ...Object.fromEntries(
      SIGNS.map((_, m) => [`motor.${String(m + 1)}.command`, { hz: 50, at: (t: number) => told(m, t) }]),
    ),
  });
  return { flight, told };
}

describe('commands at the rate of the demands', () => {
  test.for([100, 200])('demands at %d Hz', (demandHz) => {
    const { flight, told } = hover(demandHz, (command) => command, 1);
    commandsFromDemands(flight, HOVER, motorSignals(flight)).forEach(({ clock, values }, m) => {
      expect(clock.sampleRateHz).toBeCloseTo(demandHz, 6);
      values.forEach((v, k) => {
        expect(Math.abs(v - told(m, clock.timeS[k]!))).toBeLessThan(0.001);
      });
    });
  });

  test('stay as they are where the demands do not make them up, or come no faster', () => {
    // Commands that go to and fro between two values hold hardly anything of a sum.
    const coarse = hover(200, (command) => (command > 0.4 ? 0.5 : 0.3), 2).flight;
    expect(commandsFromDemands(coarse, HOVER, motorSignals(coarse))).toEqual(motorSignals(coarse));
    const slow = hover(50, (command) => command, 3).flight;
    expect(commandsFromDemands(slow, HOVER, motorSignals(slow))).toEqual(motorSignals(slow));
  });
});
