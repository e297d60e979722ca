/** The study of vibration: records, spectra, the rotors' angles, their lines, all other lines. */
import type { Flight, Interval } from '@settle/parser';
import type { Phase } from '../diagnosis.js';
import type { Unavailable } from '../unavailable.js';
import { campbellPoints } from './campbell.js';
import { clearestRecords } from './find-base.js';
import { findPeaks, type Peak } from './find-peaks.js';
import { fitLine } from './fit-line.js';
import { flagFoldPairs } from './fold-pairs.js';
import { lineSpectrum, type LineSpectrum } from './line-spectrum.js';
import { describePlainLine, type FoundPeak, type GroundPeak, type LoopLine } from './plain-lines.js';
import { FOLDS_BELOW_HZ } from './find-rotors.js';
import { rotorAngles, type RotorAngles } from './rotor-angles.js';
import { bladeOrder, describeRotorLine, isSkirt, type RotorLine } from './rotor-lines.js';
import { unloggedRanges } from './rotor-ranges.js';
import { describeRotors, meanCommand, throttleMoves } from './rotor-study.js';
import { sensorHealth } from './sensor-health.js';
import { MeanAngle, takeOutRotors } from './take-out-rotors.js';
import { secondRate } from './second-rate.js';
import { sensorRecords, type SensorRecord } from './sensor-records.js';
import type { SensorSpectrum, StudiedLine, VibrationStudy } from './vibration-study.js';

/** Slower than this is motion of the aircraft, which the diagnosis deals with, Hz. */
const LOWEST_HZ = 14;
/** Chance that a sensor axis without any line shows one. */
export const VIBRATION_FALSE_ALARM_RATE = 0.01;
/** Segments of the spectra, s. */
const SEGMENT_S = 4;
/** Closer to half the sample rate than this share of it no line can be told from its own fold. */
const TOP_SHARE = 0.985;
/** A stretch on the ground this long shows what is there without rotors, s. */
const GROUND_S = 1.5;

/**
 * @param oscillations of the diagnosis, so that a loop’s swing is not taken for vibration
 * @returns unavailable where no inertial sensor is logged fast or long enough to show a line
 */
export function studyVibration(
  flight: Flight,
  hover: Interval,
  phases: readonly Phase[],
  oscillations: readonly LoopLine[] = [],
): VibrationStudy | Unavailable {
  const records = sensorRecords(flight, hover).filter((record) => record.sampleRateHz > 2.5 * LOWEST_HZ);
  if (records.length === 0)
    return {
      unavailable: `neither gyro nor accelerometer is logged at more than ${String(2.5 * LOWEST_HZ)} Hz over a hover long enough; log the raw gyro at 400 Hz or more`,
    };
  const seen = records.map((record) => ({
    record,
    spectrum: lineSpectrum(record.values, record.sampleRateHz, SEGMENT_S),
  }));
  const rateHz = records[0]!.sampleRateHz;
  const second = rateHz < FOLDS_BELOW_HZ ? secondRate(flight, hover, rateHz) : null;
  const alike = records.filter(({ sampleRateHz }) => sampleRateHz === rateHz);
  const angles = rotorAngles(flight, hover, records, second);
  const mean = angles === null ? null : new MeanAngle(angles.rotors);
  const taken = seen.map(({ record, spectrum }) => ({
    record,
    spectrum,
    ...(angles === null || mean === null
      ? { lines: [], rest: record.values }
      : takeOutRotors(angles.rotors, mean, record, LOWEST_HZ, VIBRATION_FALSE_ALARM_RATE / 2)),
  }));
  const found = taken.map((one) => ({
    ...one,
    plain: plainLines(one.record, one.spectrum, one.lines, one.rest, angles?.from ?? 'spectrum'),
  }));
  const turning = found.flatMap(({ spectrum, lines, plain }) => levelled(spectrum, lines, plain));
  // Speeds guessed from commands are believed once lines turn with them.
  const believed = angles !== null && (angles.from === 'speed-channel' || turning.length > 0) ? angles : null;
  const blades = bladeOrder(
    turning,
    found.flatMap(({ plain }) => plain),
  );
  const ground = groundPeaks(flight, phases);
  const described = found
    .flatMap((one) => one.plain)
    .map((line) =>
      describePlainLine(line, {
        loops: oscillations,
        ground,
        rotorsKnown: believed !== null,
        mayFold: rateHz < FOLDS_BELOW_HZ,
        told: ({ record, fitted }) => {
          if (second === null || record.sampleRateHz !== rateHz) return null;
          const hz = second.told(clearestRecords([record], alike), fitted.frequencyHz);
          return hz === null ? null : { hz, ratesHz: second.ratesHz };
        },
        rotorRanges: believed === null ? [] : unloggedRanges(believed, rateHz),
      }),
    );
  const guessed = believed === null && second === null && rateHz < FOLDS_BELOW_HZ;
  const plain = guessed ? flagFoldPairs(described, rateHz) : described;
  const lines = [
    ...(believed === null ? [] : turning.map((line) => describeRotorLine(line, blades, believed.from))),
    ...plain,
  ].sort(byStrength);
  const rotor =
    believed === null
      ? { unavailable: noRotor(flight, hover, rateHz, second !== null) }
      : describeRotors(flight, hover, believed);
  return {
    interval: hover,
    lowestHz: LOWEST_HZ,
    spectra: seen.map(({ record, spectrum }) => describeSpectrum(record, spectrum)),
    elsewhere: elsewhere(flight, hover, phases),
    lines,
    rotor,
    sensors: seen.map(({ record, spectrum }) => sensorHealth(record, spectrum, hover, LOWEST_HZ)),
    campbell: campbellPoints(records, rotor, lines),
    falseAlarmRate: VIBRATION_FALSE_ALARM_RATE,
  };
}

