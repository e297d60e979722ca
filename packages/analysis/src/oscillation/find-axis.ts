import type { Interval, Signal } from '@settle/parser';
import { evenRecord } from '../signals.js';
import { detectOscillations, type Candidate } from './detect.js';
import { bandAmplitude, measureLine, type LineMeasurement } from './measure.js';
import { recordSpectrum, type RecordSpectrum } from './record-spectrum.js';
import type { AxisSignals } from './axis-signals.js';

/** One channel over the analysed interval, transformed once for all lines. */
export interface PreparedSignal {
  readonly signal: Signal;
  /** Flight time of the record's first sample. */
  readonly startS: number;
  readonly durationS: number;
  readonly sampleRateHz: number;
  readonly values: Float64Array;
  readonly spectrum: RecordSpectrum;
}

/** A line of one axis, measured on its body rate. Times are flight times; amplitudes rad/s and rad. */
export interface AxisLine {
  readonly frequencyHz: number;
  readonly frequencyStdHz: number;
  readonly startS: number;
  readonly endS: number;
  readonly measured: LineMeasurement;
  /** What `measured` was taken from: `rate`, or the derivative of the attitude. */
  readonly from: 'rate' | 'attitude';
  readonly prepared: PreparedSignal;
  /** The axis' attitude, where it is logged fast enough to show the line. */
  readonly attitude: PreparedSignal | null;
  readonly rateAmplitude: number;
  readonly rateAmplitudeStd: number;
  readonly attitudeAmplitude: number | null;
  readonly logFalseAlarm: number;
  readonly meanShare: number;
}

export interface SearchOptions {
  readonly lowestHz: number;
  readonly highestHz: number;
  /** Chance of a false oscillation per channel, by the size of the swing (see {@link sizeOf}). */
  readonly falseAlarmRate: Readonly<Record<SwingSize, number>>;
}

/** Fewer samples than this show no line. */
const FEWEST_SAMPLES = 32;
/** Lines of two channels this near in frequency that overlap in time are one. */
const SAME_RATIO = 1.1;
export type SwingSize = 'small' | 'medium' | 'large';

/** Swings below both of these are small. */
const SMALL_RATE = (5 * Math.PI) / 180;
const SMALL_ANGLE = (2 * Math.PI) / 180;
/** Noise through a narrow filter varies by 0.52; far more is a string of single events, each soon over. */
const BURSTS_VARIATION = 0.9;
/** Swings beyond either of these are large. */
const LARGE_RATE = (40 * Math.PI) / 180;
const LARGE_ANGLE = (10 * Math.PI) / 180;
/** Oscillations smaller than both of these do not matter to a hover. */
const SMALLEST_RATE = (1 * Math.PI) / 180;
/** Above this the sensors carry more and more of the frame's shaking, and a small line there is vibration. */
export const FRAME_HZ = 8;
const SMALLEST_ANGLE = (0.5 * Math.PI) / 180;

export function prepareSignal(signal: Signal | null, interval: Interval): PreparedSignal | null {
  if (signal === null) return null;
  const record = evenRecord(signal, interval);
  if (record === null || record.values.length < FEWEST_SAMPLES) return null;
  return {
    signal,
    startS: record.startS,
    durationS: (record.values.length - 1) / record.sampleRateHz,
    sampleRateHz: record.sampleRateHz,
    values: record.values,
    spectrum: recordSpectrum(record.values, record.sampleRateHz),
  };
}

/**
 * The oscillations of one axis over an interval, strongest first: searched on body rate and on attitude (slow ones show
 * best as angle, fast ones as rate), each measured on the rate.
 */
export function findAxisLines(signals: AxisSignals, interval: Interval, options: SearchOptions): AxisLine[] {
  const rate = prepareSignal(signals.rate, interval);
  const attitude = prepareSignal(signals.attitude, interval);
  const found: { candidate: Candidate; in: PreparedSignal }[] = [];
  for (const prepared of [rate, attitude]) {
    if (prepared === null) continue;
    for (const candidate of detectOscillations(prepared.values, prepared.sampleRateHz, {
      ...options,
      falseAlarmRate: options.falseAlarmRate.large,
    }))
      found.push({ candidate, in: prepared });
  }
  found.sort((a, b) => a.candidate.logFalseAlarm - b.candidate.logFalseAlarm);
  const lines: AxisLine[] = [];
  for (const { candidate, in: prepared } of found) {
    const startS = prepared.startS + candidate.startS;
    const endS = prepared.startS + candidate.endS;
    const same = (line: AxisLine, frequencyHz: number): boolean =>
      nearRatio(line.frequencyHz, frequencyHz) < SAME_RATIO && line.startS < endS && startS < line.endS;
    if (lines.some((line) => same(line, candidate.frequencyHz))) continue;
    const line = measureAxisLine(rate, attitude, candidate, startS, endS);
    if (line === null || !matters(line) || isHarmonic(line, lines)) continue;
    // Two candidates may turn out to be one line only once they are measured.
    if (lines.some((other) => same(other, line.frequencyHz))) continue;
    if (line.logFalseAlarm > Math.log(options.falseAlarmRate[sizeOf(line)])) continue;
    if (line.measured.envelopeVariation > BURSTS_VARIATION) continue;
    lines.push(line);
  }
  return lines.sort((a, b) => b.rateAmplitude - a.rateAmplitude);
}

