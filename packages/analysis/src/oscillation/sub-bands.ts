import { inverseComplex, nextPowerOfTwo, transformReal } from '../spectrum/fft.js';

/**
 * One octave either side of a centre frequency, as a complex envelope at a low rate.
 *
 * `re[i] + j im[i]` is the analytic signal at `i / rateHz` seconds after the record's start, shifted down by `shiftHz`,
 * so that a component at f turns at f − shiftHz.
 */
export interface SubBand {
  readonly centreHz: number;
  readonly shiftHz: number;
  readonly rateHz: number;
  readonly re: Float64Array;
  readonly im: Float64Array;
}

/** The spectrum of a whole record, extended so that its ends do not ring into the bands cut from it. */
export interface RecordSpectrum {
  readonly values: Float64Array;
  /** Interleaved re, im of bins 0…N/2 of the extended record. */
  readonly bins: Float64Array;
  /** Bins of the record alone under a Hann window (periodic), where a strong line leaks least into its surroundings. */
  readonly quiet: Float64Array;
  readonly quietBinHz: number;
  readonly size: number;
  readonly binHz: number;
  readonly sampleRateHz: number;
  /** Where the record starts within the extended one, in samples. */
  readonly lead: number;
  readonly length: number;
}

/** Sub-bands are flat from half to twice their centre and fall to nothing outside, in half an octave. */
const FLAT_OCTAVES = 1;
const SKIRT_OCTAVES = 0.35;
/** Slopes of the background, in power per frequency, that whitening follows. */
const SLOPE_LIMITS = [-6, 2] as const;

/**
 * Transforms a record after taking out its straight-line trend and continuing it past both ends by point reflection,
 * which keeps value and slope continuous, faded to nothing so that the two ends do not meet in a step.
 *
 * @param values evenly spaced samples, finite, at least 8
 */
export function recordSpectrum(values: Float64Array, sampleRateHz: number): RecordSpectrum {
  const n = values.length;
  const { offset, slope } = straightLine(values);
  const lead = n >> 1;
  const size = nextPowerOfTwo(2 * n);
  const extended = new Float64Array(size);
  const at = (i: number): number => values[i]! - offset - slope * i;
  const windowed = new Float64Array(nextPowerOfTwo(n));
  for (let i = 0; i < n; i++) {
    extended[lead + i] = at(i);
    windowed[i] = (0.5 - 0.5 * Math.cos((2 * Math.PI * i) / n)) * at(i);
  }
  const first = at(0);
  const last = at(n - 1);
  const tail = Math.min(n - 1, size - lead - n);
  for (let i = 1; i <= lead; i++) extended[lead - i] = fade(i / (lead + 1)) * (2 * first - at(i));
  for (let i = 1; i <= tail; i++)
    extended[lead + n - 1 + i] = fade(i / (tail + 1)) * (2 * last - at(n - 1 - i));
  return {
    values,
    bins: transformReal(extended),
    quiet: transformReal(windowed),
    quietBinHz: sampleRateHz / windowed.length,
    size,
    binHz: sampleRateHz / size,
    sampleRateHz,
    lead,
    length: n,
  };
}

/** Cosine from one at 0 to nothing at 1. */
function fade(x: number): number {
  return 0.5 + 0.5 * Math.cos(Math.PI * x);
}

function straightLine(values: Float64Array): { offset: number; slope: number } {
  const n = values.length;
  const middle = (n - 1) / 2;
  let mean = 0;
  let moment = 0;
  let spread = 0;
  for (let i = 0; i < n; i++) {
    mean += values[i]!;
    moment += (i - middle) * values[i]!;
    spread += (i - middle) ** 2;
  }
  mean /= n;
  const slope = spread > 0 ? moment / spread : 0;
  return { offset: mean - slope * middle, slope };
}

/**
 * Cuts one sub-band, with the slope of the background around it levelled so that steep noise does not look like a line
 * at the band's lower edge.
 *
 * @param centreHz at most 0.4 of the sample rate, so that the upper octave has room
 */
export function subBand(
  record: RecordSpectrum,
  centreHz: number,
  level: Levelling = levelling(record, centreHz),
): SubBand {
  const { bins, binHz, size } = record;
  const reach = 2 ** (FLAT_OCTAVES + SKIRT_OCTAVES);
  const low = Math.max(1, Math.ceil(centreHz / reach / binHz));
  const high = Math.min(size / 2 - 1, Math.floor((centreHz * reach) / binHz));
  let count = 16;
  while (count < 1.6 * (high - low + 1)) count *= 2;
  const input = new Float64Array(2 * count);
  for (let k = low; k <= high; k++) {
    const octaves = Math.abs(Math.log2((k * binHz) / centreHz));
    const edge = octaves <= FLAT_OCTAVES ? 1 : fade((octaves - FLAT_OCTAVES) / SKIRT_OCTAVES);
    const weight = (2 * edge * level(k * binHz)) / size;
    input[2 * (k - low)] = weight * bins[2 * k]!;
    input[2 * (k - low) + 1] = weight * bins[2 * k + 1]!;
  }
  const output = inverseComplex(input);
  const rateHz = (record.sampleRateHz * count) / size;
  const first = Math.ceil((record.lead / record.sampleRateHz) * rateHz);
  const end = Math.floor(((record.lead + record.length - 1) / record.sampleRateHz) * rateHz) + 1;
  const re = new Float64Array(Math.max(0, end - first));
  const im = new Float64Array(re.length);
  for (let i = 0; i < re.length; i++) {
    re[i] = output[2 * (first + i)]! * count;
    im[i] = output[2 * (first + i) + 1]! * count;
  }
  return { centreHz, shiftHz: low * binHz, rateHz, re, im };
}

/** Amplitude factor for a frequency that levels the background of a sub-band; one at the centre. */
export type Levelling = (hz: number) => number;

/**
 * What levels the background of a sub-band.
 *
 * Where the record has enough segments, the inverse of its typical spectrum smoothed by a median over about an octave,
 * which follows the corners of a loop's response but not a line. Shorter records get one straight slope on log scales.
 */
function levelling(record: RecordSpectrum, centreHz: number): Levelling {
  const typical = typicalSpectrum(record, centreHz);
  if (typical === null) return slopeLevelling(record, centreHz);
  const step = Math.log(2) / GRID_PER_OCTAVE;
  const reach = Math.ceil((FLAT_OCTAVES + SKIRT_OCTAVES) * GRID_PER_OCTAVE);
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
  const powers = Array.from({ length: bins }, () => new Float64Array(count));
  for (let s = 0; s < count; s++) {
    const piece = values.slice((s * length) / 2, (s * length) / 2 + length);
    const { offset, slope } = straightLine(piece);
    for (let i = 0; i < length; i++)
      piece[i] = (0.5 - 0.5 * Math.cos((2 * Math.PI * i) / length)) * (piece[i]! - offset - slope * i);
    const spectrum = transformReal(piece);
    for (let k = 0; k < bins; k++) powers[k]![s] = spectrum[2 * k]! ** 2 + spectrum[2 * k + 1]! ** 2;
  }
  const power = Float64Array.from(powers, (p) => p.sort()[p.length >> 1]!);
  return { power, binHz: sampleRateHz / length };
}
