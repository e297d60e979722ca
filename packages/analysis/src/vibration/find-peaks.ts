/** Peaks of a spectrum that stand out of its background by more than chance allows. */
import { chiSquareQuantile } from '../statistics/distributions.js';
import { hannOffsetFromPair } from '../spectrum/tone.js';
import type { LineSpectrum } from './line-spectrum.js';

export interface Peak {
  readonly frequencyHz: number;
  readonly frequencyStdHz: number;
  /** Bins of the spectrum that belong to it, both included. */
  readonly first: number;
  readonly last: number;
  readonly bin: number;
  /** Square root of the area over the background: the line's RMS, unit of the record. */
  readonly rms: number;
  readonly aboveFloorDb: number;
  /** Width at half height, Hz. */
  readonly widthHz: number;
}

/** Two peaks are one unless the dip between them is this deep below the lower one. */
const DIP = 0.4;
/** A peak reaches to where it has fallen to this many times the background. */
const SKIRT = 1.6;
/** The background is itself estimated: it may be low by this much, as a share. */
const FLOOR_ERROR = 1.25;

/**
 * @param falseAlarmRate chance that a spectrum without any line shows one
 */
export function findPeaks(
  spectrum: LineSpectrum,
  lowestHz: number,
  highestHz: number,
  falseAlarmRate: number,
): Peak[] {
  const { density, floor, binHz, degreesOfFreedom } = spectrum;
  const low = Math.max(2, Math.ceil(lowestHz / binHz));
  const high = Math.min(density.length - 2, Math.floor(highestHz / binHz));
  if (high <= low) return [];
  // Neighbouring bins share what they know: about one independent value per noise bandwidth.
  const independent = Math.max(1, (high - low + 1) / spectrum.noiseBins);
  const over =
    (FLOOR_ERROR * chiSquareQuantile(1 - falseAlarmRate / independent, degreesOfFreedom)) / degreesOfFreedom;
  const ratio = (k: number): number => density[k]! / floor[k]!;
  const tops: number[] = [];
  for (let k = low; k <= high; k++)
    if (ratio(k) > over && density[k]! >= density[k - 1]! && density[k]! > density[k + 1]!) tops.push(k);
  const kept = separate(tops, density);
  return kept.map((k, i) => measure(spectrum, k, kept[i - 1] ?? null, kept[i + 1] ?? null));
}

/** Of two tops with no real dip between them the higher stays. */
function separate(tops: readonly number[], density: Float64Array): number[] {
  const kept: number[] = [];
  for (const top of tops) {
    for (;;) {
      const before = kept.at(-1);
      if (before === undefined) break;
      let dip = Infinity;
      for (let k = before; k <= top; k++) dip = Math.min(dip, density[k]!);
      if (dip < DIP * Math.min(density[before]!, density[top]!)) break;
      if (density[before]! >= density[top]!) break;
      kept.pop();
    }
    const before = kept.at(-1);
    if (before !== undefined) {
      let dip = Infinity;
      for (let k = before; k <= top; k++) dip = Math.min(dip, density[k]!);
      if (dip >= DIP * Math.min(density[before]!, density[top]!)) continue;
    }
    kept.push(top);
  }
  return kept;
}

function measure(s: LineSpectrum, top: number, before: number | null, after: number | null): Peak {
  const { density, floor, binHz, noiseBins } = s;
  const lowest = before === null ? 1 : dipBetween(density, before, top);
  const highest = after === null ? density.length - 2 : dipBetween(density, top, after);
  // Any line is as wide as the window at least: two bins either side for Hann.
  let first = Math.max(lowest, top - 2);
  while (first > lowest && density[first - 1]! > SKIRT * floor[first - 1]! && top - first < 400) first--;
  let last = Math.min(highest, top + 2);
  while (last < highest && density[last + 1]! > SKIRT * floor[last + 1]! && last - top < 400) last++;
  let area = 0;
  for (let k = first; k <= last; k++) area += Math.max(0, density[k]! - floor[k]!) * binHz;
  let a = top;
  let b = top;
  while (a > first && density[a - 1]! > density[top]! / 2) a--;
  while (b < last && density[b + 1]! > density[top]! / 2) b++;
  const widthHz = (b - a + 1) * binHz;
  const sharp = widthHz <= 3 * binHz;
  const frequencyHz = sharp
    ? peakHz(density, top, binHz)
    : centroidHz(s, Math.max(first, a - (b - a)), Math.min(last, b + (b - a)));
  // A line as narrow as the window is placed to a share of a bin, a wide one to its width over the root of what it is made of.
  const snr = Math.max(1, density[top]! / floor[top]!);
  const frequencyStdHz = Math.hypot(
    (binHz * 0.4) / Math.sqrt(snr * Math.max(1, s.degreesOfFreedom / 2)),
    sharp
      ? 0
      : widthHz / Math.sqrt(2 * Math.max(1, (s.degreesOfFreedom / 2) * (widthHz / binHz / noiseBins))) / 2,
    0.01 * binHz,
  );
  return {
    frequencyHz,
    frequencyStdHz,
    first,
    last,
    bin: top,
    rms: Math.sqrt(area),
    aboveFloorDb: 10 * Math.log10(density[top]! / floor[top]!),
    widthHz,
  };
}

function dipBetween(density: Float64Array, from: number, to: number): number {
  let at = from;
  for (let k = from; k <= to; k++) if (density[k]! < density[at]!) at = k;
  return at;
}

/** Of a tone under a Hann window, from its two highest bins. */
function peakHz(density: Float64Array, top: number, binHz: number): number {
  const before = Math.sqrt(density[top - 1]!);
  const after = Math.sqrt(density[top + 1]!);
  const own = Math.sqrt(density[top]!);
  const offset = after >= before ? hannOffsetFromPair(own, after) : -hannOffsetFromPair(own, before);
  return (top + Math.max(-0.5, Math.min(0.5, offset))) * binHz;
}

function centroidHz({ density, floor, binHz }: LineSpectrum, first: number, last: number): number {
  let sum = 0;
  let moment = 0;
  for (let k = first; k <= last; k++) {
    const w = Math.max(0, density[k]! - floor[k]!);
    sum += w;
    moment += w * k;
  }
  return (moment / Math.max(1e-300, sum)) * binHz;
}
