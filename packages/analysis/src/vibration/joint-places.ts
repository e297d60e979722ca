/**
 * Each rotor's mean speed where the throttle hardly moves, all of them together. In every band around a multiple each rotor is a
 * carrier that changes slowly in the frame of its own course; each is placed where it holds most, over all bands, in what the others
 * leave, over and over (relaxation: Li and Stoica 1996). So a rotor's line, smeared by its own course, does not hide the next one's.
 */
import { inverseComplex, nextPowerOfTwo, transformComplex } from '../spectrum/fft.js';
import { orderBand, restFloor, restSpectrum, turned, type OrderBand } from './order-band.js';
import { angleOf, type TurningRotor } from './order-lines.js';
import { ahead } from './rotor-means.js';
import { foldedHz } from './rotor-lines.js';
import type { SensorRecord } from './sensor-records.js';
import { MeanAngle, stillAngle } from './take-out-rotors.js';

/** No more of a long hover is looked at, s. */
const SEARCHED_S = 30;
const ORDERS = [1, 2, 3, 4];
/** The last of them rotors hardly make: it is looked for only where it is not folded. */
const RARE_ORDER = 4;
/** Bands of each multiple, the clearest. */
const MOST_BANDS = 4;
/** A band counts if something in it stands this many times over its background, and not twice as high without turning. */
const LEAST_RATIO = 6;
const STILL = 2;
/** What is looked at around a multiple, as a share of it and at least, Hz. */
const REACH_SHARE = 0.08;
const LEAST_REACH_HZ = 2.5;
/** Where lower multiples may stand that fold into the band, as a share of them: nothing there counts. */
const TAKEN_SHARE = 0.035;
/** Half width of a carrier, and what each multiple adds, Hz; its surroundings are so many times as wide. */
const SLOW_HZ = 0.15;
const SLOW_PER_ORDER_HZ = 0.05;
const SURROUNDINGS = 5;
/** Half width of the narrowest carrier, bins: what the window leaves of a line. */
const NARROW_BINS = 2;
/** Of what a line was before it was taken out so much counts as its surroundings still: what is left of it is no other line. */
const LEAK = 0.1;
/** Where a rotor is sought, as a share of the mean; what stands so far off where the others make one expect it counts for nothing. */
const SPREAD = 0.06;
const FAR = 0.06;
const STEP_HZ = 0.02;
/** What a rotor must hold, log of likelihoods: less is found anywhere. */
const LEAST_HELD = 25;
/** And as a share of the clearest one: what a strong line leaves is no other rotor. */
const LEAST_SHARE = 0.25;
const ROUNDS = 5;

interface Band {
  readonly order: number;
  readonly rateHz: number;
  /** Of the samples, and of the transforms they are padded to. */
  readonly count: number;
  readonly length: number;
  /** Bins of half a carrier, and of what is looked at either side of rest. */
  readonly half: number;
  readonly reach: number;
  /** Windowed samples. */
  readonly z: Float64Array;
  /** Angle to turn by, by rotor. */
  readonly angles: readonly Float64Array[];
  /** Power before anything is taken out, summed up from −reach, by rotor. */
  readonly whole: readonly Float64Array[];
  /** From −reach: 1 where no lower multiple may stand. */
  readonly free: Uint8Array;
}

interface Place {
  readonly shiftHz: number;
  /** What a carrier there holds, log of likelihoods. */
  readonly held: number;
}

/**
 * @param rotors at rough mean speeds, each with a course of its own
 * @returns the rotors at mean speeds of their own; those that do not show stand off the rough ones as the others do in the mean.
 *   null where none shows
 */
export function jointPlaces(
  rotors: readonly TurningRotor[],
  records: readonly SensorRecord[],
  lowestHz: number,
): TurningRotor[] | null {
  const mean = new MeanAngle(rotors);
  const bands = ORDERS.flatMap((order) => bandsOf(order, rotors, mean, records, lowestHz));
  const found = new Relaxation(rotors, bands);
  found.placeAll();
  for (let round = 0; round < ROUNDS; round++) found.placeAgain();
  found.sharpen();
  if (found.shifts.size === 0) return null;
  return rotors.map(({ rotor, speed, meanHz }, r) => {
    const ownHz = meanHz + (found.shifts.get(r) ?? found.offOf(r) * meanHz);
    return { ...angleOf(rotor, speed, ownHz, records[0]!), speed };
  });
}

