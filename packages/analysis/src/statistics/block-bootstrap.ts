/**
 * Standard errors of averages over a record whose samples depend on their neighbours.
 *
 * The record is rebuilt from blocks of itself, drawn at random: moving blocks of one length (H. R. Künsch, "The jackknife and the
 * bootstrap for general stationary observations", Ann. Statist. 17, 1989) or blocks of random length around a circle (D. N. Politis
 * and J. P. Romano, "The stationary bootstrap", J. Amer. Statist. Assoc. 89, 1994). Blocks several correlation times long keep what
 * neighbours have in common. The generator is seeded, so the same log gives the same error.
 */
import { seededRandom } from './seeded-random.js';

export interface BlockBootstrapOptions {
  /** Mean length of a block in samples; at least 1. */
  readonly blockLength: number;
  /** Resamples. Default 200: the standard error itself is then good to 5 %. */
  readonly resamples?: number;
  readonly seed?: number;
  /** Default `stationary`. */
  readonly kind?: 'moving' | 'stationary';
}

/**
 * Means of every column over each resample, the same samples drawn for all columns so that what they have in common stays in.
 *
 * @param columns equally long records, at least one sample
 * @returns one row per resample, one mean per column
 * @throws RangeError on no samples, unequal columns or a block length below 1
 */
export function bootstrapMeans(
  columns: readonly Float64Array[],
  { blockLength, resamples = 200, seed = 1, kind = 'stationary' }: BlockBootstrapOptions,
): number[][] {
  const n = columns[0]?.length ?? 0;
  if (n === 0 || columns.some((column) => column.length !== n))
    throw new RangeError('the bootstrap needs equally long columns with samples');
  if (!(blockLength >= 1)) throw new RangeError(`a block of ${String(blockLength)} samples`);
  // Sums up to each sample, twice around, make the sum over any block a difference.
  const sums = columns.map((column) => {
    const s = new Float64Array(2 * n + 1);
    for (let i = 0; i < 2 * n; i++) s[i + 1] = s[i]! + column[i % n]!;
    return s;
  });
  const random = seededRandom(seed);
  const fixed = Math.min(n, Math.round(blockLength));
  const draw = kind === 'moving' ? movingBlock : stationaryBlock;
  return Array.from({ length: resamples }, () => {
    const total = new Array<number>(columns.length).fill(0);
    for (let filled = 0; filled < n;) {
      const { start, length } = draw(n, kind === 'moving' ? fixed : blockLength, random.uniform);
      const used = Math.min(length, n - filled);
      sums.forEach((s, c) => {
        total[c] = total[c]! + (s[start + used]! - s[start]!);
      });
      filled += used;
    }
    return total.map((sum) => sum / n);
  });
}

interface Block {
  readonly start: number;
  readonly length: number;
}

const movingBlock = (n: number, length: number, uniform: () => number): Block => ({
  start: Math.floor(uniform() * (n - length + 1)),
  length,
});

function stationaryBlock(n: number, meanLength: number, uniform: () => number): Block {
  const start = Math.floor(uniform() * n);
  const length = meanLength <= 1 ? 1 : 1 + Math.floor(Math.log(1 - uniform()) / Math.log(1 - 1 / meanLength));
  return { start, length: Math.min(n, length) };
}

/** Standard deviation over resamples of whatever is made of the means. */
export function bootstrapStd(rows: readonly number[][], of: (means: readonly number[]) => number): number {
  const values = rows.map(of).filter(Number.isFinite);
  if (values.length < 2) return Number.NaN;
  const mean = values.reduce((sum, v) => sum + v, 0) / values.length;
  return Math.sqrt(values.reduce((sum, v) => sum + (v - mean) ** 2, 0) / (values.length - 1));
}

/**
 * Integrated correlation time in samples: 1 + 2 Σ ρ(k), summed up to the first window M ≥ 5 τ(M) (A. Sokal's rule, from memory);
 * 1 for white noise.
 */
export function correlationTime(values: Float64Array): number {
  const n = values.length;
  const mean = values.reduce((sum, v) => sum + v, 0) / Math.max(1, n);
  const centred = values.map((v) => v - mean);
  const covariance = (lag: number): number => {
    let sum = 0;
    for (let i = 0; i + lag < n; i++) sum += centred[i]! * centred[i + lag]!;
    return sum / n;
  };
  const variance = covariance(0);
  if (!(variance > 0)) return 1;
  let tau = 1;
  for (let lag = 1; lag < n / 3; lag++) {
    tau += (2 * covariance(lag)) / variance;
    if (lag >= 5 * tau) break;
  }
  return Math.max(1, tau);
}

/**
 * Mean block length for a record of `n` samples with correlation time τ: the stationary bootstrap's best one for a first-order
 * process, (2ρ/(1 − ρ²))^(2/3) n^(1/3) with ρ = (τ − 1)/(τ + 1) (worked out from D. N. Politis and H. White, Econometric Reviews
 * 23, 2004; their general formula from memory). At most a quarter of the record.
 */
export function blockLengthFor(n: number, tau: number): number {
  const spread = (tau * tau - 1) / (2 * tau);
  return Math.max(1, Math.min(n / 4, Math.cbrt(spread * spread * n)));
}
