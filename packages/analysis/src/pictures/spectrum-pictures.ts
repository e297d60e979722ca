/** What a hover holds by frequency: the spectrum of a body rate with its lines, and how it changes over the hover. */
import type { AxisStudy } from '../axis-study.js';
import { powerSpectralDensity } from '../spectrum/welch.js';
import { transformReal } from '../spectrum/fft.js';
import { windowSamples } from '../spectrum/windows.js';
import { evenRecord, quantile, type EvenRecord } from '../signals.js';
import { chiSquareQuantile } from '../statistics/distributions.js';
import type { FlightStudy } from '../study-flight.js';
import type { Unavailable } from '../unavailable.js';
import type { SpectrogramPicture, SpectrumPicture } from './picture-data.js';
import { strongest } from './motion-pictures.js';
import { thinSpectrum } from './thin.js';

const DEG = 180 / Math.PI;
/** Averages wanted behind every value of a spectrum, at 50 % overlap. */
const WANTED_SEGMENTS = 6;
const LONGEST_SEGMENT_S = 8;
/** The background at a frequency is the median of what lies this factor either side: an octave in all but the line itself. */
const BACKGROUND_RATIO = 1.6;
const FEWEST_BINS = 7;
const FEWEST_SAMPLES = 64;

export function spectrumPicture(study: FlightStudy, one: AxisStudy): SpectrumPicture | Unavailable {
  const record = rateRecord(study, one);
  if ('unavailable' in record) return record;
  const { values, sampleRateHz } = record;
  const longest = Math.round(LONGEST_SEGMENT_S * sampleRateHz);
  const segmentLength = Math.min(longest, Math.floor((2 * values.length) / (WANTED_SEGMENTS + 1)));
  const welch = powerSpectralDensity(values, sampleRateHz, { segmentLength, detrend: 'linear' });
  const toMean = welch.degreesOfFreedom / chiSquareQuantile(0.5, welch.degreesOfFreedom);
  const lowHz = Math.max(welch.binWidthHz, study.band.lowestHz / 2);
  const highHz = sampleRateHz / 2;
  const kept = thinSpectrum(welch.frequenciesHz, welch.values, lowHz, highHz, 'log');
  if (kept.length < 4) return { unavailable: `the ${one.axis} rate is logged too slowly for a spectrum` };
  const amplitude = (density: number): number => DEG * Math.sqrt(density);
  return {
    axis: one.axis,
    frequencyHz: kept.map((k) => welch.frequenciesHz[k]!),
    level: kept.map((k) => amplitude(welch.values[k]!)),
    background: kept.map((k) => amplitude(toMean * medianAround(welch.values, k))),
    lines: [
      ...one.oscillations.map(({ frequencyHz, rateAmplitudeDegS }) => ({
        frequencyHz,
        rateAmplitudeDegS,
        what: 'swing' as const,
      })),
      ...one.folded.map(({ line }) => ({
        frequencyHz: line.frequencyHz,
        rateAmplitudeDegS: null,
        what: 'folded' as const,
      })),
    ],
    searchedHz: { lowest: study.band.lowestHz, highest: Math.min(study.band.highestHz, 0.4 * sampleRateHz) },
  };
}

function rateRecord(study: FlightStudy, one: AxisStudy): EvenRecord | Unavailable {
  const { rate } = one.signals;
  if (rate === null) return { unavailable: `no body rate of ${one.axis} is in the log` };
  const record = evenRecord(rate, study.hover);
  return record === null || record.values.length < FEWEST_SAMPLES
    ? { unavailable: `the hover holds too few samples of the ${one.axis} rate` }
    : record;
}

/** Median over a constant ratio of frequency either side of a bin. */
function medianAround(density: Float64Array, k: number): number {
  const half = Math.ceil(FEWEST_BINS / 2);
  const low = Math.max(1, Math.min(k - half, Math.floor(k / BACKGROUND_RATIO)));
  const high = Math.min(density.length - 1, Math.max(k + half, Math.ceil(k * BACKGROUND_RATIO)));
  return quantile(density.subarray(low, high + 1), 0.5);
}

