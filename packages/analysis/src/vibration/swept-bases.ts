/**
 * Once per revolution while the throttle moves: every record is resampled against the course of each rotor, by every way in which its speed
 * may follow the commands, and of all bases those are taken whose multiples stand out of the surroundings throughout the hover.
 */
import { inverseReal, nextPowerOfTwo, transformComplex, transformReal } from '../spectrum/fft.js';
import { lineSpectrum } from './line-spectrum.js';
import { hannWindow } from './order-band.js';
import {
  FASTEST_HZ,
  meanOf,
  SLOWEST_HZ,
  speedsFrom,
  type Commands,
  type SpeedGuess,
} from './relative-speeds.js';
import type { SensorRecord } from './sensor-records.js';
import {
  refine,
  turnClock,
  valueAtTime,
  type FineRecord,
  type RelativeSpeed,
  type TurnClock,
} from './turn-records.js';

export interface SweptBase {
  readonly baseHz: number;
  readonly power: number;
  readonly lagS: number;
  /** Natural logs over the surroundings, summed up over multiples, mean of all records and rotors. */
  readonly score: number;
}

/** Powers of the command that a speed may follow, and lags behind it, s. */
const POWERS = [0.5, 0.58, 0.66, 0.74, 0.82, 0.9, 1];
const LAGS_S = [0.03, 0.06, 0.1] as const;
const FINER_POWERS = [-0.04, 0.04];
const FINER_LAGS = [0.75, 1.3];
/** Short enough that what the commands do not say of the speeds leaves a line where it is, s. */
const SEGMENT_S = 4;
/** Frequencies lie on a scale of logs, as a ratio from one to the next, up to so many Hz. */
const STEP = 1.002;
const HIGHEST_HZ = 500;
/** Where lines may be folded they are sought within half a sample rate of so many times the rate, from none; a share of it at the end is left out. */
const FOLDED_IMAGES = 3;
const MARGIN = 0.03;
/** Surroundings of a line, as a share and at least, Hz. */
const AROUND = 0.08;
const AROUND_HZ = 5;
/** Natural logs over the surroundings from which a line counts, and by how many more at most; more where fewer segments are averaged. */
const LEAST_LOG = 0.7;
const MOST_LOG = 4;
const USUAL_SEGMENTS = 9;
/** Of fewer segments the logs of noise alone are too uneven to tell a line. */
const FEWEST_SEGMENTS = 7;
/** Multiples, and what each is worth. */
const WORTH = [1, 0.8, 0.6, 0.4];
/** A rotor turns within this share of where its command makes one expect it. */
const SPREAD = 0.035;
/** Lines of all rotors stand so far beyond where the commands make one expect the slowest and the fastest, as a share. */
const BESIDE = { alike: 0.05, apart: 0.03 };
/** Rotors that commands make one expect no further apart than this, as a ratio, show together in one place. */
const ALIKE = 1.04;
/** What is less than this share of the highest is no line, and what is more than so much over that counts alike: each rotor shows in its own strength. */
const BELOW_TOP = 0.3;
const COUNTS_IN_FULL = 0.3;
/** Bases nearer than this are one, as a share. */
const SAME_BASE = 0.025;
/** Nothing scores more than 0.35 on development flights in which no rotor shows, and right bases 0.7 and more. */
const LEAST_SCORE = 0.5;
/** Of fewer records than this noise alone scores more. */
const USUAL_RECORDS = 3;
const MOST_BASES = 6;

/**
 * @param records of one clock, as far as they are searched
 * @param folds lines may be folded
 * @returns the likeliest first, its power and lag finer than those of the others; empty where nothing stands out
 */
export function sweptBases(
  commands: Commands,
  records: readonly SensorRecord[],
  folds: boolean,
): SweptBase[] {
  const { values, sampleRateHz } = records[0]!;
  if (segmentsIn(values.length, sampleRateHz) < FEWEST_SEGMENTS) return [];
  const search = searchIn(commands, records, folds);
  const least = LEAST_SCORE * Math.sqrt(Math.max(1, USUAL_RECORDS / records.length));
  const found = POWERS.flatMap((power) => LAGS_S.flatMap((lagS) => topsBy(search, { power, lagS })))
    .filter(({ score }) => score > least)
    .sort((a, b) => b.score - a.score);
  const kept: SweptBase[] = [];
  for (const one of found) {
    if (kept.length === MOST_BASES) break;
    if (kept.every(({ baseHz }) => Math.abs(one.baseHz / baseHz - 1) > SAME_BASE)) kept.push(one);
  }
  const [first, ...others] = kept;
  return first === undefined ? [] : [finer(search, first), ...others];
}

/** Half of each segment is in the next. */
function segmentsIn(samples: number, sampleRateHz: number): number {
  return Math.floor((2 * samples) / sampleRateHz / SEGMENT_S) - 1;
}

interface Way {
  readonly power: number;
  readonly lagS: number;
}