function noRotor(flight: Flight, hover: Interval, rateHz: number, foldsTold: boolean): string {
  const told = [...flight.signals.keys()].some((name) => name.startsWith('motor.') || name === 'throttle');
  if (!told)
    return 'neither rotor speeds nor motor commands nor throttle are logged, so what turns cannot be told from what rings; log the rotor speeds, or the motor commands';
  const commands = meanCommand(flight, hover);
  const calm = commands !== null && !throttleMoves(commands.values);
  const otherwise = calm
    ? ', or, once it hovers without a wobble, climb and sink gently, the throttle by a fifth either way, for half a minute at a safe height,'
    : '';
  return rateHz < FOLDS_BELOW_HZ
    ? `no line of the spectra surely follows the motor commands, and in a log of ${rateHz.toFixed(0)} Hz a rotor’s line may be folded; log rotor speeds, or the raw gyro at 400 Hz or more${foldsTold ? '' : ', or the body rates at a rate that is no whole part of this log’s'}${otherwise === '' ? ',' : otherwise} to see what turns`
    : `no line of the spectra follows the motor commands; log rotor speeds${otherwise} to see what turns`;
}

function peaksOf(record: SensorRecord, spectrum: LineSpectrum, falseAlarmRate: number): Peak[] {
  return findPeaks(spectrum, LOWEST_HZ, (TOP_SHARE * record.sampleRateHz) / 2, falseAlarmRate);
}

/** A peak lower than this many times what lines before it explain is part of them. */
const EXPLAINED = 2.5;
/** Where rotors were taken out, what is left is another line if it is at least this much of what was there. */
const LEFT_SHARE = 0.4;
/** What is left over of a rotor is at most this share of its rms, where its speed hardly changed … */
const LEFT_RMS = { 'speed-channel': 0.5, spectrum: 0.8 };
const NARROW_RANGE_HZ = { 'speed-channel': 4, spectrum: 10 };
/** … or as wide as a share of the range of its speed. */
const LEFT_WIDTH = 0.15;
/** Sidebands of a strong line reach this far beyond its range, Hz, and are at most this share of its rms. */
const SIDEBAND_HZ = 2;
const SIDEBAND_RMS = 0.25;

/** Lines of a record without its rotors, strongest first, each fitted with those before it in mind. */
function plainLines(
  record: SensorRecord,
  whole: LineSpectrum,
  turning: readonly RotorLine[],
  rest: Float64Array,
  from: RotorAngles['from'],
): FoundPeak[] {
  const spectrum = turning.length === 0 ? whole : lineSpectrum(rest, record.sampleRateHz, SEGMENT_S);
  const { density, floor } = spectrum;
  const masked = (bin: number): boolean =>
    density[bin]! < LEFT_SHARE * whole.density[bin]! &&
    turning.some((line) => covers(line, bin * spectrum.binHz, spectrum));
  const peaks = peaksOf(record, spectrum, VIBRATION_FALSE_ALARM_RATE / 2)
    .filter((peak) => !isCovered(peak, spectrum, masked) && !isLeftover(peak, turning, spectrum, from))
    .sort((a, b) => density[b.bin]! - density[a.bin]!);
  const known = new Float64Array(density.length);
  return peaks.flatMap((peak) => {
    if (density[peak.bin]! < EXPLAINED * (floor[peak.bin]! + known[peak.bin]!)) return [];
    const fitted = fitLine(spectrum, peak, known, masked);
    if (isSkirt(fitted, turning, SIDEBAND_HZ)) return [];
    for (let k = 0; k < known.length; k++) known[k]! += fitted.density[k]!;
    return [{ ...peak, record, spectrum, fitted }];
  });
}

