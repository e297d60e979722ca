import { detrended } from '../spectrum/detrend.js';
import { nextPowerOfTwo, transformReal } from '../spectrum/fft.js';
import { windowSamples } from '../spectrum/windows.js';
import type { RecordSpectrum } from './record-spectrum.js';

/** Octaves either side of a centre over which the background is levelled; a sub-band reaches no further. */
export const REACH_OCTAVES = 1.35;
/** Slopes of the background, in power per frequency, that whitening follows. */
const SLOPE_LIMITS = [-6, 2] as const;

/** Amplitude factor for a frequency that levels the background of a sub-band; one at the centre. */
export type Levelling = (hz: number) => number;

/**
 * What levels the background of a sub-band.
 *
 * Where the record has enough segments, the inverse of its typical spectrum smoothed by a median over about an octave,
 * which follows the corners of a loop's response but not a line. Shorter records get one straight slope on log scales.
 */
export function levelling(record: RecordSpectrum, centreHz: number): Levelling {
  const typical = typicalSpectrum(record, centreHz);
  if (typical === null) return slopeLevelling(record, centreHz);
  const step = Math.log(2) / GRID_PER_OCTAVE;
  const reach = Math.ceil(REACH_OCTAVES * GRID_PER_OCTAVE);
  const logs: number[] = [];
  for (let i = -reach; i <= reach; i++) {
    const hz = centreHz * Math.exp(i * step);
    const median = medianPower(typical, hz / SMOOTH_RATIO, hz * SMOOTH_RATIO);
    logs.push(median === null || median.power <= 0 ? Number.NaN : Math.log(median.power));
  }
  // Beyond the ends of the spectrum the nearest value goes on.
  for (let i = reach; i >= 0; i--) if (Number.isNaN(logs[i]!)) logs[i] = logs[i + 1]!;
  for (let i = reach; i < logs.length; i++) if (Number.isNaN(logs[i]!)) logs[i] = logs[i - 1]!;
  const middle = logs[reach]!;
  if (Number.isNaN(middle)) return () => 1;
  return (hz) => {
    const position = Math.max(0, Math.min(2 * reach - 1e-9, Math.log(hz / centreHz) / step + reach));
    const i = Math.floor(position);
    const log = logs[i]! + (position - i) * (logs[i + 1]! - logs[i]!);
    return Math.exp(0.5 * (middle - log));
  };
}

/** Levels by one straight slope on log scales. */
export function slopeLevelling(record: RecordSpectrum, centreHz: number): Levelling {
  const slope = backgroundSlope(wholeSpectrum(record), centreHz);
  return (hz) => (hz / centreHz) ** (-slope / 2);
}

const GRID_PER_OCTAVE = 4;
/** Half-width of the smoothing median: wide against a lightly damped mode, narrow against the corners of a response. */
const SMOOTH_RATIO = 2;

/** Log-log slope of the power around a frequency, from the medians below and above it, blind to a line between. */
function backgroundSlope(spectrum: PowerPerBin, centreHz: number): number {
  const below = medianPower(spectrum, centreHz / 4, centreHz / 1.4);
  const above = medianPower(spectrum, centreHz * 1.4, centreHz * 4);
  if (below === null || above === null || below.power <= 0 || above.power <= 0) return 0;
  const slope = Math.log(above.power / below.power) / Math.log(above.hz / below.hz);
  return Math.min(SLOPE_LIMITS[1], Math.max(SLOPE_LIMITS[0], slope));
}

/** Median power between two frequencies; null where no bin lies between them. */
function medianPower(
  spectrum: PowerPerBin,
  lowHz: number,
  highHz: number,
): { hz: number; power: number } | null {
  const { power, binHz } = spectrum;
  const low = Math.max(1, Math.ceil(lowHz / binHz));
  const high = Math.min(power.length - 2, Math.floor(highHz / binHz));
  if (high < low) return null;
  const powers = power.slice(low, high + 1).sort();
  return { hz: Math.sqrt(low * high) * binHz, power: powers[powers.length >> 1]! };
}

interface PowerPerBin {
  readonly power: Float64Array;
  readonly binHz: number;
}

/** Cycles of the centre frequency in a segment, and how many segments a median needs. */
const SEGMENT_CYCLES = 12;
const FEWEST_SEGMENTS = 5;
const typicalSpectra = new WeakMap<Float64Array, Map<number, PowerPerBin>>();

/** Null where the record is too short for segments that resolve the band. */
function typicalSpectrum(record: RecordSpectrum, centreHz: number): PowerPerBin | null {
  const { values, sampleRateHz } = record;
  const length = nextPowerOfTwo((SEGMENT_CYCLES * sampleRateHz) / centreHz);
  const count = Math.floor((values.length - length) / (length / 2)) + 1;
  if (count < FEWEST_SEGMENTS) return null;
  let known = typicalSpectra.get(values);
  if (known === undefined) typicalSpectra.set(values, (known = new Map<number, PowerPerBin>()));
  let spectrum = known.get(length);
  if (spectrum === undefined)
    known.set(length, (spectrum = medianOverSegments(values, sampleRateHz, length, count)));
  return spectrum;
}

function wholeSpectrum({ quiet, quietBinHz }: RecordSpectrum): PowerPerBin {
  const power = new Float64Array(quiet.length / 2);
  for (let k = 0; k < power.length; k++) power[k] = quiet[2 * k]! ** 2 + quiet[2 * k + 1]! ** 2;
  return { power, binHz: quietBinHz };
}

/** Power that a record shows most of the time, per bin: the median over segments, which a single gust does not move. */
function medianOverSegments(
  values: Float64Array,
  sampleRateHz: number,
  length: number,
  count: number,
): PowerPerBin {
  const bins = length / 2 + 1;
  const window = windowSamples('hann', length, 'periodic');
  const powers = Array.from({ length: bins }, () => new Float64Array(count));
  for (let s = 0; s < count; s++) {
    const piece = detrended(values.slice((s * length) / 2, (s * length) / 2 + length), 'linear');
    for (let i = 0; i < length; i++) piece[i] = window[i]! * piece[i]!;
    const spectrum = transformReal(piece);
    for (let k = 0; k < bins; k++) powers[k]![s] = spectrum[2 * k]! ** 2 + spectrum[2 * k + 1]! ** 2;
  }
  const power = Float64Array.from(powers, (p) => p.sort()[p.length >> 1]!);
  return { power, binHz: sampleRateHz / length };
}
