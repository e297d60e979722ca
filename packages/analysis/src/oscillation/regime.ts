import type { Regime } from '../diagnosis.js';
import { logEnvelope, type LineMeasurement } from './measure.js';

export interface RegimeDecision {
  readonly regime: Regime;
  /** Frequency of the mode where the motion is driven: its own, not that of the wind's largest swing. */
  readonly frequency: { readonly hz: number; readonly stdHz: number } | null;
  /** Of the closed-loop pole; null where this record cannot show it. */
  readonly dampingRatio: number | null;
  readonly dampingRatioStd: number | null;
  readonly because: string;
}

/** An envelope that changes by less than this factor from its first to its last quarter is steady. */
const STEADY_FACTOR = 1.6;
/** Growth that goes on in the last third at this share of the whole's rate has not met a limit yet. */
const STILL_GROWING = 0.4;
/** A sinusoid kept alive by noise has an envelope variation near 0.52 (Rayleigh distribution); a limit cycle far less. */
const STEADY_VARIATION = 0.3;
/**
 * At this lag and at twice of it a flat background cut to the envelope's band of ±30 % is not correlated with itself:
 * 1 / 0.6 cycles.
 */
const LAG_CYCLES = 1 / 0.6;
/** Over fewer cycles the swing that happened says more than the mode fitted to it. */
const MODE_CYCLES = 60;
/** Share of the time on a stop that limits an oscillation. */
const STOPS_MET = 0.02;
/** How many independent stretches the envelope must show before its variation can be believed. */
const STRETCHES_NEEDED = 4;

/**
 * Growing, limit cycle, driven or decaying, from the shape of the envelope.
 *
 * @param clippedShare share of the interval in which a demand or motor stood on a stop; null when not logged
 */
export function decideRegime(
  measured: LineMeasurement,
  startS: number,
  endS: number,
  clippedShare: number | null,
): RegimeDecision {
  const durationS = endS - startS;
  const log = logEnvelope(measured.line, startS, endS);
  const first = meanOf(log, 0, 0.25);
  const last = meanOf(log, 0.75, 1);
  const change = Math.exp(last - first);
  const significant = Math.abs(measured.growthPerS) > 2 * measured.growthStdPerS;
  const omega = 2 * Math.PI * measured.frequencyHz;
  if (significant && change > STEADY_FACTOR) {
    const lastRate = (meanOf(log, 0.85, 1) - meanOf(log, 0.6, 0.75)) / (0.25 * durationS);
    if (lastRate > STILL_GROWING * measured.growthPerS) {
      const ratio = -measured.growthPerS / Math.hypot(measured.growthPerS, omega);
      return {
        regime: 'growing',
        frequency: null,
        dampingRatio: ratio,
        dampingRatioStd: measured.growthStdPerS / omega,
        because: `its envelope grows ${change.toFixed(1)} times from the first to the last quarter and has not stopped growing`,
      };
    }
    // Only stops that were met show what holds it; without them it may as well have been led up to this size.
    const limited = (clippedShare ?? 0) > STOPS_MET;
    return {
      regime: 'limit-cycle',
      frequency: null,
      dampingRatio: limited ? 0 : null,
      dampingRatioStd: null,
      because: limited
        ? 'it grew and then held its size, as an unstable loop does when its motors meet their stops'
        : 'it grew and then held its size, though nothing logged shows what held it',
    };
  }
  if (significant && change < 1 / STEADY_FACTOR) {
    const ratio = -measured.growthPerS / Math.hypot(measured.growthPerS, omega);
    return {
      regime: 'decaying',
      frequency: null,
      dampingRatio: ratio,
      dampingRatioStd: measured.growthStdPerS / omega,
      because: `its envelope falls to ${(100 * change).toFixed(0)} % from the first to the last quarter`,
    };
  }
  const fitted = fittedMode(measured, startS, endS);
  const stretches = durationS * 2 * Math.PI * measured.frequencyHz * Math.max(0.02, fitted?.ratio ?? 0.05);
  if (
    measured.envelopeVariation < STEADY_VARIATION &&
    (stretches > STRETCHES_NEEDED || (clippedShare ?? 0) > STOPS_MET)
  ) {
    return {
      regime: 'limit-cycle',
      frequency: null,
      dampingRatio: 0,
      dampingRatioStd: null,
      because: `its envelope is steady within ${(100 * measured.envelopeVariation).toFixed(0)} %`,
    };
  }
  if (measured.envelopeVariation < STEADY_VARIATION) {
    return {
      regime: 'limit-cycle',
      frequency: null,
      dampingRatio: null,
      dampingRatioStd: null,
      because: `its envelope is steady within ${(100 * measured.envelopeVariation).toFixed(0)} %, over too short a time to tell it from one that wind or a hand on the stick drives`,
    };
  }
  return {
    regime: 'driven',
    frequency:
      fitted === null || durationS * measured.frequencyHz < MODE_CYCLES
        ? null
        : { hz: fitted.frequencyHz, stdHz: fitted.frequencyStdHz },
    dampingRatio: fitted?.ratio ?? null,
    dampingRatioStd: fitted?.std ?? null,
    because: `its envelope comes and goes by ${(100 * measured.envelopeVariation).toFixed(0)} %, as a lightly damped motion does when wind or sticks keep it alive`,
  };
}