interface Search {
  readonly commands: Commands;
  readonly fine: readonly FineRecord[];
  readonly images: number;
  /** Cells of the scale. */
  readonly count: number;
}

function searchIn(commands: Commands, records: readonly SensorRecord[], folds: boolean): Search {
  const rate = records[0]!.sampleRateHz;
  const images = folds ? FOLDED_IMAGES : 1;
  // Where the rotors turn fastest what lies beyond this is not in the samples.
  const fastest = Math.max(
    ...speedsFrom(commands, POWERS.at(-1)!, LAGS_S[0]).map(({ speed }) =>
      speed.values.reduce((a, b) => Math.max(a, b)),
    ),
  );
  const highest = Math.min(HIGHEST_HZ, ((images - 0.5 - MARGIN) * rate) / fastest);
  return {
    commands,
    fine: records.map((record) => refine(whitened(record), record.startS, rate)),
    images,
    count: Math.max(1, cellsUp(highest / SLOWEST_HZ)),
  };
}

function topsBy(search: Search, { power, lagS }: Way): SweptBase[] {
  const guesses = speedsFrom(search.commands, power, lagS);
  const each = guesses.length * search.fine.length;
  // Mean speeds are those of the whole hover, of which the records may hold less.
  return topsOf(
    guesses.map(({ share, speed }) => share * meanWithin(speed, search.fine[0]!)),
    guesses.map((guess) => familyOf(search, guess)),
  ).map(({ baseHz, score }) => ({ baseHz, power, lagS, score: score / each }));
}

function meanWithin({ startS, stepS, values }: RelativeSpeed, record: FineRecord): number {
  const first = Math.round((record.startS - startS) / stepS);
  return meanOf(
    values.subarray(Math.max(0, first), first + Math.round(record.length / record.sampleRateHz / stepS)),
  );
}

/** Around a base first by other powers, then by other lags. */
function finer(search: Search, base: SweptBase): SweptBase {
  let best = base;
  const tryAll = (ways: readonly Way[]): void => {
    for (const way of ways)
      for (const one of topsBy(search, way))
        if (Math.abs(one.baseHz / base.baseHz - 1) < SAME_BASE && one.score > best.score) best = one;
  };
  tryAll(FINER_POWERS.map((off) => ({ ...base, power: base.power + off })));
  tryAll(FINER_LAGS.map((times) => ({ ...best, lagS: times * base.lagS })));
  return best;
}

function cellsUp(ratio: number): number {
  return Math.round(Math.log(ratio) / Math.log(STEP));
}

/** What a rotor holds by its own mean speed, cells up from the slowest: multiples of all records. */
function familyOf({ fine, images, count }: Search, guess: SpeedGuess): Float64Array {
  const { startS, sampleRateHz, length } = fine[0]!;
  const clock = turnClock(guess.speed, startS, length / sampleRateHz, images * sampleRateHz);
  const leastLog = LEAST_LOG * Math.sqrt(Math.max(1, USUAL_SEGMENTS / segmentsIn(length, sampleRateHz)));
  const logs = new Float64Array(count);
  for (const record of fine) {
    const own = standing(logSpectrum(record, clock, images, count), leastLog);
    for (let j = 0; j < count; j++) logs[j]! += own[j]!;
  }
  const sums = new Float64Array(count);
  WORTH.forEach((worth, i) => {
    const up = cellsUp(i + 1);
    for (let j = 0; j + up < count; j++) sums[j]! += worth * logs[j + up]!;
  });
  return sums;
}

/** Mean of the logs of all segments: what is there only now and then counts for little. */
function logSpectrum(record: FineRecord, clock: TurnClock, images: number, count: number): Float64Array {
  const z = imagesOf(record, clock, images);
  const samples = Math.round(SEGMENT_S * clock.sampleRateHz);
  const padded = nextPowerOfTwo(samples);
  const binHz = clock.sampleRateHz / padded;
  const bins = Math.min(padded, Math.ceil((SLOWEST_HZ * STEP ** count) / binHz) + 2);
  const logs = new Float64Array(bins);
  const buffer = new Float64Array(2 * padded);
  const window = hannWindow(samples);
  for (let from = 0; from + samples <= z.length / 2; from += samples >> 1) {
    for (let i = 0; i < samples; i++) {
      buffer[2 * i] = window[i]! * z[2 * (from + i)]!;
      buffer[2 * i + 1] = window[i]! * z[2 * (from + i) + 1]!;
    }
    const own = transformComplex(buffer);
    for (let k = 0; k < bins; k++) logs[k]! += Math.log(1e-300 + own[2 * k]! ** 2 + own[2 * k + 1]! ** 2);
  }
  const segments = Math.max(1, Math.floor((z.length / 2 - samples) / (samples >> 1)) + 1);
  return Float64Array.from({ length: count }, (_, j) => {
    const x = (SLOWEST_HZ * STEP ** j) / binHz;
    const k = Math.floor(x);
    let top = logs[k]! + (x - k) * (logs[k + 1]! - logs[k]!);
    for (let b = Math.ceil(x * STEP ** -0.5); b <= Math.floor(x * STEP ** 0.5); b++)
      top = Math.max(top, logs[b]!);
    return top / segments;
  });
}

