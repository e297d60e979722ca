/** The angle of every rotor over the hover: from its logged speed, or found by what makes the vibration sharpest. */
import type { Flight, Interval } from '@settle/parser';
import { lineSpectrum, type LineSpectrum } from './line-spectrum.js';
import { lineAtRest, restSpectrum, turning, type RotorAngle } from './order-lines.js';
import { guessedSpeeds, loggedSpeeds, type SpeedGuess } from './relative-speeds.js';
import type { SensorRecord } from './sensor-records.js';
import { meanCommand, throttleMoves } from './rotor-study.js';
import { onTurnClock, refine, turnClock, type FineRecord, type RelativeSpeed } from './turn-records.js';

export interface RotorAngles {
  readonly from: 'speed-channel' | 'spectrum';
  readonly rotors: readonly (RotorAngle & { readonly speed: RelativeSpeed })[];
  /** Power of the throttle and lag that made the lines sharpest; null with logged speeds. */
  readonly guess: { readonly power: number; readonly lagS: number } | null;
  /** Power of the throttle that the speeds follow, where the throttle moved enough to tell and no speed is logged. */
  readonly exponent: { readonly power: number; readonly std: number } | null;
  readonly evidence: readonly string[];
}

/** Slowest and fastest rotors looked for, revolutions per second. */
const SLOWEST_HZ = 12;
const FASTEST_HZ = 250;
/** Powers of the command that a speed may follow, and lags of the thrust behind it, s. */
const POWERS = [0.5, 0.7, 1];
/** Tried around the best where the throttle moves, and how sure the sharpest is. */
const FINER_POWERS = [-0.15, -0.1, -0.05, 0.05, 0.1, 0.15];
const POWER_STD = 0.04;
const MIDDLE_LAG_S = 0.06;
const OTHER_LAGS_S = [0.03, 0.1];
/** No more of a long hover is searched, s. */
const SEARCHED_S = 30;
const SEGMENT_S = 8;
/** Natural log of density over floor from which a bin counts as part of a line. */
const LINE_LOG = 2.3;
/** Strongest bins count no more than this. */
const MOST_LOG = 9;
/** The rotors of one aircraft turn within this share of one another. */
const SPREAD = 0.1;
/** A base found must explain this much: sum of logs over orders and records. */
const LEAST_SCORE = 9;

export function rotorAngles(
  flight: Flight,
  interval: Interval,
  records: readonly SensorRecord[],
): RotorAngles | null {
  const first = records[0];
  if (first === undefined) return null;
  const logged = loggedSpeeds(flight, interval);
  if (logged.length > 0)
    return {
      from: 'speed-channel',
      rotors: logged.map((g) => ({ ...angleOf(g.rotor, g.speed, g.meanHz!, first), speed: g.speed })),
      guess: null,
      exponent: null,
      evidence: [`${String(logged.length)} rotor speeds are logged`],
    };
  return searchAngles(flight, interval, records);
}

/** Turns of a rotor at the samples of a record. */
export function angleOf(
  rotor: number | null,
  speed: RelativeSpeed,
  meanHz: number,
  record: Pick<SensorRecord, 'startS' | 'sampleRateHz' | 'values'>,
): RotorAngle {
  const { values, stepS } = speed;
  const n = record.values.length;
  const turns = new Float64Array(n);
  const step = 1 / record.sampleRateHz;
  for (let i = 1; i < n; i++) {
    const t = record.startS + (i - 0.5) * step;
    const x = Math.max(0, Math.min(values.length - 1.000001, (t - speed.startS) / stepS));
    const k = Math.floor(x);
    turns[i] = turns[i - 1]! + step * meanHz * (values[k]! + (x - k) * (values[k + 1]! - values[k]!));
  }
  return { rotor, meanHz, turns };
}

/** A guess at how speeds follow commands. */
interface Course {
  readonly power: number;
  readonly lagS: number;
  readonly sharpness: number;
  readonly guesses: readonly SpeedGuess[];
}

interface Searched {
  readonly record: SensorRecord;
  readonly fine: FineRecord;
}

