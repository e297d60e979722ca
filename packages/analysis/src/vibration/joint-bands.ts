/**
 * What rotors hold of the surroundings of their multiples. In every band around a multiple a rotor is a carrier that changes slowly in
 * the frame of its own course; what it holds is how far the power of that stands over its own surroundings, by how fast it turns.
 */
import { inverseComplex, nextPowerOfTwo, transformComplex } from '../spectrum/fft.js';
import { orderBand, restFloor, restSpectrum, turned, type OrderBand } from './order-band.js';
import type { TurningRotor } from './order-lines.js';
import { ahead } from './rotor-means.js';
import { foldedHz } from './rotor-lines.js';
import type { SensorRecord } from './sensor-records.js';
import { stillAngle, type MeanAngle } from './take-out-rotors.js';

/** No more of a long hover is looked at, s. */
const SEARCHED_S = 30;
export const ORDERS = [1, 2, 3, 4];
/** Bands of each multiple, the clearest. */
const MOST_BANDS = 4;
/** The last of them rotors hardly make: it is looked for only where it is not folded. */
const RARE_ORDER = 4;
/** A band counts if something in it stands this many times over its background, and not twice as high without turning. */
const LEAST_RATIO = 6;
const STILL = 2;
/** What is looked at around a multiple, as a share of it beyond where a rotor is sought, and at least, Hz. */
const BEYOND = 0.02;
const LEAST_REACH_HZ = 2.5;
/** Where lower multiples may stand that fold into the band, as a share of them: nothing there counts. */
const TAKEN_SHARE = 0.035;
/** Half width of a carrier, and what each multiple adds, Hz; its surroundings are so many times as wide. */
export const SLOW_HZ = 0.15;
const SLOW_PER_ORDER_HZ = 0.05;
const SURROUNDINGS = 5;
/** A carrier that holds so much more where nothing turns is a mode's or a tone's. */
const STANDS_STILL = 2;
/** Half width of the narrowest carrier, bins: what the window leaves of a line. */
export const NARROW_BINS = 2;
/** Of what a line was before it was taken out so much counts as its surroundings still: what is left of it is no other line. */
const LEAK = 0.1;
/** What stands so far off where the others make one expect it counts for nothing, as a share of the mean. */
export const FAR = 0.05;
const STEP_HZ = 0.02;

/** The surroundings of a multiple in one record. */
export interface Surroundings {
  readonly order: number;
  readonly band: OrderBand;
  readonly rateHz: number;
  /** Of the samples, and of the transforms they are padded to. */
  readonly count: number;
  readonly length: number;
  /** Bins of half a carrier, and of what is looked at either side of rest. */
  readonly half: number;
  readonly reach: number;
  /** Windowed samples. */
  readonly z: Float64Array;
  /** Around rest, twice as far: 1 where no lower multiple may stand. */
  readonly free: Uint8Array;
  /** Power where nothing turns, summed up over as much. */
  readonly still: Float64Array;
}

/** The same, with rotors that turn in some way. */
export interface Band extends Surroundings {
  /** cos and sin of the angle to turn by, by rotor, and how far from rest that is, bins. */
  readonly turns: readonly Float64Array[];
  readonly offBins: readonly number[];
  /** What a carrier counts for: independent values in one of usual width. */
  readonly freedom: number;
  /** Power before anything is taken out, and bins that are free, summed up from −reach, by rotor. */
  readonly whole: readonly Float64Array[];
  readonly open: readonly Float64Array[];
}

export interface Place {
  readonly shiftHz: number;
  /** What a carrier there holds, log of likelihoods. */
  readonly held: number;
}

/**
 * The records in which most stands out around a multiple of the rotors’ mean speed.
 *
 * @param soughtShare how far off its rough mean speed a rotor is sought, as a share
 */
export function surroundingsOf(
  order: number,
  rotors: readonly TurningRotor[],
  mean: MeanAngle,
  records: readonly SensorRecord[],
  lowestHz: number,
  soughtShare: number,
): Surroundings[] {
  const orderHz = order * mean.meanHz;
  const found = records.flatMap((record) => {
    if (record.values.length !== mean.turns.length) return [];
    const rate = record.sampleRateHz;
    const hz = foldedHz(orderHz, rate);
    if (hz < lowestHz || hz > 0.49 * rate || (order >= RARE_ORDER && orderHz > rate / 2)) return [];
    const values = record.values.subarray(0, Math.round(SEARCHED_S * rate));
    const wide = orderBand(record, values, mean.cosSin(order), order, mean.meanHz);
    const band = {
      ...wide,
      reachHz: Math.min(wide.reachHz, Math.max(LEAST_REACH_HZ, (soughtShare + BEYOND) * orderHz)),
    };
    const top = Math.max(...rotors.map((rotor) => topOf(band, ahead(rotor, rotor.meanHz, mean, band))));
    const over = top / restFloor(restSpectrum(wide, wide.z));
    return over > LEAST_RATIO && topOf(band, stillAngle(mean, band)) < STILL * top ? [{ band, over }] : [];
  });
  return found
    .sort((a, b) => b.over - a.over)
    .slice(0, MOST_BANDS)
    .flatMap(({ band }) => {
      const free = freeOf(band, mean.meanHz);
      const core = Math.round((TAKEN_SHARE * orderHz) / binHzOf(band));
      const middle = (free.length - 1) / 2;
      const open = free
        .subarray(Math.max(0, middle - core), middle + core + 1)
        .reduce((sum, v) => sum + v, 0);
      return open > core ? [prepared(band, mean, free)] : [];
    });
}

