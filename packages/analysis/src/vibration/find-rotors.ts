/** What turns, where no speed is logged: by what the commands explain of the lines, by what comes into focus with them, by what a second log says. */
import { calmBases } from './calm-base.js';
import {
  basesOf,
  clearestRecords,
  followingPeaks,
  scannedRecords,
  type FollowingPeak,
  type PeakCluster,
} from './find-base.js';
import { heldClearlyMost, heldMost, holdsFamily, isMultiple } from './choose-base.js';
import { exactBases, isHigherPart } from './exact-families.js';
import { focusCourse, type FocusedCourse } from './focus-course.js';
import { foldContrast } from './fold-contrast.js';
import { mayBeMains } from './mains.js';
import { movingRotors } from './moving-rotors.js';
import type { TurningRotor } from './order-lines.js';
import {
  meanHzOf,
  orOneByOne,
  placedAlone,
  placedRotors,
  placedTogether,
  type PlacedBase,
  type RoughBase,
} from './place-rotors.js';
import { SLOWEST_HZ, speedsFrom, type Commands } from './relative-speeds.js';
import { resampledBase } from './resampled-base.js';
import { foldedHz } from './rotor-lines.js';
import { MEAN_KNOWN, QUICK, THOROUGH } from './rotor-means.js';
import { leavesFoldedLine, toldBases } from './told-base.js';
import type { SecondRate } from './second-rate.js';
import type { SensorRecord } from './sensor-records.js';
import { withSharpestCourse } from './sharpest-course.js';

/** Logs this fast show every rotor where it is; in slower ones it may be folded. */
export const FOLDS_BELOW_HZ = 350;

export interface FoundRotors {
  /** How their lines wander with the commands, where a second log says that they are, or how sharp turning with the commands makes them. */
  readonly by: 'wander' | 'second-rate' | 'focus';
  readonly power: number;
  readonly lagS: number;
  readonly rotors: readonly TurningRotor[];
  /** How many of them show. */
  readonly shown: number;
}

/** The rotors, each in its place, and how their speeds follow the commands; null where nothing says what turns. */
export function findRotors(
  commands: Commands,
  clusters: readonly PeakCluster[],
  searched: readonly SensorRecord[],
  records: readonly SensorRecord[],
  moves: boolean,
  second: SecondRate | null,
): FoundRotors | null {
  const rate = searched[0]!.sampleRateHz;
  if (moves) {
    // Lines that are swept make no peaks: what a second log says of peaks says nothing of them.
    const placed = movingRotors(commands, searched, records, rate < FOLDS_BELOW_HZ);
    return placed === null ? null : { by: 'focus', ...placed };
  }
  const folds = mayFold(clusters, rate);
  const told = toldBy(clusters, searched, second);
  return (
    calmRotors(commands, clusters, searched, records, folds) ??
    followingRotors(commands, clusters, searched, records, folds, told) ??
    toldRotors(commands, clusters, searched, records)
  );
}

/** Lines this much lower than the highest, natural log, and lower than this, are not asked where they truly are. */
const TELLING = 4;
const LEAST_TELLING = 1.5;

/** Whether a line of weight may be folded: in a slow log, unless a second one says of all of them that they stand where they are. */
export function mayFold(clusters: readonly PeakCluster[], rate: number): boolean {
  if (rate >= FOLDS_BELOW_HZ) return false;
  const least = Math.max(LEAST_TELLING, (clusters[0]?.height ?? 0) - TELLING);
  const telling = clusters.filter(({ height }) => height > least);
  return telling.length === 0 || telling.some(({ hz, told }) => told?.length !== 1 || told[0] !== hz);
}

/** What was found may be a multiple of the base: the second or the third. */
const PARTS = [2, 3];