/** Log of density over floor, where it belongs to a line; else 0. */
function lineLogs(spectrum: LineSpectrum): Float64Array {
  return spectrum.density.map((v, k) => {
    const log = Math.log(v / spectrum.floor[k]!);
    return log < LINE_LOG ? 0 : Math.min(MOST_LOG, log);
  });
}

function searchAngles(
  flight: Flight,
  interval: Interval,
  records: readonly SensorRecord[],
): RotorAngles | null {
  const rate = records[0]!.sampleRateHz;
  const searched: Searched[] = records
    .filter((record) => record.sampleRateHz === rate)
    .map((record) => {
      const values = record.values.subarray(0, Math.min(record.values.length, Math.round(SEARCHED_S * rate)));
      return { record: { ...record, values }, fine: refine(values, record.startS, rate) };
    });
  const telling = mostTelling(searched);
  const tried = (power: number, lagS: number): Course => {
    const guesses = guessedSpeeds(flight, interval, power, lagS);
    const sharpness = guesses.reduce((sum, guess) => sum + sharpnessOf(guess, telling), 0);
    return { power, lagS, sharpness, guesses };
  };
  const sharper = (a: Course, b: Course): Course => (b.sharpness > a.sharpness ? b : a);
  const byPower = POWERS.map((power) => tried(power, MIDDLE_LAG_S)).reduce(sharper);
  const byLag = OTHER_LAGS_S.map((lagS) => tried(byPower.power, lagS)).reduce(sharper, byPower);
  const commands = meanCommand(flight, interval);
  const moves = commands !== null && throttleMoves(commands.values);
  // A throttle that hardly moves cannot tell one power from another, and none needs to be told.
  const best = moves
    ? FINER_POWERS.map((step) => tried(byLag.power + step, byLag.lagS)).reduce(sharper, byLag)
    : byLag;
  if (best.guesses.length === 0) return null;
  const logs = best.guesses.map((guess) => logsOf(guess, searched));
  const base = commonBase(logs);
  if (base === null) return null;
  const rotors = best.guesses.map((guess, i) => {
    const meanHz = ownBase(logs[i]!, base);
    const angle = angleOf(guess.rotor, guess.speed, meanHz, records[0]!);
    return { ...sharpen(angle, guess.speed, records), speed: guess.speed };
  });
  return {
    from: 'spectrum',
    rotors,
    guess: { power: best.power, lagS: best.lagS },
    exponent: moves ? { power: best.power, std: POWER_STD } : null,
    evidence: [
      `no rotor speeds are logged; lines become sharpest when the speeds follow the ${best.guesses[0]!.rotor === null ? 'throttle' : 'motor commands'} to the power ${best.power.toFixed(1)}, ${(1000 * best.lagS).toFixed(0)} ms late`,
    ],
  };
}

/** The two records with most in their lines. */
function mostTelling(searched: readonly Searched[]): Searched[] {
  return searched
    .map((one) => {
      const spectrum = lineSpectrum(one.record.values, one.record.sampleRateHz, SEGMENT_S / 2);
      const from = Math.ceil(SLOWEST_HZ / spectrum.binHz);
      return {
        one,
        sum: lineLogs(spectrum)
          .subarray(from)
          .reduce((s, v) => s + v, 0),
      };
    })
    .sort((a, b) => b.sum - a.sum)
    .slice(0, 2)
    .map(({ one }) => one);
}

function spectrumOf(guess: SpeedGuess, { record, fine }: Searched): LineSpectrum {
  const { sampleRateHz, startS, values } = record;
  const clock = turnClock(guess.speed, startS, values.length / sampleRateHz, sampleRateHz);
  return lineSpectrum(onTurnClock(fine, clock), sampleRateHz, SEGMENT_S);
}

/** The highest tops over the floor: a line that comes into focus rises. */
function sharpnessOf(guess: SpeedGuess, telling: readonly Searched[]): number {
  return telling.reduce((sum, one) => {
    const spectrum = spectrumOf(guess, one);
    const from = Math.ceil(SLOWEST_HZ / spectrum.binHz);
    let top = 0;
    for (let k = from; k < spectrum.density.length - 2; k++)
      top = Math.max(top, Math.log(spectrum.density[k]! / spectrum.floor[k]!));
    return sum + top;
  }, 0);
}

