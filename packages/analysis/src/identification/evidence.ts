/**
 * What a hover says about a plant, as equations y = G(s) u + noise at chosen complex frequencies.
 *
 * A loop's own feedback ties demand and rate together: their ratio is the plant only where something other than the
 * gusts drives both. Two such places are used. Where the sticks move, both are projected on the stick (an instrument: it
 * knows nothing of the gusts; L. Ljung, *System Identification*, 2nd ed., ch. 7.6). Where the loop oscillates by itself,
 * both are large against what the gusts do, and their phasors give the plant at the oscillation's complex frequency.
 */
import { absolute, complex, conjugate, divide, multiply, scale, type Complex } from '../control/complex.js';
import { fQuantile } from '../statistics/distributions.js';
import { transformReal } from '../spectrum/fft.js';
import { HANN_NOISE_BANDWIDTH_BINS } from '../spectrum/windows.js';

/** One axis over the hover on an even clock. */
export interface AxisRecord {
  readonly startS: number;
  readonly stepS: number;
  /** Measured rate, rad/s. */
  readonly rate: Float64Array;
  /** Demand applied, −1…1. */
  readonly demand: Float64Array;
  /** Stick or attitude reference; null where nothing outside moves the axis. */
  readonly instrument: Float64Array | null;
}

export interface Equation {
  /** Complex frequency, rad/s. */
  readonly s: Complex;
  readonly rate: Complex;
  readonly demand: Complex;
  /** Variance of rate − G·demand, both parts together; refined once a plant is known (see {@link Evidence}). */
  readonly variance: number;
  readonly from: 'instrument' | 'oscillation';
}

/** Bins this wide share one equation: narrow against how fast a plant's phase turns. */
const BAND_HZ = 0.4;
const LOWEST_HZ = 0.35;
const HIGHEST_HZ = 12;

/**
 * The instrument must explain this many times the demand that chance would (rule of thumb for weak instruments:
 * D. Staiger and J. Stock, Econometrica 65(3), 1997; from memory).
 */
const STRONG = 20;

export interface InstrumentBand {
  readonly s: Complex;
  readonly rate: Complex;
  readonly demand: Complex;
  /** Bins of the band, for the noise level. */
  readonly rates: readonly Complex[];
  readonly demands: readonly Complex[];
  readonly omegas: readonly number[];
  /** Demand explained by the instrument over what chance explains. */
  readonly strength: number;
}

/** Projections of rate and demand on the instrument, band by band. */
export function instrumentBands(record: AxisRecord): InstrumentBand[] {
  if (record.instrument === null) return [];
  const n = record.rate.length;
  const r = bins(record.instrument);
  const y = bins(record.rate);
  const u = bins(record.demand);
  const df = 1 / (n * record.stepS);
  const out: InstrumentBand[] = [];
  const perBand = Math.max(2, Math.round(BAND_HZ / df));
  for (let first = Math.ceil(LOWEST_HZ / df); (first + perBand) * df < HIGHEST_HZ; first += perBand) {
    let power = 0;
    let centre = 0;
    let yr = complex(0);
    let ur = complex(0);
    const rates: Complex[] = [];
    const demands: Complex[] = [];
    const omegas: number[] = [];
    for (let k = first; k < first + perBand; k++) {
      const R = complex(r[2 * k]!, r[2 * k + 1]!);
      const Y = complex(y[2 * k]!, y[2 * k + 1]!);
      const U = complex(u[2 * k]!, u[2 * k + 1]!);
      const weight = R.re * R.re + R.im * R.im;
      power += weight;
      const ur1 = multiply(U, conjugate(R));
      centre += k * absolute(ur1);
      const yr1 = multiply(Y, conjugate(R));
      yr = complex(yr.re + yr1.re, yr.im + yr1.im);
      ur = complex(ur.re + ur1.re, ur.im + ur1.im);
      rates.push(Y);
      demands.push(U);
      omegas.push(2 * Math.PI * k * df);
    }
    if (!(power > 0)) continue;
    let weights = 0;
    for (let k = first; k < first + perBand; k++)
      weights += absolute(multiply(complex(u[2 * k]!, u[2 * k + 1]!), complex(r[2 * k]!, r[2 * k + 1]!)));
    if (!(weights > 0)) continue;
    const root = 1 / Math.sqrt(power);
    // A weak instrument drags the answer towards the feedback's own ratio.
    let total = 0;
    for (const U of demands) total += U.re * U.re + U.im * U.im;
    const explained = (ur.re * ur.re + ur.im * ur.im) / power;
    const threshold = Math.max(STRONG, fQuantile(0.999, 2, 2 * (perBand - 1)));
    if (explained * (perBand - 1) < threshold * (total - explained)) continue;
    out.push({
      s: complex(0, (2 * Math.PI * df * centre) / weights),
      rate: scale(yr, root),
      demand: scale(ur, root),
      rates,
      demands,
      omegas,
      strength: (explained * (perBand - 1)) / Math.max(1e-30, total - explained),
    });
  }
  return out;
}

