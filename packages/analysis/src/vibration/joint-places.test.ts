/** Mean speeds of rotors in a calm hover, all together, on lines of known speeds that wander with their commands. */
import { expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { madeSensorRecord } from '../../../../tests/support/sensor-record.js';
import { JointSearch, type JointPlaces } from './joint-places.js';
import { angleOf, type TurningRotor } from './order-lines.js';
import type { SpeedGuess } from './relative-speeds.js';
import { rotorMeans } from './rotor-means.js';
import type { SensorRecord } from './sensor-records.js';

const RATE = 267;
const SECONDS = 30;
/** One rotor below the others though it is told as much: a worn motor, say. */
const MEANS_HZ = [51, 52.1, 52.9, 52.2];
/** Whole numbers of swings over the hover, so that the mean of the course is known. */
const SWINGS = [3, 5, 8, 11].map((k) => (2 * Math.PI * k) / SECONDS);
const SHARE = 0.012;
const ROUGH_HZ = 52.6;

interface Made {
  readonly first: readonly number[];
  /** Mean speed of the first rotor, where it is another one. */
  readonly lowestHz?: number;
  readonly second?: readonly number[];
  /** Noise of a mode: frequency, half width, Hz, and rms. */
  readonly mode?: readonly [number, number, number];
}

const meansOf = (lowestHz = MEANS_HZ[0]): number[] => [lowestHz!, ...MEANS_HZ.slice(1)];

/** Three axes, each with noise and phases of its own. */
function recordsOf(made: Made): SensorRecord[] {
  return [0, 1, 2].map((axis) => recordOf(made, axis));
}

function recordOf({ first, second = [0, 0, 0, 0], lowestHz, mode }: Made, axis: number): SensorRecord {
  const meansHz = meansOf(lowestHz);
  const noise = randomSource(71 + 10 * axis);
  const turned = (r: number, t: number): number =>
    meansHz[r]! * (t + (SHARE / SWINGS[r]!) * (1 - Math.cos(SWINGS[r]! * t)));
  const rung = mode === undefined ? null : ringing(mode, randomSource(72 + 10 * axis));
  const values = Float64Array.from({ length: SECONDS * RATE }, (_, i) =>
    meansHz.reduce(
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

function guesses(): SpeedGuess[] {
  return SWINGS.map((swing, r) => {
    const values = Float64Array.from(
      { length: 100 * SECONDS + 1 },
      (_, i) => 1 + SHARE * Math.sin(swing * 0.01 * i),
    );
    return { rotor: r + 1, meanHz: null, share: 1, speed: { startS: 0, stepS: 0.01, values } };
  });
}

function roughly(record: SensorRecord): TurningRotor[] {
  return guesses().map(({ rotor, speed }) => ({ ...angleOf(rotor, speed, ROUGH_HZ, record), speed }));
}

/** From the rough mean and a little either side, with carriers of every width: where they hold most. */
function placesIn(records: readonly SensorRecord[]): JointPlaces | null {
  const starts = new JointSearch(guesses(), ROUGH_HZ, records, 14, 0.017).by(guesses());
  const found = starts.flatMap((by) =>
    [-0.017, 0, 0.017].flatMap((off) => {
      const placed = by.from(off);
      placed.settle();
      return placed.places() ?? [];
    }),
  );
  return found.sort((a, b) => b.held - a.held)[0] ?? null;
}

const placedIn = (records: readonly SensorRecord[]): readonly TurningRotor[] => placesIn(records)!.rotors;

const meanOff = (rotors: readonly TurningRotor[]): number =>
  rotors.reduce((sum, { meanHz }) => sum + meanHz, 0) / MEANS_HZ.reduce((sum, hz) => sum + hz, 0) - 1;

// A carrier may stand anywhere within its half width of 0.15 Hz.
test.for([51, 50])(
  'rotors that smear one another, one of them at %i Hz, are each placed within 0.3 %%',
  (lowestHz) => {
    const records = recordsOf({ first: [0.1, 0.4, 0.3, 0.3], lowestHz });
    const rotors = placedIn(records);
    rotors.forEach(({ meanHz }, r) => {
      expect(Math.abs(meanHz / meansOf(lowestHz)[r]! - 1)).toBeLessThan(0.003);
    });
  },
);

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
  expect(placesIn(records)).toBeNull();
});