/** Rotors in their places, each in what the others leave. */
class Relaxation {
  readonly shifts = new Map<number, number>();
  readonly #rotors: readonly TurningRotor[];
  readonly #bands: readonly Band[];
  readonly #parts = new Map<number, readonly Float64Array[]>();
  readonly #held = new Map<number, number>();

  constructor(rotors: readonly TurningRotor[], bands: readonly Band[]) {
    this.#rotors = rotors;
    this.#bands = bands;
  }

  /** The clearest first. */
  placeAll(): void {
    const waiting = new Set(this.#rotors.keys());
    while (waiting.size > 0) {
      const [r, found] = [...waiting]
        .map((one) => [one, this.#placeOf(one)] as const)
        .reduce((a, b) => (b[1].place.held > a[1].place.held ? b : a));
      this.#settle(r, found);
      waiting.delete(r);
    }
  }

  /** Each once more beside the others. */
  placeAgain(): void {
    for (const r of this.#rotors.keys()) this.#settle(r, this.#placeOf(r));
  }

  /** Within its carrier each where the narrowest one holds most. */
  sharpen(): void {
    const narrow = this.#bands.map((band) => ({ ...band, half: NARROW_BINS }));
    for (const [r, nearHz] of this.shifts) {
      const { meanHz } = this.#rotors[r]!;
      const place = bestPlace(narrow, r, this.#leftBy(r), meanHz, nearHz / meanHz, nearHz);
      this.shifts.set(r, place.shiftHz);
    }
  }

  /** How far off their rough mean speeds the others stand in the mean, as a share. */
  offOf(except: number): number {
    const off = [...this.shifts].filter(([r]) => r !== except).map(([r, hz]) => hz / this.#rotors[r]!.meanHz);
    return off.length === 0 ? 0 : off.reduce((sum, v) => sum + v, 0) / off.length;
  }

  #leftBy(r: number): Float64Array[] {
    return this.#bands.map(({ z }, b) => {
      const rest = z.slice();
      for (const [other, part] of this.#parts)
        if (other !== r) for (let i = 0; i < rest.length; i++) rest[i]! -= part[b]![i]!;
      return rest;
    });
  }

  #placeOf(r: number): { readonly place: Place; readonly left: Float64Array[] } {
    const left = this.#leftBy(r);
    const { meanHz } = this.#rotors[r]!;
    return { place: bestPlace(this.#bands, r, left, meanHz, this.offOf(r), null), left };
  }

  #settle(r: number, { place, left }: { readonly place: Place; readonly left: Float64Array[] }): void {
    for (const known of [this.shifts, this.#parts, this.#held]) known.delete(r);
    const most = Math.max(0, ...this.#held.values());
    if (place.held < Math.max(LEAST_HELD, LEAST_SHARE * most)) return;
    this.shifts.set(r, place.shiftHz);
    this.#held.set(r, place.held);
    this.#parts.set(r, partsOf(this.#bands, r, left, place.shiftHz));
  }
}

function bandsOf(
  order: number,
  rotors: readonly TurningRotor[],
  mean: MeanAngle,
  records: readonly SensorRecord[],
  lowestHz: number,
): Band[] {
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
      reachHz: Math.min(wide.reachHz, Math.max(LEAST_REACH_HZ, REACH_SHARE * orderHz)),
    };
    const angles = rotors.map((rotor) => ahead(rotor, rotor.meanHz, mean, band));
    const top = Math.max(...angles.map((angle) => topOf(band, angle)));
    const over = top / restFloor(restSpectrum(wide, wide.z));
    return over > LEAST_RATIO && topOf(band, stillAngle(mean, band)) < STILL * top
      ? [{ band, angles, over }]
      : [];
  });
  return found
    .sort((a, b) => b.over - a.over)
    .slice(0, MOST_BANDS)
    .flatMap(({ band, angles }) => {
      const free = freeOf(band, mean.meanHz);
      const core = Math.round((TAKEN_SHARE * orderHz) / binHzOf(band));
      const middle = (free.length - 1) / 2;
      const open = free
        .subarray(Math.max(0, middle - core), middle + core + 1)
        .reduce((sum, v) => sum + v, 0);
      return open > core ? [prepared(band, angles, free)] : [];
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
  const reach = Math.floor(band.reachHz / binHz);
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

function prepared(band: OrderBand, angles: readonly Float64Array[], free: Uint8Array): Band {
  const count = band.z.length / 2;
  const length = nextPowerOfTwo(count);
  const slowHz = SLOW_HZ + SLOW_PER_ORDER_HZ * (band.order - 1);
  const one = {
    order: band.order,
    rateHz: band.rateHz,
    count,
    length,
    half: Math.max(2, Math.round(slowHz / binHzOf(band))),
    reach: (free.length - 1) / 2,
    z: band.z.map((v, i) => v * Math.sin((Math.PI * ((i >> 1) + 0.5)) / count)),
    angles,
    free,
  };
  return { ...one, whole: angles.map((angle) => summedPower(one, transformed(one, one.z, angle))) };
}

function transformed(
  { length }: Pick<Band, 'length'>,
  values: Float64Array,
  angle: Float64Array,
): Float64Array {
  const padded = new Float64Array(2 * length);
  padded.set(turned(values, angle, -1));
  return transformComplex(padded);
}

/** Sums of what is free, from −reach up: one more than there are bins. */
function summedPower(
  { length, reach, free }: Pick<Band, 'length' | 'reach' | 'free'>,
  bins: Float64Array,
): Float64Array {
  const sums = new Float64Array(free.length + 1);
  free.forEach((is, i) => {
    const k = (i - reach + length) % length;
    sums[i + 1] = sums[i]! + is * (bins[2 * k]! ** 2 + bins[2 * k + 1]! ** 2);
  });
  return sums;
}

/**
 * Mean speed at which a rotor's carriers hold most of what is left, each against its own surroundings.
 *
 * @param nearHz shift near which it stands; null: anywhere
 */
function bestPlace(
  bands: readonly Band[],
  r: number,
  left: readonly Float64Array[],
  ownHz: number,
  expectedOff: number,
  nearHz: number | null,
): Place {
  const steps = Math.round((SPREAD * ownHz) / STEP_HZ);
  const total = new Float64Array(2 * steps + 1);
  bands.forEach((band, b) => {
    const { order, half, reach, count, length, rateHz } = band;
    const now = summedPower(band, transformed(band, left[b]!, band.angles[r]!));
    const before = band.whole[r]!;
    const carrier = 2 * half + 1;
    // Independent values: bins of the samples, not of what pads them.
    const freedom = (carrier * count) / length;
    for (let s = -steps; s <= steps; s++) {
      const at = Math.round((order * s * STEP_HZ * length) / rateHz) + reach;
      if (at - half < 0 || at + half > 2 * reach) continue;
      const first = Math.max(0, at - SURROUNDINGS * half);
      const last = Math.min(2 * reach, at + SURROUNDINGS * half);
      const held = now[at + half + 1]! - now[at - half]!;
      const bins = last - first + 1;
      const around =
        (now[last + 1]! - now[first]! - held) / Math.max(1, bins - carrier) +
        (LEAK * (before[last + 1]! - before[first]!)) / bins;
      if (held > carrier * around) total[s + steps]! += freedom * Math.log(held / carrier / around);
    }
  });
  const usual = Float64Array.from(total).sort()[steps]!;
  let best: Place = { shiftHz: 0, held: -Infinity };
  total.forEach((value, i) => {
    const shiftHz = (i - steps) * STEP_HZ;
    if (nearHz !== null && Math.abs(shiftHz - nearHz) > SLOW_HZ) return;
    const near = Math.max(0, 1 - ((shiftHz / ownHz - expectedOff) / FAR) ** 2);
    const held = near * (value - usual);
    if (held > best.held) best = { shiftHz, held };
  });
  return best;
}

/** A rotor's carrier in each band. */
function partsOf(
  bands: readonly Band[],
  r: number,
  left: readonly Float64Array[],
  shiftHz: number,
): Float64Array[] {
  return bands.map((band, b) => {
    const { order, half, count, length, rateHz } = band;
    const angle = band.angles[r]!;
    const bins = transformed(band, left[b]!, angle);
    const kept = new Float64Array(bins.length);
    const middle = Math.round((order * shiftHz * length) / rateHz);
    for (let k = middle - half; k <= middle + half; k++) {
      const at = (k + length) % length;
      kept[2 * at] = bins[2 * at]!;
      kept[2 * at + 1] = bins[2 * at + 1]!;
    }
    return turned(inverseComplex(kept).subarray(0, 2 * count), angle, 1);
  });
}
