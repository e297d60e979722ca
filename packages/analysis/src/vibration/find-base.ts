/**
 * Which peaks turn with the rotors, and what turns once per revolution: a rotor's line comes into focus when the record is turned
 * with the course that the motor commands make one expect, and a mode or a tone is smeared by it. How strongly it must be turned
 * says whether the line is folded: the course is a share of its true frequency, not of the one in the log.
 */
import { findPeaks } from './find-peaks.js';
import { lineSpectrum, type LineSpectrum } from './line-spectrum.js';
import { orderBand, restFloor, restSpectrum, turned, turning, type OrderBand } from './order-band.js';
import { FASTEST_HZ, SLOWEST_HZ, type SpeedGuess } from './relative-speeds.js';
import { foldedHz } from './rotor-lines.js';
import type { SecondRate } from './second-rate.js';
import type { SensorRecord } from './sensor-records.js';

/** A peak of the logs that follows the rotors, at its true frequency. */
export interface FollowingPeak {
  readonly trueHz: number;
  /** How much it gains by being turned with the rotors, natural log, over the records it stands out in. */
  readonly gain: number;
  /** Log of its height over the background. */
  readonly height: number;
}

const SEGMENT_S = 4;
const MOST_PEAKS = 24;
const RECORDS_EACH = 3;
/** Records of a line itself by which it is known elsewhere. */
const MOST_OWN = 2;
/** Peaks of different records nearer than this share are one. */
const SAME_SHARE = 0.012;
/** Rotors keep within this share of where their commands make one expect them, whatever the throttle does. */
const SPREAD = 0.04;
const LEAST_REACH_HZ = 3;
/** Times the sample rate beyond which nothing is looked for. */
const HIGHEST_RATES = 1.6;
/** Gain from which a peak follows. */
const LEAST_GAIN = 0.35;

/** A peak that stands in several records at one frequency. */
export interface PeakCluster {
  readonly hz: number;
  /** Natural log over the floor, where it stands highest. */
  readonly height: number;
  /** The records it stands in, that one first. */
  readonly at: readonly { readonly record: SensorRecord; readonly height: number }[];
  /** What it truly may be, negative where mirrored, as far as a second log tells; null: nothing tells. */
  readonly told: readonly number[] | null;
}

/** What a peak at a place in the log may truly be, where nothing tells: negative where mirrored. */
export function readingsOf({ hz, told }: PeakCluster, rateHz: number, folds: boolean): readonly number[] {
  return told ?? (folds ? [hz, hz - rateHz, hz + rateHz, hz - 2 * rateHz] : [hz]);
}

export interface Following {
  readonly peaks: readonly FollowingPeak[];
  /** Which of the guesses made them gain most. */
  readonly guess: number;
  /** Half of what the courses range over, as a share. */
  readonly excursion: number;
}

/**
 * @param guesses for each way in which the speeds may follow the commands, the courses of all rotors
 * @param clusters peaks of the records
 * @param folds lines may be folded
 */
export function followingPeaks(
  guesses: readonly (readonly SpeedGuess[])[],
  records: readonly SensorRecord[],
  clusters: readonly PeakCluster[],
  lowestHz: number,
  folds: boolean,
): Following {
  const first = records[0]!;
  // Courses at the samples, in turns ahead of steady turning at one revolution per second.
  const courses = guesses.map((some) => some.map((guess) => courseOf(guess, first)));
  const excursion = Math.max(...guesses.flatMap((some) => some.map((guess) => rangeOf(guess))));
  // Of frequencies that a second log leaves open every one may belong to a family.
  const open = clusters.flatMap((cluster) =>
    cluster.told === null ? [cluster] : cluster.told.map((hz) => ({ ...cluster, told: [hz] })),
  );
  const found = open.map((cluster) => {
    const some = cluster.at.slice(0, RECORDS_EACH).map(({ record }) => record);
    const bands = bandsAt(some, cluster.hz, excursion + SPREAD);
    const steady = bands.map((band) => sharpness(band, band.z).value);
    return courses.map((some) => readPeak(cluster, bands, steady, some, first.sampleRateHz, folds));
  });
  const totals = courses.map((_, g) =>
    found.reduce((sum, readings) => {
      const { gain, height } = readings[g]!;
      return sum + gain * Math.min(MOST_HEIGHT, height);
    }, 0),
  );
  const guess = totals.indexOf(Math.max(...totals));
  const standing = found.map((readings) => readings[guess]!);
  if (excursion < SWEEPS) return { peaks: standing, guess, excursion };
  const clearest = sweptPeaks(
    [...ways(courses), ...courses.flatMap((some) => (some.length > 1 ? some : []))],
    scannedRecords(records).map(shortened),
    lowestHz,
    excursion,
    folds,
  );
  return { peaks: [...standing, ...clearest], guess, excursion };
}

