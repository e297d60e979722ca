/**
 * Where a line of a slow log truly is, told by what else is logged at another rate. A frequency folds to its distance from the nearest
 * multiple of the sample rate, so two rates put it in two places, and of all the frequencies that a place in one log may stand for only
 * one, as a rule, stands for the place in the other too: as a radar of two pulse rates tells how fast a target is (M. Skolnik,
 * *Introduction to Radar Systems*, from memory). Raw gyro and accelerometer have one rate; the body rates that the controller flew
 * by, its demands and the motors’ commands hold the same vibration and often have another.
 *
 * Whether a place in the second log holds the line is told by multiple coherence (J. Bendat and A. Piersol, *Random Data*, from memory):
 * the share of the line, brought to rest, that the channels of the second log explain when they are brought to rest from the frequency
 * supposed. Bringing to rest by the true frequency takes care of folding and of which way a folded line runs.
 */
import { AXES, type Flight, type Interval, type Signal } from '@settle/parser';
import { indexAtOrAfter, motorSignals } from '../signals.js';
import type { SensorRecord } from './sensor-records.js';

/** What a line may truly be, over the place it has in the log: frequency plus so many times the sample rate; negative is mirrored. */
const FOLDS = [0, -1, 1, -2];
/** Length of the Hann windows that bring to rest, s, their step, and their noise bandwidth, bins. */
const WINDOW_S = 0.6;
const STEPS = 4;
const BANDWIDTH = 1.5;
/** No more of a long hover is looked at, s, and no less says anything. */
const LONGEST_S = 40;
const SHORTEST_S = 4;
/** What the second log must explain: log of likelihoods, and share; and how much more than where the line is said not to be. */
const LEAST = 20;
const LEAST_SHARE = 0.25;
const CLEARER = 10;
/** Records in which a line is looked at. */
const MOST_RECORDS = 5;
/** Channels of one rate are no second one if they are this near to a whole part of the first, as a share. */
const SAME_RATE = 1e-3;

export interface SecondRate {
  /** Of the second logs, Hz. */
  readonly ratesHz: readonly number[];
  /**
   * @param records of the first log in which the line stands, the clearest first
   * @param hz place of the line there
   * @returns its true frequencies as far as they are not told apart, negative where mirrored; null: nothing is told
   */
  readonly told: (records: readonly SensorRecord[], hz: number) => readonly number[] | null;
}

/**
 * @param interval the hover
 * @param rateHz of the first log
 * @returns null where nothing that shakes along is logged at another rate
 */
export function secondRate(flight: Flight, interval: Interval, rateHz: number): SecondRate | null {
  const until = { startS: interval.startS, endS: Math.min(interval.endS, interval.startS + LONGEST_S) };
  if (until.endS - until.startS < SHORTEST_S) return null;
  const groups = groupsOf(flight)
    .map((group) => group.filter((signal) => !holdsAll(signal.clock.sampleRateHz, rateHz)))
    .map((group) => group.map((signal) => samplesIn(signal, until)))
    .filter((group) => group.length > 0);
  if (groups.length === 0) return null;
  const middleS = middlesOf(until);
  const looks = (BANDWIDTH * (until.endS - until.startS)) / WINDOW_S;
  const told = (records: readonly SensorRecord[], hz: number): readonly number[] | null => {
    const lines = records
      .slice(0, MOST_RECORDS)
      .map((record) => atRest(evenSamples(record, until), hz, middleS));
    const readings = FOLDS.map((fold) => hz + fold * rateHz).map((trueHz) => {
      const wanted = trueHz < 0 ? lines.map(mirrored) : lines;
      let best = { trueHz, gain: 0, share: 0 };
      for (const group of groups) {
        const columns = group.map((samples) => atRest(samples, Math.abs(trueHz), middleS));
        for (const line of wanted) {
          const share = shareExplained(line, columns);
          const gain = -looks * Math.log(Math.max(1e-6, 1 - share)) - columns.length;
          if (gain > best.gain) best = { trueHz, gain, share };
        }
      }
      return best;
    });
    const most = readings.reduce((a, b) => (b.gain > a.gain ? b : a));
    if (most.gain < LEAST || most.share < LEAST_SHARE) return null;
    const left = readings.filter(({ gain }) => gain > most.gain - CLEARER);
    return left.length === readings.length ? null : left.map(({ trueHz }) => trueHz);
  };
  const ratesHz = [
    ...new Set(groupsOf(flight).flatMap((group) => group.map(({ clock }) => clock.sampleRateHz))),
  ];
  return { ratesHz: ratesHz.filter((hz) => !holdsAll(hz, rateHz)), told };
}

/** Channels that are taken together: what the controller measured, what it asked for, what the motors were told. */
function groupsOf(flight: Flight): Signal[][] {
  const perAxis = (what: 'measured' | 'demand'): Signal[] =>
    AXES.flatMap((axis) => flight.signals.get(`rate.${axis}.${what}`) ?? []);
  return [perAxis('measured'), perAxis('demand'), motorSignals(flight)];
}

