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
/** Up to seven are taken, at the limit all. */
const NEWTON_STEPS = 12;

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
  const grid = searchGrid(band);
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
    const best = strongestLine(re, im, band, grid);
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
  let factor = Math.exp(-rate * (0.5 / n - 0.5));
  const next = Math.exp(-rate / n);
  for (let j = 0; j < n; j++) {
    re[j] = re[j]! * factor;
    im[j] = im[j]! * factor;
    factor *= next;
  }
}

/** The amplitude growth over the window whose energy e^(2gx), x in −½…½, has its centroid at `centroid`. */
function growthFromCentroid(centroid: number): number {
  const target = Math.max(-0.5, Math.min(0.5, centroid));
  // Langevin function: centroid of an exponential of rate 2g over a window of length one. It bends towards its limit, so Newton's
  // steps from zero never pass the growth sought.
  let growth = 0;
  for (let i = 0; i < NEWTON_STEPS; i++) {
    const tanh = Math.tanh(growth);
    const small = Math.abs(growth) < 1e-3;
    const value = small ? growth / 6 : 0.5 / tanh - 0.5 / growth;
    const slope = small ? 1 / 6 : 0.5 - 0.5 / tanh ** 2 + 0.5 / growth ** 2;
    const step = (target - value) / slope;
    growth = Math.max(-GROWTH_LIMIT, Math.min(GROWTH_LIMIT, growth + step));
    if (Math.abs(step) < 1e-9) break;
  }
  return growth;
}

interface SearchGrid {
  readonly frequencyHz: Float64Array;
  /** ω over a sample of each. */
  readonly angles: Float64Array;
}

/** The frequencies that every window of a band is searched at. */
function searchGrid(band: SubBand): SearchGrid {
  const ratio = SEARCH_RATIO ** (2 / (SEARCH_STEPS - 1));
  const frequencyHz = Float64Array.from(
    { length: SEARCH_STEPS },
    (_, i) => (band.centreHz / SEARCH_RATIO) * ratio ** i,
  );
  return { frequencyHz, angles: frequencyHz.map((hz) => angleAt(hz, band)) };
}

/** Of a sample, rad. */
function angleAt(frequencyHz: number, band: SubBand): number {
  return (2 * Math.PI * (frequencyHz - band.shiftHz)) / band.rateHz;
}

/** |Σ z e^(−jωt)|² by the recursion of G. Goertzel (1958, from memory): half the work of turning each sample. */
function powerAt(re: Float64Array, im: Float64Array, angle: number): number {
  const twice = 2 * Math.cos(angle);
  let lastRe = 0;
  let lastIm = 0;
  let beforeRe = 0;
  let beforeIm = 0;
  for (let j = 0; j < re.length; j++) {
    const nowRe = re[j]! + twice * lastRe - beforeRe;
    const nowIm = im[j]! + twice * lastIm - beforeIm;
    beforeRe = lastRe;
    beforeIm = lastIm;
    lastRe = nowRe;
    lastIm = nowIm;
  }
  // s − e^(−jω) s₋₁ is the sum, turned as a whole.
  const c = Math.cos(angle);
  const s = Math.sin(angle);
  return (lastRe - c * beforeRe - s * beforeIm) ** 2 + (lastIm - c * beforeIm + s * beforeRe) ** 2;
}

function strongestLine(
  re: Float64Array,
  im: Float64Array,
  band: SubBand,
  { frequencyHz: tried, angles }: SearchGrid,
): { share: number; frequencyHz: number } {
  const n = re.length;
  let energy = 0;
  for (let j = 0; j < n; j++) energy += re[j]! ** 2 + im[j]! ** 2;
  const powers = new Float64Array(SEARCH_STEPS);
  let best = 0;
  for (let i = 0; i < SEARCH_STEPS; i++) {
    powers[i] = powerAt(re, im, angles[i]!);
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
  const ratio = tried[1]! / tried[0]!;
  const frequencyHz = tried[0]! * ratio ** position;
  return { share: Math.min(1, powerAt(re, im, angleAt(frequencyHz, band)) / n / energy), frequencyHz };
}