function meanOf(values: Float64Array, from: number, to: number): number {
  const a = Math.floor(from * values.length);
  const b = Math.max(a + 1, Math.floor(to * values.length));
  let sum = 0;
  for (let i = a; i < b; i++) sum += values[i]!;
  return sum / (b - a);
}

interface FittedMode {
  readonly ratio: number;
  readonly std: number;
  readonly frequencyHz: number;
  readonly frequencyStdHz: number;
}

/**
 * A driven mode from how fast its line forgets its phase: the correlation of its complex envelope falls as exp(−ζωτ) and
 * turns with the mode's own frequency. It is read at two lags at which the background in the band has forgotten itself:
 * the damping from their ratio, the frequency from the first.
 *
 * Spreads as for a complex first-order process seen every τ s for T s: (1 − ρ²) / (2ρ²Tτ) is the variance of its
 * frequency in rad/s and of its decay in 1/s (textbook result for the phase and size of a correlation ρ).
 *
 * @returns null when the record is too short, or the correlation does not fall
 */
function fittedMode(measured: LineMeasurement, startS: number, endS: number): FittedMode | null {
  const { line, frequencyHz } = measured;
  const first = Math.max(0, Math.ceil(startS * line.rateHz));
  const last = Math.min(line.re.length - 1, Math.floor(endS * line.rateHz));
  const lag = Math.round((LAG_CYCLES / frequencyHz) * line.rateHz);
  if (last - first < 6 * lag) return null;
  const near = correlation(line, first, last, lag);
  const far = correlation(line, first, last, 2 * lag);
  const lagS = lag / line.rateHz;
  const omega = 2 * Math.PI * frequencyHz;
  const fall = Math.log(near.size / far.size);
  if (!(fall > 0)) return null;
  const ratio = fall / (omega * lagS);
  // What the mode alone would keep of its correlation over one lag and two.
  const kept = Math.exp(-fall);
  const spread = (rho: number, overS: number): number =>
    Math.sqrt((1 - rho * rho) / (2 * rho * rho * (endS - startS) * overS));
  return {
    ratio,
    std: spread(kept ** 2, 2 * lagS) / omega,
    frequencyHz: frequencyHz + near.turn / (2 * Math.PI * lagS),
    frequencyStdHz: spread(kept, lagS) / (2 * Math.PI),
  };
}

function correlation(
  line: LineMeasurement['line'],
  first: number,
  last: number,
  lag: number,
): { size: number; turn: number } {
  let re = 0;
  let im = 0;
  let energy = 0;
  for (let i = first; i + lag <= last; i++) {
    const a = line.re[i + lag]!;
    const b = line.im[i + lag]!;
    const c = line.re[i]!;
    const d = line.im[i]!;
    re += a * c + b * d;
    im += b * c - a * d;
    energy += (a * a + b * b + c * c + d * d) / 2;
  }
  return { size: Math.hypot(re, im) / energy, turn: Math.atan2(im, re) };
}