/** Whether all that folds to one place at the first rate does so at the second too: it is a whole part of the first. */
function holdsAll(secondHz: number, rateHz: number): boolean {
  if (!(secondHz > 0)) return true;
  const times = rateHz / secondHz;
  return Math.round(times) >= 1 && Math.abs(times / Math.round(times) - 1) < SAME_RATE;
}

interface Samples {
  readonly timeS: Float64Array;
  readonly values: Float64Array;
}

/** Samples as they were logged, with half a window on either side; what is missing is left out. */
function samplesIn({ clock, values }: Signal, { startS, endS }: Interval): Samples {
  const first = indexAtOrAfter(clock.timeS, startS - WINDOW_S / 2);
  const end = indexAtOrAfter(clock.timeS, endS + WINDOW_S / 2);
  const there = Array.from({ length: end - first }, (_, i) => first + i).filter((i) =>
    Number.isFinite(values[i]!),
  );
  return {
    timeS: Float64Array.from(there, (i) => clock.timeS[i]!),
    values: Float64Array.from(there, (i) => values[i]!),
  };
}

function evenSamples({ startS, sampleRateHz, values }: SensorRecord, { endS }: Interval): Samples {
  const count = Math.min(values.length, Math.ceil((endS + WINDOW_S / 2 - startS) * sampleRateHz));
  return {
    timeS: Float64Array.from({ length: count }, (_, i) => startS + i / sampleRateHz),
    values: values.subarray(0, count),
  };
}

function middlesOf({ startS, endS }: Interval): Float64Array {
  const step = WINDOW_S / STEPS;
  return Float64Array.from(
    { length: Math.floor((endS - startS - WINDOW_S) / step) + 1 },
    (_, k) => startS + WINDOW_S / 2 + k * step,
  );
}

/** Complex, interleaved: what stands around a frequency, window by window, each without its own mean. */
function atRest({ timeS, values }: Samples, hz: number, middleS: Float64Array): Float64Array {
  const count = timeS.length;
  const cos = new Float64Array(count);
  const sin = new Float64Array(count);
  // The window is 1 + cos a cos b + sin a sin b, with the angles of the sample and of the middle.
  const windowCos = new Float64Array(count);
  const windowSin = new Float64Array(count);
  const turn = (2 * Math.PI) / WINDOW_S;
  for (let i = 0; i < count; i++) {
    const angle = 2 * Math.PI * hz * timeS[i]!;
    cos[i] = Math.cos(angle);
    sin[i] = Math.sin(angle);
    windowCos[i] = Math.cos(turn * timeS[i]!);
    windowSin[i] = Math.sin(turn * timeS[i]!);
  }
  const out = new Float64Array(2 * middleS.length);
  let first = 0;
  middleS.forEach((t, k) => {
    while (first < count && timeS[first]! < t - WINDOW_S / 2) first++;
    const b = Math.cos(turn * t);
    const c = Math.sin(turn * t);
    let weight = 0;
    let sum = 0;
    let re = 0;
    let im = 0;
    let plainRe = 0;
    let plainIm = 0;
    for (let i = first; i < count && timeS[i]! < t + WINDOW_S / 2; i++) {
      const w = 1 + windowCos[i]! * b + windowSin[i]! * c;
      const v = w * values[i]!;
      weight += w;
      sum += v;
      re += v * cos[i]!;
      im -= v * sin[i]!;
      plainRe += w * cos[i]!;
      plainIm -= w * sin[i]!;
    }
    const mean = weight > 0 ? sum / weight : 0;
    out[2 * k] = re - mean * plainRe;
    out[2 * k + 1] = im - mean * plainIm;
  });
  return out;
}

const mirrored = (z: Float64Array): Float64Array => z.map((v, i) => (i % 2 === 0 ? v : -v));

/** Share of the power of a complex series that others explain by constant complex factors: multiple coherence at rest. */
function shareExplained(line: Float64Array, columns: readonly Float64Array[]): number {
  const whole = powerOf(line);
  if (!(whole > 0)) return 0;
  const basis: Float64Array[] = [];
  for (const column of columns) {
    const own = basis.reduce(without, column);
    const power = powerOf(own);
    if (power > 1e-9 * powerOf(column)) basis.push(own.map((v) => v / Math.sqrt(power)));
  }
  return 1 - powerOf(basis.reduce(without, line)) / whole;
}

function powerOf(z: Float64Array): number {
  return z.reduce((sum, v) => sum + v * v, 0);
}

/** A series without its part along another of power 1. */
function without(z: Float64Array, unit: Float64Array): Float64Array {
  let re = 0;
  let im = 0;
  for (let i = 0; i < z.length; i += 2) {
    re += z[i]! * unit[i]! + z[i + 1]! * unit[i + 1]!;
    im += z[i + 1]! * unit[i]! - z[i]! * unit[i + 1]!;
  }
  return z.map((v, i) =>
    i % 2 === 0 ? v - re * unit[i]! + im * unit[i + 1]! : v - re * unit[i]! - im * unit[i - 1]!,
  );
}
