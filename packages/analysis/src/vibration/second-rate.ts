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
import { motorSignals } from '../signals.js';
import { HANN_NOISE_BANDWIDTH_BINS } from '../spectrum/windows.js';
import { atRest, middlesOf, samplesIn, samplesOf, shareExplained } from './at-rest.js';
import type { SensorRecord } from './sensor-records.js';

/** What a line may truly be, over the place it has in the log: frequency plus so many times the sample rate; negative is mirrored. */
const FOLDS = [0, -1, 1, -2];
/** Length of the windows that bring to rest, s. */
const WINDOW_S = 0.6;
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
  const around = { startS: until.startS - WINDOW_S / 2, endS: until.endS + WINDOW_S / 2 };
  const groups = groupsOf(flight)
    .map((group) => group.filter((signal) => !holdsAll(signal.clock.sampleRateHz, rateHz)))
    .map((group) => group.map((signal) => samplesIn(signal, around)))
    .filter((group) => group.length > 0);
  if (groups.length === 0) return null;
  const told = (records: readonly SensorRecord[], hz: number): readonly number[] | null => {
    // Records may have been cut: where they have ended they say nothing.
    const ends = records.map(({ startS, sampleRateHz, values }) => startS + values.length / sampleRateHz);
    const both = { startS: until.startS, endS: Math.min(until.endS, ...ends) };
    if (both.endS - both.startS < SHORTEST_S) return null;
    const middleS = middlesOf(both, WINDOW_S);
    const looks = (HANN_NOISE_BANDWIDTH_BINS * (both.endS - both.startS)) / WINDOW_S;
    const lines = records
      .slice(0, MOST_RECORDS)
      .map((record) => atRest(samplesOf(record, around.endS), hz, middleS, WINDOW_S));
    const readings = FOLDS.map((fold) => hz + fold * rateHz).map((trueHz) => {
      const wanted = trueHz < 0 ? lines.map(mirrored) : lines;
      let best = { trueHz, gain: 0, share: 0 };
      for (const group of groups) {
        const columns = group.map((samples) => atRest(samples, Math.abs(trueHz), middleS, WINDOW_S));
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
export function holdsAll(secondHz: number, rateHz: number): boolean {
  if (!(secondHz > 0)) return true;
  const times = rateHz / secondHz;
  return Math.round(times) >= 1 && Math.abs(times / Math.round(times) - 1) < SAME_RATE;
}

const mirrored = (z: Float64Array): Float64Array => z.map((v, i) => (i % 2 === 0 ? v : -v));
