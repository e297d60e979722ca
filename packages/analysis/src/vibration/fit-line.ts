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
/** A mode is fitted once more as far as its skirts reach, so many half widths either side, to this share of its frequency. */
const SKIRTS = 20;
const FARTHEST_SHARE = 0.3;
/** Widths tried there, over the one found before; and shares of the floor that is read beside the window. */
const WIDER = [0.7, 0.85, 1, 1.2, 1.45, 1.75, 2.1];
const UNDER = [1.5, 1.2, 1, 0.8, 0.65, 0.5, 0.4, 0.3];
/** Higher than this many times what is expected there stands something else. */
const OTHER_OVER = 6;
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
  const best = (shape: (k: number) => number, first: number): LevelFit =>
    bestLevel(spectrum, bins, (k) => floor[k]! + known[k]!, shape, first);
  const height = Math.max(density[peak.bin]! - floor[peak.bin]!, 1e-300);
  const at = peak.frequencyHz / binHz;
  const tone = best((k) => hannLobe(k - at), height);
  let mode: ModeFit | null = null;
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
  const { gamma, centre, level } = withSkirts(spectrum, mode!, reach, known, masked);
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

interface LevelFit {
  readonly level: number;
  /** Minus the log likelihood. */
  readonly misfit: number;
}

interface ModeFit extends LevelFit {
  /** Half width as it is seen, and the middle, bins. */
  readonly gamma: number;
  readonly centre: number;
}

/** @param under what each bin holds without it */
function bestLevel(
  { density, degreesOfFreedom }: LineSpectrum,
  bins: readonly number[],
  under: (k: number) => number,
  shape: (k: number) => number,
  first: number,
): LevelFit {
  const below = bins.map(under);
  const shapes = bins.map(shape);
  const misfit = (level: number): number => {
    let sum = 0;
    for (let i = 0; i < bins.length; i++) {
      const mean = below[i]! + level * shapes[i]!;
      sum += Math.log(mean) + density[bins[i]!]! / mean;
    }
    return (sum * degreesOfFreedom) / 2;
  };
  let found = { level: first, misfit: Infinity };
  const take = (level: number): void => {
    const value = misfit(level);
    if (value < found.misfit) found = { level, misfit: value };
  };
  for (const scale of SCALES) take(first * Math.exp(scale));
  for (const step of [0.1, 0.05, 0.02]) for (const sign of [-1, 1]) take(found.level * Math.exp(sign * step));
  return found;
}

/** A mode once more, with its skirts. They lift the median that its own floor is made of, so that is read where they end. */
function withSkirts(
  spectrum: LineSpectrum,
  narrow: ModeFit,
  leastReach: number,
  known: Float64Array,
  masked: (bin: number) => boolean,
): ModeFit {
  const { density, floor } = spectrum;
  const { centre } = narrow;
  const last = density.length - 2;
  const reach = Math.max(leastReach, Math.min(FARTHEST_SHARE * centre, SKIRTS * narrow.gamma));
  const from = Math.max(2, Math.round(centre - reach));
  const to = Math.min(last, Math.round(centre + reach));
  const [low, high] = [Math.log(floor[from]!), Math.log(floor[to]!)];
  const beside = (k: number): number => Math.exp(low + ((high - low) * (k - from)) / (to - from));
  const curve =
    (gamma: number) =>
    (k: number): number =>
      gamma ** 2 / ((k - centre) ** 2 + gamma ** 2);
  const seen = curve(narrow.gamma);
  const bins: number[] = [];
  for (let k = from; k <= to; k++) {
    const expected = floor[k]! + known[k]! + narrow.level * seen(k);
    if (!masked(k) && density[k]! < OTHER_OVER * expected) bins.push(k);
  }
  let best: ModeFit = { ...narrow, misfit: Infinity };
  for (const share of UNDER)
    for (const wider of WIDER) {
      const gamma = wider * narrow.gamma;
      const under = (k: number): number => share * beside(k) + known[k]!;
      const found = bestLevel(spectrum, bins, under, curve(gamma), narrow.level);
      if (found.misfit < best.misfit) best = { ...found, gamma, centre };
    }
  return best;
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