interface GuessLogs {
  readonly binHz: number;
  /** Sum over records, bins smoothed to their higher neighbour. */
  readonly sum: Float64Array;
}

function logsOf(guess: SpeedGuess, searched: readonly Searched[]): GuessLogs {
  let sum: Float64Array | null = null;
  let binHz = 1;
  for (const one of searched) {
    const spectrum = spectrumOf(guess, one);
    binHz = spectrum.binHz;
    const logs = lineLogs(spectrum);
    sum = sum === null ? logs : sum.map((v, k) => v + (logs[k] ?? 0));
  }
  return { binHz, sum: sum! };
}

/** Orders a family is looked for in. */
const ORDERS = [1, 2, 3, 4, 5, 6];

function scoreAt({ binHz, sum }: GuessLogs, baseHz: number): { score: number; orders: number[] } {
  let score = 0;
  const orders: number[] = [];
  for (const order of ORDERS) {
    const at = (order * baseHz) / binHz;
    if (at > sum.length - 3) break;
    const k = Math.round(at);
    const value = Math.max(sum[k - 1]!, sum[k]!, sum[k + 1]!);
    score += value / (1 + 0.15 * (order - 1));
    if (value > 0) orders.push(order);
  }
  return { score, orders };
}

/**
 * Once per revolution, over all rotors: of all bases the one whose multiples hold most. Half of it would hold as much and more
 * empty places, so the places that should hold something and do not count against a base.
 */
function commonBase(logs: readonly GuessLogs[]): number | null {
  const { binHz } = logs[0]!;
  const nyquistHz = logs[0]!.sum.length * binHz;
  let best: { hz: number; value: number } | null = null;
  const highest = Math.min(FASTEST_HZ, nyquistHz - 3 * binHz);
  for (let hz = SLOWEST_HZ; hz < highest; hz += binHz / 3) {
    let value = 0;
    for (const one of logs) {
      const own = bestNear(one, hz, 0.004);
      value = Math.max(value, own.score - emptyPlaces(own.orders, hz, nyquistHz));
    }
    if (best === null || value > best.value) best = { hz, value };
  }
  return best === null || best.value < LEAST_SCORE ? null : best.hz;
}

/** First order missing is dear; a gap between orders that are there is not, blades make some and not others. */
const EMPTY_FIRST = 6;
const EMPTY_OTHER = 1.5;

function emptyPlaces(orders: readonly number[], hz: number, nyquistHz: number): number {
  const last = orders.at(-1) ?? 0;
  let cost = 0;
  for (const order of ORDERS)
    if (order < last && order * hz < nyquistHz && !orders.includes(order))
      cost += order === 1 ? EMPTY_FIRST : EMPTY_OTHER;
  return cost;
}

function bestNear(
  one: GuessLogs,
  hz: number,
  share: number,
): { hz: number; score: number; orders: number[] } {
  let best = { hz, ...scoreAt(one, hz) };
  const step = one.binHz / 8;
  for (let at = hz * (1 - share); at <= hz * (1 + share); at += step) {
    const found = scoreAt(one, at);
    if (found.score > best.score) best = { hz: at, ...found };
  }
  return best;
}

/** The base of one rotor: where, near the common one, its own course makes most of the family. */
function ownBase(one: GuessLogs, baseHz: number): number {
  return bestNear(one, baseHz, SPREAD).hz;
}

/** Sets the mean speed by what is left turning once the records have been turned back. */
function sharpen(angle: RotorAngle, speed: RelativeSpeed, records: readonly SensorRecord[]): RotorAngle {
  let shift = 0;
  let weight = 0;
  for (const order of [1, 2, 3]) {
    const cosSin = turning(angle.turns, order);
    for (const record of records) {
      if (record.values.length !== angle.turns.length) continue;
      const line = lineAtRest(
        restSpectrum(record.values, cosSin, record.sampleRateHz),
        0.004 * order * angle.meanHz,
        1e-3,
      );
      if (line === null) continue;
      const w = 10 ** (line.aboveFloorDb / 10) * order ** 2;
      shift += (w * line.offsetHz) / order;
      weight += w;
    }
  }
  if (weight === 0) return angle;
  return angleOf(angle.rotor, speed, angle.meanHz + shift / weight, records[0]!);
}
