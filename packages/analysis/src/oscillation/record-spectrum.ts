import { detrended } from '../spectrum/detrend.js';
import { nextPowerOfTwo, transformReal } from '../spectrum/fft.js';
import { windowSamples } from '../spectrum/windows.js';

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

/**
 * Transforms a record after taking out its straight-line trend and continuing it past both ends by point reflection,
 * which keeps value and slope continuous, faded to nothing so that the two ends do not meet in a step.
 *
 * @param values evenly spaced samples, finite, at least 8
 */
export function recordSpectrum(values: Float64Array, sampleRateHz: number): RecordSpectrum {
  const n = values.length;
  const straight = detrended(values, 'linear');
  const lead = n >> 1;
  const size = nextPowerOfTwo(2 * n);
  const extended = new Float64Array(size);
  const at = (i: number): number => straight[i]!;
  const window = windowSamples('hann', n, 'periodic');
  const windowed = new Float64Array(nextPowerOfTwo(n));
  for (let i = 0; i < n; i++) {
    extended[lead + i] = at(i);
    windowed[i] = window[i]! * at(i);
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
export function fade(x: number): number {
  return 0.5 + 0.5 * Math.cos(Math.PI * x);
}
