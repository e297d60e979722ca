/** Filters run over signals, sample by sample, as a controller runs them (transposed direct form II). */
import { continueBackwards } from './extend-record.js';
import { poleRadius, type Biquad, type FilterChain } from './biquad.js';
import { gainAtCentre, notchFrom, widening } from './notch-filter.js';

/**
 * What the filter has seen before the first sample. `zero`: nothing. `steady`: the first value for ever. `settled` (default): the
 * record continued backwards by linear prediction, for as long as the filter remembers, so that a tone goes on with its phase.
 */
export type FilterStart = 'zero' | 'steady' | 'settled';

/** Share of a start that may still be there when the record begins. */
const FORGOTTEN = 1e-3;
/** Samples; a filter that remembers longer than this is narrower than any record can show. */
const LONGEST_LEAD = 100_000;

/** @returns a new array of the same length; x is left as it is. Every value must be finite. */
export function runFilters(
  chain: FilterChain,
  x: ArrayLike<number>,
  start: FilterStart = 'settled',
): Float64Array {
  let y = Float64Array.from(x);
  for (const filter of chain) {
    const led = start === 'settled' ? withLead(y, memoryOf(filter)) : { record: y, lead: 0 };
    y = runOne(() => filter, led.record, start === 'zero').slice(led.lead);
  }
  return y;
}

export interface TrackingNotch {
  /** Width at −3 dB over the centre; the width follows the centre. */
  readonly relativeWidth: number;
  /** dB; null: complete. */
  readonly depthDb: number | null;
}

/** Of half the sample rate: no notch is tuned higher, whatever the schedule says. */
const HIGHEST_SHARE = 0.96;

/**
 * A notch (exact −3 dB width) whose centre follows a frequency given for every sample.
 *
 * @param centreHz same length as x; clipped to 0.48 of the sample rate; where it is not finite or not above 0 the last one holds
 */
export function runTrackingNotch(
  notch: TrackingNotch,
  x: ArrayLike<number>,
  centreHz: ArrayLike<number>,
  sampleRateHz: number,
  start: FilterStart = 'settled',
): Float64Array {
  if (x.length !== centreHz.length)
    throw new RangeError(`${centreHz.length} centre frequencies for ${x.length} samples`);
  const gain = gainAtCentre(notch.depthDb);
  const wider = widening(notch.depthDb);
  const design = (hz: number): Biquad => {
    const width = Math.min(notch.relativeWidth * hz, 0.48 * sampleRateHz);
    const turn = (2 * Math.PI * hz) / sampleRateHz;
    return notchFrom(Math.cos(turn), Math.tan((Math.PI * width) / sampleRateHz) * wider, gain);
  };
  const centres = heldCentres(centreHz, (HIGHEST_SHARE * sampleRateHz) / 2);
  if (centres === null) return Float64Array.from(x);
  const first = design(centres[0]!);
  const led =
    start === 'settled'
      ? withLead(Float64Array.from(x), memoryOf(first))
      : { record: Float64Array.from(x), lead: 0 };
  let at = Number.NaN;
  let filter = first;
  const of = (i: number): Biquad => {
    const hz = centres[Math.max(0, i - led.lead)]!;
    if (hz !== at) {
      at = hz;
      filter = design(hz);
    }
    return filter;
  };
  return runOne(of, led.record, start === 'zero').slice(led.lead);
}

/** null where no centre is usable at all. */
function heldCentres(centreHz: ArrayLike<number>, highestHz: number): Float64Array | null {
  const held = Float64Array.from(centreHz);
  let last = held.find((hz) => Number.isFinite(hz) && hz > 0);
  if (last === undefined) return null;
  for (let i = 0; i < held.length; i++) {
    if (Number.isFinite(held[i]!) && held[i]! > 0) last = Math.min(held[i]!, highestHz);
    held[i] = Math.min(last, highestHz);
  }
  return held;
}

function runOne(filterAt: (i: number) => Biquad, x: Float64Array, fromZero: boolean): Float64Array {
  const y = new Float64Array(x.length);
  if (x.length === 0) return y;
  let s1 = 0;
  let s2 = 0;
  if (!fromZero) {
    // As if the first value had been there for ever: y = x·H(1).
    const { b0, b1, b2, a1, a2 } = filterAt(0);
    const level = ((b0 + b1 + b2) / (1 + a1 + a2)) * x[0]!;
    s2 = b2 * x[0]! - a2 * level;
    s1 = b1 * x[0]! - a1 * level + s2;
  }
  for (let i = 0; i < x.length; i++) {
    const { b0, b1, b2, a1, a2 } = filterAt(i);
    const value = b0 * x[i]! + s1;
    s1 = b1 * x[i]! - a1 * value + s2;
    s2 = b2 * x[i]! - a2 * value;
    y[i] = value;
  }
  return y;
}

/** Samples after which a start is forgotten. */
function memoryOf(filter: Biquad): number {
  const radius = poleRadius(filter);
  if (!(radius > 0)) return 2;
  return radius < 1 ? Math.ceil(Math.log(FORGOTTEN) / Math.log(radius)) : Infinity;
}

/** The record with a past before it. */
function withLead(x: Float64Array, memory: number): { record: Float64Array; lead: number } {
  const lead = Math.min(memory, LONGEST_LEAD);
  const record = new Float64Array(x.length + lead);
  record.set(continueBackwards(x, lead));
  record.set(x, lead);
  return { record, lead };
}
