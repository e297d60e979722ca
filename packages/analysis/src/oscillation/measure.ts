import { lineSignal, type LineSignal } from './line-signal.js';
import type { RecordSpectrum } from './sub-bands.js';

/** What one line of one signal is over an interval, in the signal's own unit. Times count from the record's start. */
export interface LineMeasurement {
  readonly frequencyHz: number;
  readonly frequencyStdHz: number;
  /** √2 × RMS of the component within 20 % of the line. */
  readonly amplitude: number;
  readonly amplitudeStd: number;
  /** Slope of the log envelope, 1/s. */
  readonly growthPerS: number;
  readonly growthStdPerS: number;
  /** Background amplitude in the band the envelope was taken from: √2 × RMS of noise alone. */
  readonly backgroundAmplitude: number;
  /** Standard deviation over mean of the envelope with its growth taken out; 0.52 for noise through a narrow filter. */
  readonly envelopeVariation: number;
  readonly line: LineSignal;
}

/** Half-width of the contract's amplitude, as a share of the frequency. */
const AMPLITUDE_HALF_WIDTH = 0.2;
/** The envelope is followed in a wider band, so that growth and onset are not smeared. */
const ENVELOPE_HALF_WIDTH = 0.3;
/** What the taper of the phase slope costs in variance, 1.38². */
const TAPER_COST = 1.894;
/** Motion further off than this is taken out before the amplitude's band is summed, lest it leak in. */
const LEAK_HALF_WIDTH = 0.45;
/** Background is read just outside the amplitude's band, from here to here. */
const BACKGROUND_SHARES = [0.3, 0.55] as const;

/**
 * Measures one line over startS…endS.
 *
 * Frequency and growth are the slopes of phase and log modulus of the line's complex envelope. Their standard deviations
 * come from two parts read off the residual phase at two lags: white noise, and a random walk (the oscillation itself
 * wandering under gusts), which does not average out as fast.
 */
export function measureLine(
  record: RecordSpectrum,
  startHz: number,
  startS: number,
  endS: number,
): LineMeasurement {
  let frequencyHz = startHz;
  let line = lineSignal(record, frequencyHz, ENVELOPE_HALF_WIDTH);
  for (let i = 0; i < 3; i++) {
    const slope = weightedSlope(unwrappedPhase(line, startS, endS), line, startS, endS);
    const next = frequencyHz + slope / (2 * Math.PI);
    if (!(Math.abs(next - startHz) < 0.25 * startHz)) break;
    const moved = Math.abs(next - frequencyHz);
    frequencyHz = next;
    line = lineSignal(record, frequencyHz, ENVELOPE_HALF_WIDTH);
    if (moved < 1e-6 * frequencyHz) break;
  }
  const durationS = endS - startS;
  const backgroundDensity = density(record, frequencyHz);
  const envelope = logEnvelope(line, startS, endS);
  const growth = growthOf(envelope, line.rateHz, frequencyHz);
  const amplitude = bandAmplitude(record, frequencyHz, startS, endS);
  const inBandPower = backgroundDensity * 2 * AMPLITUDE_HALF_WIDTH * frequencyHz;
  // Real and quadrature noise within the band average over its independent samples.
  const amplitudeStd = Math.sqrt(
    inBandPower / Math.max(1, 2 * AMPLITUDE_HALF_WIDTH * frequencyHz * durationS),
  );
  return {
    frequencyHz,
    frequencyStdHz: frequencyStd(line, startS, endS, amplitude, backgroundDensity),
    amplitude,
    amplitudeStd,
    growthPerS: growth.slope,
    growthStdPerS: growth.std,
    backgroundAmplitude: Math.sqrt(2 * backgroundDensity * 2 * ENVELOPE_HALF_WIDTH * frequencyHz),
    envelopeVariation: growth.variation,
    line,
  };
}

