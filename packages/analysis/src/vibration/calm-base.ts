/**
 * Once per revolution where the throttle hardly moves. A line in such a log may stand where it is, or truly lie beyond half
 * the sample rate; so may its multiples. Of all bases the one is taken whose lines, each at its true frequency, the motor commands
 * explain best, if it explains clearly more than any other base does and than lines that follow nothing.
 */
import { readingsOf, type PeakCluster } from './find-base.js';
import {
  coursesBy,
  explainedBy,
  surroundingsOf,
  type LineSurroundings,
  type SharedCourse,
} from './explain-line.js';
import { FASTEST_HZ, SLOWEST_HZ, type Commands } from './relative-speeds.js';
import { foldedHz } from './rotor-lines.js';

export interface CalmBase {
  readonly baseHz: number;
  readonly power: number;
  readonly lagS: number;
}

export interface CalmBases {
  /** The likeliest first. */
  readonly likely: readonly CalmBase[];
  /** The first explains clearly more than any other one, save those that it may be a multiple of. */
  readonly clear: boolean;
}

/** Powers and lags by which speeds may follow the commands. */
const POWERS = [0.5, 0.62, 0.75, 0.87, 1, 1.6, 2.5];
const LAGS_S = [0.04, 0.09];
/** Lines that are looked at, and how high they stand at least, natural log. */
const MOST_LINES = 5;
const LEAST_HEIGHT = 1;
/** Lines nearer than this are looked at together, share and Hz. */
const APART = 0.05;
const APART_HZ = 3;
/** What stands lower than a line by this, natural log, and so near, as a share, may be its sideband, which follows as it does. */
const SIDEBAND_LOWER = 1;
const SIDEBAND_APART = 0.12;
/** A peak this near to where a base has its first line is that line, whatever it explains: rotors as alike as can be. */
const SAME_SHARE = 0.004;
const ORDERS = [1, 2, 3, 4];
/** What lines of one base say of it agrees within this share: commands tell only roughly how far apart the rotors turn. */
const SPREAD = 0.035;
/** Bases nearer than this have the same lines, by rotors that stand farther or less far apart. */
const SAME_LINES = 0.08;
/** What a base is worth whose first line says nothing, and one whose first line cannot be seen. */
const WITHOUT_FIRST = 0.5;
const FIRST_UNSEEN = 0.75;
/** Share of all that is explained, by the way that suits it best, from which the first line counts in full. */
const FIRST_SHARE = 0.12;
/** A lower base that explains nearly as much has what is called the first line as a multiple of its own, or may have. */
const NEARLY = 0.95;
const MAY = 0.8;
/** Of what the likeliest explains, where none is clear: from which another may be it; and how many of them. */
const LIKELY = 0.5;
const MOST_LIKELY = 5;
/**
 * Least that a base must explain, and more than any other does: log of likelihoods, were the noise all there is. A course that says
 * little of the speeds explains up to 70 on development flights, one that holds 130 to 1700.
 */
const LEAST_GAIN = 130;
const CLEARER = 40;
/** A line that explains less says nothing. */
const LEAST_LINE = 15;
const CLEARER_SHARE = 0.1;

interface Way {
  readonly power: number;
  readonly lagS: number;
}

/** What a line is by one true frequency that folds to where it stands and one way to follow the commands. */
interface Reading {
  /** What the mean of all rotors would make of it, Hz. */
  readonly meanHz: number;
  /** What it explains: log of likelihoods. */
  readonly gain: number;
}

interface ReadLine {
  readonly hz: number;
  /** By true frequency and way. */
  readonly readings: readonly (readonly Reading[])[];
}

interface Base {
  readonly hz: number;
  readonly way: number;
  readonly score: number;
}

/**
 * @param clusters peaks of the records, the highest first
 * @param rateHz of the records
 * @returns null where nothing is explained that is worth it
 */
