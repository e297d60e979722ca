/** Where a folded line truly is, by a second log: closed forms, what stays open, and what nothing tells. */
import { describe, expect, test } from 'vitest';
import { madeFlight } from '../../../../tests/support/made-flight.js';
import { randomSource } from '../../../../tests/support/random.js';
import { secondRate } from './second-rate.js';
import { sensorRecords } from './sensor-records.js';

const SECONDS = 20;
const HOVER = { startS: 0, endS: SECONDS };

/** Angle of a line that wanders by ±0.5 Hz, turns. */
const turns = (hz: number) => (t: number) => hz * t + 0.4 * Math.sin(1.3 * t);

interface Made {
  readonly imuHz: number;
  readonly ratesHz: number;
  readonly lineHz: number;
  /** Of the line that the rates hold, if another. */
  readonly otherHz?: number;
  readonly seed: number;
}

function toldOf({ imuHz, ratesHz, lineHz, otherHz = lineHz, seed }: Made, placeHz: number) {
  const noise = randomSource(seed);
  const felt =
    (hz: number, size: number, late: number, std: number) =>
    (t: number): number =>
      size * Math.sin(2 * Math.PI * turns(hz)(t) - late) + std * noise.normal();
  const flight = madeFlight(SECONDS, {
    'gyro.x': { hz: imuHz, at: felt(lineHz, 0.1, 0, 0.03) },
    'gyro.y': { hz: imuHz, at: felt(lineHz, 0.03, 1, 0.03) },
    'rate.roll.measured': { hz: ratesHz, at: felt(otherHz, 0.04, 0.7, 0.03) },
    'rate.pitch.measured': { hz: ratesHz, at: felt(otherHz, 0.01, 2, 0.03) },
  });
  return secondRate(flight, HOVER, imuHz)?.told(sensorRecords(flight, HOVER), placeHz);
}

describe('a line of a slow log that the rates hold too', () => {
  // 1000/6 Hz and 100 Hz: 40 is where it is, 107 folds to 59.7 and 7, 216 to 49.3 and 16; 284 folds as 216 does: 500 is a multiple of both.
  test.for([
    ['where it is', 40, 40, [40]],
    ['folded once, mirrored', 107, 1000 / 6 - 107, [-107]],
    ['folded once, the same way round', 190, 190 - 1000 / 6, [190, -310]],
    ['folded so that both rates hide two of them', 216, 216 - 1000 / 6, [216, -284]],
  ] as const)('%s', ([, lineHz, placeHz, wanted]) => {
    for (const seed of [1, 2, 3]) {
      const told = toldOf({ imuHz: 1000 / 6, ratesHz: 100, lineHz, seed }, placeHz)!;
      expect(told.map((hz) => Math.round(hz))).toEqual(wanted);
    }
  });

  test('another line of the rates says nothing', () => {
    for (const otherHz of [44, 107, 55.3])
      expect(toldOf({ imuHz: 125, ratesHz: 100, lineHz: 40, otherHz, seed: 4 }, 40)).toBeNull();
  });

  test('noise alone says nothing', () => {
    let told = 0;
    for (let seed = 1; seed <= 40; seed++)
      if (toldOf({ imuHz: 125, ratesHz: 100, lineHz: 40, otherHz: 80, seed }, 23 + seed / 2) !== null) told++;
    expect(told).toBe(0);
  });
});

test('a second log at a whole part of the rate, or none at all, is no second rate', () => {
  const at = (t: number): number => Math.sin(250 * t);
  for (const hz of [200, 100, 50, 200 / 3]) {
    const flight = madeFlight(SECONDS, { 'gyro.x': { hz: 200, at }, 'rate.roll.measured': { hz, at } });
    expect(secondRate(flight, HOVER, 200)).toBeNull();
  }
  const other = madeFlight(SECONDS, {
    'gyro.x': { hz: 200, at },
    'motor.1.command': { hz: 80, at: (t) => 0.4 + 0.01 * at(t) },
  });
  expect(secondRate(other, HOVER, 200)!.ratesHz.map((hz) => Math.round(hz))).toEqual([80]);
  expect(secondRate(other, { startS: 0, endS: 3 }, 200)).toBeNull();
});