/** The surroundings with rotors that turn in some way, each at its rough mean speed. */
export function bandsOf(
  surroundings: readonly Surroundings[],
  rotors: readonly TurningRotor[],
  mean: MeanAngle,
): Band[] {
  return surroundings.map((one) => {
    const turns = rotors.map((rotor) => phasorOf(ahead(rotor, rotor.meanHz, mean, one.band)));
    const offBins = rotors.map(({ meanHz }) =>
      Math.round((one.order * (meanHz - mean.meanHz) * one.length) / one.rateHz),
    );
    const whole = turns.map((turn, r) => summedPower(one, transformed(one, one.z, turn), offBins[r]!));
    const open = offBins.map((off) => summed(one.reach, (bin) => freeAt(one, bin, off)));
    // Bins of the samples, not of what pads them.
    const freedom = ((2 * one.half + 1) * one.count) / one.length;
    return { ...one, turns, offBins, whole, open, freedom };
  });
}

function topOf(band: OrderBand, angle: Float64Array): number {
  return restSpectrum(band, turned(band.z, angle, -1)).density.reduce((top, v) => Math.max(top, v), 0);
}

function binHzOf({ z, rateHz }: OrderBand): number {
  return rateHz / nextPowerOfTwo(z.length / 2);
}

/** Where no lower multiple stands, as it is or folded. */
function freeOf(band: OrderBand, meanHz: number): Uint8Array {
  const rate = band.record.sampleRateHz;
  const binHz = binHzOf(band);
  const reach = 2 * Math.floor(band.reachHz / binHz);
  const orderHz = band.order * meanHz;
  // A mirrored line falls when it becomes faster.
  const sign = orderHz - rate * Math.round(orderHz / rate) < 0 ? -1 : 1;
  return Uint8Array.from({ length: 2 * reach + 1 }, (_, i) => {
    const hz = foldedHz(orderHz, rate) + sign * (i - reach) * binHz;
    const taken = ORDERS.some(
      (order) =>
        order < band.order && Math.abs(hz - foldedHz(order * meanHz, rate)) < TAKEN_SHARE * order * meanHz,
    );
    return taken ? 0 : 1;
  });
}

function prepared(band: OrderBand, mean: MeanAngle, free: Uint8Array): Surroundings {
  const count = band.z.length / 2;
  const slowHz = SLOW_HZ + SLOW_PER_ORDER_HZ * (band.order - 1);
  const length = nextPowerOfTwo(count);
  const z = band.z.map((v, i) => v * Math.sin((Math.PI * ((i >> 1) + 0.5)) / count));
  return {
    order: band.order,
    band,
    rateHz: band.rateHz,
    count,
    length,
    half: Math.max(2, Math.round(slowHz / binHzOf(band))),
    reach: (free.length - 1) / 4,
    z,
    free,
    still: summed(
      (free.length - 1) / 2,
      powerOf(transformed({ length }, z, phasorOf(stillAngle(mean, band)))),
    ),
  };
}

function transformed(
  { length }: Pick<Surroundings, 'length'>,
  values: Float64Array,
  turn: Float64Array,
): Float64Array {
  const padded = new Float64Array(2 * length);
  for (let i = 0; i < values.length; i += 2) {
    const [c, s] = [turn[i]!, turn[i + 1]!];
    padded[i] = values[i]! * c + values[i + 1]! * s;
    padded[i + 1] = values[i + 1]! * c - values[i]! * s;
  }
  return transformComplex(padded);
}

function phasorOf(angle: Float64Array): Float64Array {
  const out = new Float64Array(2 * angle.length);
  angle.forEach((x, i) => {
    out[2 * i] = Math.cos(x);
    out[2 * i + 1] = Math.sin(x);
  });
  return out;
}

/** Sums of what is free, from −reach up: one more than there are bins. */
function summedPower(one: Surroundings, bins: Float64Array, offBins: number): Float64Array {
  const power = powerOf(bins);
  return summed(one.reach, (bin) => freeAt(one, bin, offBins) * power(bin));
}

function freeAt({ free, reach }: Surroundings, bin: number, offBins: number): number {
  return free[bin + offBins + 2 * reach] ?? 1;
}

/** Power of a bin, counted from rest. */
function powerOf(bins: Float64Array): (bin: number) => number {
  const length = bins.length / 2;
  return (bin) => {
    const k = (bin + length) % length;
    return bins[2 * k]! ** 2 + bins[2 * k + 1]! ** 2;
  };
}

