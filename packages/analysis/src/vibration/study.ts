/** The study of vibration: records, spectra, the rotors' angles, their lines, all other lines. */
import type { Flight, Interval } from '@settle/parser';
import type { Phase } from '../diagnosis.js';
import type { Unavailable } from '../unavailable.js';
import { campbellPoints } from './campbell.js';
import { findPeaks, type Peak } from './find-peaks.js';
import { fitLine } from './fit-line.js';
import { lineSpectrum, type LineSpectrum } from './line-spectrum.js';
import { describePlainLine, type FoundPeak, type GroundPeak, type LoopLine } from './plain-lines.js';
import { rotorAngles } from './rotor-angles.js';
import { bladeOrder, describeRotorLine, findRotorLines, type RotorLine } from './rotor-lines.js';
import { describeRotors, meanCommand, throttleMoves } from './rotor-study.js';
import { sensorHealth } from './sensor-health.js';
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
  const angles = rotorAngles(flight, hover, records);
  const turning =
    angles === null ? [] : findRotorLines(angles, seen, LOWEST_HZ, VIBRATION_FALSE_ALARM_RATE / 2);
  // Speeds guessed from commands are believed once lines turn with them.
  const believed = angles !== null && (angles.from === 'speed-channel' || turning.length > 0) ? angles : null;
  const blades = bladeOrder(turning);
  const ground = groundPeaks(flight, phases);
  const plain = seen
    .flatMap(({ record, spectrum }) => plainLines(record, spectrum, turning))
    .map((line) => describePlainLine(line, { loops: oscillations, ground, rotorsKnown: believed !== null }));
  const lines = [
    ...(believed === null ? [] : turning.map((line) => describeRotorLine(line, blades, believed.from))),
    ...plain,
  ].sort(byStrength);
  const rotor =
    believed === null ? { unavailable: noRotor(flight) } : describeRotors(flight, hover, believed);
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

function noRotor(flight: Flight): string {
  const told = [...flight.signals.keys()].some((name) => name.startsWith('motor.') || name === 'throttle');
  return told
    ? 'no line of the spectra follows the motor commands; log rotor speeds to see what turns'
    : 'neither rotor speeds nor motor commands nor throttle are logged, so what turns cannot be told from what rings; log the rotor speeds, or the motor commands';
}

function peaksOf(record: SensorRecord, spectrum: LineSpectrum, falseAlarmRate: number): Peak[] {
  return findPeaks(spectrum, LOWEST_HZ, (TOP_SHARE * record.sampleRateHz) / 2, falseAlarmRate);
}

/** A peak lower than this many times what lines before it explain is part of them. */
const EXPLAINED = 2.5;

/** Lines of a plain spectrum that are no rotor's, strongest first, each fitted with those before it in mind. */
function plainLines(
  record: SensorRecord,
  spectrum: LineSpectrum,
  turning: readonly RotorLine[],
): FoundPeak[] {
  const { density, floor } = spectrum;
  const own = turning.filter((line) => line.record === record);
  const peaks = peaksOf(record, spectrum, VIBRATION_FALSE_ALARM_RATE / 2)
    .filter((peak) => !own.some((line) => covers(line, peak.frequencyHz, spectrum)))
    .sort((a, b) => density[b.bin]! - density[a.bin]!);
  const known = new Float64Array(density.length);
  const masked = (bin: number): boolean => own.some((line) => covers(line, bin * spectrum.binHz, spectrum));
  return peaks.flatMap((peak) => {
    if (density[peak.bin]! < EXPLAINED * (floor[peak.bin]! + known[peak.bin]!)) return [];
    const fitted = fitLine(spectrum, peak, known, masked);
    for (let k = 0; k < known.length; k++) known[k]! += fitted.density[k]!;
    return [{ ...peak, record, spectrum, fitted }];
  });
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
