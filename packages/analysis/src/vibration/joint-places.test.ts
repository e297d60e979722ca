/** Mean speeds of rotors in a calm hover, all together, on lines of known speeds that wander with their commands. */
import { expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { madeSensorRecord } from '../../../../tests/support/sensor-record.js';
import { jointPlaces } from './joint-places.js';
import { angleOf, type TurningRotor } from './order-lines.js';
import { rotorMeans } from './rotor-means.js';
import type { SensorRecord } from './sensor-records.js';

const RATE = 267;
const SECONDS = 30;
/** One rotor far below the others: a worn motor, say. */
const MEANS_HZ = [50, 52.1, 52.9, 52.2];
/** Whole numbers of swings over the hover, so that the mean of the course is known. */
const SWINGS = [3, 5, 8, 11].map((k) => (2 * Math.PI * k) / SECONDS);
const SHARE = 0.012;
const ROUGH_HZ = 52.6;

interface Made {
  readonly first: readonly number[];
  readonly second?: readonly number[];
  /** Noise of a mode: frequency, half width, Hz, and rms. */
  readonly mode?: readonly [number, number, number];
}

/** Three axes, each with noise and phases of its own. */
function recordsOf(made: Made): SensorRecord[] {
  return [0, 1, 2].map((axis) => recordOf(made, axis));
}

function recordOf({ first, second = [0, 0, 0, 0], mode }: Made, axis: number): SensorRecord {
  const noise = randomSource(71 + 10 * axis);
  const turned = (r: number, t: number): number =>
    MEANS_HZ[r]! * (t + (SHARE / SWINGS[r]!) * (1 - Math.cos(SWINGS[r]! * t)));
  const rung = mode === undefined ? null : ringing(mode, randomSource(72 + 10 * axis));
  const values = Float64Array.from({ length: SECONDS * RATE }, (_, i) =>
    MEANS_HZ.reduce(
      (sum, _hz, r) =>
        sum +
        first[r]! * Math.sin(2 * Math.PI * turned(r, i / RATE) + r + axis) +
        second[r]! * Math.sin(4 * Math.PI * turned(r, i / RATE) + 2 * r + axis),
      0.1 * noise.normal() + (rung?.[i] ?? 0),
    ),
  );
  return madeSensorRecord(values, RATE);
}

/** First-order noise turned to the frequency of a mode. */
function ringing(
  [hz, halfHz, rms]: readonly [number, number, number],
  noise: ReturnType<typeof randomSource>,
) {
  const keep = Math.exp((-2 * Math.PI * halfHz) / RATE);
  let [c, s] = [0, 0];
  return Float64Array.from({ length: SECONDS * RATE }, (_, i) => {
    c = keep * c + Math.sqrt(1 - keep * keep) * noise.normal();
    s = keep * s + Math.sqrt(1 - keep * keep) * noise.normal();
    const x = (2 * Math.PI * hz * i) / RATE;
    return rms * (c * Math.cos(x) + s * Math.sin(x));
  });
}

function roughly(record: SensorRecord): TurningRotor[] {
  return SWINGS.map((swing, r) => {
    const values = Float64Array.from(
      { length: 100 * SECONDS + 1 },
      (_, i) => 1 + SHARE * Math.sin(swing * 0.01 * i),
    );
    const speed = { startS: 0, stepS: 0.01, values };
    return { ...angleOf(r + 1, speed, ROUGH_HZ, record), speed };
  });
}

const placedIn = (records: readonly SensorRecord[]) => jointPlaces(roughly(records[0]!), records, 14)!;

const meanOff = (rotors: readonly TurningRotor[]): number =>
  rotors.reduce((sum, { meanHz }) => sum + meanHz, 0) / MEANS_HZ.reduce((sum, hz) => sum + hz, 0) - 1;

// A carrier may stand anywhere within its half width of 0.15 Hz.
test('rotors that smear one another, one of them 4 % below, are each placed within 0.3 %', () => {
  const records = recordsOf({ first: [0.1, 0.4, 0.3, 0.3] });
  const rotors = placedIn(records);
  rotors.forEach(({ meanHz }, r) => {
    expect(Math.abs(meanHz / MEANS_HZ[r]! - 1)).toBeLessThan(0.003);
  });
});

test('a mode six times as strong as the second multiple, beside it, does not take them along', () => {
  const records = recordsOf({
    first: [0.2, 0.2, 0.2, 0.2],
    second: [0.1, 0.1, 0.1, 0.1],
    mode: [107, 0.6, 0.4],
  });
  expect(Math.abs(meanOff(placedIn(records)))).toBeLessThan(0.002);
  // Placed one after the other by height alone, the mode takes them along.
  expect(Math.abs(meanOff(rotorMeans(roughly(records[0]!), records, 14).rotors))).toBeGreaterThan(0.003);
});

test('a rotor that does not show stands as far off the rough mean as the others do', () => {
  const records = recordsOf({ first: [0, 0.3, 0.3, 0.3] });
  const rotors = placedIn(records);
  const others = (rotors[1]!.meanHz + rotors[2]!.meanHz + rotors[3]!.meanHz) / 3;
  expect(rotors[0]!.meanHz).toBeCloseTo(others, 6);
});

test('noise alone places none', () => {
  const records = recordsOf({ first: [0, 0, 0, 0] });
  expect(jointPlaces(roughly(records[0]!), records, 14)).toBeNull();
});
