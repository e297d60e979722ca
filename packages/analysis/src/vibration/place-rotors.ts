/** Each rotor at a mean speed of its own, from a base and the course that each may have. */
import { JointSearch, type JointPlaces } from './joint-places.js';
import { angleOf, type TurningRotor } from './order-lines.js';
import { SLOWEST_HZ, speedsFrom, steadyOf, type Commands, type SpeedGuess } from './relative-speeds.js';
import { MEAN_KNOWN, rotorMeans, THOROUGH, type RotorMeans, type SearchEffort } from './rotor-means.js';
import { scannedRecords } from './find-base.js';
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

/** What may turn: a rough mean of the rotors’ speeds, and how these may follow the commands. */
export interface RoughBase {
  readonly commands: Commands;
  readonly baseHz: number;
  readonly power: number;
  readonly lagS: number;
}

export interface PlacedBase extends RoughBase {
  readonly rotors: readonly TurningRotor[];
  /** How many of them show; the others are where their commands make one expect them. */
  readonly shown: number;
  /** What they hold, log of likelihoods, and that by multiple from the first. */
  readonly held: number;
  readonly byOrder: readonly number[];
}

/** Where one command stands for all rotors: as many families as show. */
export function placedAlone<Base extends RoughBase>(
  base: Base,
  records: readonly SensorRecord[],
  follows: boolean,
  effort: SearchEffort,
): (Base & PlacedBase) | null {
  const guesses = speedsFrom(base.commands, base.power, base.lagS);
  const { rotors, shown, score, byOrder } = placedRotors(guesses, base.baseHz, records, follows, effort);
  return score > 0 ? { ...base, rotors, shown, held: score, byOrder } : null;
}

/** Where the mean of the rotors is sought, off where it was found: bands are read around each of the first, from each of the second. */
const BASES_OFF = [-0.05, 0, 0.05];
const OFFS = [-0.017, 0, 0.017];
/** Off the power that is likeliest, where the throttle moves; and all powers that there are where it does not. */
const POWERS_OFF = [-0.04, -0.02, 0, 0.02, 0.04];
const POWERS = [0.5, 0.62, 0.75, 0.87, 1];
/** Speeds follow commands to a power of ½, where thrust goes with them, or more. */
const LEAST_POWER = 0.44;
/** Starts from which rotors are placed, the most promising ones; and how many of them are gone on with. */
const MOST_STARTS = 16;
const MOST_SETTLED = 3;

/**
 * All rotors together around a base: of the mean speeds near it and of the powers of the commands those by which the rotors hold most.
 *
 * @returns null where nothing shows
 */
export function placedTogether<Base extends RoughBase>(
  base: Base,
  records: readonly SensorRecord[],
  { moves, steady, known }: WhatIsKnown,
): (Base & PlacedBase) | null {
  const { commands, lagS } = base;
  const likeliest = speedsFrom(commands, base.power, lagS);
  const searches = (known ? [0] : BASES_OFF).map(
    (off) => new JointSearch(likeliest, (1 + off) * base.baseHz, records, SLOWEST_HZ, OFFS.at(-1)!),
  );
  const most = (ways: readonly Way[]): Placed | null =>
    ways
      .flatMap((way) => {
        const guesses = speedsFrom(way.commands, way.power, lagS);
        return searches
          .flatMap((search) => search.by(guesses, moves || way.commands !== commands))
          .flatMap((by) => OFFS.map((off) => ({ way, by, off, promise: by.promise(off) })));
      })
      .sort((a, b) => b.promise - a.promise)
      .slice(0, MOST_STARTS)
      .map(({ way, by, off }) => ({ way, found: by.from(off) }))
      .sort((a, b) => b.found.held - a.found.held)
      .slice(0, MOST_SETTLED)
      .flatMap(({ way, found }) => {
        found.settle();
        const places = found.places();
        return places === null ? [] : [{ ...way, ...places }];
      })
      .reduce<Placed | null>((a, b) => (a !== null && a.held >= b.held ? a : b), null);
  const powers = moves
    ? POWERS_OFF.map((off) => base.power + off).filter((power) => power > LEAST_POWER)
    : POWERS;
  const byCourse = (some: Commands): Placed | null =>
    most(powers.map((power) => ({ power, commands: some })));
  const followed = byCourse(commands);
  const still = steady ? byCourse(steadyOf(commands)) : null;
  const rough = still !== null && still.held > STEADIER * (followed?.held ?? 0) ? still : followed;
  if (rough === null) return null;
  const { power, rotors, shown, held, byOrder } = rough;
  return { ...base, baseHz: meanHzOf(rotors), power, rotors, shown, held, byOrder };
}

/** In a calm hover: rotors that were placed together, placed one after the other in the same way, where their lines then hold more. */
export function orOneByOne<Placed extends PlacedBase>(
  together: Placed,
  records: readonly SensorRecord[],
): Placed {
  // Rotors that turn steadily, whatever the commands do, have no courses of their own.
  if (together.rotors.every(({ rotor }) => rotor === null)) return together;
  const { commands, power, lagS, baseHz } = together;
  const { rotors, shown, score } = rotorMeans(
    speedsFrom(commands, power, lagS).map(({ rotor, speed, share }) => ({
      ...angleOf(rotor, speed, share * baseHz, records[0]!),
      speed,
    })),
    records,
    SLOWEST_HZ,
    MEAN_KNOWN,
  );
  const some = scannedRecords(records);
  // What strong lines leave passes for a rotor sooner where each is placed by itself.
  return score > 0 && heldBy(rotors, some) > heldBy(together.rotors, some)
    ? { ...together, rotors, shown: Math.min(shown, together.shown), baseHz: meanHzOf(rotors) }
    : together;
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

/** Of the hover, and of a base in it. */
export interface WhatIsKnown {
  /** The throttle moves, which tells the power, and the rotors do what it does. */
  readonly moves: boolean;
  /** The commands may say less of the speeds than that they are constant. */
  readonly steady: boolean;
  /** The base is, to within a few percent. */
  readonly known: boolean;
}

interface Way {
  readonly power: number;
  readonly commands: Commands;
}

type Placed = JointPlaces & Way;

export function meanHzOf(rotors: readonly TurningRotor[]): number {
  return rotors.reduce((sum, { meanHz }) => sum + meanHz, 0) / rotors.length;
}
