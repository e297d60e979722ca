import { inverseComplex } from '../spectrum/fft.js';
import { levelling, REACH_OCTAVES, type Levelling } from './levelling.js';
import { fade, type RecordSpectrum } from './record-spectrum.js';

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

/** Sub-bands are flat from half to twice their centre and fall to nothing outside, a third of an octave further. */
const FLAT_OCTAVES = 1;
const SKIRT_OCTAVES = REACH_OCTAVES - FLAT_OCTAVES;
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
  const reach = 2 ** REACH_OCTAVES;
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
