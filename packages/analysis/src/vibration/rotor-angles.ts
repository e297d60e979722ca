/** The angle of every rotor over the hover: from its logged speed, or found by what makes the vibration sharpest. */
import type { Flight, Interval } from '@settle/parser';
import { motorSignals } from '../signals.js';
import { commandsFromDemands } from './commands-from-demands.js';
import { clustersOf } from './find-base.js';
import { findRotors, FOLDS_BELOW_HZ, mayFold, type FoundRotors } from './find-rotors.js';
import { angleOf, type TurningRotor } from './order-lines.js';
import { commandsOf, loggedSpeeds, SLOWEST_HZ, withoutDrift } from './relative-speeds.js';
import { meanCommand, throttleMoves } from './rotor-study.js';
import type { SecondRate } from './second-rate.js';
import type { SensorRecord } from './sensor-records.js';
import { withoutFoldedLines } from './without-folded-lines.js';
import { withoutGyroNoise } from './without-gyro-noise.js';

export interface RotorAngles {
  readonly from: 'speed-channel' | 'spectrum';
  readonly rotors: readonly TurningRotor[];
  /** Rotors of which nothing shows: they are where their commands make one expect them. */
  readonly unseen: number;
  /** Power of the throttle and lag that made the lines sharpest; null with logged speeds. */
  readonly guess: { readonly power: number; readonly lagS: number } | null;
  /** Power of the throttle that the speeds follow, where the throttle moved enough to tell and no speed is logged. */
  readonly exponent: { readonly power: number; readonly std: number } | null;
  readonly evidence: readonly string[];
}

/** How sure the power is that makes the lines sharpest. */
const POWER_STD = 0.04;
/** The throttle swings, and smears lines, where its 95th percentile is so many times its 5th: ±7 %. */
const SWINGS = 1.15;
/** No more of a long hover is searched, s. */
const SEARCHED_S = 30;

export function rotorAngles(
  flight: Flight,
  interval: Interval,
  records: readonly SensorRecord[],
  second: SecondRate | null,
): RotorAngles | null {
  const first = records[0];
  if (first === undefined) return null;
  const logged = loggedSpeeds(flight, interval);
  if (logged.length > 0)
    return {
      from: 'speed-channel',
      rotors: logged.map((g) => ({ ...angleOf(g.rotor, g.speed, g.meanHz!, first), speed: g.speed })),
      unseen: 0,
      guess: null,
      exponent: null,
      evidence: [`${String(logged.length)} rotor speeds are logged`],
    };
  return searchAngles(flight, interval, records, second);
}

function searchAngles(
  flight: Flight,
  interval: Interval,
  records: readonly SensorRecord[],
  second: SecondRate | null,
): RotorAngles | null {
  const rate = records[0]!.sampleRateHz;
  const searched = records
    .filter((record) => record.sampleRateHz === rate)
    .map((record) => ({ ...record, values: record.values.subarray(0, Math.round(SEARCHED_S * rate)) }));
  const clusters = clustersOf(searched, SLOWEST_HZ, second);
  const alike = records.filter((record) => record.sampleRateHz === rate);
  const folds = mayFold(clusters, rate);
  const clean = withoutGyroNoise(commandsFromDemands(flight, interval, motorSignals(flight)), alike);
  const motors = rate < FOLDS_BELOW_HZ ? withoutFoldedLines(clean, alike, clusters, folds) : clean;
  const logged = commandsOf(flight, interval, motors);
  if (logged.length === 0) return null;
  const told = meanCommand(flight, interval);
  const moves = told !== null && throttleMoves(told.values);
  const swings = told !== null && throttleMoves(told.values, SWINGS);
  const commands = swings ? logged : withoutDrift(logged);
  const found = findRotors(commands, clusters, searched, records, swings, second);
  if (found === null) return null;
  const { power, lagS, rotors, shown } = found;
  return {
    from: 'spectrum',
    rotors,
    unseen: rotors.length - shown,
    guess: { power, lagS },
    // A throttle that hardly moves cannot tell one power from another, and none needs to be told.
    exponent: moves ? { power, std: POWER_STD } : null,
    evidence: [
      `no rotor speeds are logged; ${howFound(found, commands[0]!.rotor === null ? 'throttle' : 'motor commands')}`,
      ...(shown < rotors.length
        ? [
            `${String(shown)} of ${String(rotors.length)} rotors show; the others are taken to turn as their commands make one expect`,
          ]
        : []),
    ],
  };
}

function howFound({ by, power, lagS }: FoundRotors, followed: string): string {
  return by === 'wander'
    ? `the way in which lines wander with the ${followed} is that of rotors at this speed, and of no other`
    : by === 'second-rate'
      ? 'what is logged at another rate says that lines are folded here, and where multiples of them fold to there are lines as well'
      : `lines become sharpest when the speeds follow the ${followed} to the power ${power.toFixed(1)}, ${(1000 * lagS).toFixed(0)} ms late`;
}
