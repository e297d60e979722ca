/**
 * What a peak is made of: a tone, as narrow as the window, or a mode that rings, with a width of its own.
 *
 * Both are fitted to the averaged spectrum by its likelihood (Whittle: a bin is its mean times chi-square over the degrees of
 * freedom), and the likelier one is taken. A mode's level is the whole of its curve, skirts that drown in the floor included:
 * a resonance driven by broad-band noise has the density S₀γ²/((f − f₀)² + γ²), γ = ζf₀, and the power πγS₀.
 */
import type { Peak } from './find-peaks.js';
import type { LineSpectrum } from './line-spectrum.js';

export interface FittedLine {
  readonly kind: 'tone' | 'mode';
  readonly frequencyHz: number;
  readonly frequencyStdHz: number;
  readonly rms: number;
  /** γ, Hz; 0 for a tone. */
  readonly halfWidthHz: number;
  /** By how much the kind taken is likelier, natural log. */
  readonly surer: number;
  /** What it adds to each bin of the spectrum. */
  readonly density: Float64Array;
}

/** Window around the peak that is fitted: this share of its frequency, and at least this many bins, either side. */
const WINDOW_SHARE = 0.12;
const WINDOW_BINS = 14;
/** Half widths tried, bins and share of the frequency. */
const NARROWEST_BINS = 0.4;
const WIDEST_SHARE = 0.06;
const WIDTHS = 18;
/** A mode must be this much likelier than a tone, natural log: it has one more number to fit. */
const MODE_SURER = 4;
/** Shares of the floor tried under a mode. */
const UNDER = [0.8, 0.6, 0.4, 0.25, 0.15, 0.08, 0.04, 0.015];
/** Scales of the level tried, as natural logs around a first guess. */
const SCALES = Array.from({ length: 25 }, (_, i) => -2.4 + 0.2 * i);

/**
 * @param known what lines fitted before add to each bin
 * @param masked bins that belong to something else
 */
export function fitLine(
  spectrum: LineSpectrum,
  peak: Peak,
  known: Float64Array,
  masked: (bin: number) => boolean,
): FittedLine {
  const { density, floor, binHz, degreesOfFreedom } = spectrum;
  const reach = Math.round(Math.max(WINDOW_BINS, WINDOW_SHARE * peak.bin));
  const bins: number[] = [];
  for (let k = Math.max(2, peak.bin - reach); k <= Math.min(density.length - 2, peak.bin + reach); k++)
    if (!masked(k) || Math.abs(k - peak.bin) <= 1) bins.push(k);
  const misfit = (shape: (k: number) => number, level: number, under: number): number =>
    bins.reduce((sum, k) => {
      const mean = under * floor[k]! + known[k]! + level * shape(k);
      return sum + Math.log(mean) + density[k]! / mean;
    }, 0) *
    (degreesOfFreedom / 2);
  const best = (
    shape: (k: number) => number,
    first: number,
    under = 1,
  ): { level: number; misfit: number } => {
    let found = { level: first, misfit: Infinity };
    for (const scale of SCALES) {
      const level = first * Math.exp(scale);
      const value = misfit(shape, level, under);
      if (value < found.misfit) found = { level, misfit: value };
    }
    for (const step of [0.1, 0.05, 0.02]) {
      for (const sign of [-1, 1]) {
        const level = found.level * Math.exp(sign * step);
        const value = misfit(shape, level, under);
        if (value < found.misfit) found = { level, misfit: value };
      }
    }
    return found;
  };
  const height = Math.max(density[peak.bin]! - floor[peak.bin]!, 1e-300);
  const at = peak.frequencyHz / binHz;
  const tone = best((k) => hannLobe(k - at), height);
  let mode: { level: number; misfit: number; gamma: number; centre: number } | null = null;
  const widest = Math.max(2 * NARROWEST_BINS, (WIDEST_SHARE * peak.frequencyHz) / binHz);
  for (let i = 0; i < WIDTHS; i++) {
    const gamma = NARROWEST_BINS * (widest / NARROWEST_BINS) ** (i / (WIDTHS - 1));
    for (const shift of [-1, -0.5, 0, 0.5, 1]) {
      const centre = at + shift * Math.max(0.5, 0.8 * gamma);
      // The window widens what it sees.
      const seen = gamma + 0.6;
      const shape = (k: number): number => (seen * seen) / ((k - centre) ** 2 + seen * seen);
      const found = best(shape, height);
      if (mode === null || found.misfit < mode.misfit) mode = { ...found, gamma: seen, centre };
    }
  }
  // The skirts of a wide mode lift the median that the floor is made of: once more with less of it.
  for (const less of UNDER) {
    const { gamma: width, centre: middle } = mode!;
    for (const wider of [0.7, 0.85, 1, 1.2, 1.45]) {
      const seen = wider * width;
      const shape = (k: number): number => (seen * seen) / ((k - middle) ** 2 + seen * seen);
      const found = best(shape, height, less);
      if (found.misfit < mode!.misfit) {
        mode = { ...found, gamma: seen, centre: middle };
      }
    }
  }
  const surer = tone.misfit - mode!.misfit;
  const full = (shape: (k: number) => number, level: number): Float64Array =>
    density.map((_, k) => (Math.abs(k - peak.bin) > 40 * reach ? 0 : level * shape(k)));
  if (surer < MODE_SURER) {
    // All of a tone lies within two bins of its top.
    let power = 0;
    for (let k = Math.max(1, peak.bin - 2); k <= Math.min(density.length - 1, peak.bin + 2); k++)
      power += (density[k]! - floor[k]! - known[k]!) * binHz;
    return {
      kind: 'tone',
      frequencyHz: peak.frequencyHz,
      frequencyStdHz: peak.frequencyStdHz,
      rms: Math.sqrt(Math.max(0, power)),
      halfWidthHz: 0,
      surer: MODE_SURER - surer,
      density: full((k) => hannLobe(k - at), Math.max(0, power) / LOBE_BINS / binHz),
    };
  }
  const { gamma, centre, level } = mode!;
  const averages = Math.max(1, degreesOfFreedom / 2);
  return {
    kind: 'mode',
    frequencyHz: centre * binHz,
    // Of the centre of a Lorentz curve seen over its own width in n independent bins.
    frequencyStdHz: (gamma * binHz) / Math.sqrt(Math.max(1, averages * gamma)),
    rms: Math.sqrt(Math.PI * gamma * binHz * level),
    halfWidthHz: Math.max(0, gamma - 0.6) * binHz,
    surer,
    density: full((k) => (gamma * gamma) / ((k - centre) ** 2 + gamma * gamma), level),
  };
}

/** Sum of the squared lobe over bins, in units of its top: 1.5 (Hann's noise bandwidth). */
const LOBE_BINS = 1.5;

/** Squared Hann window transform at an offset in bins, 1 at its top. */
function hannLobe(offset: number): number {
  if (Math.abs(offset) < 1e-6) return 1;
  if (Math.abs(Math.abs(offset) - 1) < 1e-6) return 0.25;
  const value = Math.sin(Math.PI * offset) / (Math.PI * offset * (1 - offset * offset));
  return value * value;
}
