/**
 * How often broad-band motion alone looks this much like an oscillation.
 *
 * The reference is the least favourable motion that still counts as well damped: a second-order resonance of damping
 * ratio 0.3 driven by coloured noise (first-order corner at a fifth of the resonance, as gusts have), analysed at its
 * own frequency. For the mean share of m consecutive windows the tail of that reference is
 * P(mean share > r) = exp(c) (1 − r)^b. The coefficients are fitted by `tests/trials/narrowness-null.ts` on 400 records
 * of 200 cycles (probabilities 1e-2 to 3e-4) and checked on other seeds by `chance.test.ts`.
 */
interface Tail {
  readonly windows: number;
  readonly b: number;
  readonly c: number;
}

const TAILS: readonly Tail[] = [
  { windows: 1, b: 5.64, c: 3.33 },
  { windows: 2, b: 6.45, c: 3.58 },
  { windows: 3, b: 7.35, c: 4.1 },
  { windows: 5, b: 9.12, c: 5.0 },
  { windows: 9, b: 10.91, c: 5.0 },
  { windows: 17, b: 14.78, c: 6.42 },
  { windows: 33, b: 18.0, c: 6.89 },
  { windows: 65, b: 25.92, c: 10.1 },
];

/** The run lengths, in windows, at which a track is searched. */
export const RUN_LENGTHS: readonly number[] = TAILS.map((tail) => tail.windows);

/**
 * Natural logarithm of the chance that one run of `windows` windows of well-damped motion reaches this mean share.
 *
 * @param windows one of {@link RUN_LENGTHS}
 * @throws RangeError for another length
 */
export function logChance(windows: number, meanShare: number): number {
  const tail = TAILS.find((t) => t.windows === windows);
  if (tail === undefined) throw new RangeError(`no tail for runs of ${String(windows)} windows`);
  return Math.min(0, tail.c + tail.b * Math.log(Math.max(1e-6, 1 - meanShare)));
}
