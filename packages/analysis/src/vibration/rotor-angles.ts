/** The angle of every rotor over the hover: from its logged speed, or found by what makes the vibration sharpest. */
import type { Flight, Interval } from '@settle/parser';
import { basesOf, clustersOf, followingPeaks, scannedRecords, type FollowingPeak } from './find-base.js';
import { foldContrast } from './fold-contrast.js';
import { focusCourse, type FocusedCourse } from './focus-course.js';
import type { RotorAngle } from './order-lines.js';
import {
  commandsOf,
  loggedSpeeds,
  speedsFrom,
  togetherOf,
  type Commands,
  type SpeedGuess,
} from './relative-speeds.js';
import { resampledBase } from './resampled-base.js';
import {
  MEAN_KNOWN,
  QUICK,
  rotorMeans,
  THOROUGH,
  type RotorMeans,
  type SearchEffort,
} from './rotor-means.js';
import { meanCommand, throttleMoves } from './rotor-study.js';
import type { SensorRecord } from './sensor-records.js';
import { calmBase } from './calm-base.js';
import type { RelativeSpeed } from './turn-records.js';

export interface RotorAngles {
  readonly from: 'speed-channel' | 'spectrum';
  readonly rotors: readonly (RotorAngle & { readonly speed: RelativeSpeed })[];
  /** Power of the throttle and lag that made the lines sharpest; null with logged speeds. */
  readonly guess: { readonly power: number; readonly lagS: number } | null;
  /** Power of the throttle that the speeds follow, where the throttle moved enough to tell and no speed is logged. */
  readonly exponent: { readonly power: number; readonly std: number } | null;
  readonly evidence: readonly string[];
}

/** Slowest rotors looked for, revolutions per second. */
const SLOWEST_HZ = 12;
/** How sure the power is that makes the lines sharpest. */
const POWER_STD = 0.04;
/** No more of a long hover is searched, s. */
const SEARCHED_S = 30;

export function rotorAngles(
  flight: Flight,
  interval: Interval,
  records: readonly SensorRecord[],
): RotorAngles | null {
  const first = records[0];
  if (first === undefined) return null;
  const logged = loggedSpeeds(flight, interval);
  if (logged.length > 0)
    return {
      from: 'speed-channel',
      rotors: logged.map((g) => ({ ...angleOf(g.rotor, g.speed, g.meanHz!, first), speed: g.speed })),
      guess: null,
      exponent: null,
      evidence: [`${String(logged.length)} rotor speeds are logged`],
    };
  return searchAngles(flight, interval, records);
}

/** Turns of a rotor at the samples of a record. */
export function angleOf(
  rotor: number | null,
  speed: RelativeSpeed,
  meanHz: number,
  record: Pick<SensorRecord, 'startS' | 'sampleRateHz' | 'values'>,
): RotorAngle {
  const { values, stepS } = speed;
  const n = record.values.length;
  const turns = new Float64Array(n);
  const step = 1 / record.sampleRateHz;
  for (let i = 1; i < n; i++) {
    const t = record.startS + (i - 0.5) * step;
    const x = Math.max(0, Math.min(values.length - 1.000001, (t - speed.startS) / stepS));
    const k = Math.floor(x);
    turns[i] = turns[i - 1]! + step * meanHz * (values[k]! + (x - k) * (values[k + 1]! - values[k]!));
  }
  return { rotor, meanHz, turns };
}

function searchAngles(
  flight: Flight,
  interval: Interval,
  records: readonly SensorRecord[],
): RotorAngles | null {
  const rate = records[0]!.sampleRateHz;
  const searched = records
    .filter((record) => record.sampleRateHz === rate)
    .map((record) => ({ ...record, values: record.values.subarray(0, Math.round(SEARCHED_S * rate)) }));
  const commands = commandsOf(flight, interval);
  if (commands.length === 0) return null;
  const told = meanCommand(flight, interval);
  const moves = told !== null && throttleMoves(told.values);
  const found = foundBase(commands, searched, records, moves);
  if (found === null) return null;
  const { power, lagS, rotors } = found;
  return {
    from: 'spectrum',
    rotors,
    guess: { power, lagS },
    // A throttle that hardly moves cannot tell one power from another, and none needs to be told.
    exponent: moves ? { power, std: POWER_STD } : null,
    evidence: [
      `no rotor speeds are logged; lines become sharpest when the speeds follow the ${commands[0]!.rotor === null ? 'throttle' : 'motor commands'} to the power ${power.toFixed(1)}, ${(1000 * lagS).toFixed(0)} ms late`,
    ],
  };
}

/** What the steady reading must hold more, as a ratio: it tells no rotor from another. */
const STEADIER = 1.1;

/** What follows the commands so clearly that a steady reading can only find a mode or a tone: gain and height, natural logs. */
const CLEAR_GAIN = 1;
const CLEAR_HEIGHT = 3;

function followsClearly({ gain, height }: FollowingPeak): boolean {
  return gain > CLEAR_GAIN && height > CLEAR_HEIGHT;
}

