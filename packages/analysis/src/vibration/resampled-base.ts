/**
 * Once per revolution where no peak follows the commands: records are resampled against the courses that make their lines sharpest,
 * and of all bases the one is taken whose multiples hold most, if it behaves as a rotor does.
 */
import { lineSpectrum, type LineSpectrum } from './line-spectrum.js';
import { FASTEST_HZ, SLOWEST_HZ, speedsFrom, type Commands, type SpeedGuess } from './relative-speeds.js';
import type { SensorRecord } from './sensor-records.js';
import { onTurnClock, refine, turnClock, type FineRecord } from './turn-records.js';

/** Powers of the command that a speed may follow, and lags of the thrust behind it, s. */
const POWERS = [0.5, 0.7, 1];
const LAGS_S = [0.03, 0.06, 0.1];
const SEGMENT_S = 8;
/** Natural log of density over floor from which a bin counts as part of a line. */
const LINE_LOG = 2.3;
/** Strongest bins count no more than this. */
const MOST_LOG = 9;
/** The rotors of one aircraft turn within this share of one another. */
const SPREAD = 0.1;
/** A base found must explain this much: sum of logs over orders and records. */
const LEAST_SCORE = 9;

/** A record as far as it is searched; resampling it is dear, and not every record is. */
interface Searched {
  readonly record: SensorRecord;
  readonly fine: () => FineRecord;
}

export interface ResampledBase {
  readonly baseHz: number;
  readonly power: number;
  readonly lagS: number;
  readonly guesses: readonly SpeedGuess[];
}

/**
 * @param records of one clock, as far as they are searched
 * @returns null where no base behaves as a rotor does
 */
export function resampledBase(commands: Commands, records: readonly SensorRecord[]): ResampledBase | null {
  const searched = records.map((record): Searched => {
    let fine: FineRecord | null = null;
    return {
      record,
      fine: () => (fine ??= refine(record.values, record.startS, record.sampleRateHz)),
    };
  });
  const telling = mostTelling(searched);
  const best = POWERS.flatMap((power) =>
    LAGS_S.map((lagS) => {
      const guesses = speedsFrom(commands, power, lagS);
      const sharpness = guesses.reduce((sum, guess) => sum + sharpnessOf(guess, telling), 0);
      return { power, lagS, sharpness, guesses };
    }),
  ).reduce((a, b) => (b.sharpness > a.sharpness ? b : a));
  const logs = best.guesses.map((guess) => logsOf(guess, searched));
  const plain = records.map((record) => lineSpectrum(record.values, record.sampleRateHz, SEGMENT_S));
  const baseHz = provenBase(best.guesses, logs, searched, plain);
  return baseHz === null ? null : { baseHz, power: best.power, lagS: best.lagS, guesses: best.guesses };
}

/** Log of density over floor, where it belongs to a line; else 0. */
function lineLogs(spectrum: LineSpectrum): Float64Array {
  return spectrum.density.map((v, k) => {
    const log = Math.log(v / spectrum.floor[k]!);
    return log < LINE_LOG ? 0 : Math.min(MOST_LOG, log);
  });
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
  return lineSpectrum(onTurnClock(fine(), clock), sampleRateHz, SEGMENT_S);
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
function commonBase(logs: readonly GuessLogs[]): { readonly hz: number; readonly guess: number } | null {
  const { binHz } = logs[0]!;
  const nyquistHz = logs[0]!.sum.length * binHz;
  let best: { hz: number; guess: number; value: number } | null = null;
  const highest = Math.min(FASTEST_HZ, nyquistHz - 3 * binHz);
  for (let hz = SLOWEST_HZ; hz < highest; hz += binHz / 3) {
    for (const [guess, one] of logs.entries()) {
      const own = bestNear(one, hz, 0.004);
      const value = own.score - emptyPlaces(own.orders, hz, nyquistHz);
      if (best === null || value > best.value) best = { hz, guess, value };
    }
  }
  return best === null || best.value < LEAST_SCORE ? null : best;
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

/** Bases that turn out to be something else before the search gives up. */
const MOST_WRONG = 6;
/** Around the lines of a base that was something else, share of the frequency. */
const CLEARED = 0.02;

/** A base whose lines come into focus when the record is turned with a rotor, as a ringing structure's never do. */
function provenBase(
  guesses: readonly SpeedGuess[],
  logs: readonly GuessLogs[],
  searched: readonly Searched[],
  plain: readonly LineSpectrum[],
): number | null {
  for (let attempt = 0; attempt < MOST_WRONG; attempt++) {
    const found = commonBase(logs);
    if (found === null) break;
    const { hz: base, guess: clearest } = found;
    const focused = guesses.some((guess, g) => {
      const own = ownBase(logs[g]!, base);
      // A structure rings at no multiples of itself.
      if (scoreAt(logs[g]!, own).orders.length > 1) return true;
      const rises = searched.flatMap((one, r) => risesOf(spectrumOf(guess, one), plain[r]!, own));
      return meanRise(rises) > FOCUS_RISE;
    });
    // The rotor that it was seen by is faster or slower than their mean.
    if (focused) return base / guesses[clearest]!.share;
    for (const { binHz, sum } of logs)
      for (const order of ORDERS) {
        const from = Math.floor((order * base * (1 - CLEARED)) / binHz);
        sum.fill(0, from, Math.ceil((order * base * (1 + CLEARED)) / binHz) + 1);
      }
  }
  return null;
}

/** Orders that are looked at for focus, and how far around them, share of the frequency. */
const FOCUS_ORDERS = [1, 2, 3];
const FOCUS_REACH = 0.05;
/** Mean rise of the tops on turning with the rotor, natural log, that counts as coming into focus. */
const FOCUS_RISE = 0.35;
const TELLING_LINES = 4;

interface Rise {
  /** Log of the top over the floor, turned. */
  readonly after: number;
  readonly rise: number;
}

/** How much the tops of a family's orders rise when a record is turned with a rotor. */
function risesOf(turned: LineSpectrum, plain: LineSpectrum, baseHz: number): Rise[] {
  return FOCUS_ORDERS.flatMap((order) => {
    const middle = Math.round((order * baseHz) / turned.binHz);
    const reach = Math.max(3, Math.round(FOCUS_REACH * middle));
    if (middle + reach >= turned.density.length - 2) return [];
    const before = highest(plain.density, middle - reach, middle + reach);
    const top = highest(turned.density, middle - reach, middle + reach);
    const log = Math.log(turned.density[top]! / turned.floor[top]!);
    return log < LINE_LOG
      ? []
      : [{ after: log, rise: Math.log(turned.density[top]! / plain.density[before]!) }];
  });
}

/** Mean rise of the lines that stand out most. */
function meanRise(rises: readonly Rise[]): number {
  const most = [...rises].sort((a, b) => b.after - a.after).slice(0, TELLING_LINES);
  return most.length === 0 ? -Infinity : most.reduce((sum, { rise }) => sum + rise / most.length, 0);
}

function highest(values: Float64Array, from: number, to: number): number {
  let best = Math.max(0, from);
  for (let k = best; k <= Math.min(values.length - 1, to); k++) if (values[k]! > values[best]!) best = k;
  return best;
}

/** The base of one rotor: where, near the common one, its own course makes most of the family. */
function ownBase(one: GuessLogs, baseHz: number): number {
  return bestNear(one, baseHz, SPREAD).hz;
}