/** Cells of a spectrogram across and up: what a picture of that size can show. */
const MOST_COLUMNS = 56;
const MOST_ROWS = 40;
/** Cycles of the slowest motion of interest in one window, and its length at the least, s. */
const WINDOW_CYCLES = 4;
const SHORTEST_WINDOW_S = 0.8;
/** Motion of interest where nothing swings, Hz. */
const PLAIN_HZ = 4;
/** Frequencies shown reach to this many times the fastest swing, and this high at the least, Hz. */
const REACH = 3;
const LEAST_REACH_HZ = 12;
/** Cells lower than this below the highest look the same: empty. */
const RANGE_DB = 45;

export function spectrogramPicture(study: FlightStudy, one: AxisStudy): SpectrogramPicture | Unavailable {
  const record = rateRecord(study, one);
  if ('unavailable' in record) return record;
  const { values, sampleRateHz, startS } = record;
  const swing = strongest(one.oscillations);
  const windowS = Math.max(SHORTEST_WINDOW_S, WINDOW_CYCLES / (swing?.frequencyHz ?? PLAIN_HZ));
  const length = Math.round(windowS * sampleRateHz);
  if (length < 16 || values.length < 3 * length)
    return { unavailable: `the hover is too short to show how the ${one.axis} rate changes over it` };
  const columns = Math.min(MOST_COLUMNS, Math.floor((4 * (values.length - length)) / length) + 1);
  const hop = (values.length - length) / Math.max(1, columns - 1);
  const fastest = Math.max(0, ...one.oscillations.map(({ frequencyHz }) => frequencyHz));
  const highHz = Math.min(sampleRateHz / 2, Math.max(LEAST_REACH_HZ, REACH * fastest));
  const binHz = sampleRateHz / length;
  const bins = Math.floor(highHz / binHz);
  const perRow = Math.max(1, Math.ceil(bins / MOST_ROWS));
  const rows = Math.floor(bins / perRow);
  const window = windowSamples('hann', length);
  const power = window.reduce((sum, w) => sum + w * w, 0);
  const cells: number[][] = [];
  let top = Number.NEGATIVE_INFINITY;
  for (let c = 0; c < columns; c++) {
    const at = Math.min(values.length - length, Math.round(c * hop));
    const spectrum = transformReal(windowed(values.subarray(at, at + length), window));
    const column = Array.from({ length: rows }, (_, r) => {
      let most = 0;
      for (let k = 1 + r * perRow; k < 1 + (r + 1) * perRow; k++)
        most = Math.max(most, spectrum[2 * k]! ** 2 + spectrum[2 * k + 1]! ** 2);
      return 10 * Math.log10(Math.max(1e-18, (2 * most * DEG ** 2) / (sampleRateHz * power)));
    });
    top = Math.max(top, ...column);
    cells.push(column);
  }
  const stepS = hop / sampleRateHz;
  const firstS = startS + length / 2 / sampleRateHz - stepS / 2;
  return {
    axis: one.axis,
    timeEdgesS: Array.from({ length: columns + 1 }, (_, c) => firstS + c * stepS),
    frequencyEdgesHz: Array.from({ length: rows + 1 }, (_, r) => (0.5 + r * perRow) * binHz),
    levelDb: cells.map((column) => column.map((value) => Math.max(top - RANGE_DB, value))),
    lines: one.oscillations.map(({ frequencyHz, startS: from, endS }) => ({
      frequencyHz,
      startS: from,
      endS,
    })),
  };
}

function windowed(values: Float64Array, window: Float64Array): Float64Array {
  const mean = values.reduce((sum, v) => sum + v, 0) / values.length;
  return values.map((v, i) => (v - mean) * window[i]!);
}