function summed(reach: number, of: (bin: number) => number): Float64Array {
  const sums = new Float64Array(2 * reach + 2);
  for (let bin = -reach; bin <= reach; bin++) sums[bin + reach + 1] = sums[bin + reach]! + of(bin);
  return sums;
}

/** Power of what is left of the bands in a rotor’s frame, summed up. */
export function powersOf(bands: readonly Band[], r: number, left: readonly Float64Array[]): Float64Array[] {
  return bands.map((band, b) =>
    summedPower(band, transformed(band, left[b]!, band.turns[r]!), band.offBins[r]!),
  );
}

/** What a rotor's carriers hold, by how far off its rough mean speed it turns: log of likelihoods, from −reach in steps. */
export interface HeldCurve {
  /** As a share of the rough mean speed. */
  readonly reach: number;
  readonly values: Float64Array;
  /** What they hold anywhere. */
  readonly usual: number;
}

/**
 * Each carrier against its own surroundings.
 *
 * @param powers of each band, summed up
 */
export function heldCurve(
  bands: readonly Band[],
  r: number,
  powers: readonly Float64Array[],
  ownHz: number,
  reach: number,
): HeldCurve {
  const steps = Math.round((reach * ownHz) / STEP_HZ);
  const values = new Float64Array(2 * steps + 1);
  bands.forEach((band, b) => {
    const { order, half, reach: bandReach, length, rateHz, freedom, still, offBins } = band;
    const now = powers[b]!;
    const before = band.whole[r]!;
    const open = band.open[r]!;
    const carrier = 2 * half + 1;
    for (let s = -steps; s <= steps; s++) {
      const at = Math.round((order * s * STEP_HZ * length) / rateHz) + bandReach;
      if (at - half < 0 || at + half > 2 * bandReach) continue;
      const first = Math.max(0, at - SURROUNDINGS * half);
      const last = Math.min(2 * bandReach, at + SURROUNDINGS * half);
      const inTime = at + offBins[r]! + bandReach;
      const inTimeHeld = (still[inTime + half + 1] ?? 0) - (still[inTime - half] ?? 0);
      if (inTimeHeld > STANDS_STILL * (before[at + half + 1]! - before[at - half]!)) continue;
      // Beside what a lower multiple may hold there are no surroundings to be judged by.
      const below = open[at - half]! - open[first]!;
      const above = open[last + 1]! - open[at + half + 1]!;
      if (open[at + half + 1]! - open[at - half]! < carrier || below < half || above < half) continue;
      const held = now[at + half + 1]! - now[at - half]!;
      const around =
        (now[last + 1]! - now[first]! - held) / (below + above) +
        (LEAK * (before[last + 1]! - before[first]!)) / (below + above + carrier);
      if (held > carrier * around) values[s + steps]! += freedom * Math.log(held / carrier / around);
    }
  });
  return { reach, values, usual: Float64Array.from(values).sort()[steps]! };
}

export function valueAt({ values }: HeldCurve, shiftHz: number): number {
  return values[Math.round(shiftHz / STEP_HZ) + (values.length - 1) / 2]!;
}

/**
 * Mean speed at which a rotor holds most.
 *
 * @param expectedOff its rough one, as a share
 * @param may whether a shift may be taken, Hz
 */
export function bestPlace(
  { values, usual }: HeldCurve,
  ownHz: number,
  expectedOff: number,
  may: (shiftHz: number) => boolean = () => true,
): Place {
  const steps = (values.length - 1) / 2;
  let best: Place = { shiftHz: 0, held: -Infinity };
  values.forEach((value, i) => {
    if (value <= usual) return;
    const shiftHz = (i - steps) * STEP_HZ;
    const near = Math.max(0, 1 - ((shiftHz / ownHz - expectedOff) / FAR) ** 2);
    const held = near * (value - usual);
    if (held > best.held && may(shiftHz)) best = { shiftHz, held };
  });
  return best;
}

/** A rotor's carrier in each band. */
export function partsOf(
  bands: readonly Band[],
  r: number,
  left: readonly Float64Array[],
  shiftHz: number,
): Float64Array[] {
  return bands.map((band, b) => {
    const { order, half, count, length, rateHz } = band;
    const turn = band.turns[r]!;
    const bins = transformed(band, left[b]!, turn);
    const kept = new Float64Array(bins.length);
    const middle = Math.round((order * shiftHz * length) / rateHz);
    for (let k = middle - half; k <= middle + half; k++) {
      const at = (k + length) % length;
      kept[2 * at] = bins[2 * at]!;
      kept[2 * at + 1] = bins[2 * at + 1]!;
    }
    const resting = inverseComplex(kept);
    const part = new Float64Array(2 * count);
    for (let i = 0; i < part.length; i += 2) {
      const [c, s] = [turn[i]!, turn[i + 1]!];
      part[i] = resting[i]! * c - resting[i + 1]! * s;
      part[i + 1] = resting[i]! * s + resting[i + 1]! * c;
    }
    return part;
  });
}