/** Whether most of a peak, as far as half its height, belongs to something else: a mode is wider than the lines that cross it. */
function isCovered(
  { bin, first, last }: Peak,
  { density }: LineSpectrum,
  masked: (bin: number) => boolean,
): boolean {
  let own = 0;
  let all = 0;
  for (let k = first; k <= last; k++) {
    if (density[k]! < density[bin]! / 2) continue;
    all++;
    if (!masked(k)) own++;
  }
  return own < all / 2;
}

/** What a plain spectrum holds where rotors are belongs to them within these factors of what came to rest, else to something else. */
const LEAST_OF_REST = 0.5;
const MOST_OF_REST = 3.5;
/** The background is known to this share: the power over it counts where it is more than so many times what that leaves open. */
const FLOOR_ERROR = 0.08;
const CLEAR = 8;
/** Beside a range, where its background is read, Hz. */
const EDGE_HZ = 4;

/**
 * Lines whose ranges touch are given together what the plain spectrum holds there and no other line explains: speeds known only so
 * well leave part of a line off its rest, and rotors that keep together hold part of one another.
 */
function levelled(
  spectrum: LineSpectrum,
  lines: readonly RotorLine[],
  plain: readonly FoundPeak[],
): RotorLine[] {
  const groups: RotorLine[][] = [];
  let until = -Infinity;
  for (const line of [...lines].sort((a, b) => a.firstHz - b.firstHz)) {
    if (line.firstHz < until) groups.at(-1)!.push(line);
    else groups.push([line]);
    until = Math.max(until, line.lastHz + 1.2);
  }
  return groups.flatMap((group) => {
    const lowHz = Math.min(...group.map((line) => line.firstHz)) - 0.6;
    const highHz = Math.max(...group.map((line) => line.lastHz)) + 0.6;
    const { power, background } = powerWithin(spectrum, lowHz, highHz, plain);
    const atRest = group.reduce((sum, line) => sum + line.rms ** 2, 0);
    const ratio = power / atRest;
    if (power < CLEAR * FLOOR_ERROR * background || ratio < LEAST_OF_REST || ratio > MOST_OF_REST)
      return group;
    return group.map((line) => ({ ...line, rms: Math.sqrt(ratio) * line.rms }));
  });
}

function powerWithin(
  { density, floor, binHz }: LineSpectrum,
  lowHz: number,
  highHz: number,
  plain: readonly FoundPeak[],
): { power: number; background: number } {
  const last = density.length - 1;
  const from = Math.max(1, Math.round(lowHz / binHz));
  const to = Math.min(last, Math.round(highHz / binHz));
  const edge = Math.round(EDGE_HZ / binHz);
  const level = (start: number, end: number): number => {
    const some = [...density.subarray(Math.max(1, start), Math.max(1, Math.min(last, end)))];
    some.sort((a, b) => a - b);
    return some.length < 3 ? Infinity : some[some.length >> 1]!;
  };
  const beside = Math.min(level(from - edge, from), level(to + 1, to + 1 + edge));
  let power = 0;
  let background = 0;
  for (let k = from; k <= to; k++) {
    const under = Math.min(floor[k]!, beside);
    const other = plain.reduce((sum, line) => sum + line.fitted.density[k]!, 0);
    power += (density[k]! - other - under) * binHz;
    background += (under + other) * binHz;
  }
  return { power, background };
}

/** Whether a peak without the rotors is what taking them out left of them. */
function isLeftover(
  peak: Peak,
  turning: readonly RotorLine[],
  spectrum: LineSpectrum,
  from: RotorAngles['from'],
): boolean {
  const near = turning.filter(
    (line) => peak.frequencyHz > line.firstHz - SIDEBAND_HZ && peak.frequencyHz < line.lastHz + SIDEBAND_HZ,
  );
  if (peak.rms < SIDEBAND_RMS * rmsOf(near)) return true;
  const over = turning.filter((line) => covers(line, peak.frequencyHz, spectrum));
  if (over.length === 0) return false;
  const range = Math.max(...over.map((line) => line.lastHz)) - Math.min(...over.map((line) => line.firstHz));
  if (range < NARROW_RANGE_HZ[from]) return peak.rms < LEFT_RMS[from] * rmsOf(over);
  return peak.widthHz > LEFT_WIDTH * range;
}