/** Half range of the courses, as a share, from which lines are so smeared that some show no peak. */
const SWEEPS = 0.015;
/** Steps of the search for swept lines, as a ratio; a band reaches half as far again. */
const SCAN_STEP = 1.05;
/** Times the sample rate, and Hz, beyond which no swept line is looked for. */
const SCAN_RATES = 1.4;
const SCAN_HZ = 500;
/** What a swept line must gain and stand out by, natural logs. */
const SWEPT_GAIN = 0.7;
const SWEPT_HEIGHT = 1.8;

/** Mean course of all rotors, for every way the speeds may follow the commands. */
function ways(courses: readonly (readonly Float64Array[])[]): Float64Array[] {
  return courses.map((some) =>
    some[0]!.map((_, i) => some.reduce((sum, course) => sum + course[i]!, 0) / some.length),
  );
}

/** Sensor axes that rotors shake most: across their axes by what is off centre, along them by the blades. */
const SCANNED = ['accel.x', 'accel.z', 'gyro.x'];
const SCANNED_S = 20;

export function scannedRecords(records: readonly SensorRecord[]): SensorRecord[] {
  const some = records.filter(({ sensor, axis }) => SCANNED.includes(`${sensor}.${axis}`));
  return some.length > 0 ? some : records.slice(0, 3);
}

function shortened(record: SensorRecord): SensorRecord {
  return { ...record, values: record.values.subarray(0, Math.round(SCANNED_S * record.sampleRateHz)) };
}

/**
 * Lines that a moving throttle smears out: every frequency is tried, folded ones as well, by turning the records with the course as
 * it would be there. Of two readings of one place in the log the one that gains more is kept.
 *
 * @param courses of the rotors together and, in gusts that move them apart, of each, for every way in which they may follow the commands
 */
function sweptPeaks(
  courses: readonly Float64Array[],
  records: readonly SensorRecord[],
  lowestHz: number,
  excursion: number,
  folds: boolean,
): FollowingPeak[] {
  const rate = records[0]!.sampleRateHz;
  const highest = Math.min(SCAN_HZ, (folds ? SCAN_RATES : 0.48) * rate);
  const found: FollowingPeak[] = [];
  for (let hz = 1.02 * lowestHz; hz < highest; hz *= SCAN_STEP) {
    let best: FollowingPeak | null = null;
    for (const band of bandsAt(records, hz, excursion + SPREAD)) {
      const steady = sharpness(band, band.z).value;
      for (const course of courses) {
        const now = sharpness(band, turned(band.z, angleAt(course, band, hz), -1));
        const gain = now.value - steady;
        if (gain < SWEPT_GAIN || now.height < SWEPT_HEIGHT) continue;
        if (Math.abs(now.topHz) > 0.75 * (SCAN_STEP - 1) * hz) continue;
        if (best === null || gain * now.height > best.gain * best.height)
          best = { trueHz: hz + now.topHz, gain, height: now.height };
      }
    }
    if (best !== null) found.push(best);
  }
  found.sort((a, b) => b.gain * b.height - a.gain * a.height);
  const kept: FollowingPeak[] = [];
  for (const peak of found) {
    const at = foldedHz(peak.trueHz, rate);
    const near = Math.max(1, excursion * peak.trueHz);
    if (kept.every((other) => Math.abs(foldedHz(other.trueHz, rate) - at) > near)) kept.push(peak);
  }
  return kept;
}

/** A folded reading must gain this much more than the plain one. */
const FOLDED_GAIN = 0.25;
const MOST_HEIGHT = 6;

function readPeak(
  cluster: PeakCluster,
  bands: readonly OrderBand[],
  steady: readonly number[],
  courses: readonly Float64Array[],
  rate: number,
  folds: boolean,
): FollowingPeak {
  const readings = readingsOf(cluster, rate, folds).filter((hz) => Math.abs(hz) < HIGHEST_RATES * rate);
  let best: FollowingPeak = {
    trueHz: Math.abs(readings[0] ?? cluster.hz),
    gain: -Infinity,
    height: cluster.height,
  };
  // Mirrored lines run the other way.
  readings.forEach((signedHz, reading) => {
    for (const course of courses) {
      let gain = reading === 0 ? 0 : -FOLDED_GAIN;
      let offset = 0;
      bands.forEach((band, b) => {
        const now = sharpness(band, turned(band.z, angleAt(course, band, signedHz), -1));
        gain += (now.value - steady[b]!) / bands.length;
        if (b === 0) offset = now.topHz;
      });
      if (gain > best.gain) best = { trueHz: Math.abs(signedHz + offset), gain, height: cluster.height };
    }
  });
  return best;
}

