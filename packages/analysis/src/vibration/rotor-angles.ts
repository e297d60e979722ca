/** The angle of every rotor over the hover: from its logged speed, or found by what makes the vibration sharpest. */
import type { Flight, Interval } from '@settle/parser';
import { findPeaks } from './find-peaks.js';
import { fitLine } from './fit-line.js';
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
const LAGS_S = [0.03, 0.06, 0.1];
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
  const byLag = POWERS.flatMap((power) => LAGS_S.map((lagS) => tried(power, lagS))).reduce(sharper);
  const commands = meanCommand(flight, interval);
  const moves = commands !== null && throttleMoves(commands.values);
  // A throttle that hardly moves cannot tell one power from another, and none needs to be told.
  const best = moves
    ? FINER_POWERS.map((step) => tried(byLag.power + step, byLag.lagS)).reduce(sharper, byLag)
    : byLag;
  if (best.guesses.length === 0) return null;
  const logs = best.guesses.map((guess) => logsOf(guess, searched));
  const plain = searched.map((one) => lineSpectrum(one.record.values, rate, SEGMENT_S));
  const direct = provenBase(best.guesses, logs, searched, plain);
  // A family in focus where it stands needs no other reading.
  const base = direct.base ?? unfoldedBase(best.guesses, direct.doubted, telling);
  if (base === null) return null;
  const own = base === direct.base ? ownBases(logs, base) : null;
  const rotors = best.guesses.map((guess, i) => {
    const meanHz = own === null ? turnedBase(guess, base, telling) : own[i]!;
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

/** Bases that turn out to be something else before the search gives up. */
const MOST_WRONG = 6;
/** Around the lines of a base that was something else, share of the frequency. */
const CLEARED = 0.02;

interface ProvenBase {
  readonly base: number | null;
  /** Bases that something else may as well have made. */
  readonly doubted: readonly number[];
}

/** A base whose lines come into focus when the record is turned with a rotor, as a ringing structure's never do. */
function provenBase(
  guesses: readonly SpeedGuess[],
  logs: readonly GuessLogs[],
  searched: readonly Searched[],
  plain: readonly LineSpectrum[],
): ProvenBase {
  const doubted: number[] = [];
  for (let attempt = 0; attempt < MOST_WRONG; attempt++) {
    const base = commonBase(logs);
    if (base === null) break;
    const focused =
      isTone(clearest(plain, base), base) ||
      guesses.some((guess, g) => {
        const own = ownBase(logs[g]!, base);
        // A structure rings at no multiples of itself.
        if (scoreAt(logs[g]!, own).orders.length > 1) return true;
        const rises = searched.flatMap((one, r) => risesOf(spectrumOf(guess, one), plain[r]!, own));
        return meanRise(rises) > FOCUS_RISE;
      });
    if (focused) return { base, doubted };
    doubted.push(base);
    for (const { binHz, sum } of logs)
      for (const order of ORDERS) {
        const from = Math.floor((order * base * (1 - CLEARED)) / binHz);
        sum.fill(0, from, Math.ceil((order * base * (1 + CLEARED)) / binHz) + 1);
      }
  }
  return { base: null, doubted };
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

/** The spectrum in which the line at a base stands out most. */
function clearest(plain: readonly LineSpectrum[], baseHz: number): LineSpectrum {
  const height = (spectrum: LineSpectrum): number => {
    const middle = Math.round(baseHz / spectrum.binHz);
    const reach = Math.max(3, Math.round(FOCUS_REACH * middle));
    const top = highest(spectrum.density, middle - reach, middle + reach);
    return spectrum.density[top]! / spectrum.floor[top]!;
  };
  return plain.reduce((a, b) => (height(b) > height(a) ? b : a));
}

/** Whether the strongest line at a base is as narrow as the window already: then nothing needs focusing. */
function isTone(plain: LineSpectrum, baseHz: number): boolean {
  const peaks = findPeaks(plain, baseHz * (1 - FOCUS_REACH), baseHz * (1 + FOCUS_REACH), 0.01);
  if (peaks.length === 0) return false;
  const top = peaks.reduce((a, b) => (plain.density[b.bin]! > plain.density[a.bin]! ? b : a));
  return fitLine(plain, top, new Float64Array(plain.density.length), () => false).kind === 'tone';
}

function highest(values: Float64Array, from: number, to: number): number {
  let best = Math.max(0, from);
  for (let k = best; k <= Math.min(values.length - 1, to); k++) if (values[k]! > values[best]!) best = k;
  return best;
}

/** Logs this fast show every rotor where it is; in slower ones it may be folded. */
const FOLDS_BELOW_HZ = 350;
const FOLDED_PEAKS = 5;
const FOLDED_ORDERS = [1, 2, 3];
/** Share of a line's power that stands still once it is in focus. */
const IN_FOCUS = 0.6;
/** Least sum of decibels that a family found by turning alone must hold. */
const LEAST_TURNED_DB = 20;

/** A base beyond half the sample rate, or with lines there, that makes more of the record stand still; null: none does. */
function unfoldedBase(
  guesses: readonly SpeedGuess[],
  doubted: readonly number[],
  telling: readonly Searched[],
): number | null {
  const rate = telling[0]!.record.sampleRateHz;
  if (rate > FOLDS_BELOW_HZ) return null;
  const candidates = new Set<number>(doubted);
  for (const { record } of telling) {
    const spectrum = lineSpectrum(record.values, rate, SEGMENT_S / 2);
    const peaks = findPeaks(spectrum, SLOWEST_HZ, rate / 2, 0.01)
      .sort((a, b) => b.rms - a.rms)
      .slice(0, FOLDED_PEAKS);
    for (const peak of peaks)
      for (const order of FOLDED_ORDERS)
        for (const hz of [rate - peak.frequencyHz, rate + peak.frequencyHz, 2 * rate - peak.frequencyHz]) {
          const base = hz / order;
          if (base >= SLOWEST_HZ && base <= FASTEST_HZ) candidates.add(base);
        }
  }
  const held = (base: number): number =>
    Math.max(...guesses.map((guess) => turnedScore(guess, turnedBase(guess, base, telling), telling)));
  let best: { base: number; score: number } | null = null;
  for (const base of candidates) {
    const score = held(base);
    if (score > LEAST_TURNED_DB && (best === null || score > best.score)) best = { base, score };
  }
  return best?.base ?? null;
}

/** What a family without its first line is worth. */
const WITHOUT_FIRST = 0.4;

/** Decibels over the floor of the lines that stand still when the records are turned back. */
function turnedScore(guess: SpeedGuess, meanHz: number, telling: readonly Searched[]): number {
  let sum = 0;
  let first = false;
  for (const { record } of telling) {
    const angle = angleOf(guess.rotor, guess.speed, meanHz, record);
    for (const order of FOLDED_ORDERS) {
      const spectrum = restSpectrum(record.values, turning(angle.turns, order), record.sampleRateHz);
      const line = lineAtRest(spectrum, Math.max(0.3, 0.003 * order * meanHz), 1e-3);
      if (line === null || line.narrowness < IN_FOCUS) continue;
      sum += line.aboveFloorDb;
      if (order === 1) first = true;
    }
  }
  // A half or a third of the speed has the same lines, but not its first.
  return first ? sum : WITHOUT_FIRST * sum;
}

/** How far around a base, as a share of it, its own rotor is looked for by turning. */
const TURNED_REACH = 0.035;

/** The base of one rotor near another: where most stands still at once. */
function turnedBase(guess: SpeedGuess, baseHz: number, telling: readonly Searched[]): number {
  const { record } = telling[0]!;
  const angle = angleOf(guess.rotor, guess.speed, baseHz, record);
  const spectrum = restSpectrum(record.values, turning(angle.turns, 1), record.sampleRateHz);
  const reach = Math.min(spectrum.middle, Math.round((TURNED_REACH * baseHz) / spectrum.binHz));
  const top = highest(spectrum.density, spectrum.middle - reach, spectrum.middle + reach);
  return baseHz + (top - spectrum.middle) * spectrum.binHz;
}

/** The base of one rotor: where, near the common one, its own course makes most of the family. */
function ownBase(one: GuessLogs, baseHz: number): number {
  return bestNear(one, baseHz, SPREAD).hz;
}

/** Lines of different rotors are at least this share apart, or they are one line. */
const APART_SHARE = 0.004;

/**
 * The base of every rotor. Rotors turn at speeds of their own, so where several settle on one line while another line of the
 * family stands unclaimed, the one that shows it best moves over.
 */
function ownBases(logs: readonly GuessLogs[], baseHz: number): number[] {
  const bases = logs.map((one) => ownBase(one, baseHz));
  const lines = familyLines(logs, baseHz);
  const isNear = (a: number, b: number): boolean => Math.abs(a - b) < APART_SHARE * b;
  for (const line of lines) {
    if (bases.some((base) => isNear(base, line))) continue;
    const shared = bases.flatMap((base, r) =>
      bases.some((other, o) => o !== r && isNear(other, base)) ? [r] : [],
    );
    if (shared.length === 0) break;
    const gain = (r: number): number =>
      bestNear(logs[r]!, line, APART_SHARE / 2).score - scoreAt(logs[r]!, bases[r]!).score;
    const mover = shared.reduce((a, b) => (gain(b) > gain(a) ? b : a));
    bases[mover] = bestNear(logs[mover]!, line, APART_SHARE / 2).hz;
  }
  return bases;
}

/** Bases of the lines that stand near one another in the strongest order, strongest first; no more than there are rotors. */
function familyLines(logs: readonly GuessLogs[], baseHz: number): number[] {
  const { binHz } = logs[0]!;
  const mean = logs[0]!.sum.map((_, k) => logs.reduce((sum, one) => sum + (one.sum[k] ?? 0), 0));
  const order = ORDERS.reduce((best, each) => {
    const at = (k: number): number => Math.max(0, ...mean.subarray(Math.max(0, k - 1), k + 2));
    return at(Math.round((each * baseHz) / binHz)) > at(Math.round((best * baseHz) / binHz)) ? each : best;
  }, 1);
  const from = Math.max(1, Math.floor((order * baseHz * (1 - FAMILY_SHARE)) / binHz));
  const to = Math.min(mean.length - 2, Math.ceil((order * baseHz * (1 + FAMILY_SHARE)) / binHz));
  const tops: number[] = [];
  for (let k = from; k <= to; k++)
    if (mean[k]! > 0 && mean[k]! >= mean[k - 1]! && mean[k]! > mean[k + 1]!) tops.push(k);
  tops.sort((a, b) => mean[b]! - mean[a]!);
  const kept: number[] = [];
  for (const top of tops) {
    if (kept.length >= logs.length || mean[top]! < UNCLAIMED_SHARE * mean[tops[0]!]!) break;
    if (kept.every((other) => Math.abs(other - top) > APART_SHARE * top)) kept.push(top);
  }
  return kept.map((k) => (k * binHz) / order);
}
/** Range of a family around its base, and the least a line of it shows, as shares. */
const FAMILY_SHARE = 0.05;
const UNCLAIMED_SHARE = 0.45;

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