function span(line: LineSignal, startS: number, endS: number): { first: number; last: number } {
  return {
    first: Math.max(0, Math.ceil(startS * line.rateHz - 1e-9)),
    last: Math.min(line.re.length - 1, Math.floor(endS * line.rateHz + 1e-9)),
  };
}

function unwrappedPhase(line: LineSignal, startS: number, endS: number): Float64Array {
  const { first, last } = span(line, startS, endS);
  const phase = new Float64Array(Math.max(0, last - first + 1));
  let previous = 0;
  let turns = 0;
  for (let i = first; i <= last; i++) {
    const raw = Math.atan2(line.im[i]!, line.re[i]!);
    if (i > first) turns -= Math.round((raw - previous) / (2 * Math.PI));
    previous = raw;
    phase[i - first] = raw + 2 * Math.PI * turns;
  }
  return phase;
}

/**
 * Least-squares slope against time, per second, weighted by the line's power and by cos^1.5 over the interval: its ends,
 * where a line sets in or dies, count less. On a steady tone in white noise that costs 1.38 times the least possible
 * standard deviation (∫w²t² / (∫wt²)² against 12 over a unit interval).
 */
function weightedSlope(values: Float64Array, line: LineSignal, startS: number, endS: number): number {
  const { first } = span(line, startS, endS);
  const weight = (i: number): number =>
    (line.re[first + i]! ** 2 + line.im[first + i]! ** 2) *
    Math.sin((Math.PI * (i + 0.5)) / values.length) ** 1.5;
  let w = 0;
  let wt = 0;
  let wv = 0;
  for (let i = 0; i < values.length; i++) {
    const p = weight(i);
    w += p;
    wt += p * i;
    wv += p * values[i]!;
  }
  const meanT = wt / w;
  const meanV = wv / w;
  let top = 0;
  let bottom = 0;
  for (let i = 0; i < values.length; i++) {
    const p = weight(i);
    top += p * (i - meanT) * (values[i]! - meanV);
    bottom += p * (i - meanT) ** 2;
  }
  return bottom > 0 ? (top / bottom) * line.rateHz : 0;
}

export function logEnvelope(line: LineSignal, startS: number, endS: number): Float64Array {
  const { first, last } = span(line, startS, endS);
  const out = new Float64Array(Math.max(0, last - first + 1));
  for (let i = first; i <= last; i++)
    out[i - first] = 0.5 * Math.log(Math.max(1e-300, line.re[i]! ** 2 + line.im[i]! ** 2));
  return out;
}

/** Slope of a log envelope with the standard deviation its own correlated residual implies. */
function growthOf(
  log: Float64Array,
  rateHz: number,
  frequencyHz: number,
): { slope: number; std: number; variation: number } {
  const n = log.length;
  const middle = (n - 1) / 2;
  let mean = 0;
  let top = 0;
  let bottom = 0;
  for (let i = 0; i < n; i++) {
    mean += log[i]! / n;
    top += (i - middle) * log[i]!;
    bottom += (i - middle) ** 2;
  }
  const slope = bottom > 0 ? top / bottom : 0;
  const residual = log.map((v, i) => v - mean - slope * (i - middle));
  // Sum of the residual's correlation up to its first zero crossing: how many samples make one independent one.
  let variance = 0;
  for (const r of residual) variance += (r * r) / n;
  let correlated = 1;
  for (let lag = 1; lag < n / 2; lag++) {
    let c = 0;
    for (let i = lag; i < n; i++) c += (residual[i]! * residual[i - lag]!) / n;
    if (c <= 0) break;
    correlated += (2 * c) / (variance + 1e-300);
  }
  const floor = rateHz / frequencyHz / (2 * ENVELOPE_HALF_WIDTH) / 2;
  const std = Math.sqrt((variance * Math.max(correlated, floor)) / Math.max(1e-300, bottom)) * rateHz;
  let sum = 0;
  let squares = 0;
  for (const r of residual) {
    const e = Math.exp(r);
    sum += e / n;
    squares += (e * e) / n;
  }
  return { slope: slope * rateHz, std, variation: Math.sqrt(Math.max(0, squares - sum * sum)) / sum };
}

