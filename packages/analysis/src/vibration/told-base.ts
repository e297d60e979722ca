/**
 * Once per revolution in a slow log of a calm hover, by what a second log says of where its lines truly are. What is strong beyond half
 * the sample rate is a rotor's as a rule: a base is the frequency of such a line, or a part of it.
 */
import type { PeakCluster } from './find-base.js';
import { FASTEST_HZ, SLOWEST_HZ } from './relative-speeds.js';

/** A line that counts stands at most so far below what stands highest, natural log. */
const MOST_BELOW = 1.5;
/** Lines of rotors, and of one multiple, stand within this share of one another. */
const TOGETHER = 0.08;
/** So far below the strongest of them, natural log. */
const MUCH_BELOW = 3;
/** Multiples that a line may be. */
const ORDERS = [1, 2, 3];
/** A line is a multiple of a base that stands within this share of its part. */
const NEAR = 0.06;

/**
 * What the strongest line may truly be that is told to lie beyond half the sample rate, Hz, each in the middle of its neighbours: the one
 * that most others speak for first. Empty: no such line.
 */
function foldedLine(clusters: readonly PeakCluster[], rateHz: number): number[] {
  const folded = clusters.flatMap(({ height, told }) => {
    const trueHz = (told ?? []).map(Math.abs);
    return trueHz.length > 0 && trueHz.every((hz) => hz > rateHz / 2) ? [{ trueHz, height }] : [];
  });
  const strongest = folded[0];
  if (strongest === undefined || strongest.height < clusters[0]!.height - MOST_BELOW) return [];
  return strongest.trueHz
    .map((ownHz) =>
      folded
        .filter(({ height }) => height > strongest.height - MUCH_BELOW)
        .flatMap(({ trueHz }) => trueHz.filter((hz) => Math.abs(hz / ownHz - 1) < TOGETHER)),
    )
    .sort((a, b) => b.length - a.length)
    .map((group) => group.reduce((sum, hz) => sum + hz, 0) / group.length);
}

/**
 * @param clusters peaks of the records, the highest first
 * @param rateHz of the records
 * @returns what the base may be, the likeliest first; empty where no strong line is told to be folded
 */
export function toldBases(clusters: readonly PeakCluster[], rateHz: number): number[] {
  return foldedLine(clusters, rateHz)
    .flatMap((hz) => ORDERS.map((order) => hz / order))
    .filter((base) => base > SLOWEST_HZ && base < FASTEST_HZ);
}

/** Whether a strong line that is told to be folded is none of the first multiples of a base: then that is none. */
export function leavesFoldedLine(clusters: readonly PeakCluster[], rateHz: number, baseHz: number): boolean {
  const readings = foldedLine(clusters, rateHz);
  return (
    readings.length > 0 &&
    !readings.some((hz) => ORDERS.some((order) => Math.abs(hz / order / baseHz - 1) < NEAR))
  );
}
