/** Each rotor at a mean speed of its own, from a base and the course that each may have. */
import { angleOf, type TurningRotor } from './order-lines.js';
import { SLOWEST_HZ, type SpeedGuess } from './relative-speeds.js';
import { rotorMeans, THOROUGH, type RotorMeans } from './rotor-means.js';
import type { SensorRecord } from './sensor-records.js';
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
