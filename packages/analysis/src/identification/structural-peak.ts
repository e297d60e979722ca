/**
 * Where something of the structure shakes an axis without ringing by itself: a narrow peak of the rate's spectrum above what the
 * rigid aircraft's loop makes of noise and gusts. How much of a loop's gain it is the spectrum does not tell, for gusts move the
 * structure as well; but a rate loop raised without regard to it may find its limit there.
 */
import { AXES, type AxisName } from '@settle/parser';
import { absolute, add, complex, type Complex } from '../control/complex.js';
import { eachAxis, type EachAxis } from '../per-axis.js';
import { quantile } from '../signals.js';
import { detrendInPlace } from '../spectrum/detrend.js';
import { transformReal } from '../spectrum/fft.js';
import { solveLeastSquares } from '../spectrum/least-squares.js';
import { windowSamples } from '../spectrum/windows.js';

export interface StructuralPeak {
  readonly frequencyHz: number;
  /** Over the spectrum on either side. */
  readonly riseDb: number;
}

/** Where structures bend, Hz (common practice, no source), and up to which share of the log's rate. */
const LOWEST_HZ = 9;
const HIGHEST_HZ = 40;
const HIGHEST_SHARE = 0.42;
/** Segments: short, and their median taken, so that what single stick movements stir up does not count. */
const SEGMENT_S = 2;
const FEWEST_SEGMENTS = 6;
/** A peak stands this far above the line through its neighbourhood, and this many times above the scatter about it. */
const RISE_DB = 5.5;
const SCATTERS = 4;
const LEAST_SCATTER_DB = 1;
/** Its neighbourhood: so far on either side, Hz or share of its frequency, whichever is more, but for its own skirts. */
const SKIRT = { hz: 1.4, share: 0.09 };
const REACH = { hz: 4, share: 0.3 };
/** A line that other axes have at half its height is something turning; so near, Hz. */
const SAME_HZ = 1;
const SHARED = 0.5;
/** So near to a multiple of a swing it is the swing's. */
const NEAR_SWING = 0.06;
const MULTIPLES = 5;

interface Spectrum {
  readonly hz: Float64Array;
  readonly db: Float64Array;
}

/** An oscillation that sustains itself. */
export interface AxisSwing {
  readonly axis: AxisName;
  readonly frequencyHz: number;
}

/** Spectra of all axes over a hover; null where it is too short or an axis has no rate. */
export type RateSpectra = Readonly<EachAxis<Spectrum | null>>;

/** @param rates over the hover, rad/s, on one clock */
export const rateSpectra = (rates: Readonly<EachAxis<Float64Array | null>>, stepS: number): RateSpectra =>
  eachAxis((axis) => spectrumOf(rates[axis], stepS));

/**
 * @param rigidLoop L(jω) of the axis' rate loop without any bending, for what it makes of noise; null where it is not known
 * @param swings of all axes that sustain themselves
 * @returns the highest; null where there is none, where the hover is too short to tell, or the axis itself swings: what shakes it
 *   then is its own loop, and no model of that loop is good enough near its limit to take it out
 */
export function structuralPeak(
  axis: AxisName,
  spectra: RateSpectra,
  rigidLoop: ((omega: number) => Complex) | null,
  swings: readonly AxisSwing[],
): StructuralPeak | null {
  const own = spectra[axis];
  if (own === null || swings.some((swing) => swing.axis === axis)) return null;
  const whitened = rigidLoop === null ? own : withoutLoop(own, rigidLoop);
  const others = AXES.filter((other) => other !== axis).flatMap((other) => spectra[other] ?? []);
  const highest = Math.min(HIGHEST_HZ, HIGHEST_SHARE * 2 * own.hz.at(-1)!);
  let best: StructuralPeak | null = null;
  for (let i = 2; i < own.hz.length - 2; i++) {
    const hz = own.hz[i]!;
    if (hz < LOWEST_HZ || hz > highest || isOfSwing(hz, swings)) continue;
    if (whitened.db[i]! < Math.max(whitened.db[i - 1]!, whitened.db[i + 1]!)) continue;
    const { riseDb, scatterDb } = riseAt(whitened, i);
    if (riseDb < RISE_DB || riseDb < SCATTERS * scatterDb || riseDb <= (best?.riseDb ?? 0)) continue;
    const isShared = others.some((other) => highestRiseNear(other, hz) > SHARED * riseDb);
    if (!isShared) best = { frequencyHz: hz, riseDb };
  }
  return best;
}

