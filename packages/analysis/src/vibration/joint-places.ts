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
import type { SpeedGuess } from './relative-speeds.js';
import type { SensorRecord } from './sensor-records.js';
import { MeanAngle, stillAngle } from './take-out-rotors.js';

/** No more of a long hover is looked at, s. */
const SEARCHED_S = 30;
const ORDERS = [1, 2, 3, 4];
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
const SLOW_HZ = 0.15;
const SLOW_PER_ORDER_HZ = 0.05;
const SURROUNDINGS = 5;
/** A carrier that holds so much more where nothing turns is a mode's or a tone's. */
const STANDS_STILL = 2;
/** Times that half width, and what a carrier as wide counts for: the narrowest is right unless a wider one holds clearly more. */
const WIDTHS = [
  { times: 1, worth: 1 },
  { times: 2, worth: 0.87 },
  { times: 4, worth: 0.76 },
];
/** Half width of the narrowest carrier, bins: what the window leaves of a line. */
const NARROW_BINS = 2;
/** Of what a line was before it was taken out so much counts as its surroundings still: what is left of it is no other line. */
const LEAK = 0.1;
/** What stands so far off where the others make one expect it counts for nothing, as a share of the mean. */
const FAR = 0.05;
const STEP_HZ = 0.02;
/** Rotors that are placed roughly stand at least this far apart, Hz. */
const ALONE_HZ = 0.3;
/** What a rotor must hold, log of likelihoods: less is found anywhere. */
const LEAST_HELD = 25;
/** And as a share of the clearest one: what a strong line leaves is no other rotor. */
const LEAST_SHARE = 0.25;
/** What it must hold away from another rotor, as a share of what it would in its place. */
const LEAST_APART = 0.5;
/** Times that each is placed once more beside the others. */
const ROUNDS = 3;

/** The surroundings of a multiple in one record. */
interface Surroundings {
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
interface Band extends Surroundings {
  /** cos and sin of the angle to turn by, by rotor, and how far from rest that is, bins. */
  readonly turns: readonly Float64Array[];
  readonly offBins: readonly number[];
  /** What a carrier counts for: independent values in one of usual width. */
  readonly freedom: number;
  /** Power before anything is taken out, summed up from −reach, by rotor. */
  readonly whole: readonly Float64Array[];
}

interface Place {
  readonly shiftHz: number;
  /** What a carrier there holds, log of likelihoods. */
  readonly held: number;
}

export interface JointPlaces {
  readonly rotors: readonly TurningRotor[];
  /** How many of them hold something. */
  readonly shown: number;
  /** What they hold, log of likelihoods. */
  readonly held: number;
  /** The same, of each multiple from the first. */
  readonly byOrder: readonly number[];
}

/** Places rotors around one rough mean speed, by one way after another in which they may turn. */
export class JointSearch {
  readonly #baseHz: number;
  readonly #record: SensorRecord;
  readonly #mean: MeanAngle;
  readonly #surroundings: readonly Surroundings[];
  readonly #widest: number;

  /**
   * @param guesses the likeliest way in which the rotors may turn, each with a course of its own
   * @param baseHz rough mean of their speeds
   * @param widest how far off that their mean is sought, as a share
   */
  constructor(
    guesses: readonly SpeedGuess[],
    baseHz: number,
    records: readonly SensorRecord[],
    lowestHz: number,
    widest = 0,
  ) {
    this.#baseHz = baseHz;
    this.#record = records[0]!;
    this.#widest = widest;
    const rotors = this.#roughly(guesses);
    this.#mean = new MeanAngle(rotors);
    this.#surroundings = ORDERS.flatMap((order) =>
      surroundingsOf(order, rotors, this.#mean, records, lowestHz, widest + FAR + BEYOND),
    );
  }

