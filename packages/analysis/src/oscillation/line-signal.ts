import type { RecordSpectrum } from './record-spectrum.js';
import { inverseComplex } from '../spectrum/fft.js';

/**
 * One line as a complex envelope: `re + j im` at `i / rateHz` s after the record's start, turned down by `frequencyHz`,
 * so that its modulus is the line's amplitude and its phase the deviation from a steady tone.
 */
export interface LineSignal {
  readonly frequencyHz: number;
  readonly rateHz: number;
  readonly re: Float64Array;
  readonly im: Float64Array;
}

/**
 * Cuts the component within `halfWidth` (a share of the frequency) of a line.
 *
 * @param halfWidth for instance 0.2 for ±20 %; the edges are sharp, as the definition of amplitude asks
 */
export function lineSignal(record: RecordSpectrum, frequencyHz: number, halfWidth: number): LineSignal {
  const { bins, binHz, size } = record;
  const low = Math.max(1, Math.ceil((frequencyHz * (1 - halfWidth)) / binHz));
  const high = Math.min(size / 2 - 1, Math.floor((frequencyHz * (1 + halfWidth)) / binHz));
  // Eight samples a cycle keep the envelope smooth enough to find where it starts and ends.
  let count = 16;
  while (count < high - low + 1 || (record.sampleRateHz * count) / size < 8 * frequencyHz) {
    if (count >= size) break;
    count *= 2;
  }
  const input = new Float64Array(2 * count);
  for (let k = low; k <= high; k++) {
    const weight = (2 * count) / size;
    input[2 * (k - low)] = weight * bins[2 * k]!;
    input[2 * (k - low) + 1] = weight * bins[2 * k + 1]!;
  }
  const output = inverseComplex(input);
  const rateHz = (record.sampleRateHz * count) / size;
  const leadS = record.lead / record.sampleRateHz;
  const durationS = (record.length - 1) / record.sampleRateHz;
  const first = Math.ceil(leadS * rateHz - 1e-9);
  const last = Math.floor((leadS + durationS) * rateHz + 1e-9);
  const re = new Float64Array(last - first + 1);
  const im = new Float64Array(re.length);
  for (let i = 0; i < re.length; i++) {
    const j = (first + i) % count;
    // Bins were moved down by `low` on the extended record's time; the line turns from the record's own start.
    const extendedS = (first + i) / rateHz;
    const turn = 2 * Math.PI * (low * binHz * extendedS - frequencyHz * (extendedS - leadS));
    const c = Math.cos(turn);
    const s = Math.sin(turn);
    re[i] = output[2 * j]! * c - output[2 * j + 1]! * s;
    im[i] = output[2 * j]! * s + output[2 * j + 1]! * c;
  }
  return { frequencyHz, rateHz, re, im };
}
