/**
 * How the rotors' speeds follow the commands, once it is known roughly what turns: of all powers and lags the ones that bring the
 * multiples of the base into focus, and the base in the middle of what they then show.
 */
import { angleAt, bandsAt, courseOf } from './find-base.js';
import {
  restFloor,
  restSpectrum,
  SEGMENT_S,
  turned,
  type OrderBand,
  type RestSpectrum,
} from './order-band.js';
import { speedsFrom, type Commands } from './relative-speeds.js';
import { foldedHz } from './rotor-lines.js';
import type { SensorRecord } from './sensor-records.js';

export interface FocusedCourse {
  readonly power: number;
  readonly lagS: number;
  readonly baseHz: number;
}

/** Powers of the command that a speed may follow (½ where thrust goes with it, 1 where speed does), and lags behind it, s. */
const POWERS = [0.5, 0.6, 0.7, 0.8, 0.9, 1, 1.1];
const FINER_POWERS = [-0.05, 0.05];
const LAGS_S = [0.02, 0.04, 0.06, 0.09, 0.13];
/** Multiples that are looked at, as far as they are not folded twice. */
const ORDERS = [1, 2, 3];
const HIGHEST_RATES = 1.4;
/** Rotors keep within this share of one another, and the base is known to about as much. */
const SPREAD = 0.06;
/** A band says something where its top stands so far over the background and gains by being turned: natural logs. */
const LEAST_HEIGHT = 1.8;
const LEAST_GAIN = 0.2;
/** Times its background from which a bin belongs to the rotors. */
const LINE_OVER = 3;

interface Band {
  readonly order: number;
  readonly band: OrderBand;
  readonly hz: number;
  readonly floor: number;
  /** Highest where nothing turns. */
  readonly stillTop: number;
}

/**
 * @param commands of all rotors
 * @param records of one clock, as far as they are searched
 * @param excursion half of what the speeds range over, as a share
 * @param folds lines may be folded
 * @param together powers and lags are searched together, which takes three times as long as one after the other
 */
export function focusCourse(
  commands: Commands,
  start: FocusedCourse,
  records: readonly SensorRecord[],
  lowestHz: number,
  excursion: number,
  folds: boolean,
  together: boolean,
): FocusedCourse {
  const first = records[0]!;
  const bands = ORDERS.flatMap((order) => bandsOf(order, start.baseHz, records, lowestHz, excursion, folds));
  const turnedBands = (
    some: readonly Band[],
    power: number,
    lagS: number,
    average: 'power' | 'amplitude' = 'power',
  ): RestSpectrum[][] => {
    const courses = speedsFrom(commands, power, lagS).map((guess) => courseOf(guess, first));
    return courses.map((course) =>
      some.map(({ band, hz }) =>
        restSpectrum(band, turned(band.z, angleAt(course, band, hz), -1), SEGMENT_S, average),
      ),
    );
  };
  // Highest of all rotors' courses, by power and band.
  const broad = POWERS.map((power) => {
    const spectra = turnedBands(bands, power, start.lagS);
    return bands.map((_, b) => Math.max(...spectra.map((own) => topOf(own[b]!))));
  });
  const telling = bands.filter((_, b) =>
    says(
      bands[b]!,
      broad.map((one) => one[b]!),
    ),
  );
  if (telling.length === 0) return start;
  // Every rotor's line is highest where its own course is right; loud moments must not decide for all the others.
  const focus = (power: number, lagS: number): number =>
    turnedBands(telling, power, lagS, 'amplitude').reduce(
      (sum, spectra) => sum + spectra.reduce((part, spectrum) => part + Math.log(topOf(spectrum)), 0),
      0,
    );
  let best = { power: start.power, lagS: start.lagS, value: focus(start.power, start.lagS) };
  const tryAll = (powers: readonly number[], lags: readonly number[]): void => {
    for (const power of powers)
      for (const lagS of lags) {
        const value = focus(power, lagS);
        if (value > best.value) best = { power, lagS, value };
      }
  };
  if (together) tryAll(POWERS, LAGS_S);
  else {
    tryAll(POWERS, [best.lagS]);
    tryAll([best.power], LAGS_S);
  }
  tryAll(
    FINER_POWERS.map((step) => best.power + step),
    [best.lagS],
  );
  const { power, lagS } = best;
  return { power, lagS, baseHz: middleOf(telling, start.baseHz, turnedBands(telling, power, lagS)) };
}

function bandsOf(
  order: number,
  baseHz: number,
  records: readonly SensorRecord[],
  lowestHz: number,
  excursion: number,
  folds: boolean,
): Band[] {
  const rate = records[0]!.sampleRateHz;
  const hz = order * baseHz;
  const at = foldedHz(hz, rate);
  if (hz > (folds ? HIGHEST_RATES : 0.48) * rate || at < lowestHz || at > 0.49 * rate) return [];
  return bandsAt(records, hz, excursion + SPREAD).map((band) => {
    const still = restSpectrum(band, band.z);
    return { order, band, hz, floor: restFloor(still), stillTop: topOf(still) };
  });
}

/** Whether what a band holds rises when it is turned, for any power. */
function says({ floor, stillTop }: Band, tops: readonly number[]): boolean {
  const top = Math.max(...tops);
  return Math.log(top / floor) > LEAST_HEIGHT && Math.log(top / stillTop) > LEAST_GAIN;
}

function topOf({ density }: RestSpectrum): number {
  let top = 1e-300;
  for (const v of density) top = Math.max(top, v);
  return top;
}

/** The middle of what the bands hold near rest, by the logs of its height. */
function middleOf(
  bands: readonly Band[],
  baseHz: number,
  turnedBands: readonly (readonly RestSpectrum[])[],
): number {
  let moment = 0;
  let weight = 0;
  for (const spectra of turnedBands)
    spectra.forEach(({ density, middle, binHz }, b) => {
      const { order, hz, floor } = bands[b]!;
      const reach = Math.min(middle, Math.round((SPREAD * hz) / binHz));
      for (let k = middle - reach; k <= middle + reach; k++) {
        const over = density[k]! / (LINE_OVER * floor);
        if (over <= 1) continue;
        moment += (Math.log(over) * (k - middle) * binHz) / order;
        weight += Math.log(over);
      }
    });
  return weight > 0 ? baseHz + moment / weight : baseHz;
}
