/**
 * Once per revolution where the commands do not say what turns, but several lines have their exact multiples: of lines that have nothing
 * to do with one another hardly one in a hundred pairs does, so two rotors of which each has its own, or one that has two, are no chance.
 */
import type { PeakCluster } from './find-base.js';
import { mainsOf } from './mains.js';
import { FASTEST_HZ, SLOWEST_HZ } from './relative-speeds.js';

/** Lines that are looked at, the highest. */
const MOST_LINES = 14;
/** Multiples that rotors make. */
const MULTIPLES = [2, 3];
/** How exactly a line stands at a multiple of another, as a share: both wander as the rotor does, and are not always as strong. */
const EXACT = 0.004;
/** Rotors of one aircraft turn within this of one another, as a share. */
const TOGETHER = 0.12;
/** Bases nearer than this are one. */
const SAME_BASE = 0.03;

interface Pair {
  readonly first: PeakCluster;
  readonly multiple: number;
  readonly height: number;
}

/**
 * @param clusters peaks of the records, the highest first; those of which nothing tells where they truly are stand where they are
 * @returns rough mean speeds of rotors, Hz, the one that stands highest first; each may be a multiple of the base
 */
export function exactBases(clusters: readonly PeakCluster[]): number[] {
  const lines = clusters.slice(0, MOST_LINES).filter(({ hz }) => mainsOf(hz) === null);
  const pairs = lines
    .filter(({ hz }) => hz > SLOWEST_HZ && hz < FASTEST_HZ)
    .flatMap((first) =>
      MULTIPLES.flatMap((multiple) => {
        const own = lines.find(({ hz }) => Math.abs(hz / first.hz / multiple - 1) < EXACT);
        return own === undefined ? [] : [{ first, multiple, height: Math.min(first.height, own.height) }];
      }),
    );
  return pairs
    .map((pair) => pairs.filter((other) => speakTogether(pair, other)))
    .filter((group) => group.length > 1)
    .sort((a, b) => heightOf(b) - heightOf(a))
    .map((group) => group.reduce((sum, { first }) => sum + first.hz, 0) / group.length)
    .reduce<number[]>((kept, hz) => (kept.some((one) => isSame(one, hz)) ? kept : [...kept, hz]), []);
}

/**
 * Whether a line that is higher stands at exactly a part of what stands for a base, and is not told to be folded: then that is sooner the
 * first multiple.
 *
 * @param part 2 for half of the base, 3 for a third
 */
export function isHigherPart(clusters: readonly PeakCluster[], baseHz: number, part: number): boolean {
  const own = clusters.filter(({ hz }) => isSame(hz, baseHz));
  const lower = clusters.find(({ hz }) => isSame(part * hz, baseHz));
  return (
    lower !== undefined &&
    (lower.told ?? [lower.hz]).includes(lower.hz) &&
    own.length > 0 &&
    own.every(({ height }) => height < lower.height) &&
    own.some(({ hz }) => Math.abs(hz / lower.hz / part - 1) < EXACT)
  );
}

function isSame(hz: number, baseHz: number): boolean {
  return Math.abs(hz / baseHz - 1) < SAME_BASE;
}

/** One line and its two multiples, or the same multiple of two lines that may be two rotors. */
function speakTogether(pair: Pair, other: Pair): boolean {
  return (
    pair.first === other.first ||
    (pair.multiple === other.multiple && Math.abs(other.first.hz / pair.first.hz - 1) < TOGETHER)
  );
}

function heightOf(group: readonly Pair[]): number {
  return group.reduce((sum, { height }) => sum + height, 0);
}