  /**
   * @param guesses a way in which the rotors may turn
   * @param alike all the same way, so that lines nearer than a carrier is wide are one
   * @returns for carriers of each width: courses that say less of the speeds leave wider lines
   */
  by(guesses: readonly SpeedGuess[], alike = false): JointStarts[] {
    const rotors = this.#roughly(guesses);
    const bands = this.#surroundings.map((one): Band => {
      const turns = rotors.map((rotor) => phasorOf(ahead(rotor, rotor.meanHz, this.#mean, one.band)));
      const offBins = rotors.map(({ meanHz }) =>
        Math.round((one.order * (meanHz - this.#mean.meanHz) * one.length) / one.rateHz),
      );
      const whole = turns.map((turn, r) => summedPower(one, transformed(one, one.z, turn), offBins[r]!));
      // Bins of the samples, not of what pads them.
      return {
        ...one,
        turns,
        offBins,
        whole,
        freedom: ((2 * one.half + 1) * one.count) / one.length,
      };
    });
    const reach = this.#widest + FAR;
    return WIDTHS.map(({ times, worth }) => {
      const wider = bands.map((band) => ({
        ...band,
        half: times * band.half,
        freedom: worth * band.freedom,
      }));
      return new JointStarts(rotors, wider, reach, times > 1 || alike ? times * SLOW_HZ : 0, this.#record);
    });
  }

  #roughly(guesses: readonly SpeedGuess[]): TurningRotor[] {
    return guesses.map(({ rotor, speed, share }) => ({
      ...angleOf(rotor, speed, share * this.#baseHz, this.#record),
      speed,
    }));
  }
}

/** Rotors that turn in one way, to be placed from one rough mean after another. */
export class JointStarts {
  readonly #rotors: readonly TurningRotor[];
  readonly #bands: readonly Band[];
  readonly #untouched: readonly HeldCurve[];
  readonly #togetherHz: number;
  readonly #record: SensorRecord;

  /**
   * @param reach of the rotors’ rough mean speeds, as a share
   * @param togetherHz nearer than this they cannot be told apart
   */
  constructor(
    rotors: readonly TurningRotor[],
    bands: readonly Band[],
    reach: number,
    togetherHz: number,
    record: SensorRecord,
  ) {
    this.#rotors = rotors;
    this.#bands = bands;
    this.#togetherHz = togetherHz;
    this.#record = record;
    this.#untouched = rotors.map(({ meanHz }, r) =>
      heldCurve(
        bands,
        r,
        bands.map(({ whole }) => whole[r]!),
        meanHz,
        reach,
      ),
    );
  }

  /** What the rotors may hold from a start, were nothing to be taken out for the others: what one holds none of the others does. */
  promise(off: number): number {
    const taken: number[] = [];
    const waiting = new Set(this.#rotors.keys());
    let sum = 0;
    while (waiting.size > 0) {
      let best = { r: -1, hz: 0, held: 0 };
      for (const r of waiting) {
        const { meanHz } = this.#rotors[r]!;
        const { shiftHz, held } = bestPlace(this.#untouched[r]!, meanHz, off, (shift) =>
          taken.every((hz) => Math.abs(meanHz + shift - hz) > Math.max(ALONE_HZ, this.#togetherHz)),
        );
        if (held > best.held) best = { r, hz: meanHz + shiftHz, held };
      }
      if (best.r < 0) break;
      waiting.delete(best.r);
      taken.push(best.hz);
      sum += best.held;
    }
    return sum;
  }

  /** @param off of the rough mean, as a share */
  from(off: number): Relaxation {
    return new Relaxation(this.#rotors, this.#bands, this.#untouched, off, this.#togetherHz, this.#record);
  }
}

/** Rotors in their places, each in what the others leave. */
export class Relaxation {
  readonly #shifts = new Map<number, number>();
  readonly #rotors: readonly TurningRotor[];
  readonly #bands: readonly Band[];
  readonly #untouched: readonly HeldCurve[];
  readonly #startOff: number;
  readonly #togetherHz: number;
  readonly #record: SensorRecord;
  readonly #parts = new Map<number, readonly Float64Array[]>();
  readonly #held = new Map<number, number>();

  constructor(
    rotors: readonly TurningRotor[],
    bands: readonly Band[],
    untouched: readonly HeldCurve[],
    startOff: number,
    togetherHz: number,
    record: SensorRecord,
  ) {
    this.#rotors = rotors;
    this.#bands = bands;
    this.#untouched = untouched;
    this.#startOff = startOff;
    this.#togetherHz = togetherHz;
    this.#record = record;
    this.#placeAll();
  }

  /** The clearest first. */
  #placeAll(): void {
    const waiting = new Set(this.#rotors.keys());
    while (waiting.size > 0) {
      const [r, found] = [...waiting]
        .map((one) => [one, this.#placeOf(one)] as const)
        .reduce((a, b) => (b[1].place.held > a[1].place.held ? b : a));
      this.#settle(r, found);
      waiting.delete(r);
    }
  }

  /** Each once more beside the others, over and over. */
  settle(): void {
    for (let round = 0; round < ROUNDS; round++)
      for (const r of this.#rotors.keys()) this.#settle(r, this.#placeOf(r));
  }

  /**
   * @returns the rotors at mean speeds of their own; those that do not show stand off the rough ones as the others do in the mean. null
   *   where none shows
   */
  places(): JointPlaces | null {
    if (this.#shifts.size === 0) return null;
    const shifts = this.#sharpened();
    const rotors = this.#rotors.map(({ rotor, speed, meanHz }, r) => {
      const ownHz = meanHz + (shifts.get(r) ?? this.#offOf(r, shifts) * meanHz);
      return { ...angleOf(rotor, speed, ownHz, this.#record), speed };
    });
    return { rotors, shown: this.#shifts.size, held: this.held, byOrder: this.#byOrder() };
  }

  #byOrder(): number[] {
    const powers = new Map([...this.#held.keys()].map((r) => [r, powersOf(this.#bands, r, this.#leftBy(r))]));
    return ORDERS.map((order) => {
      const own = this.#bands.flatMap((band, b) => (band.order === order ? [b] : []));
      const bands = own.map((b) => this.#bands[b]!);
      return [...powers].reduce((sum, [r, all]) => {
        const { meanHz } = this.#rotors[r]!;
        const curve = heldCurve(
          bands,
          r,
          own.map((b) => all[b]!),
          meanHz,
          this.#untouched[r]!.reach,
        );
        return sum + Math.max(0, valueAt(curve, this.#shifts.get(r)!) - curve.usual);
      }, 0);
    });
  }

  /** Within its carrier each where the narrowest one holds most. */
  #sharpened(): Map<number, number> {
    const narrow = this.#bands.map((band) => ({ ...band, half: NARROW_BINS }));
    const sharp = new Map<number, number>();
    for (const [r, nearHz] of this.#shifts) {
      const { meanHz } = this.#rotors[r]!;
      const curve = heldCurve(
        narrow,
        r,
        powersOf(narrow, r, this.#leftBy(r)),
        meanHz,
        this.#untouched[r]!.reach,
      );
      const { shiftHz } = bestPlace(curve, meanHz, nearHz / meanHz, (hz) => Math.abs(hz - nearHz) <= SLOW_HZ);
      sharp.set(r, shiftHz);
    }
    return sharp;
  }

  /** What all rotors hold, log of likelihoods. */
  get held(): number {
    return [...this.#held.values()].reduce((sum, v) => sum + v, 0);
  }

  /** How far off their rough mean speeds the others stand in the mean, as a share. */
  #offOf(except: number, shifts: ReadonlyMap<number, number> = this.#shifts): number {
    const off = [...shifts].filter(([r]) => r !== except).map(([r, hz]) => hz / this.#rotors[r]!.meanHz);
    return off.length === 0 ? this.#startOff : off.reduce((sum, v) => sum + v, 0) / off.length;
  }

  #leftBy(r: number): Float64Array[] {
    const others = [...this.#parts].filter(([other]) => other !== r);
    return this.#bands.map(({ z }, b) => {
      if (others.length === 0) return z;
      const rest = z.slice();
      for (const [, part] of others) for (let i = 0; i < rest.length; i++) rest[i]! -= part[b]![i]!;
      return rest;
    });
  }

  #placeOf(r: number): { readonly place: Place; readonly left: Float64Array[] } {
    const left = this.#leftBy(r);
    const { meanHz } = this.#rotors[r]!;
    const known = this.#untouched[r]!;
    const alone = [...this.#parts.keys()].every((other) => other === r);
    const curve = alone
      ? known
      : heldCurve(this.#bands, r, powersOf(this.#bands, r, left), meanHz, known.reach);
    const anywhere = bestPlace(curve, meanHz, this.#offOf(r));
    if (!this.#isTaken(r, anywhere.shiftHz)) return { place: anywhere, left };
    const apart = bestPlace(curve, meanHz, this.#offOf(r), (shiftHz) => !this.#isTaken(r, shiftHz));
    // What a wide carrier leaves of one rotor’s line says nothing for another one that stands there as well.
    const place = apart.held > LEAST_APART * anywhere.held ? apart : { ...anywhere, held: 0 };
    return { place, left };
  }

  #isTaken(r: number, shiftHz: number): boolean {
    const { meanHz } = this.#rotors[r]!;
    return [...this.#shifts].some(
      ([other, hz]) =>
        other !== r && Math.abs(this.#rotors[other]!.meanHz + hz - meanHz - shiftHz) < this.#togetherHz,
    );
  }

  #settle(r: number, { place, left }: { readonly place: Place; readonly left: Float64Array[] }): void {
    for (const known of [this.#shifts, this.#parts, this.#held]) known.delete(r);
    const most = Math.max(0, ...this.#held.values());
    if (place.held === 0 && this.#isTaken(r, place.shiftHz)) this.#shifts.set(r, place.shiftHz);
    if (place.held < Math.max(LEAST_HELD, LEAST_SHARE * most)) return;
    this.#shifts.set(r, place.shiftHz);
    this.#held.set(r, place.held);
    this.#parts.set(r, partsOf(this.#bands, r, left, place.shiftHz));
  }
}

function surroundingsOf(
  order: number,
  rotors: readonly TurningRotor[],
  mean: MeanAngle,
  records: readonly SensorRecord[],
  lowestHz: number,
  reachShare: number,
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
      reachHz: Math.min(wide.reachHz, Math.max(LEAST_REACH_HZ, reachShare * orderHz)),
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
      transformed({ length }, z, phasorOf(stillAngle(mean, band))),
      (free.length - 1) / 2,
      () => 1,
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
function summedPower({ reach, free }: Surroundings, bins: Float64Array, offBins: number): Float64Array {
  return summed(bins, reach, (bin) => free[bin + offBins + 2 * reach] ?? 1);
}

function summed(bins: Float64Array, reach: number, weight: (bin: number) => number): Float64Array {
  const length = bins.length / 2;
  const sums = new Float64Array(2 * reach + 2);
  for (let bin = -reach; bin <= reach; bin++) {
    const k = (bin + length) % length;
    sums[bin + reach + 1] = sums[bin + reach]! + weight(bin) * (bins[2 * k]! ** 2 + bins[2 * k + 1]! ** 2);
  }
  return sums;
}

function powersOf(bands: readonly Band[], r: number, left: readonly Float64Array[]): Float64Array[] {
  return bands.map((band, b) =>
    summedPower(band, transformed(band, left[b]!, band.turns[r]!), band.offBins[r]!),
  );
}

/** What a rotor's carriers hold, by how far off its rough mean speed it turns: log of likelihoods, from −reach in steps. */
interface HeldCurve {
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
function heldCurve(
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
    const carrier = 2 * half + 1;
    for (let s = -steps; s <= steps; s++) {
      const at = Math.round((order * s * STEP_HZ * length) / rateHz) + bandReach;
      if (at - half < 0 || at + half > 2 * bandReach) continue;
      const first = Math.max(0, at - SURROUNDINGS * half);
      const last = Math.min(2 * bandReach, at + SURROUNDINGS * half);
      const inTime = at + offBins[r]! + bandReach;
      const inTimeHeld = (still[inTime + half + 1] ?? 0) - (still[inTime - half] ?? 0);
      if (inTimeHeld > STANDS_STILL * (before[at + half + 1]! - before[at - half]!)) continue;
      const held = now[at + half + 1]! - now[at - half]!;
      const bins = last - first + 1;
      const around =
        (now[last + 1]! - now[first]! - held) / Math.max(1, bins - carrier) +
        (LEAK * (before[last + 1]! - before[first]!)) / bins;
      if (held > carrier * around) values[s + steps]! += freedom * Math.log(held / carrier / around);
    }
  });
  return { reach, values, usual: Float64Array.from(values).sort()[steps]! };
}

function valueAt({ values }: HeldCurve, shiftHz: number): number {
  return values[Math.round(shiftHz / STEP_HZ) + (values.length - 1) / 2]!;
}

/**
 * Mean speed at which a rotor holds most.
 *
 * @param expectedOff its rough one, as a share
 * @param may whether a shift may be taken, Hz
 */
function bestPlace(
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
function partsOf(
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