/**
 * A record on the clock of a rotor, with all that its samples may truly be: what lies within half a sample rate of nothing, of the
 * rate, of twice the rate. There a folded line follows the rotor as it truly does.
 */
function imagesOf(record: FineRecord, clock: TurnClock, images: number): Float64Array {
  const z = new Float64Array(2 * clock.timeS.length);
  clock.timeS.forEach((t, i) => {
    const value = valueAtTime(record, t) / Math.sqrt(clock.relativeSpeed[i]!);
    for (let image = 0; image < images; image++) {
      const angle = 2 * Math.PI * image * record.sampleRateHz * (t - record.startS);
      z[2 * i]! += value * Math.cos(angle);
      z[2 * i + 1]! += value * Math.sin(angle);
    }
  });
  return z;
}

/** With the background as dense at all frequencies, and nothing more below the slowest rotor: neither motion nor its folds stand out. */
function whitened({ values, sampleRateHz }: SensorRecord): Float64Array {
  const { floor, binHz } = lineSpectrum(values, sampleRateHz, SEGMENT_S);
  const bins = transformReal(values);
  const usual = Math.sqrt((sampleRateHz * values.length) / 2);
  for (let k = 0; k < bins.length / 2; k++) {
    const hz = (k * sampleRateHz) / values.length;
    const at = Math.min(floor.length - 1, Math.max(1, Math.round(hz / binHz)));
    const by = hz < SLOWEST_HZ ? Math.hypot(bins[2 * k]!, bins[2 * k + 1]!) / usual : Math.sqrt(floor[at]!);
    bins[2 * k]! /= Math.max(by, 1e-300);
    bins[2 * k + 1]! /= Math.max(by, 1e-300);
  }
  return inverseReal(bins, values.length);
}

/** How far each cell stands over the median of its surroundings, as far as it counts. */
function standing(logs: Float64Array, leastLog: number): Float64Array {
  const out = new Float64Array(logs.length);
  const every = 8;
  for (let from = 0; from < logs.length; from += every) {
    const hz = SLOWEST_HZ * STEP ** from;
    const half = cellsUp(1 + Math.max(AROUND, AROUND_HZ / hz));
    const around = logs.slice(Math.max(0, from - half), from + half + 1).sort();
    const floor = around[around.length >> 1]!;
    for (let j = from; j < Math.min(logs.length, from + every); j++)
      out[j] = Math.max(0, Math.min(MOST_LOG, logs[j]! - floor - leastLog));
  }
  return out;
}

/** Whether the commands make one expect rotors to turn about as fast: further apart one may pass for the next. */
export function areAlike(shares: readonly number[]): boolean {
  return Math.max(...shares) < ALIKE * Math.min(...shares);
}

/** Mean speeds around which the rotors, each within reach of where it is expected, hold most. */
function topsOf(
  shares: readonly number[],
  families: readonly Float64Array[],
): { baseHz: number; score: number }[] {
  const reach = cellsUp(1 + SPREAD);
  const count = Math.min(families[0]!.length, cellsUp(FASTEST_HZ / SLOWEST_HZ));
  const score = new Float64Array(count);
  shares.forEach((share, r) => {
    const off = cellsUp(share);
    const family = families[r]!;
    for (let j = 0; j < count; j++) {
      let best = 0;
      for (let d = -reach; d <= reach; d++)
        best = Math.max(best, (1 - (d / (reach + 1)) ** 2) * (family[j + off + d] ?? 0));
      score[j]! += best;
    }
  });
  const found: { baseHz: number; score: number }[] = [];
  for (let j = 1; j < count - 1; j++) {
    if (!(score[j]! > 0) || score[j]! < score[j - 1]! || score[j]! < score[j + 1]!) continue;
    found.push({ baseHz: SLOWEST_HZ * STEP ** middleOf(shares, families, j), score: score[j]! });
  }
  return found;
}

/** Cell in the middle of all lines around one: every rotor's frame shows those of the others too. */
function middleOf(shares: readonly number[], families: readonly Float64Array[], around: number): number {
  const beside = areAlike(shares) ? BESIDE.alike : BESIDE.apart;
  const first = cellsUp(Math.min(...shares) * (1 - beside));
  const last = cellsUp(Math.max(...shares) * (1 + beside));
  let moment = 0;
  let weight = 0;
  for (const family of families) {
    let top = 0;
    for (let d = first; d <= last; d++) top = Math.max(top, family[around + d] ?? 0);
    for (let d = first; d <= last; d++) {
      const over = Math.min(COUNTS_IN_FULL * top, Math.max(0, (family[around + d] ?? 0) - BELOW_TOP * top));
      moment += (d - cellsUp(meanOf(shares))) * over;
      weight += over;
    }
  }
  return weight > 0 ? around + moment / weight : around;
}