function rmsOf(lines: readonly RotorLine[]): number {
  return Math.hypot(0, ...lines.map((line) => line.rms));
}

/** Whether a peak of the plain spectrum is a rotor's line, smeared by its speed. */
function covers(line: RotorLine, frequencyHz: number, { binHz }: LineSpectrum): boolean {
  const margin = Math.max(0.7, 2.5 * binHz);
  return frequencyHz > line.firstHz - margin && frequencyHz < line.lastHz + margin;
}

function byStrength(a: StudiedLine, b: StudiedLine): number {
  return a.sensor === b.sensor ? b.rms - a.rms : a.sensor === 'gyro' ? -1 : 1;
}

function describeSpectrum(record: SensorRecord, spectrum: LineSpectrum): SensorSpectrum {
  return {
    sensor: record.sensor,
    axis: record.axis,
    sampleRateHz: record.sampleRateHz,
    averages: spectrum.degreesOfFreedom / 2,
    frequencyHz: spectrum.frequencyHz,
    density: spectrum.density,
    floor: spectrum.floor,
  };
}

function longestGround(phases: readonly Phase[]): Phase | null {
  return phases
    .filter((phase) => phase.kind === 'ground' && phase.endS - phase.startS >= GROUND_S)
    .reduce<Phase | null>(
      (best, phase) => (best === null || phase.endS - phase.startS > best.endS - best.startS ? phase : best),
      null,
    );
}

function groundPeaks(flight: Flight, phases: readonly Phase[]): GroundPeak[] | null {
  const ground = longestGround(phases);
  if (ground === null) return null;
  return sensorRecords(flight, ground).flatMap((record) =>
    peaksOf(record, lineSpectrum(record.values, record.sampleRateHz, SEGMENT_S / 2), 0.01).map((peak) => ({
      ...peak,
      record,
    })),
  );
}

/** Spectra on the ground, and of the hover by thirds of the throttle where it moves. */
function elsewhere(flight: Flight, hover: Interval, phases: readonly Phase[]): VibrationStudy['elsewhere'] {
  const out: { where: string; spectra: SensorSpectrum[] }[] = [];
  const ground = longestGround(phases);
  if (ground !== null) out.push({ where: 'on the ground', spectra: spectraDuring(flight, [ground]) });
  const commands = meanCommand(flight, hover);
  if (commands === null || !throttleMoves(commands.values)) return out;
  const sorted = [...commands.values].sort((a, b) => a - b);
  const limits = [0, 1 / 3, 2 / 3, 1].map((share) => sorted[Math.floor(share * (sorted.length - 1))]!);
  for (let third = 0; third < 3; third++) {
    const spans = spansWithin(commands.values, commands.startS, limits[third]!, limits[third + 1]!);
    const spectra = spectraDuring(flight, spans);
    if (spectra.length > 0)
      out.push({
        where: `throttle ${(100 * limits[third]!).toFixed(0)} to ${(100 * limits[third + 1]!).toFixed(0)} %`,
        spectra,
      });
  }
  return out;
}

const TRACK_STEP_S = 0.1;
const SHORTEST_SPAN_S = 1;

function spansWithin(values: Float64Array, startS: number, low: number, high: number): Interval[] {
  const out: Interval[] = [];
  let from: number | null = null;
  for (let i = 0; i <= values.length; i++) {
    const inside = i < values.length && values[i]! >= low && values[i]! <= high;
    if (inside && from === null) from = i;
    if (!inside && from !== null) {
      const span = { startS: startS + from * TRACK_STEP_S, endS: startS + i * TRACK_STEP_S };
      if (span.endS - span.startS >= SHORTEST_SPAN_S) out.push(span);
      from = null;
    }
  }
  return out;
}

/** Densities averaged over stretches, by their lengths. */
function spectraDuring(flight: Flight, spans: readonly Interval[]): SensorSpectrum[] {
  const longest = spans.reduce<Interval | null>(
    (best, span) => (best === null || span.endS - span.startS > best.endS - best.startS ? span : best),
    null,
  );
  if (longest === null) return [];
  return sensorRecords(flight, longest).map((record) =>
    describeSpectrum(record, lineSpectrum(record.values, record.sampleRateHz, SEGMENT_S / 2)),
  );
}