/** By what the commands explain of the lines while the throttle hardly moves. */
function calmRotors(
  commands: Commands,
  clusters: readonly PeakCluster[],
  searched: readonly SensorRecord[],
  records: readonly SensorRecord[],
  folds: boolean,
): FoundRotors | null {
  const known = calmBases(commands, clusters, searched[0]!.sampleRateHz, SLOWEST_HZ, folds);
  if (known === null) return null;
  const first = known.likely[0]!;
  if (commands.length === 1) {
    const alone = known.clear ? placedAlone({ ...first, commands }, records, true, MEAN_KNOWN) : null;
    return alone === null ? null : { by: 'wander', ...alone };
  }
  // Which rotor makes the line that the likeliest was found by is as uncertain as that it is its first.
  const parts = PARTS.map((part) => ({ ...first, baseHz: first.baseHz / part, part, known: false }));
  const bases = [
    // Where lines may be folded, one of a rotor may stand as the first of a lower base: only what stands higher is sooner the first itself.
    ...parts.filter(({ part }) => folds && isHigherPart(clusters, first.baseHz, part)),
    ...known.likely.map((base) => ({ ...base, known: true })),
    ...(folds ? [] : parts),
  ].filter(({ baseHz }) => baseHz > SLOWEST_HZ);
  const found = (known.clear ? heldMost : heldClearlyMost)(
    bases.map((base) => ({ ...base, commands })),
    (one) => placedTogether(one, records, { moves: false, steady: false, known: one.known }),
  );
  return found === null ? null : { by: 'wander', ...finished(found, records) };
}

/** By lines that a second log says are folded, and others that stand where their multiples fold to. */
function toldRotors(
  commands: Commands,
  clusters: readonly PeakCluster[],
  searched: readonly SensorRecord[],
  records: readonly SensorRecord[],
): FoundRotors | null {
  if (commands.length === 1) return null;
  const [power, lagS] = WAYS[0];
  const bases = toldBases(clusters, searched[0]!.sampleRateHz);
  const found = heldMost(
    bases.map((baseHz) => ({ commands, power, lagS, baseHz })),
    (one) => {
      const placed = placedTogether(one, records, { moves: false, steady: false, known: true });
      return placed === null || mayBeMains(clusters, placed.baseHz) ? null : placed;
    },
  );
  return found === null || !holdsFamily(found) ? null : { by: 'second-rate', ...finished(found, records) };
}

/** What follows the commands so clearly that a steady reading can only find a mode or a tone: gain and height, natural logs. */
const CLEAR_GAIN = 1;
const CLEAR_HEIGHT = 3;