export function calmBases(
  commands: Commands,
  clusters: readonly PeakCluster[],
  rateHz: number,
  lowestHz: number,
  folds: boolean,
): CalmBases | null {
  const some = clearest(clusters);
  if (some.length === 0) return null;
  const ways = POWERS.flatMap((power) => LAGS_S.map((lagS): Way => ({ power, lagS })));
  const { record } = some[0]!.at[0]!;
  const courses = ways.map(({ power, lagS }) => coursesBy(commands, power, lagS, record));
  const lines = some.map((cluster) =>
    readLine(surroundingsOf(cluster.at[0]!.record, cluster.hz), courses, readingsOf(cluster, rateHz, folds)),
  );
  const seen = (hz: number): boolean => {
    const at = foldedHz(hz, rateHz);
    return at > lowestHz && at < 0.49 * rateHz;
  };
  const bases = lines
    .flatMap(({ readings }) => readings.flat())
    .flatMap(({ meanHz, gain }) => (gain > 0 ? ORDERS.map((order) => meanHz / order) : []))
    .filter((hz) => hz >= SLOWEST_HZ && hz <= FASTEST_HZ)
    .flatMap((hz) => ways.map((_, way) => scored(hz, way, lines, seen(hz))))
    .sort((a, b) => b.score - a.score);
  // The first line of a base may be a multiple of the base itself; its multiples explain part of what it does.
  const top = bases[0];
  if (top === undefined || top.score < LEAST_GAIN) return null;
  const multiple = (hz: number, of: number): boolean => ORDERS.some((order) => isNear(hz / order, of));
  const lower = (share: number): Base[] =>
    ORDERS.flatMap(
      (order) =>
        bases.find(({ hz, score }) => isNear(top.hz / order, hz) && score >= share * top.score) ?? [],
    );
  const best = lower(NEARLY).at(-1)!;
  const rival = (hz: number): boolean => !multiple(hz, best.hz) && Math.abs(hz / best.hz - 1) > SAME_LINES;
  const other = bases.find(({ hz }) => rival(hz));
  const least = best.score - Math.max(CLEARER, CLEARER_SHARE * best.score);
  const clear = other === undefined || other.score <= least;
  const below = lower(MAY).filter(({ hz }) => hz < (1 - SPREAD) * best.hz);
  const others = clear ? below : bases.filter(({ score }) => score > LIKELY * top.score);
  const apart = [best, ...others].reduce<Base[]>(
    (kept, one) => (kept.some(({ hz }) => isNear(hz, one.hz)) ? kept : [...kept, one]),
    [],
  );
  return {
    likely: apart.slice(0, MOST_LIKELY).map(({ hz, way }) => ({ baseHz: hz, ...ways[way]! })),
    clear,
  };
}

function isNear(hz: number, other: number): boolean {
  return Math.abs(hz / other - 1) < SPREAD;
}

function clearest(clusters: readonly PeakCluster[]): PeakCluster[] {
  const kept: PeakCluster[] = [];
  const covers = (higher: PeakCluster, one: PeakCluster): boolean => {
    const share = one.height < higher.height - SIDEBAND_LOWER ? SIDEBAND_APART : APART;
    return Math.abs(higher.hz - one.hz) < Math.max(APART_HZ, share * higher.hz);
  };
  for (const one of clusters) {
    if (one.height < LEAST_HEIGHT || kept.length === MOST_LINES) break;
    if (!kept.some((higher) => covers(higher, one))) kept.push(one);
  }
  return kept;
}

function readLine(
  around: LineSurroundings,
  courses: readonly (readonly SharedCourse[])[],
  signedHz: readonly number[],
): ReadLine {
  const { hz, freedom } = around;
  const still = explainedBy(around, courses[0]!, 0).left;
  // Of mirrored lines the frequency is negative: they run the other way.
  const readings = signedHz.map((supposedHz) => {
    const byWay = courses.map((some): Reading => {
      const { left, meanHz } = explainedBy(around, some, supposedHz);
      const gain = freedom * (still - left);
      if (gain < LEAST_LINE) return { meanHz, gain: 0 };
      const reversed = some.map(({ course, share }) => ({ course: course.toReversed(), share }));
      return {
        meanHz,
        gain: Math.min(gain, freedom * (explainedBy(around, reversed, supposedHz).left - left)),
      };
    });
    return withNeighbours(byWay);
  });
  return { hz, readings };
}

/** A fit that no neighbouring way comes near is luck: each counts half, and half the best beside it. */
function withNeighbours(readings: readonly Reading[]): Reading[] {
  const lags = LAGS_S.length;
  return readings.map(({ meanHz, gain }, w) => {
    const lag = w % lags;
    const near = [w - lags, w + lags, ...LAGS_S.map((_, l) => w - lag + l).filter((v) => v !== w)];
    return { meanHz, gain: (gain + Math.max(...near.map((v) => readings[v]?.gain ?? 0))) / 2 };
  });
}

/** What a base explains of all lines, and where in the middle of them it stands. */
function scored(hz: number, way: number, lines: readonly ReadLine[], firstSeen: boolean): Base {
  let total = 0;
  let first = 0;
  let moment = 0;
  for (const line of lines) {
    let most = 0;
    let at = { order: 0, baseHz: 0 };
    for (const ways of line.readings) {
      const { meanHz, gain } = ways[way]!;
      for (const order of ORDERS)
        if (isNear(meanHz / order, hz) && gain > most) {
          most = gain;
          at = { order, baseHz: meanHz / order };
        }
    }
    total += most;
    moment += most * at.baseHz;
    // By this way the first line may say nothing; one that is better explained as a multiple is none.
    if (at.order > 1) continue;
    for (const { meanHz, gain } of line.readings.flat())
      if (isNear(meanHz, hz)) first = Math.max(first, gain);
  }
  if (total === 0) return { hz, way, score: 0 };
  const share = lines.some((line) => Math.abs((line.hz * total) / moment - 1) < SAME_SHARE)
    ? 1
    : Math.min(1, first / total / FIRST_SHARE);
  const worth = firstSeen ? WITHOUT_FIRST + (1 - WITHOUT_FIRST) * share : FIRST_UNSEEN;
  return { hz: moment / total, way, score: worth * total };
}
