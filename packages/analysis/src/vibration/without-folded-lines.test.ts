/** What the loop passes on of a line goes from the motor commands, where their own rate has made a slow swing of it; the rest stays. */
import { describe, expect, test } from 'vitest';
import { madeFlight } from '../../../../tests/support/made-flight.js';
import { randomSource } from '../../../../tests/support/random.js';
import { clustersOf } from './find-base.js';
import { secondRate } from './second-rate.js';
import { sensorRecords } from './sensor-records.js';
import { withoutFoldedLines } from './without-folded-lines.js';

const SECONDS = 24;
const HOVER = { startS: 0, endS: SECONDS };
const told = (t: number): number => 0.4 + 0.02 * Math.sin(2.2 * t) + 0.01 * Math.sin(13 * t + 1);
const line = (hz: number) => (t: number) => Math.sin(2 * Math.PI * (hz * t + 0.3 * Math.sin(0.9 * t)));
const late = (hz: number) => (t: number) => Math.sin(2 * Math.PI * (hz * t + 0.3 * Math.sin(0.9 * t)) - 2);

/** RMS of how far a logged command is from what the motor was told, as it is and cleaned. */
function off(imuHz: number, motorHz: number, hz: number, folds: boolean, seed: number, passedOn = 0.03) {
  const noise = randomSource(seed);
  const flight = madeFlight(SECONDS, {
    'gyro.x': { hz: imuHz, at: (t) => 0.2 * line(hz)(t) + 0.03 * noise.normal() },
    'motor.1.command': {
      hz: motorHz,
      at: (t) => told(t) + passedOn * late(hz)(t) + 0.003 * noise.normal(),
    },
  });
  const records = sensorRecords(flight, HOVER);
  const clusters = clustersOf(records, 12, secondRate(flight, HOVER, imuHz));
  const motor = flight.signals.get('motor.1.command')!;
  const clean = withoutFoldedLines([motor], records, clusters, folds)[0]!;
  const from = (values: Float64Array): number =>
    Math.sqrt(values.reduce((sum, v, i) => sum + (v - told(motor.clock.timeS[i]!)) ** 2, 0) / values.length);
  return { before: from(motor.values), after: from(clean.values) };
}

describe('a motor command without lines', () => {
  // At 50 Hz a line of 52 Hz is a swing of 2 Hz, one of 64.8 Hz one of 14.8 Hz, and one of 107 Hz, in a gyro of 1000/6 Hz mirrored, one of 7 Hz.
  test.for([
    [400, 50, 52, false],
    [200, 50, 64.8, true],
    [1000 / 6, 50, 107, true],
  ] as const)('gyro %d Hz, motors %d Hz, line %d Hz', ([imuHz, motorHz, hz, folds]) => {
    for (const seed of [1, 2, 3]) {
      const { before, after } = off(imuHz, motorHz, hz, folds, seed);
      expect(before).toBeGreaterThan(0.02);
      expect(after).toBeLessThan(0.2 * before);
    }
  });

  test('that holds none of the line stays as it is', () => {
    for (const seed of [4, 5, 6]) {
      const { before, after } = off(400, 50, 52, false, seed, 0);
      expect(Math.abs(after / before - 1)).toBeLessThan(0.05);
    }
  });
});
