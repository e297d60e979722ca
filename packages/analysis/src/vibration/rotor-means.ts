/**
 * The mean speed of every rotor, from a rough common one: near rest, in bands around its multiples, each rotor's course brings its own
 * lines into focus. The clearest family is taken first and taken out, the next is sought in what it leaves.
 */
import { orderBand, restFloor, restSpectrum, smoothedBand, turned, type OrderBand } from './order-band.js';
import { angleOf, type RotorAngle, type TurningRotor } from './order-lines.js';
import { foldedHz } from './rotor-lines.js';
import type { SensorRecord } from './sensor-records.js';
import { MeanAngle, stillAngle } from './take-out-rotors.js';

type Rotor = TurningRotor;

/**
 * How well: no more of a long hover is searched than this, s; whether every family is placed once more beside the others; and how far
 * from the rough mean a rotor may turn, as a share of it.
 */
export interface SearchEffort {
  readonly searchedS: number;
  readonly again: boolean;
  readonly spread: number;
  /** What stands this far off where a rotor is expected, as a share, counts for nothing; half as far, three quarters. */
  readonly far: number;
}

export const THOROUGH: SearchEffort = { searchedS: 40, again: true, spread: 0.08, far: 0.1 };
/** Where the mean of the rotors is known already, not only which lines are theirs. */
export const MEAN_KNOWN: SearchEffort = { ...THOROUGH, spread: 0.05, far: 0.05 };
/** Enough to see which of several bases holds most. */
export const QUICK: SearchEffort = { ...THOROUGH, searchedS: 16, again: false };
/** Multiples that are looked at, and bands of each. */
const ORDERS = [1, 2, 3, 4];
const MOST_BANDS = 3;
/** The last of them rotors hardly make: it is looked for only where it is not folded. */
const RARE_ORDER = 4;
/** What stands this many times higher without turning is no rotor's. */
const STILL = 2;
/** A band counts if something in it stands this many times over its background. */
const LEAST_RATIO = 6;
const LEAST_REACH_HZ = 2.5;
/** Log of density over background from which a line counts. */
const LINE_LOG = 1.6;
/** Lines of one order are within this of its strongest, natural log of power: what a strong one leaves counts for nothing. */
const WITHIN_LOG = 4.6;
/** What a family must hold, over all bands, and as a share of the clearest one. */
const LEAST_FAMILY = 3;
const LEAST_SHARE = 0.2;
/** Families sought where one course stands for all rotors. */
const MOST_FAMILIES = 4;
/** Half width of what is taken out with a family, Hz. */
const TAKEN_HZ = 0.6;
const STEP_HZ = 0.05;
/** Once all are found each is placed again, this far either side of where it was, as a share. */
const AGAIN_SHARE = 0.012;
const AGAIN_ROUNDS = 2;

interface Band extends OrderBand {
  readonly floor: number;
  /** Highest log over the background, turned with any rotor. */
  readonly top: number;
}

export interface RotorMeans {
  readonly rotors: readonly Rotor[];
  /** How many of them show. */
  readonly shown: number;
  /** What their lines hold, log of power over all bands. */
  readonly score: number;
  /** The same, of each order from the first. */
  readonly byOrder: readonly number[];
}

/**
 * @param rotors at rough mean speeds
 * @returns the rotors at mean speeds of their own; those of which nothing shows as far off the rough ones as the others are in the
 *   mean; as they were where nothing shows at all
 */
