/** Each rotor at a mean speed of its own, from a base and the course that each may have. */
import { jointPlaces } from './joint-places.js';
import { angleOf, type TurningRotor } from './order-lines.js';
import { SLOWEST_HZ, type SpeedGuess } from './relative-speeds.js';
import { rotorMeans, THOROUGH, type RotorMeans } from './rotor-means.js';
import type { SensorRecord } from './sensor-records.js';
import { MeanAngle, takeOutRotors } from './take-out-rotors.js';
import type { RelativeSpeed } from './turn-records.js';

/** What the steady reading must hold more, as a ratio: it tells no rotor from another. */
const STEADIER = 1.1;

/** Each rotor at its own mean speed; in a calm hover the commands may say less of the speeds than that they are constant. */
export function placedRotors(
  guesses: readonly SpeedGuess[],
  baseHz: number,
  records: readonly SensorRecord[],
  follows: boolean,
  effort = THOROUGH,
): RotorMeans {
  const first = records[0]!;
  const at = (rotor: number | null, speed: RelativeSpeed, share = 1): TurningRotor => ({
    ...angleOf(rotor, speed, share * baseHz, first),
    speed,
  });
  const rough = guesses.map(({ rotor, speed, share }) => at(rotor, speed, share));
  const followed = rotorMeans(rough, records, SLOWEST_HZ, effort);
  if (follows) return followed;
  const still = guesses.map(({ speed, share }) =>
    at(null, { ...speed, values: speed.values.map(() => 1) }, share),
  );
  const steady = rotorMeans(still, records, SLOWEST_HZ, effort);
  return steady.score > STEADIER * followed.score ? steady : followed;
}

/**
 * Rotors that were placed one after the other, placed all together around the mean that they had, unless their lines then hold less.
 *
 * @param guesses course of each rotor
 * @param scanned the records by which that is judged
 */
export function placedTogether(
  guesses: readonly SpeedGuess[],
  rotors: readonly TurningRotor[],
  records: readonly SensorRecord[],
  scanned: readonly SensorRecord[],
): readonly TurningRotor[] {
  // Rotors that turn steadily, whatever the commands do, have no courses of their own; neither have those that share one.
  if (rotors.every(({ rotor }) => rotor === null)) return rotors;
  const baseHz = rotors.reduce((sum, { meanHz }) => sum + meanHz, 0) / rotors.length;
  const rough = guesses.map(({ rotor, speed, share }) => ({
    ...angleOf(rotor, speed, share * baseHz, records[0]!),
    speed,
  }));
  const together = jointPlaces(rough, records, SLOWEST_HZ);
  return together !== null && heldBy(together, scanned) >= heldBy(rotors, scanned) ? together : rotors;
}

/** Chance that noise alone gives a line, where only the power of all lines counts. */
const ANY_LINE = 0.01;

/** Natural log of the power of all lines of rotors. */
function heldBy(rotors: readonly TurningRotor[], records: readonly SensorRecord[]): number {
  const mean = new MeanAngle(rotors);
  return records.reduce((sum, record) => {
    const { lines } = takeOutRotors(rotors, mean, record, SLOWEST_HZ, ANY_LINE);
    return sum + Math.log(1e-12 + lines.reduce((power, { rms }) => power + rms * rms, 0));
  }, 0);
}
