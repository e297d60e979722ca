import type { SubBand } from './sub-bands.js';

/** Cycles of the centre frequency in one window: fewer do not make an oscillation. */
export const WINDOW_CYCLES = 5;
/** Windows start this many cycles apart. */
export const HOP_CYCLES = 1.25;
/** A line is looked for this far either side of a sub-band's centre. */
const SEARCH_RATIO = 1.12;
const SEARCH_STEPS = 9;
/** Growth over one window beyond e^±GROWTH_LIMIT is no steady oscillation. */
const GROWTH_LIMIT = 3.5;

/**
 * How much of the motion within an octave either side is one sinusoid, window by window.
 *
 * Each window spans five cycles of the band's centre. `share` is the part of the window's energy that a single
 * sinusoid of free frequency, amplitude and phase explains once the window's own exponential growth is taken out:
 * one for a clean oscillation (growing, steady or dying), about 0.3 to 0.5 for broad-band motion.
 */
export interface NarrownessTrack {
  readonly centreHz: number;
  /** Start of each window in seconds: one hop apart, the last moved up to end with the record. */
  readonly startS: Float64Array;
  readonly windowS: number;
  readonly share: Float64Array;
  readonly frequencyHz: Float64Array;
  /** RMS of the sub-band in each window, in whitened units. */
  readonly level: Float64Array;
}

/** Slides five-cycle windows along a sub-band. A record shorter than a window yields no windows. */
export function narrownessTrack(band: SubBand): NarrownessTrack {
  const windowS = WINDOW_CYCLES / band.centreHz;
  const hopS = HOP_CYCLES / band.centreHz;
  const length = Math.round(windowS * band.rateHz);
  const available = band.re.length;
  const count = available < length ? 0 : Math.floor((available - length) / (hopS * band.rateHz) + 0.7) + 1;
  const startS = new Float64Array(count);
  const share = new Float64Array(count);
  const frequencyHz = new Float64Array(count);
  const level = new Float64Array(count);
  const re = new Float64Array(length);
  const im = new Float64Array(length);
  for (let i = 0; i < count; i++) {
    const start = i === count - 1 ? available - length : Math.round(i * hopS * band.rateHz);
    startS[i] = start / band.rateHz;
    let energy = 0;
    for (let j = 0; j < length; j++) {
      re[j] = band.re[start + j]!;
      im[j] = band.im[start + j]!;
      energy += re[j]! ** 2 + im[j]! ** 2;
    }
    level[i] = Math.sqrt(energy / length / 2);
    if (energy <= 0) continue;
    levelGrowth(re, im);
    const best = strongestLine(re, im, band);
    share[i] = best.share;
    frequencyHz[i] = best.frequencyHz;
  }
  return { centreHz: band.centreHz, startS, windowS, share, frequencyHz, level };
}

/** Takes out exponential growth, found from where the window's energy lies. */
function levelGrowth(re: Float64Array, im: Float64Array): void {
  const n = re.length;
  let total = 0;
  let moment = 0;
  for (let j = 0; j < n; j++) {
    const power = re[j]! ** 2 + im[j]! ** 2;
    total += power;
    moment += power * ((j + 0.5) / n - 0.5);
  }
  const rate = growthFromCentroid(moment / total);
  if (rate === 0) return;
  for (let j = 0; j < n; j++) {
    const factor = Math.exp(-rate * ((j + 0.5) / n - 0.5));
    re[j] = re[j]! * factor;
    im[j] = im[j]! * factor;
  }
}

/** The amplitude growth over the window whose energy e^(2gx), x in −½…½, has its centroid at `centroid`. */
function growthFromCentroid(centroid: number): number {
  const target = Math.max(-0.5, Math.min(0.5, centroid));
  let low = -GROWTH_LIMIT;
  let high = GROWTH_LIMIT;
  for (let i = 0; i < 24; i++) {
    const middle = (low + high) / 2;
    // Langevin function: centroid of an exponential of rate 2g over a window of length one.
    const value = Math.abs(middle) < 1e-3 ? middle / 6 : 0.5 / Math.tanh(middle) - 0.5 / middle;
    if (value < target) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

function strongestLine(
  re: Float64Array,
  im: Float64Array,
  band: SubBand,
): { share: number; frequencyHz: number } {
  const n = re.length;
  let energy = 0;
  for (let j = 0; j < n; j++) energy += re[j]! ** 2 + im[j]! ** 2;
  const power = (frequencyHz: number): number => {
    const step = (-2 * Math.PI * (frequencyHz - band.shiftHz)) / band.rateHz;
    const c = Math.cos(step);
    const s = Math.sin(step);
    let x = 1;
    let y = 0;
    let sumRe = 0;
    let sumIm = 0;
    for (let j = 0; j < n; j++) {
      sumRe += re[j]! * x - im[j]! * y;
      sumIm += re[j]! * y + im[j]! * x;
      const next = x * c - y * s;
      y = x * s + y * c;
      x = next;
    }
    return (sumRe ** 2 + sumIm ** 2) / n / energy;
  };
  const ratio = SEARCH_RATIO ** (2 / (SEARCH_STEPS - 1));
  const powers = new Float64Array(SEARCH_STEPS);
  let best = 0;
  for (let i = 0; i < SEARCH_STEPS; i++) {
    powers[i] = power((band.centreHz / SEARCH_RATIO) * ratio ** i);
    if (powers[i]! > powers[best]!) best = i;
  }
  let position = best;
  if (best > 0 && best < SEARCH_STEPS - 1) {
    const a = powers[best - 1]!;
    const b = powers[best]!;
    const c = powers[best + 1]!;
    const bend = a - 2 * b + c;
    if (bend < 0) position = best + Math.max(-0.5, Math.min(0.5, (0.5 * (a - c)) / bend));
  }
  const frequencyHz = (band.centreHz / SEARCH_RATIO) * ratio ** position;
  return { share: Math.min(1, power(frequencyHz)), frequencyHz };
}
