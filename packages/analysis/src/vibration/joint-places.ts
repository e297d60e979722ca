/**
 * Each rotor's mean speed, all of them together: each is placed where it holds most, over all bands around its multiples, in what the
 * others leave, over and over (relaxation: Li and Stoica 1996). So a rotor's line, smeared by its own course, does not hide the next one's.
 */
import {
  bandsOf,
  bestPlace,
  FAR,
  heldCurve,
  NARROW_BINS,
  ORDERS,
  partsOf,
  powersOf,
  SLOW_HZ,
  surroundingsOf,
  valueAt,
  type Band,
  type HeldCurve,
  type Place,
  type Surroundings,
} from './joint-bands.js';
import { angleOf, type TurningRotor } from './order-lines.js';
import type { SpeedGuess } from './relative-speeds.js';
import type { SensorRecord } from './sensor-records.js';
import { MeanAngle } from './take-out-rotors.js';

/** Times the half width of a carrier, and what a carrier as wide counts for: the narrowest is right unless a wider one holds clearly more. */
const WIDTHS = [
  { times: 1, worth: 1 },
  { times: 2, worth: 0.87 },
  { times: 4, worth: 0.76 },
];
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

export interface JointPlaces {
  readonly rotors: readonly TurningRotor[];
  /** How many of them hold something, or stand where another one hides what they do. */
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
      surroundingsOf(order, rotors, this.#mean, records, lowestHz, widest + FAR),
    );
  }

  /**
   * @param guesses a way in which the rotors may turn
   * @param alike all the same way, so that lines nearer than a carrier is wide are one
   * @returns for carriers of each width: courses that say less of the speeds leave wider lines
   */
  by(guesses: readonly SpeedGuess[], alike = false): JointStarts[] {
    const rotors = this.#roughly(guesses);
    const bands = bandsOf(this.#surroundings, rotors, this.#mean);
    const reach = this.#widest + FAR;
    return WIDTHS.map(({ times, worth }) => {
      const wider = bands.map((band) => ({
        ...band,
        half: times * band.half,
        freedom: worth * band.freedom,
      }));
      const untouched = rotors.map(({ meanHz }, r) =>
        heldCurve(
          wider,
          r,
          wider.map(({ whole }) => whole[r]!),
          meanHz,
          reach,
        ),
      );
      const togetherHz = times > 1 || alike ? times * SLOW_HZ : 0;
      return new JointStarts({ rotors, bands: wider, untouched, togetherHz, record: this.#record });
    });
  }

  #roughly(guesses: readonly SpeedGuess[]): TurningRotor[] {
    return guesses.map(({ rotor, speed, share }) => ({
      ...angleOf(rotor, speed, share * this.#baseHz, this.#record),
      speed,
    }));
  }
}

/** What rotors that turn in one way are placed in. */
interface Setting {
  readonly rotors: readonly TurningRotor[];
  readonly bands: readonly Band[];
  /** What each rotor holds of the bands as they are. */
  readonly untouched: readonly HeldCurve[];
  /** Nearer than this rotors cannot be told apart. */
  readonly togetherHz: number;
  /** One of the clock that the angles are on. */
  readonly record: SensorRecord;
}

/** Rotors that turn in one way, to be placed from one rough mean after another. */
export class JointStarts {
  readonly #setting: Setting;

  constructor(setting: Setting) {
    this.#setting = setting;
  }

  /** What the rotors may hold from a start, were nothing to be taken out for the others: what one holds none of the others does. */
  promise(off: number): number {
    const { rotors, untouched, togetherHz } = this.#setting;
    const taken: number[] = [];
    const waiting = new Set(rotors.keys());
    let sum = 0;
    while (waiting.size > 0) {
      let best = { r: -1, hz: 0, held: 0 };
      for (const r of waiting) {
        const { meanHz } = rotors[r]!;
        const { shiftHz, held } = bestPlace(untouched[r]!, meanHz, off, (shift) =>
          taken.every((hz) => Math.abs(meanHz + shift - hz) > Math.max(ALONE_HZ, togetherHz)),
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
    return new Relaxation(this.#setting, off);
  }
}

/** Rotors in their places, each in what the others leave. */
export class Relaxation {
  readonly #setting: Setting;
  readonly #startOff: number;
  readonly #shifts = new Map<number, number>();
  readonly #parts = new Map<number, readonly Float64Array[]>();
  readonly #held = new Map<number, number>();

  /** @param startOff of the rough mean speeds, as a share */
  constructor(setting: Setting, startOff: number) {
    this.#setting = setting;
    this.#startOff = startOff;
    this.#placeAll();
  }

  /** The clearest first. */
  #placeAll(): void {
    const waiting = new Set(this.#setting.rotors.keys());
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
      for (const r of this.#setting.rotors.keys()) this.#settle(r, this.#placeOf(r));
  }

  /**
   * @returns the rotors at mean speeds of their own; those that do not show stand off the rough ones as the others do in the mean. null
   *   where none shows
   */
  places(): JointPlaces | null {
    if (this.#shifts.size === 0) return null;
    const shifts = this.#sharpened();
    const rotors = this.#setting.rotors.map(({ rotor, speed, meanHz }, r) => {
      const ownHz = meanHz + (shifts.get(r) ?? this.#offOf(r, shifts) * meanHz);
      return { ...angleOf(rotor, speed, ownHz, this.#setting.record), speed };
    });
    return { rotors, shown: this.#shifts.size, held: this.held, byOrder: this.#byOrder() };
  }

  #byOrder(): number[] {
    const powers = new Map(
      [...this.#held.keys()].map((r) => [r, powersOf(this.#setting.bands, r, this.#leftBy(r))]),
    );
    return ORDERS.map((order) => {
      const own = this.#setting.bands.flatMap((band, b) => (band.order === order ? [b] : []));
      const bands = own.map((b) => this.#setting.bands[b]!);
      return [...powers].reduce((sum, [r, all]) => {
        const { meanHz } = this.#setting.rotors[r]!;
        const curve = heldCurve(
          bands,
          r,
          own.map((b) => all[b]!),
          meanHz,
          this.#setting.untouched[r]!.reach,
        );
        return sum + Math.max(0, valueAt(curve, this.#shifts.get(r)!) - curve.usual);
      }, 0);
    });
  }

  /** Within its carrier each where the narrowest one holds most. */
  #sharpened(): Map<number, number> {
    const narrow = this.#setting.bands.map((band) => ({ ...band, half: NARROW_BINS }));
    const sharp = new Map<number, number>();
    for (const [r, nearHz] of this.#shifts) {
      const { meanHz } = this.#setting.rotors[r]!;
      const curve = heldCurve(
        narrow,
        r,
        powersOf(narrow, r, this.#leftBy(r)),
        meanHz,
        this.#setting.untouched[r]!.reach,
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
    const off = [...shifts]
      .filter(([r]) => r !== except)
      .map(([r, hz]) => hz / this.#setting.rotors[r]!.meanHz);
    return off.length === 0 ? this.#startOff : off.reduce((sum, v) => sum + v, 0) / off.length;
  }

  #leftBy(r: number): Float64Array[] {
    const others = [...this.#parts].filter(([other]) => other !== r);
    return this.#setting.bands.map(({ z }, b) => {
      if (others.length === 0) return z;
      const rest = z.slice();
      for (const [, part] of others) for (let i = 0; i < rest.length; i++) rest[i]! -= part[b]![i]!;
      return rest;
    });
  }

  #placeOf(r: number): { readonly place: Place; readonly left: Float64Array[] } {
    const left = this.#leftBy(r);
    const { meanHz } = this.#setting.rotors[r]!;
    const known = this.#setting.untouched[r]!;
    const alone = [...this.#parts.keys()].every((other) => other === r);
    const curve = alone
      ? known
      : heldCurve(this.#setting.bands, r, powersOf(this.#setting.bands, r, left), meanHz, known.reach);
    const anywhere = bestPlace(curve, meanHz, this.#offOf(r));
    if (anywhere.held <= 0 || !this.#isTaken(r, anywhere.shiftHz)) return { place: anywhere, left };
    const apart = bestPlace(curve, meanHz, this.#offOf(r), (shiftHz) => !this.#isTaken(r, shiftHz));
    // What a wide carrier leaves of one rotor’s line says nothing for another one that stands there as well.
    const place = apart.held > LEAST_APART * anywhere.held ? apart : { ...anywhere, held: 0 };
    return { place, left };
  }

  #isTaken(r: number, shiftHz: number): boolean {
    const { meanHz } = this.#setting.rotors[r]!;
    return [...this.#shifts].some(
      ([other, hz]) =>
        other !== r &&
        this.#held.has(other) &&
        Math.abs(this.#setting.rotors[other]!.meanHz + hz - meanHz - shiftHz) < this.#setting.togetherHz,
    );
  }

  #settle(r: number, { place, left }: { readonly place: Place; readonly left: Float64Array[] }): void {
    for (const known of [this.#shifts, this.#parts, this.#held]) known.delete(r);
    const most = Math.max(0, ...this.#held.values());
    if (place.held === 0 && this.#isTaken(r, place.shiftHz)) this.#shifts.set(r, place.shiftHz);
    if (place.held < Math.max(LEAST_HELD, LEAST_SHARE * most)) return;
    this.#shifts.set(r, place.shiftHz);
    this.#held.set(r, place.held);
    this.#parts.set(r, partsOf(this.#setting.bands, r, left, place.shiftHz));
  }
}
