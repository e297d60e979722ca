import { lineSignal, type LineSignal } from './line-signal.js';
import { slopeStd } from './phase-wander.js';
import { recordSpectrum, type RecordSpectrum } from './record-spectrum.js';

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
  /**
   * Standard deviation over mean of the envelope between its first and last time near full size; 0.52 for noise through
   * a narrow filter, far less for a limit cycle.
   */
  readonly envelopeVariation: number;
  readonly line: LineSignal;
}

/** Half-width of the contract's amplitude, as a share of the frequency. */
const AMPLITUDE_HALF_WIDTH = 0.2;
/** The envelope is followed in a wider band, so that growth and onset are not smeared. */
const ENVELOPE_HALF_WIDTH = 0.3;
/** Motion further off than this is taken out before the amplitude's band is summed, lest it leak in. */
const LEAK_HALF_WIDTH = 0.45;
/** Passes of frequency against phase slope. */
const REFINEMENTS = 3;
/** Background is read just outside the amplitude's band, from here to here. */
const BACKGROUND_SHARES = [0.3, 0.55] as const;

/**
 * Measures one line over startS…endS.
 *
 * Frequency and growth are the slopes of phase and log modulus of the line's complex envelope. Their standard deviations
 * come from the noise beside the line and from what the phase wanders beyond that (the oscillation itself, under gusts),
 * which does not average out as fast.
 */
export function measureLine(
  record: RecordSpectrum,
  startHz: number,
  startS: number,
  endS: number,
): LineMeasurement {
  let frequencyHz = startHz;
  let line = lineSignal(record, frequencyHz, ENVELOPE_HALF_WIDTH);
  for (let i = 0; i < REFINEMENTS; i++) {
    const slope = weightedSlope(unwrappedPhase(line, startS, endS), line, startS, endS);
    const next = frequencyHz + slope / (2 * Math.PI);
    if (!(Math.abs(next - startHz) < 0.25 * startHz)) break;
    frequencyHz = next;
    line = lineWithoutEnds(record, lineSignal(record, frequencyHz, ENVELOPE_HALF_WIDTH), startS, endS);
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
    envelopeVariation: steadyVariation(envelope),
    line,
  };
}

/**
 * The same line without what the record's ends do to a band cut from it: a steady or growing model of the line is taken
 * out of the record first and put back exactly. What the ends distort then is only what the model leaves over.
 */
function lineWithoutEnds(
  record: RecordSpectrum,
  rough: LineSignal,
  startS: number,
  endS: number,
): LineSignal {
  const { first, last } = span(rough, startS, endS);
  if (last - first < 4) return rough;
  const { frequencyHz, rateHz } = rough;
  const middleS = (first + last) / 2 / rateHz;
  const growth = weightedGrowth(rough, first, last);
  const factor = (t: number): number => Math.exp(growth * (Math.max(startS, Math.min(endS, t)) - middleS));
  let re = 0;
  let im = 0;
  let weight = 0;
  for (let i = first; i <= last; i++) {
    const f = factor(i / rateHz);
    re += rough.re[i]! * f;
    im += rough.im[i]! * f;
    weight += f * f;
  }
  re /= weight;
  im /= weight;
  const left = record.values.map((value, i) => {
    const t = i / record.sampleRateHz;
    const turn = 2 * Math.PI * frequencyHz * t;
    return value - factor(t) * (re * Math.cos(turn) - im * Math.sin(turn));
  });
  const rest = lineSignal(recordSpectrum(left, record.sampleRateHz), frequencyHz, ENVELOPE_HALF_WIDTH);
  return {
    ...rest,
    re: rest.re.map((value, i) => value + re * factor(i / rest.rateHz)),
    im: rest.im.map((value, i) => value + im * factor(i / rest.rateHz)),
  };
}