/** Median of the segments' spectra, dB. */
function spectrumOf(rate: Float64Array | null, stepS: number): Spectrum | null {
  if (rate === null) return null;
  const n = Math.round(SEGMENT_S / stepS);
  const hop = n >> 1;
  const window = windowSamples('hann', n);
  const segments: Float64Array[] = [];
  for (let from = 0; from + n <= rate.length; from += hop) {
    const x = rate.slice(from, from + n);
    detrendInPlace(x, 'linear');
    segments.push(transformReal(x.map((v, i) => v * window[i]!)));
  }
  if (segments.length < FEWEST_SEGMENTS) return null;
  const hz = Float64Array.from({ length: (n >> 1) + 1 }, (_, k) => k / (n * stepS));
  const db = hz.map((_, k) => {
    const power = segments.map((s) => s[2 * k]! ** 2 + s[2 * k + 1]! ** 2);
    return 10 * Math.log10(Math.max(1e-30, quantile(power, 0.5)));
  });
  return { hz, db };
}

/** What the axis would have without its loop. */
function withoutLoop({ hz, db }: Spectrum, loop: (omega: number) => Complex): Spectrum {
  return {
    hz,
    db: db.map((v, k) =>
      k === 0 ? v : v + 20 * Math.log10(absolute(add(complex(1), loop(2 * Math.PI * hz[k]!)))),
    ),
  };
}

function isOfSwing(hz: number, swings: readonly AxisSwing[]): boolean {
  return swings.some(({ frequencyHz }) =>
    Array.from({ length: MULTIPLES }, (_, k) => (k + 1) * frequencyHz).some(
      (multiple) => Math.abs(hz / multiple - 1) < NEAR_SWING,
    ),
  );
}

function highestRiseNear(spectrum: Spectrum, hz: number): number {
  let highest = 0;
  spectrum.hz.forEach((f, i) => {
    if (Math.abs(f - hz) <= SAME_HZ) highest = Math.max(highest, riseAt(spectrum, i).riseDb);
  });
  return highest;
}

const ROUNDS = 4;

/** Above a straight line over the logarithm of frequency, fitted so that other peaks count little. */
function riseAt({ hz, db }: Spectrum, i: number): { riseDb: number; scatterDb: number } {
  const f = hz[i]!;
  const skirt = Math.max(SKIRT.hz, SKIRT.share * f);
  const reach = Math.max(REACH.hz, REACH.share * f);
  const near: number[] = [];
  for (let k = 2; k < hz.length - 1; k++) {
    const distance = Math.abs(hz[k]! - f);
    if (distance > skirt && distance < reach) near.push(k);
  }
  const y = Float64Array.from(near, (k) => db[k]!);
  const x = Float64Array.from(near, (k) => Math.log(hz[k]! / f));
  let weight = new Float64Array(near.length).fill(1);
  let level = 0;
  let scatter = Infinity;
  for (let round = 0; round < ROUNDS; round++) {
    const solved = solveLeastSquares(
      [weight, x.map((v, k) => v * weight[k]!)],
      y.map((v, k) => v * weight[k]!),
    );
    if (solved === null) return { riseDb: 0, scatterDb: Infinity };
    const [constant, slope] = solved.coefficients;
    level = constant!;
    const left = y.map((v, k) => Math.abs(v - constant! - slope! * x[k]!));
    scatter = Math.max(LEAST_SCATTER_DB, 1.48 * quantile(left, 0.5));
    weight = left.map((v) => 1 / Math.max(1, v / scatter));
  }
  return { riseDb: db[i]! - level, scatterDb: scatter };
}
