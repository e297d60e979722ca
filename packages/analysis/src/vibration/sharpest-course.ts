/** How rotors in their places follow the commands: of all powers and lags those by which their lines become sharpest. */
import { scannedRecords } from './find-base.js';
import { orderBand, restFloor, restSpectrum, turned, type OrderBand } from './order-band.js';
import { angleOf, type TurningRotor } from './order-lines.js';
import type { PlacedBase } from './place-rotors.js';
import { speedsFrom } from './relative-speeds.js';
import { foldedHz } from './rotor-lines.js';
import { ahead } from './rotor-means.js';
import type { SensorRecord } from './sensor-records.js';
import { MeanAngle } from './take-out-rotors.js';

/** Powers of the command that a speed may follow, and lags behind it, s. */
const POWERS = [0.5, 0.6, 0.7, 0.8, 0.9, 1];
const LAGS_S = [0.03, 0.06, 0.1];
/** Multiples that are looked at. */
const ORDERS = [1, 2, 3];
/** What a rotor holds stands this near its mean speed, Hz, and over the background by so much, natural log. */
const NEAR_HZ = 0.4;
const LEAST_HEIGHT = 1.8;

/**
 * In a calm hover the places of the rotors hardly tell how they follow their commands, and what tells the places, that each turns where
 * its mean command makes one expect it, says nothing of it.
 *
 * @returns the same places, with other courses where these make lines sharper
 */
export function withSharpestCourse<Placed extends PlacedBase>(
  placed: Placed,
  records: readonly SensorRecord[],
  lowestHz: number,
): Placed {
  const { commands, rotors } = placed;
  // Rotors that turn steadily, whatever the commands do, have no courses of their own.
  if (rotors.length !== commands.length || rotors.every(({ rotor }) => rotor === null)) return placed;
  const mean = new MeanAngle(rotors);
  const bands = scannedRecords(records).flatMap((record) =>
    ORDERS.flatMap((order) => bandAt(record, order, mean, lowestHz) ?? []),
  );
  const by = (
    power: number,
    lagS: number,
  ): { power: number; lagS: number; rotors: TurningRotor[]; value: number } => {
    const turning = speedsFrom(commands, power, lagS).map(({ rotor, speed }, r) => ({
      ...angleOf(rotor, speed, rotors[r]!.meanHz, records[0]!),
      speed,
    }));
    return { power, lagS, rotors: turning, value: sharpnessOf(turning, bands, mean) };
  };
  const best = [
    by(placed.power, placed.lagS),
    ...POWERS.flatMap((power) => LAGS_S.map((lagS) => by(power, lagS))),
  ].reduce((a, b) => (b.value > a.value ? b : a));
  return { ...placed, power: best.power, lagS: best.lagS, rotors: best.rotors };
}

interface Surroundings {
  readonly band: OrderBand;
  readonly floor: number;
}

function bandAt(record: SensorRecord, order: number, mean: MeanAngle, lowestHz: number): Surroundings | null {
  const hz = foldedHz(order * mean.meanHz, record.sampleRateHz);
  if (record.values.length !== mean.turns.length || hz < lowestHz || hz > 0.49 * record.sampleRateHz)
    return null;
  const band = orderBand(record, record.values, mean.cosSin(order), order, mean.meanHz);
  return { band, floor: restFloor(restSpectrum(band, band.z)) };
}

/** Sum of the heights of all lines, natural logs. */
function sharpnessOf(
  rotors: readonly TurningRotor[],
  bands: readonly Surroundings[],
  mean: MeanAngle,
): number {
  let sum = 0;
  for (const { band, floor } of bands)
    for (const rotor of rotors) {
      const { density, middle, binHz } = restSpectrum(
        band,
        turned(band.z, ahead(rotor, rotor.meanHz, mean, band), -1),
      );
      const reach = Math.max(1, Math.round(NEAR_HZ / binHz));
      const top = density
        .subarray(Math.max(0, middle - reach), middle + reach + 1)
        .reduce((a, b) => Math.max(a, b), 0);
      sum += Math.max(0, Math.log(top / floor) - LEAST_HEIGHT);
    }
  return sum;
}