export function rotorMeans(
  rotors: readonly Rotor[],
  records: readonly SensorRecord[],
  lowestHz: number,
  effort = THOROUGH,
): RotorMeans {
  const mean = new MeanAngle(rotors);
  const bands = telling(mean, rotors, records, lowestHz, effort);
  if (bands.length === 0) return { rotors, shown: 0, score: 0, byOrder: [] };
  const families = findFamilies(rotors, bands, mean, effort);
  const found = effort.again ? placeAgain(families, bands, mean, effort.far) : families;
  if (found.length === 0) return { rotors, shown: 0, score: 0, byOrder: [] };
  const ratio = found.reduce((sum, one) => sum + one.meanHz / one.rotor.meanHz, 0) / found.length;
  const at = (rotor: Rotor, meanHz: number): Rotor => ({
    ...angleOf(rotor.rotor, rotor.speed, meanHz, records[0]!),
    speed: rotor.speed,
  });
  const placed =
    rotors.length === 1
      ? found.map(({ rotor, meanHz }) => at(rotor, meanHz))
      : rotors.map((rotor) =>
          at(rotor, found.find((one) => one.rotor === rotor)?.meanHz ?? ratio * rotor.meanHz),
        );
  return {
    rotors: placed,
    shown: found.length,
    score: found.reduce((sum, one) => sum + one.score, 0),
    byOrder: ORDERS.map((_, o) => found.reduce((sum, { byOrder }) => sum + byOrder[o]!, 0)),
  };
}

/** The bands with most in them, the first part of them: what is found there holds for the rest. */
function telling(
  mean: MeanAngle,
  rotors: readonly Rotor[],
  records: readonly SensorRecord[],
  lowestHz: number,
  { searchedS, spread }: SearchEffort,
): Band[] {
  const found: Band[] = [];
  for (const order of ORDERS)
    for (const record of records) {
      if (record.values.length !== mean.turns.length) continue;
      const hz = foldedHz(order * mean.meanHz, record.sampleRateHz);
      if (hz < lowestHz || hz > 0.49 * record.sampleRateHz) continue;
      if (order >= RARE_ORDER && order * mean.meanHz > record.sampleRateHz / 2) continue;
      const values = record.values.subarray(0, Math.round(searchedS * record.sampleRateHz));
      const wide = orderBand(record, values, mean.cosSin(order), order, mean.meanHz);
      const reachHz = Math.min(wide.reachHz, Math.max(LEAST_REACH_HZ, spread * order * mean.meanHz));
      const band = { ...wide, reachHz };
      const frames = rotors.map((rotor) => ({ angle: ahead(rotor, rotor.meanHz, mean, band) }));
      // The rotors' own range may be full of them: the background is that of their wider surroundings.
      const floor = restFloor(restSpectrum(wide, wide.z));
      let top = 0;
      for (const { angle } of frames)
        for (const v of restSpectrum(band, turned(band.z, angle, -1)).density) top = Math.max(top, v);
      let still = 0;
      for (const v of restSpectrum(band, turned(band.z, stillAngle(mean, band), -1)).density)
        still = Math.max(still, v);
      if (top > LEAST_RATIO * floor && still < STILL * top)
        found.push({ ...band, floor, top: Math.log(top / floor) });
    }
  return ORDERS.flatMap((order) =>
    found
      .filter((band) => band.order === order)
      .sort((a, b) => b.top - a.top)
      .slice(0, MOST_BANDS),
  );
}

/** Angle by which a rotor of this mean speed runs ahead of the mean, rad, at the samples of a band. */
export function ahead(
  { turns, meanHz: ownHz }: RotorAngle,
  meanHz: number,
  mean: MeanAngle,
  band: OrderBand,
): Float64Array {
  const scale = meanHz / ownHz;
  return Float64Array.from({ length: band.z.length / 2 }, (_, i) => {
    const at = Math.min(turns.length - 1, i * band.factor + ((band.factor - 1) >> 1));
    return 2 * Math.PI * band.order * (scale * turns[at]! - mean.turns[at]!);
  });
}

interface Place {
  readonly meanHz: number;
  readonly score: number;
  readonly byOrder: readonly number[];
}

interface Placed extends Place {
  readonly rotor: Rotor;
  /** Its part of each band. */
  readonly parts: readonly Float64Array[];
}

