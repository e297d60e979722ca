import { lineSignal } from './line-signal.js';
import type { AxisLine, PreparedSignal } from './find-axis.js';

/** How another channel moves at a line's frequency, against the channel the line was measured on. */
export interface Relation {
  /** Amplitude of the other channel over the line's, units of the two channels. */
  readonly gain: number;
  /** Degrees the other channel is ahead, −180…180. */
  readonly leadDeg: number;
  /** Coherence of the two within the line's band over its interval, 0…1. */
  readonly coherence: number;
  /** Value that unrelated channels exceed one time in twenty. */
  readonly coherenceByChance: number;
}

/** Share of the frequency either side in which two channels are compared. */
const HALF_WIDTH = 0.2;

/**
 * Compares two channels at a line.
 *
 * @returns null when the other channel does not cover the line's interval
 */
export function relate(line: AxisLine, other: PreparedSignal): Relation | null {
  const own = line.prepared;
  const startS = Math.max(line.startS, other.startS);
  const endS = Math.min(line.endS, other.startS + other.durationS);
  const cycles = (endS - startS) * line.frequencyHz;
  if (cycles < 3 || line.frequencyHz > 0.4 * other.sampleRateHz) return null;
  const a = lineSignal(own.spectrum, line.frequencyHz, HALF_WIDTH);
  const b = lineSignal(other.spectrum, line.frequencyHz, HALF_WIDTH);
  const steps = Math.max(24, Math.round(8 * cycles));
  let aa = 0;
  let bb = 0;
  let re = 0;
  let im = 0;
  for (let i = 0; i <= steps; i++) {
    const t = startS + (i / steps) * (endS - startS);
    const [ar, ai] = at(a.re, a.im, (t - own.startS) * a.rateHz);
    const [br, bi] = at(b.re, b.im, (t - other.startS) * b.rateHz);
    aa += ar * ar + ai * ai;
    bb += br * br + bi * bi;
    re += br * ar + bi * ai;
    im += bi * ar - br * ai;
  }
  // The two envelopes are turned down from their own record's start, so the starts' difference is a phase.
  const shift = 2 * Math.PI * line.frequencyHz * (own.startS - other.startS);
  const phase = Math.atan2(im, re) + shift;
  const independent = Math.max(2, 2 * HALF_WIDTH * cycles);
  return {
    gain: Math.sqrt(bb / Math.max(1e-300, aa)),
    leadDeg: wrapDeg((phase * 180) / Math.PI),
    coherence: (re * re + im * im) / Math.max(1e-300, aa * bb),
    // Threshold for zero coherence over n independent estimates: 1 − 0.05^(1/(n−1)) (Bendat & Piersol).
    coherenceByChance: 1 - 0.05 ** (1 / (independent - 1)),
  };
}

function at(re: Float64Array, im: Float64Array, position: number): [number, number] {
  const i = Math.max(0, Math.min(re.length - 2, Math.floor(position)));
  const x = Math.max(0, Math.min(1, position - i));
  return [re[i]! + x * (re[i + 1]! - re[i]!), im[i]! + x * (im[i + 1]! - im[i]!)];
}

export function wrapDeg(deg: number): number {
  return deg - 360 * Math.round(deg / 360);
}