function nearRatio(a: number, b: number): number {
  return a > b ? a / b : b / a;
}

/** How much a swing matters: the larger it is, the more silence would cost, and the smaller, the more a false alarm. */
export function sizeOf(line: Pick<AxisLine, 'rateAmplitude' | 'attitudeAmplitude'>): SwingSize {
  const angle = line.attitudeAmplitude ?? 0;
  if (line.rateAmplitude >= LARGE_RATE || angle >= LARGE_ANGLE) return 'large';
  return line.rateAmplitude < SMALL_RATE && angle < SMALL_ANGLE ? 'small' : 'medium';
}

function matters(line: AxisLine): boolean {
  const smallest = SMALLEST_RATE * Math.max(1, line.frequencyHz / FRAME_HZ) ** 1.5;
  return line.rateAmplitude >= smallest || (line.attitudeAmplitude ?? 0) >= SMALLEST_ANGLE;
}

/** Multiples of a stronger line that come and go with it are its wave shape, not oscillations of their own. */
function isHarmonic(line: AxisLine, others: readonly AxisLine[]): boolean {
  return others.some((other) => {
    const order = Math.round(line.frequencyHz / other.frequencyHz);
    const overlapS = Math.min(line.endS, other.endS) - Math.max(line.startS, other.startS);
    return (
      order >= 2 &&
      order <= 9 &&
      nearRatio(line.frequencyHz, order * other.frequencyHz) < 1.025 &&
      line.rateAmplitude < 0.6 * other.rateAmplitude &&
      overlapS > 0.7 * (line.endS - line.startS)
    );
  });
}

function measureAxisLine(
  rate: PreparedSignal | null,
  attitude: PreparedSignal | null,
  candidate: Candidate,
  startS: number,
  endS: number,
): AxisLine | null {
  const main = rate ?? attitude;
  if (main === null) return null;
  const interval = wholeCycles(
    candidate.frequencyHz,
    Math.max(startS, main.startS),
    Math.min(endS, main.startS + main.durationS),
  );
  if (interval.endS - interval.startS < 3 / candidate.frequencyHz) return null;
  const byRate = rate === null ? null : measureOn(rate, candidate.frequencyHz, interval);
  const slowEnough = attitude !== null && candidate.frequencyHz < 0.4 * attitude.sampleRateHz;
  const byAngle = slowEnough ? measureOn(attitude, candidate.frequencyHz, interval) : null;
  const measured = byRate ?? byAngle;
  if (measured === null) return null;
  // Slow lines show best as angle, fast ones as rate: the frequency is taken where it is surest.
  const surest = byAngle !== null && byAngle.frequencyStdHz < measured.frequencyStdHz ? byAngle : measured;
  const line = {
    frequencyHz: surest.frequencyHz,
    frequencyStdHz: surest.frequencyStdHz,
    ...interval,
    measured,
    from: rate === null ? ('attitude' as const) : ('rate' as const),
    prepared: main,
    attitude: slowEnough ? attitude : null,
    logFalseAlarm: candidate.logFalseAlarm,
    meanShare: candidate.meanShare,
  };
  return { ...line, ...amplitudesAt(line, surest.frequencyHz) };
}

/** Amplitudes within 20 % of a frequency over a line's interval, rad/s and rad. */
export function amplitudesAt(
  line: Pick<AxisLine, 'startS' | 'endS' | 'from' | 'prepared' | 'attitude' | 'measured'>,
  frequencyHz: number,
): { rateAmplitude: number; rateAmplitudeStd: number; attitudeAmplitude: number | null } {
  const amplitude = (of: PreparedSignal): number =>
    bandAmplitude(of.spectrum, frequencyHz, line.startS - of.startS, line.endS - of.startS);
  const omega = 2 * Math.PI * frequencyHz;
  const own = amplitude(line.prepared);
  const scale = line.from === 'rate' ? 1 : omega;
  const angle = line.attitude === null ? null : amplitude(line.attitude);
  return {
    rateAmplitude: own * scale,
    rateAmplitudeStd: line.measured.amplitudeStd * scale,
    attitudeAmplitude: angle,
  };
}

function measureOn(prepared: PreparedSignal, startHz: number, interval: Interval): LineMeasurement {
  return measureLine(
    prepared.spectrum,
    startHz,
    Math.max(0, interval.startS - prepared.startS),
    Math.min(prepared.durationS, interval.endS - prepared.startS),
  );
}

/** A short interval is cut to whole cycles, or the half cycle left over would leak out of the amplitude's band. */
function wholeCycles(frequencyHz: number, startS: number, endS: number): Interval {
  const cycles = (endS - startS) * frequencyHz;
  if (cycles > 8) return { startS, endS };
  return { startS: endS - Math.max(1, Math.floor(cycles + 0.2)) / frequencyHz, endS };
}