function findFamilies(
  rotors: readonly Rotor[],
  bands: readonly Band[],
  mean: MeanAngle,
  { spread, far }: SearchEffort,
): Placed[] {
  const found: Placed[] = [];
  let left = bands.map((band) => band.z);
  const count = rotors.length === 1 ? MOST_FAMILIES : rotors.length;
  const unused = new Set(rotors);
  while (found.length < count) {
    let best: (Place & { readonly rotor: Rotor }) | null = null;
    const ratio = ratioOf(found);
    for (const rotor of unused) {
      // Once some are found, the others are expected about as far off the rough means as those are.
      const expectedHz = ratio * rotor.meanHz;
      const one = bestPlace(rotor, expectedHz, expectedHz, spread * mean.meanHz, bands, left, mean, far);
      if (best === null || one.score > best.score) best = { rotor, ...one };
    }
    const least = Math.max(LEAST_FAMILY, LEAST_SHARE * (found[0]?.score ?? 0));
    if (best === null || best.score < least) break;
    const parts = partsOf(best.rotor, best.meanHz, bands, left, mean);
    found.push({ ...best, parts });
    left = minus(left, parts);
    if (rotors.length > 1) unused.delete(best.rotor);
  }
  return found;
}

/** How far off the rough means the rotors turn that are found, by what they hold; 1 where none is. */
function ratioOf(found: readonly Placed[]): number {
  const held = found.reduce((sum, { score }) => sum + score, 0);
  return held > 0
    ? found.reduce((sum, { score, meanHz, rotor }) => sum + (score * meanHz) / rotor.meanHz, 0) / held
    : 1;
}

/** Every family once more in what the others leave. */
function placeAgain(
  found: readonly Placed[],
  bands: readonly Band[],
  mean: MeanAngle,
  far: number,
): Placed[] {
  const now = [...found];
  const ratio = ratioOf(found);
  for (let round = 0; round < AGAIN_ROUNDS; round++)
    now.forEach((one, i) => {
      const left = now.reduce<Float64Array[]>(
        (rest, other, o) => (o === i ? rest : minus(rest, other.parts)),
        bands.map((band) => band.z),
      );
      const place = bestPlace(
        one.rotor,
        one.meanHz,
        ratio * one.rotor.meanHz,
        AGAIN_SHARE * one.meanHz,
        bands,
        left,
        mean,
        far,
      );
      now[i] = { ...one, ...place, parts: partsOf(one.rotor, place.meanHz, bands, left, mean) };
    });
  return now;
}

function minus(from: readonly Float64Array[], parts: readonly Float64Array[]): Float64Array[] {
  return from.map((z, b) => z.map((v, i) => v - parts[b]![i]!));
}

/** What a rotor of this mean speed makes of each band. */
function partsOf(
  rotor: Rotor,
  meanHz: number,
  bands: readonly Band[],
  left: readonly Float64Array[],
  mean: MeanAngle,
): Float64Array[] {
  return bands.map((band, b) => {
    const own = ahead(rotor, meanHz, mean, band);
    return turned(smoothedBand(turned(left[b]!, own, -1), band.rateHz, TAKEN_HZ), own, 1);
  });
}

/** Mean speed, near another, at which a rotor's multiples hold most. */
function bestPlace(
  rotor: Rotor,
  nearHz: number,
  expectedHz: number,
  reachHz: number,
  bands: readonly Band[],
  left: readonly Float64Array[],
  mean: MeanAngle,
  far: number,
): Place {
  const spectra = bands.map((band, b) => ({
    band,
    ...restSpectrum(band, turned(left[b]!, ahead(rotor, nearHz, mean, band), -1)),
  }));
  const steps = Math.round(reachHz / STEP_HZ);
  let best: Place = { meanHz: nearHz, score: -Infinity, byOrder: [] };
  for (let s = -steps; s <= steps; s++) {
    const shiftHz = s * STEP_HZ;
    const byOrder = ORDERS.map(() => 0);
    for (const { band, middle, binHz, density } of spectra) {
      const at = middle + (band.order * shiftHz) / binHz;
      const k = Math.floor(at);
      if (k < 1 || k > density.length - 3) continue;
      const value = density[k]! + (at - k) * (density[k + 1]! - density[k]!);
      const least = Math.max(LINE_LOG, band.top - WITHIN_LOG);
      byOrder[band.order - 1]! += Math.max(0, Math.log(value / band.floor) - least);
    }
    const near = 1 - ((nearHz + shiftHz) / expectedHz - 1) ** 2 / far ** 2;
    const score = near * byOrder.reduce((sum, v) => sum + v, 0);
    if (score > best.score) best = { meanHz: nearHz + shiftHz, score, byOrder };
  }
  return best;
}