/**
 * Peaks of all records, those of one frequency together, the highest first.
 *
 * @param second what tells where folded ones truly are
 */
export function clustersOf(
  records: readonly SensorRecord[],
  lowestHz: number,
  second: SecondRate | null = null,
): PeakCluster[] {
  const all = records
    .flatMap((record) => {
      const spectrum = lineSpectrum(record.values, record.sampleRateHz, SEGMENT_S);
      return findPeaks(spectrum, lowestHz, 0.49 * record.sampleRateHz, 0.01).map((peak) => ({
        record,
        hz: peak.frequencyHz,
        height: heightOf(spectrum, peak.bin),
      }));
    })
    .sort((a, b) => b.height - a.height);
  const clusters: { hz: number; height: number; at: { record: SensorRecord; height: number }[] }[] = [];
  for (const { record, hz, height } of all) {
    const own = clusters.find((cluster) => Math.abs(cluster.hz - hz) < Math.max(0.5, SAME_SHARE * hz));
    if (own === undefined) {
      if (clusters.length < MOST_PEAKS) clusters.push({ hz, height, at: [{ record, height }] });
    } else if (!own.at.some((one) => one.record === record)) own.at.push({ record, height });
  }
  return clusters.map((cluster) => ({
    ...cluster,
    told:
      second?.told(
        clearestRecords(
          cluster.at.map(({ record }) => record),
          records,
        ),
        cluster.hz,
      ) ?? null,
  }));
}

/**
 * Records in which a line stands, and the gyro, whose motion other logs hold too.
 *
 * @param own records of the line, or shorter ones of the same sensor axes
 */
export function clearestRecords(
  own: readonly SensorRecord[],
  records: readonly SensorRecord[],
): SensorRecord[] {
  const isOwn = ({ sensor, axis }: SensorRecord): boolean =>
    own.slice(0, MOST_OWN).some((one) => one.sensor === sensor && one.axis === axis);
  return [
    ...records.filter(isOwn),
    ...records.filter((record) => record.sensor === 'gyro' && !isOwn(record)),
  ];
}

function heightOf({ density, floor }: LineSpectrum, bin: number): number {
  return Math.log(density[bin]! / floor[bin]!);
}

/** Around a frequency, in records of one clock. */
export function bandsAt(records: readonly SensorRecord[], hz: number, share: number): OrderBand[] {
  const { sampleRateHz } = records[0]!;
  const length = Math.max(...records.map((record) => record.values.length));
  const cosSin = turning(
    Float64Array.from({ length }, (_, i) => (hz * i) / sampleRateHz),
    1,
  );
  return records.map((record) => {
    const band = orderBand(record, record.values, cosSin, 1, hz);
    return { ...band, reachHz: Math.min(band.reachHz, Math.max(LEAST_REACH_HZ, share * hz)) };
  });
}

/** Log of the sum of squares over the square of the sum: the narrower the same power, the more. */
export function sharpness(
  band: OrderBand,
  z: Float64Array,
): { readonly value: number; readonly topHz: number; readonly height: number } {
  const spectrum = restSpectrum(band, z);
  const floor = restFloor(spectrum);
  let sum = 0;
  let squares = 0;
  let top = spectrum.middle;
  spectrum.density.forEach((v, k) => {
    const over = Math.max(0, v - floor);
    sum += over;
    squares += over * over;
    if (v > spectrum.density[top]!) top = k;
  });
  return {
    value: sum > 0 ? Math.log(squares / (sum * sum)) : -Infinity,
    topHz: (top - spectrum.middle) * spectrum.binHz,
    height: Math.log(spectrum.density[top]! / floor),
  };
}

/** How far a course runs ahead of steady turning at the samples of a record, in turns of one revolution per second. */
export function courseOf({ speed }: SpeedGuess, record: SensorRecord): Float64Array {
  const { values, stepS } = speed;
  const step = 1 / record.sampleRateHz;
  const ahead = new Float64Array(record.values.length);
  for (let i = 1; i < ahead.length; i++) {
    const t = record.startS + (i - 0.5) * step;
    const x = Math.max(0, Math.min(values.length - 1.000001, (t - speed.startS) / stepS));
    const k = Math.floor(x);
    ahead[i] = ahead[i - 1]! + step * (values[k]! + (x - k) * (values[k + 1]! - values[k]!) - 1);
  }
  return ahead;
}

