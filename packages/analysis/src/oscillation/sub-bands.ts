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
export function subBand(record: RecordSpectrum, centreHz: number): SubBand {
  const slope = backgroundSlope(record, centreHz);
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
    const weight = (2 * edge * ((k * binHz) / centreHz) ** (-slope / 2)) / size;
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

/** Log-log slope of the power around a frequency, from the medians below and above it, blind to a line between. */
function backgroundSlope(record: RecordSpectrum, centreHz: number): number {
  const below = medianPower(record, centreHz / 4, centreHz / 1.4);
  const above = medianPower(record, centreHz * 1.4, centreHz * 4);
  if (below === null || above === null || below.power <= 0 || above.power <= 0) return 0;
  const slope = Math.log(above.power / below.power) / Math.log(above.hz / below.hz);
  return Math.min(SLOPE_LIMITS[1], Math.max(SLOPE_LIMITS[0], slope));
}

function medianPower(
  record: RecordSpectrum,
  lowHz: number,
  highHz: number,
): { hz: number; power: number } | null {
  const { bins, binHz, size } = record;
  const low = Math.max(1, Math.ceil(lowHz / binHz));
  const high = Math.min(size / 2 - 1, Math.floor(highHz / binHz));
  if (high < low) return null;
  const powers = new Float64Array(high - low + 1);
  for (let k = low; k <= high; k++) powers[k - low] = bins[2 * k]! ** 2 + bins[2 * k + 1]! ** 2;
  powers.sort();
  return { hz: Math.sqrt(low * high) * binHz, power: powers[powers.length >> 1]! };
}