/** Growth rate of a line weighted by its power, which the noise under its small part does not move; 1/s. */
function weightedGrowth(line: LineSignal, first: number, last: number): number {
  let w = 0;
  let wt = 0;
  let wv = 0;
  const at = (i: number): { p: number; v: number } => {
    const p = line.re[i]! ** 2 + line.im[i]! ** 2 + 1e-300;
    return { p, v: 0.5 * Math.log(p) };
  };
  for (let i = first; i <= last; i++) {
    const { p, v } = at(i);
    w += p;
    wt += p * i;
    wv += p * v;
  }
  let top = 0;
  let bottom = 0;
  for (let i = first; i <= last; i++) {
    const { p, v } = at(i);
    top += p * (i - wt / w) * (v - wv / w);
    bottom += p * (i - wt / w) ** 2;
  }
  const limit = 4 / ((last - first) / line.rateHz);
  return bottom > 0 ? Math.max(-limit, Math.min(limit, (top / bottom) * line.rateHz)) : 0;
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
 * Least-squares slope against time, per second, weighted by the line's size and by cos^1.5 over the interval, as the peak
 * of a tapered spectrum is: its ends, where a line sets in or dies, count less. On a steady tone in white noise that costs 1.38 times the least possible
 * standard deviation (∫w²t² / (∫wt²)² against 12 over a unit interval).
 */
function weightedSlope(values: Float64Array, line: LineSignal, startS: number, endS: number): number {
  const { first } = span(line, startS, endS);
  const weight = (i: number): number =>
    Math.hypot(line.re[first + i]!, line.im[first + i]!) * taper((i + 0.5) / values.length);
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

/** Weight across an interval, x from 0 to 1. */
function taper(x: number): number {
  return Math.sin(Math.PI * x) ** 1.5;
}

export function logEnvelope(line: LineSignal, startS: number, endS: number): Float64Array {
  const { first, last } = span(line, startS, endS);
  const out = new Float64Array(Math.max(0, last - first + 1));
  for (let i = first; i <= last; i++)
    out[i - first] = 0.5 * Math.log(Math.max(1e-300, line.re[i]! ** 2 + line.im[i]! ** 2));
  return out;
}

/** Slope of a log envelope with the standard deviation its own correlated residual implies. */
function growthOf(log: Float64Array, rateHz: number, frequencyHz: number): { slope: number; std: number } {
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
  return { slope: slope * rateHz, std };
}

/** What counts as full size: this share of the envelope's 90th percentile. */
const FULL_SHARE = 0.7;

function steadyVariation(log: Float64Array): number {
  const full = Math.log(FULL_SHARE) + Float64Array.from(log).sort()[Math.floor(0.9 * (log.length - 1))]!;
  let first = 0;
  while (first < log.length - 1 && log[first]! < full) first++;
  let last = log.length - 1;
  while (last > first && log[last]! < full) last--;
  let sum = 0;
  let squares = 0;
  for (let i = first; i <= last; i++) {
    const e = Math.exp(log[i]! - full);
    sum += e;
    squares += e * e;
  }
  const n = last - first + 1;
  return Math.sqrt(Math.max(0, squares / n - (sum / n) ** 2)) / (sum / n);
}

/**
 * Median over mean of n independent periodogram bins: ln 2 for many, more for few, as the median of n exponential
 * variables is (B. Allen et al., FINDCHIRP, Phys. Rev. D 85, 122006, appendix B; from memory).
 */
function medianShare(n: number): number {
  let share = 1;
  for (let k = 1; k <= (n - 1) / 2; k++) share += 1 / (2 * k + 1) - 1 / (2 * k);
  return share;
}

/** Power per hertz (one-sided) just outside the line, by the median, which other lines do not move. */
function density(record: RecordSpectrum, frequencyHz: number): number {
  const powers: number[] = [];
  const { quiet, quietBinHz } = record;
  for (let k = 1; k < quiet.length / 2 - 1 && k * quietBinHz < 2 * frequencyHz; k++) {
    const off = Math.abs((k * quietBinHz) / frequencyHz - 1);
    if (off >= BACKGROUND_SHARES[0] && off <= BACKGROUND_SHARES[1])
      powers.push(quiet[2 * k]! ** 2 + quiet[2 * k + 1]! ** 2);
  }
  if (powers.length === 0) return 0;
  powers.sort((a, b) => a - b);
  // Zero padding splits bins that are 1/T apart, and Hann ties 1.5 of those together. Hann keeps 3/8 of the power.
  const padding = (record.sampleRateHz / record.length / quietBinHz) * 1.5;
  const mean = powers[powers.length >> 1]! / medianShare(powers.length / padding);
  return (2 * mean) / (record.sampleRateHz * record.length * 0.375);
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
  const phase = unwrappedPhase(line, startS, endS);
  const { first } = span(line, startS, endS);
  const power = (i: number): number => line.re[first + i]! ** 2 + line.im[first + i]! ** 2;
  const weights = phase.map((_, i) => Math.sqrt(power(i)) * taper((i + 0.5) / phase.length));
  // White noise of one-sided density N turns the phase of a line of amplitude A by N/A² rad² per Hz.
  const floor = 1e-4 * amplitude ** 2;
  const noise = phase.map((_, i) => (backgroundDensity * line.rateHz) / Math.max(floor, power(i)));
  return (slopeStd(phase, weights, noise) * line.rateHz) / (2 * Math.PI);
}