/** Bins of a record without its straight trend, its ends faded over a twentieth. */
export function bins(values: Float64Array): Float64Array {
  const n = values.length;
  const fade = Math.max(2, Math.floor(n / 20));
  let mean = 0;
  for (const v of values) mean += v / n;
  let slope = 0;
  let norm = 0;
  for (let i = 0; i < n; i++) {
    const t = i - (n - 1) / 2;
    slope += t * (values[i]! - mean);
    norm += t * t;
  }
  slope /= norm;
  const x = values.map((v, i) => {
    const edge = Math.min(i, n - 1 - i);
    const w = edge >= fade ? 1 : 0.5 - 0.5 * Math.cos((Math.PI * (edge + 0.5)) / fade);
    return w * (v - mean - slope * (i - (n - 1) / 2));
  });
  return transformReal(x);
}

/** Cycles per window of an oscillation's phasors. */
const WINDOW_CYCLES = 2.5;
/** How far the plant's few numbers follow a real one at a single frequency: share of |G|, per group of windows. */
const MODEL_ERROR = 0.015;
/** An oscillation is cut into this many stretches, in each of which it has its own frequency and growth. */
const GROUPS = 3;

/**
 * Phasors of rate and demand at a self-sustained, growing or lightly damped oscillation.
 *
 * @param frequencyHz of the line
 * @param startS when it begins, s on the record's clock
 * @param endS when it ends
 * @param ownShare share of the phasor that feedback of gusts may account for: twice the damping ratio of a driven line
 */
export function oscillationEquations(
  record: AxisRecord,
  frequencyHz: number,
  startS: number,
  endS: number,
  ownShare: number,
): Equation[] {
  const omega = 2 * Math.PI * frequencyHz;
  const width = Math.max(8, Math.round(WINDOW_CYCLES / frequencyHz / record.stepS));
  const hop = Math.max(1, Math.round(width / 4));
  const from = Math.max(0, Math.round((startS - record.startS) / record.stepS));
  const to = Math.min(record.rate.length, Math.round((endS - record.startS) / record.stepS));
  const window = Float64Array.from(
    { length: width },
    (_, i) => 0.5 - 0.5 * Math.cos((2 * Math.PI * (i + 0.5)) / width),
  );
  const phasor = (x: Float64Array, at: number): Complex => {
    let mean = 0;
    let total = 0;
    for (let i = 0; i < width; i++) {
      mean += window[i]! * x[at + i]!;
      total += window[i]!;
    }
    mean /= total;
    let re = 0;
    let im = 0;
    for (let i = 0; i < width; i++) {
      const t = (at + i) * record.stepS;
      const v = window[i]! * (x[at + i]! - mean);
      re += v * Math.cos(omega * t);
      im -= v * Math.sin(omega * t);
    }
    return complex(re, im);
  };
  const places: number[] = [];
  for (let at = from; at + width <= to; at += hop) places.push(at);
  if (places.length < 3) return [];
  const y = places.map((at) => phasor(record.rate, at));
  const u = places.map((at) => phasor(record.demand, at));
  const spanS = hop * record.stepS;
  const equations: Equation[] = [];
  const groups = Math.min(GROUPS, Math.max(1, Math.floor(places.length / 4)));
  for (let g = 0; g < groups; g++) {
    const a = Math.round((g * (places.length - 2)) / groups) + 1;
    const b = Math.round(((g + 1) * (places.length - 2)) / groups) + 1;
    let yu = complex(0);
    let uu = 0;
    let sRe = 0;
    let sIm = 0;
    let weight = 0;
    for (let k = a; k < b; k++) {
      const p = multiply(y[k]!, conjugate(u[k]!));
      yu = complex(yu.re + p.re, yu.im + p.im);
      uu += u[k]!.re ** 2 + u[k]!.im ** 2;
      // Frequency and growth from the phasors on either side.
      const w = absolute(y[k - 1]!) * absolute(y[k + 1]!);
      const ratio = divide(y[k + 1]!, y[k - 1]!);
      sRe += (w * Math.log(Math.max(1e-12, absolute(ratio)))) / (2 * spanS);
      sIm += (w * Math.atan2(ratio.im, ratio.re)) / (2 * spanS);
      weight += w;
    }
    if (!(uu > 0) || !(weight > 0)) continue;
    const s = complex(sRe / weight, omega + sIm / weight);
    if (Math.abs(sIm / weight) > 0.3 * omega || Math.abs(sRe / weight) > 0.5 * omega) continue;
    const ratio = scale(yu, 1 / uu);
    let scatter = 0;
    for (let k = a; k < b; k++) {
      const d = complex(
        y[k]!.re - ratio.re * u[k]!.re + ratio.im * u[k]!.im,
        y[k]!.im - ratio.re * u[k]!.im - ratio.im * u[k]!.re,
      );
      scatter += d.re ** 2 + d.im ** 2;
    }
    const independent = Math.max(1, (HANN_NOISE_BANDWIDTH_BINS * (b - a) * hop) / width);
    const size = absolute(yu) / Math.sqrt(uu);
    const noise = scatter / Math.max(1, b - a) / independent / (uu / (b - a));
    const relative = MODEL_ERROR ** 2 + ownShare ** 2;
    // In units where the demand's phasor is 1.
    equations.push({
      s,
      rate: ratio,
      demand: complex(1),
      variance: noise + 2 * relative * (size / Math.sqrt(uu)) ** 2,
      from: 'oscillation',
    });
  }
  return equations;
}