function followsClearly({ gain, height }: FollowingPeak): boolean {
  return gain > CLEAR_GAIN && height > CLEAR_HEIGHT;
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
/** A base that much less of the peaks speak for than for the likeliest is none, whatever its frames hold. */
const LEAST_SCORE_SHARE = 0.4;
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
/** What stands this far off the base counts for nothing, as a share. */
const CALM_FAR = 0.06;
/** A base beyond half the sample rate must hold so many times what any other does, or which one it is cannot be told. */
const CLEARER = 1.5;
/** In a slow log a base must come into focus as it is, at least so far, or it may as well be a folded one: natural logs. */
const SLOW_GAIN = 0.1;
const SLOW_HEIGHT = 3;
/** Bases nearer than this are one, as a share. */
const SAME_BASE = 0.03;
/** Rotors found this far from the base that they were sought around are something else, as a share. */
const RUNS_AWAY = 0.08;

interface Tried extends FocusedCourse {
  readonly rotors: readonly TurningRotor[];
  readonly commands: Commands;
  /** What the lines of its orders hold, logs. */
  readonly value: number;
  /** What the peaks that it was found by are worth. */
  readonly score: number;
}

/** What a search goes by. */
interface Search {
  readonly searched: readonly SensorRecord[];
  readonly records: readonly SensorRecord[];
  /** Half range of the courses, as a share. */
  readonly excursion: number;
  /** Something follows them, so that a steady reading is none. */
  readonly follows: boolean;
  readonly folds: boolean;
}

/** By what comes into focus when the records are turned with the commands. */
function followingRotors(
  commands: Commands,
  clusters: readonly PeakCluster[],
  searched: readonly SensorRecord[],
  records: readonly SensorRecord[],
  folds: boolean,
  told: Told,
): FoundRotors | null {
  const rate = searched[0]!.sampleRateHz;
  const { peaks, guess, excursion } = followingPeaks(
    WAYS.map(([power, lagS]) => speedsFrom(commands, power, lagS)),
    searched,
    clusters,
    SLOWEST_HZ,
    folds,
  );
  const [power, lagS] = WAYS[guess]!;
  const search = { searched, records, excursion, follows: peaks.some(followsClearly), folds };
  const found = basesOf(
    peaks,
    speedsFrom(commands, power, lagS).map(({ share }) => share),
  );
  const bases = found
    .filter(({ score }) => score > LEAST_SCORE_SHARE * found[0]!.score)
    .slice(0, MOST_BASES)
    .map(({ hz, score }) => ({ power, lagS, baseHz: hz, score }));
  const tried = tryBases(search, commands, bases);
  const exact = folds ? [] : exactBases(clusters).map((baseHz) => ({ commands, power, lagS, baseHz }));
  const place = <Base extends RoughBase>(base: Base): (Base & PlacedBase) | null =>
    placedTogether(base, records, { moves: false, steady: !search.follows, known: false });
  const believed = (baseHz: number): boolean =>
    !folds ||
    excursion > WANDERS ||
    (!mayBeMains(clusters, baseHz) &&
      !leavesFoldedLine(clusters, rate, baseHz) &&
      (told(baseHz) ?? standsWhereItIs(commands, clusters, baseHz, rate)));
  const mayBeTone = (best: PlacedBase): boolean =>
    excursion < WANDERS && mayBeMains(clusters, best.baseHz) && !holdsFamily(best);
  const first = bestOf(tried);
  if (first !== undefined) {
    const others = tried.filter(
      (one) => one.baseHz < rate / 2 && !isMultiple(meanHzOf(first.rotors), meanHzOf(one.rotors)),
    );
    const plain = Math.max(0, ...others.map(({ value }) => value));
    const surely = told(first.baseHz) === true;
    if (!surely && first.baseHz > rate / 2 && first.value < CLEARER * plain) return null;
    const best =
      commands.length > 1
        ? heldMost<RoughBase>([...likelyOf(tried, first), ...exact], place)
        : placedAlone(first, records, search.follows, { ...THOROUGH, far: CALM_FAR });
    return best !== null && believed(best.baseHz) && !mayBeTone(best)
      ? { by: 'focus', ...finished(best, records) }
      : null;
  }
  if (commands.length > 1 && exact.length > 0) {
    const best = heldMost(exact, place);
    if (best !== null && holdsFamily(best)) return { by: 'focus', ...finished(best, records) };
  }
  const fallback = resampledBase(commands, searched);
  if (fallback === null) return null;
  const { baseHz } = fallback;
  const clear = ({ gain, height }: FollowingPeak): boolean =>
    excursion > WANDERS ? gain * height > SLOW_GAIN * SLOW_HEIGHT : height > SLOW_HEIGHT;
  const shows = (peak: FollowingPeak): boolean =>
    Math.abs(peak.trueHz / baseHz - 1) < SAME_BASE && peak.gain > SLOW_GAIN && clear(peak);
  const toldOf = told(baseHz);
  if ((folds && toldOf !== true && !peaks.some(shows)) || !believed(baseHz)) return null;
  const base = { ...fallback, commands };
  const best =
    commands.length > 1
      ? placedTogether(base, records, { moves: false, steady: true, known: false })
      : placedAlone(base, records, false, THOROUGH);
  return best === null || mayBeTone(best) ? null : { by: 'focus', ...finished(best, records) };
}

/** Where one command stands for all rotors there is no other way to place them. */
function finished<Placed extends PlacedBase>(placed: Placed, records: readonly SensorRecord[]): Placed {
  return placed.commands.length === 1
    ? placed
    : withSharpestCourse(orOneByOne(placed, records), records, SLOWEST_HZ);
}

/** Where the rotors stand around a base, and what it then holds, once power and lag have brought it into focus. */
function placeBase(
  search: Search,
  start: FocusedCourse & Pick<Tried, 'commands' | 'score'>,
  together = true,
): Tried {
  const { searched, records, excursion, follows, folds } = search;
  const { commands, score } = start;
  const { power, lagS, baseHz } =
    excursion > SWINGS
      ? focusCourse(commands, start, scannedRecords(searched), SLOWEST_HZ, excursion, folds, together)
      : start;
  const { rotors, byOrder } = placedRotors(speedsFrom(commands, power, lagS), baseHz, records, follows, {
    ...QUICK,
    far: CALM_FAR,
  });
  const held = byOrder.reduce((sum, v, i) => sum + v * PER_ORDER ** i, 0);
  const first = Math.min(1, (byOrder[0] ?? 0) / Math.max(1e-9, FIRST_SHARE * held));
  const shown = (WITHOUT_FIRST + (1 - WITHOUT_FIRST) * first) * held;
  const meanHz = meanHzOf(rotors);
  const value = meanHz < SLOWEST_HZ || Math.abs(meanHz / baseHz - 1) > RUNS_AWAY ? 0 : shown;
  return { commands, power, lagS, baseHz, rotors, value, score };
}

/** Once more from where the rotors were found: bands around a rough base hold only part of them. */
function placeAgain(search: Search, one: Tried): Tried {
  const from = search.excursion > SWINGS ? { ...one, baseHz: meanHzOf(one.rotors) } : one;
  return placeBase(search, from);
}

/** What leaves where it was found is another thing. */
function runsAway(moved: Tried, from: Tried): boolean {
  return Math.abs(meanHzOf(moved.rotors) / meanHzOf(from.rotors) - 1) > SAME_BASE;
}

function tryBases(
  search: Search,
  commands: Commands,
  bases: readonly (FocusedCourse & Pick<Tried, 'score'>)[],
): Tried[] {
  const roughly = bases.map((base) => placeBase(search, { ...base, commands }, false));
  const most = Math.max(0, ...roughly.map(({ value }) => value));
  return roughly.map((one) => {
    if (search.excursion <= SWINGS || one.value === 0 || one.value < LIKELY * most) return one;
    const moved = placeAgain(search, one);
    return runsAway(moved, one) ? one : better(one, moved);
  });
}

/** What must speak for a base as it stands in a slow, calm log, and against the sample rate less that: log of likelihoods. */
const LEAST_CONTRAST = 120;
/** Its first line stands at most so far below what stands highest, natural log, or it may as well be a mode. */
const MOST_BELOW = 1.5;

/** Where the commands hardly move, what follows them hardly tells a folded rotor from one that is seen where it is; its wandering may. */
function standsWhereItIs(
  commands: Commands,
  clusters: readonly PeakCluster[],
  baseHz: number,
  rate: number,
): boolean {
  if (baseHz > rate / 2) return false;
  const first = clusters.find(({ hz }) => Math.abs(hz / baseHz - 1) < SAME_BASE);
  return (
    first !== undefined &&
    first.height > clusters[0]!.height - MOST_BELOW &&
    foldContrast(commands, clusters, baseHz, rate) > LEAST_CONTRAST
  );
}

/** Whether a second log says that what stands where this folds to is this; null where nothing tells. */
type Told = (trueHz: number) => boolean | null;

function toldBy(
  clusters: readonly PeakCluster[],
  searched: readonly SensorRecord[],
  second: SecondRate | null,
): Told {
  const rate = searched[0]!.sampleRateHz;
  return (trueHz) => {
    const at = foldedHz(trueHz, rate);
    const own = clusters.find(({ hz }) => Math.abs(hz - at) < SAME_BASE * trueHz)?.told ?? null;
    // A line that is swept makes no peak, and can be told all the same.
    const told = own ?? second?.told(clearestRecords(scannedRecords(searched), searched), at) ?? null;
    return told === null ? null : told.some((hz) => Math.abs(Math.abs(hz) / trueHz - 1) < SAME_BASE);
  };
}

/** Of what the likeliest base is worth, from which another is placed too. */
const LIKELY_WORTH = 0.4;
/** A base of which the likeliest is a multiple, and that its peaks speak for as much, is the base if it holds at least this share. */
const HELD_BY_BASE = 0.3;

const worthOf = ({ value, score }: Tried): number => value * score;

/** The likeliest base and others that are worth nearly as much, each where its rotors were found. */
function likelyOf(tried: readonly Tried[], first: Tried): Tried[] {
  const likely: Tried[] = [];
  const others = tried.filter((one) => one !== first).sort((a, b) => worthOf(b) - worthOf(a));
  for (const one of [first, ...others]) {
    const baseHz = meanHzOf(one.rotors);
    if (worthOf(one) < LIKELY_WORTH * worthOf(first)) continue;
    if (likely.every((other) => Math.abs(baseHz / other.baseHz - 1) > SAME_BASE))
      likely.push({ ...one, baseHz });
  }
  return likely;
}

/** The base that holds most, by what its own frames show and by the peaks that it was found by: either alone may fall for a multiple. */
function bestOf(tried: readonly Tried[]): Tried | undefined {
  const best = tried.filter(({ value }) => value > 0).sort((a, b) => worthOf(b) - worthOf(a))[0];
  if (best === undefined) return best;
  const lower = tried.filter(
    (one) =>
      one.score >= best.score && one.value > HELD_BY_BASE * best.value && isMultiple(best.baseHz, one.baseHz),
  );
  return lower.sort((a, b) => b.score - a.score)[0] ?? best;
}

function better(one: Tried, other: Tried): Tried {
  return other.value > one.value ? other : one;
}