/** Power per hertz (one-sided) just outside the line, by the median, which other lines do not move. */
function density(record: RecordSpectrum, frequencyHz: number): number {
  const powers: number[] = [];
  const { bins, binHz, size } = record;
  for (let k = 1; k < size / 2; k++) {
    const off = Math.abs((k * binHz) / frequencyHz - 1);
    if (off >= BACKGROUND_SHARES[0] && off <= BACKGROUND_SHARES[1])
      powers.push(bins[2 * k]! ** 2 + bins[2 * k + 1]! ** 2);
    if (k * binHz > 2 * frequencyHz) break;
  }
  if (powers.length === 0) return 0;
  powers.sort((a, b) => a - b);
  // The median of a chi-square with two degrees of freedom is ln 2 of its mean (textbook).
  const mean = powers[powers.length >> 1]! / Math.LN2;
  return (2 * mean) / (record.sampleRateHz * record.length);
}

/**
 * √2 × RMS of what lies within 20 % of a frequency over an interval: the amplitude of contract.md.
 *
 * By the transform of just that interval: whole bins are summed (Parseval) and nothing is windowed, after motion far off
 * the line has been filtered out of the whole record.
 */
export function bandAmplitude(
  record: RecordSpectrum,
  frequencyHz: number,
  startS: number,
  endS: number,
): number {
  const line = lineSignal(record, frequencyHz, LEAK_HALF_WIDTH);
  const { first, last } = span(line, startS, endS);
  const n = last - first + 1;
  if (n < 4) return 0;
  const binHz = 1 / (endS - startS);
  const low = Math.ceil(((1 - AMPLITUDE_HALF_WIDTH) * frequencyHz) / binHz - 1e-9);
  const high = Math.floor(((1 + AMPLITUDE_HALF_WIDTH) * frequencyHz) / binHz + 1e-9);
  let sum = 0;
  for (let k = Math.max(1, low); k <= high; k++) {
    const step = (-2 * Math.PI * (k * binHz - frequencyHz)) / line.rateHz;
    let re = 0;
    let im = 0;
    for (let i = first; i <= last; i++) {
      const c = Math.cos(step * (i - first));
      const s = Math.sin(step * (i - first));
      re += line.re[i]! * c - line.im[i]! * s;
      im += line.re[i]! * s + line.im[i]! * c;
    }
    sum += re * re + im * im;
  }
  return Math.sqrt(sum) / n;
}

function frequencyStd(
  line: LineSignal,
  startS: number,
  endS: number,
  amplitude: number,
  backgroundDensity: number,
): number {
  const durationS = endS - startS;
  const phase = unwrappedPhase(line, startS, endS);
  // Additive noise: the bound for one tone (Kay, Estimation Theory, eq. 3.41), in continuous form.
  const bound = Math.sqrt((TAPER_COST * 6 * backgroundDensity) / (amplitude ** 2 * durationS ** 3)) / Math.PI;
  // Random walk of the phase, from increments over one and three cycles with the additive part taken off.
  const walk = (cycles: number): number | null => {
    const lag = Math.round((cycles / line.frequencyHz) * line.rateHz);
    if (phase.length < 2 * lag) return null;
    const n = phase.length - lag;
    let mean = 0;
    for (let i = 0; i < n; i++) mean += (phase[i + lag]! - phase[i]!) / n;
    let sum = 0;
    for (let i = 0; i < n; i++) sum += (phase[i + lag]! - phase[i]! - mean) ** 2 / n;
    return sum;
  };
  const short = walk(1);
  const long = walk(3);
  if (short === null || long === null) return bound;
  const perS = Math.max(0, ((long - short) * line.frequencyHz) / 2);
  // Least-squares slope of a random walk of variance perS·t over T has variance 1.2 perS/T.
  return Math.hypot(bound, Math.sqrt((1.2 * perS) / durationS) / (2 * Math.PI));
}
