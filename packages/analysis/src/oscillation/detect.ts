import { logChance, RUN_LENGTHS } from './chance.js';
import { REACH_OCTAVES } from './levelling.js';
import { narrownessTrack, WINDOW_CYCLES, type NarrownessTrack } from './narrowness.js';
import { recordSpectrum, type RecordSpectrum } from './record-spectrum.js';
import { subBand } from './sub-bands.js';

/** A stretch of one signal that is more of one frequency than chance allows. Times count from the record's start. */
export interface Candidate {
  readonly frequencyHz: number;
  readonly startS: number;
  readonly endS: number;
  /** Natural log of the chance that well-damped motion of this length shows it anywhere, 0 at most. */
  readonly logFalseAlarm: number;
  readonly meanShare: number;
}

export interface DetectOptions {
  readonly lowestHz: number;
  readonly highestHz: number;
  /** Chance of a candidate in a record of well-damped motion; the stated false-alarm rate per signal. */
  readonly falseAlarmRate: number;
}

/** Neighbouring sub-bands are this ratio apart, so that every frequency lies well inside one's search range. */
const BAND_RATIO = 1.19;
/** Bands and run lengths searched add chances: about this many independent searches, measured on the reference motion over 6 to 300 cycles. */
const LOG_SEARCHES = Math.log(4);
/** A run nearly as long as the record still has its start, its end and its band to choose from. */
const SHORT_POSITIONS = 2;
const MOST_CANDIDATES = 5;
/** Windows join a run while this much of their motion is the line and the line stays near. */
const JOIN_SHARE = 0.5;
const JOIN_RATIO = 1.1;
/** A window whose line is this much weaker than the run's is background, however narrow. */
const JOIN_LEVEL = 0.12;
/** Once a line is found it is cut out this far either side, and what is left is searched again. */
const CUT_RATIO = 1.16;
/** What stands this near a line already found is its skirt. */
const SKIRT_RATIO = 1.3;

/**
 * Finds narrow-band oscillations in an evenly sampled record: at least five consecutive cycles that a sinusoid explains
 * better than broad-band motion would by chance. Lines are found one at a time, each cut out before the next search.
 *
 * @param values finite samples, at least 16
 * @returns candidates, most certain first; empty when nothing stands out
 */
export function detectOscillations(
  values: Float64Array,
  sampleRateHz: number,
  options: DetectOptions,
): Candidate[] {
  const durationS = values.length / sampleRateHz;
  const lowestHz = Math.max(options.lowestHz, WINDOW_CYCLES / durationS);
  const highestHz = Math.min(options.highestHz, 0.4 * sampleRateHz);
  const found: Candidate[] = [];
  if (isStraight(values)) return found;
  let record = recordSpectrum(values, sampleRateHz);
  let tracks: NarrownessTrack[] = [];
  for (let centreHz = lowestHz; centreHz <= highestHz * 1.0001; centreHz *= BAND_RATIO)
    tracks.push(narrownessTrack(subBand(record, centreHz)));
  while (found.length < MOST_CANDIDATES) {
    const next = leastLikely(tracks, lowestHz, found, Math.log(options.falseAlarmRate));
    if (next === null) break;
    found.push(next);
    const cut = cutOut(record, next.frequencyHz);
    record = cut;
    tracks = tracks.map((track) =>
      sees(track.centreHz, next.frequencyHz, cut.binHz)
        ? narrownessTrack(subBand(cut, track.centreHz))
        : track,
    );
  }
  return found;
}

/** What a straight line leaves over may be rounding alone, which is no motion. */
function isStraight(values: Float64Array): boolean {
  const first = values[0]!;
  const slope = (values[values.length - 1]! - first) / (values.length - 1);
  let largest = 0;
  let off = 0;
  for (let i = 0; i < values.length; i++) {
    largest = Math.max(largest, Math.abs(values[i]!));
    off = Math.max(off, Math.abs(values[i]! - first - slope * i));
  }
  return off <= 1e-9 * largest;
}

function leastLikely(
  tracks: readonly NarrownessTrack[],
  lowestHz: number,
  found: readonly Candidate[],
  logLimit: number,
): Candidate | null {
  let best: { track: NarrownessTrack; start: number; windows: number; log: number } | null = null;
  for (const track of tracks) {
    for (const windows of RUN_LENGTHS) {
      const positions = track.share.length - windows + 1;
      if (positions < 1) break;
      const trials = Math.log(positions + SHORT_POSITIONS) + LOG_SEARCHES;
      let sum = 0;
      for (let i = 0; i < track.share.length; i++) {
        sum += track.share[i]!;
        if (i >= windows) sum -= track.share[i - windows]!;
        const start = i - windows + 1;
        if (start < 0) continue;
        const log = logChance(windows, sum / windows) + trials;
        if (log < logLimit && (best === null || log < best.log)) {
          const frequencyHz = runFrequency(track, start, start + windows);
          if (
            frequencyHz < lowestHz / 1.05 ||
            found.some((f) => near(f.frequencyHz, frequencyHz, SKIRT_RATIO))
          )
            continue;
          best = { track, start, windows, log };
        }
      }
    }
  }
  if (best === null) return null;
  return grow(best.track, best.start, best.start + best.windows, best.log);
}

function near(a: number, b: number, ratio: number): boolean {
  return a < b * ratio && b < a * ratio;
}

/** Energy-weighted mean frequency of the windows start…end. */
function runFrequency(track: NarrownessTrack, start: number, end: number): number {
  let sum = 0;
  let weight = 0;
  for (let i = start; i < end; i++) {
    const w = track.share[i]! ** 2 * track.level[i]! ** 2 + 1e-300;
    sum += w * track.frequencyHz[i]!;
    weight += w;
  }
  return sum / weight;
}

/** Extends a run to the neighbouring windows that show the same line. */
function grow(track: NarrownessTrack, start: number, end: number, log: number): Candidate {
  const frequencyHz = runFrequency(track, start, end);
  let level = 0;
  for (let i = start; i < end; i++) level = Math.max(level, track.level[i]!);
  const joins = (i: number): boolean =>
    i >= 0 &&
    i < track.share.length &&
    track.share[i]! >= JOIN_SHARE &&
    near(track.frequencyHz[i]!, frequencyHz, JOIN_RATIO) &&
    track.level[i]! >= JOIN_LEVEL * level;
  // One window may miss when a gust passes; two in a row end the run.
  while (joins(start - 1) || joins(start - 2)) start--;
  while (joins(end) || joins(end + 1)) end++;
  let share = 0;
  for (let i = start; i < end; i++) share += track.share[i]!;
  return {
    frequencyHz: runFrequency(track, start, end),
    startS: track.startS[start]!,
    endS: track.startS[end - 1]! + track.windowS,
    logFalseAlarm: Math.min(0, log),
    meanShare: share / (end - start),
  };
}

/** Whether the sub-band around a centre holds anything of what is cut out around a line; the others stay as they are. */
function sees(centreHz: number, lineHz: number, binHz: number): boolean {
  const reach = 2 ** REACH_OCTAVES;
  return centreHz * reach >= lineHz / CUT_RATIO - binHz && centreHz / reach <= lineHz * CUT_RATIO + binHz;
}

function cutOut(record: RecordSpectrum, frequencyHz: number): RecordSpectrum {
  const bins = Float64Array.from(record.bins);
  const low = Math.max(0, Math.floor(frequencyHz / CUT_RATIO / record.binHz));
  const high = Math.min(record.size / 2, Math.ceil((frequencyHz * CUT_RATIO) / record.binHz));
  bins.fill(0, 2 * low, 2 * high + 2);
  return { ...record, bins };
}