/** The angle that this is at a frequency, rad at the samples of a band. */
export function angleAt(course: Float64Array, band: OrderBand, hz: number): Float64Array {
  return Float64Array.from({ length: band.z.length / 2 }, (_, i) => {
    const at = Math.min(course.length - 1, i * band.factor + ((band.factor - 1) >> 1));
    return 2 * Math.PI * hz * course[at]!;
  });
}

/** Half of what a course ranges over, as a share of the mean. */
function rangeOf({ speed }: SpeedGuess): number {
  const sorted = Float64Array.from(speed.values).sort();
  const at = (share: number): number => sorted[Math.floor(share * (sorted.length - 1))]!;
  return (at(0.98) - at(0.02)) / 2;
}

/** Multiples that a family is looked for in, and what each is worth. */
const ORDERS = [1, 2, 3, 4];
const PER_ORDER = 0.8;
/** What another rotor’s peak is worth, against the best of one order. */
const PER_ROTOR = 0.3;
/** A family whose first line does not show is worth less by this. */
const WITHOUT_FIRST = 0.5;
/** What a peak that neither gains nor loses is worth, against one that follows. */
const NEUTRAL = 0.35;
/** Two peaks that neither gain nor lose make a family if they are worth this much. */
const LEAST_SCORE = 2.2;

export interface FoundBase {
  readonly hz: number;
  readonly score: number;
  /** Some of it follows the motor commands; else it is a family of multiples and no more. */
  readonly follows: boolean;
}

/** Bases nearer than this share are one. */
const SAME_BASE = 0.03;

/**
 * Once per revolution, mean of all rotors, from the peaks that follow them, the best first; empty where nothing says what turns.
 *
 * @param shares mean speed of each rotor over that of all, as far as the commands tell
 */
export function basesOf(peaks: readonly FollowingPeak[], shares: readonly number[]): FoundBase[] {
  const worth = ({ gain, height }: FollowingPeak): number =>
    Math.max(0, NEUTRAL + Math.max(-1, Math.min(1.5, gain))) *
    Math.min(MOST_HEIGHT, height + Math.max(0, gain));
  const found = peaks
    .flatMap(({ trueHz }) => ORDERS.flatMap((order) => shares.map((share) => trueHz / order / share)))
    .filter((hz) => hz >= SLOWEST_HZ && hz <= FASTEST_HZ)
    .flatMap((hz) => familyOf(peaks, hz, shares, worth) ?? [])
    .sort((a, b) => b.score - a.score);
  const kept: FoundBase[] = [];
  for (const one of found) if (kept.every(({ hz }) => Math.abs(one.hz / hz - 1) > SAME_BASE)) kept.push(one);
  return kept;
}

function familyOf(
  peaks: readonly FollowingPeak[],
  hz: number,
  shares: readonly number[],
  worth: (peak: FollowingPeak) => number,
): FoundBase | null {
  let score = 0;
  let sum = 0;
  let weight = 0;
  const orders: number[] = [];
  let follows = false;
  for (const k of ORDERS) {
    // The best that is each rotor's.
    const most = shares.map(() => 0);
    for (const one of peaks) {
      const own = worth(one);
      if (own <= 0) continue;
      const bases = shares.map((share) => one.trueHz / k / share);
      const off = bases.map((base) => Math.abs(base / hz - 1));
      const rotor = off.indexOf(Math.min(...off));
      if (off[rotor]! >= SPREAD) continue;
      most[rotor] = Math.max(most[rotor]!, own);
      if (one.gain > LEAST_GAIN && one.gain * one.height > CLEAR) follows = true;
      sum += own * bases[rotor]!;
      weight += own;
    }
    const [first, ...others] = most.sort((a, b) => b - a);
    if (first === 0) continue;
    orders.push(k);
    score += (first! + PER_ROTOR * others.reduce((all, v) => all + v, 0)) * PER_ORDER ** (k - 1);
  }
  if (!orders.includes(1)) score *= WITHOUT_FIRST;
  if (!follows && (orders.length < 2 || !orders.includes(1) || score < LEAST_SCORE)) return null;
  return { hz: sum / weight, score, follows };
}

/** A peak must stand out and gain to say anything: product of the two logs. */
const CLEAR = 0.9;