/** Each rotor at its own mean speed; in a calm hover the commands may say less of the speeds than that they are constant. */
function placedRotors(
  guesses: readonly SpeedGuess[],
  baseHz: number,
  records: readonly SensorRecord[],
  follows: boolean,
  effort = THOROUGH,
): RotorMeans {
  const first = records[0]!;
  const at = (rotor: number | null, speed: RelativeSpeed, share = 1): RotorAngles['rotors'][number] => ({
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

/** Powers and lags by which peaks are tried for following the motor commands. */
const WAYS = [
  [0.5, 0.05],
  [0.8, 0.12],
  [0.5, 0.12],
  [0.8, 0.05],
  [1, 0.08],
] as const;
/** Bases that are placed, to see which holds most. */
const MOST_BASES = 4;
/** Share of what the best holds from which a base is followed further. */
const LIKELY = 0.5;
/** Half range of the courses, as a share, from which it matters which power and lag they follow. */
const SWINGS = 0.05;
/** The same, from which what follows does so at its own frequency and at no other that folds there. */
const WANDERS = 0.1;
/** What a multiple of the base is worth, against the one before it, and a family whose first line does not show. */
const PER_ORDER = 0.8;
const WITHOUT_FIRST = 0.5;
/** Share of all that is held from which the first line counts in full. */
const FIRST_SHARE = 0.12;
/** A base beyond half the sample rate must hold so many times what any other does, or which one it is cannot be told. */
const CLEARER = 1.5;
/** In a slow log a base must come into focus as it is, at least so far, or it may as well be a folded one: natural logs. */
const SLOW_GAIN = 0.1;
const SLOW_HEIGHT = 3;
const SAME_BASE = 0.03;
const SAME_MULTIPLE = 0.04;
/** Rotors found this far from the base that they were sought around are something else, as a share. */
const RUNS_AWAY = 0.08;

interface Found {
  readonly power: number;
  readonly lagS: number;
  readonly rotors: RotorAngles['rotors'];
}

/** The rotors, each in its place, and how their speeds follow the commands; null where nothing says what turns. */
function foundBase(
  commands: Commands,
  searched: readonly SensorRecord[],
  records: readonly SensorRecord[],
  moves: boolean,
): Found | null {
  return (
    (moves ? null : calmRotors(commands, searched, records)) ??
    followingRotors(commands, searched, records, moves)
  );
}

/** By what the commands explain of the lines while the throttle hardly moves. */
function calmRotors(
  commands: Commands,
  searched: readonly SensorRecord[],
  records: readonly SensorRecord[],
): Found | null {
  const rate = searched[0]!.sampleRateHz;
  const base = calmBase(commands, clustersOf(searched, SLOWEST_HZ), rate, SLOWEST_HZ, rate < FOLDS_BELOW_HZ);
  if (base === null) return null;
  const guesses = speedsFrom(commands, base.power, base.lagS);
  const { rotors, score } = placedRotors(guesses, base.baseHz, records, true, MEAN_KNOWN);
  return score > 0 ? { ...base, rotors } : null;
}

interface Tried extends FocusedCourse {
  readonly rotors: RotorAngles['rotors'];
  readonly commands: Commands;
  /** What the lines of its orders hold, logs. */
  readonly value: number;
  /** What the peaks that it was found by are worth. */
  readonly score: number;
}

/** By what comes into focus when the records are turned with the commands. */
function followingRotors(
  each: Commands,
  searched: readonly SensorRecord[],
  records: readonly SensorRecord[],
  moves: boolean,
): Found | null {
  const rate = searched[0]!.sampleRateHz;
  const folds = rate < FOLDS_BELOW_HZ;
  const guesses = (moves && each.length > 1 ? [each, togetherOf(each)] : [each]).flatMap((commands) =>
    WAYS.map(([power, lagS]) => ({ commands, power, lagS })),
  );
  const following = followingPeaks(
    guesses.map(({ commands, power, lagS }) => speedsFrom(commands, power, lagS)),
    searched,
    SLOWEST_HZ,
    folds,
  );
  const guess = guesses[following.guess]!;
  const bases = basesOf(following.peaks).slice(0, MOST_BASES);
  const follows = moves || following.peaks.some(followsClearly);
  const swings = following.excursion > SWINGS;
  const wanders = moves || following.excursion > WANDERS;
  const placeWith = (commands: Commands) => {
    const focused = (start: FocusedCourse): FocusedCourse =>
      swings
        ? focusCourse(commands, start, scannedRecords(searched), SLOWEST_HZ, following.excursion, folds)
        : start;
    return (start: FocusedCourse, score: number, effort: SearchEffort): Tried => {
      const { power, lagS, baseHz } = focused(start);
      const means = placedRotors(speedsFrom(commands, power, lagS), baseHz, records, follows, effort);
      const held = means.byOrder.reduce((sum, v, i) => sum + v * PER_ORDER ** i, 0);
      const first = Math.min(1, (means.byOrder[0] ?? 0) / Math.max(1e-9, FIRST_SHARE * held));
      const shown = (WITHOUT_FIRST + (1 - WITHOUT_FIRST) * first) * held;
      const value = Math.abs(meanHzOf(means.rotors) / baseHz - 1) > RUNS_AWAY ? 0 : shown;
      return { commands, power, lagS, baseHz, rotors: means.rotors, value, score };
    };
  };
  // Once more from where the rotors were found: bands around a rough base hold only part of them.
  const again = (one: Tried, effort: SearchEffort): Tried =>
    placeWith(one.commands)(swings ? { ...one, baseHz: meanHzOf(one.rotors) } : one, one.score, effort);
  const triedWith = (commands: Commands): Tried[] => {
    const { power, lagS } = guess;
    const roughly = bases.map(({ hz, score }) =>
      placeWith(commands)({ power, lagS, baseHz: hz }, score, QUICK),
    );
    const most = Math.max(0, ...roughly.map(({ value }) => value));
    return roughly.map((one) => {
      if (!swings || one.value < LIKELY * most || one.value === 0) return one;
      const moved = again(one, QUICK);
      // What runs away from where it was found is another thing.
      return Math.abs(meanHzOf(moved.rotors) / meanHzOf(one.rotors) - 1) < SAME_BASE
        ? better(one, moved)
        : one;
    });
  };
  // Gusts may move the rotors so far apart that no course of them all holds anything.
  const together = triedWith(guess.commands);
  const tried =
    guess.commands === each || together.some(({ value }) => value > 0) ? together : triedWith(each);
  const first = bestOf(tried);
  if (first !== undefined) {
    const plain = Math.max(
      0,
      ...tried.filter((one) => one.baseHz < rate / 2 && !isMultiple(first, one)).map(({ value }) => value),
    );
    if (first.baseHz > rate / 2 && first.value < CLEARER * plain) return null;
    const last = again(first, THOROUGH);
    const best =
      last.value < first.value ? better(last, placeWith(first.commands)(first, first.score, THOROUGH)) : last;
    return wanders || !folds || standsWhereItIs(each, searched, best.baseHz) ? best : null;
  }
  const fallback = resampledBase(guess.commands, searched);
  if (fallback === null) return null;
  const shows = ({ trueHz, gain, height }: FollowingPeak): boolean =>
    Math.abs(trueHz / fallback.baseHz - 1) < SAME_BASE &&
    gain > SLOW_GAIN &&
    (wanders ? gain * height > SLOW_GAIN * SLOW_HEIGHT : height > SLOW_HEIGHT);
  if (folds && !following.peaks.some(shows)) return null;
  if (folds && !wanders && !standsWhereItIs(each, searched, fallback.baseHz)) return null;
  return { ...fallback, rotors: placedRotors(fallback.guesses, fallback.baseHz, records, moves).rotors };
}

/** What must speak for a base as it stands in a slow, calm log, and against the sample rate less that: log of likelihoods. */
const LEAST_CONTRAST = 120;
/** Its first line stands at most so far below what stands highest, natural log, or it may as well be a mode. */
const MOST_BELOW = 1.5;

/** Where the commands hardly move, what follows them hardly tells a folded rotor from one that is seen where it is; its wandering may. */
function standsWhereItIs(commands: Commands, searched: readonly SensorRecord[], baseHz: number): boolean {
  const rate = searched[0]!.sampleRateHz;
  if (baseHz > rate / 2) return false;
  const clusters = clustersOf(searched, SLOWEST_HZ);
  const first = clusters.find(({ hz }) => Math.abs(hz / baseHz - 1) < SAME_BASE);
  return (
    first !== undefined &&
    first.height > clusters[0]!.height - MOST_BELOW &&
    foldContrast(commands, clusters, baseHz, rate) > LEAST_CONTRAST
  );
}

/** Multiples of a base that may be taken for it. */
const MULTIPLES = [2, 3, 4];

/** The base that holds most, by what its own frames show and by the peaks that it was found by: either alone may fall for a multiple. */
function bestOf(tried: readonly Tried[]): Tried | undefined {
  const worth = ({ value, score }: Tried): number => value * score;
  return tried.filter(({ value }) => value > 0).sort((a, b) => worth(b) - worth(a))[0];
}

function isMultiple(one: Tried, of: Tried): boolean {
  const ratio = meanHzOf(one.rotors) / meanHzOf(of.rotors);
  return MULTIPLES.some((multiple) => Math.abs(ratio / multiple - 1) < SAME_MULTIPLE);
}

function better(one: Tried, other: Tried): Tried {
  return other.value > one.value ? other : one;
}

function meanHzOf(rotors: RotorAngles['rotors']): number {
  return rotors.reduce((sum, { meanHz }) => sum + meanHz, 0) / rotors.length;
}

/** Logs this fast show every rotor where it is; in slower ones it may be folded. */
export const FOLDS_BELOW_HZ = 350;
