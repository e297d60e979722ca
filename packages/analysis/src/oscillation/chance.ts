/**
 * How often broad-band motion alone looks this much like an oscillation.
 *
 * The reference is the least favourable motion that still counts as well damped: a second-order resonance of damping
 * ratio 0.3 driven by white noise, or by noise with a first-order corner at a fifth of the resonance as gusts have,
 * analysed at its own frequency. For the mean share of m consecutive windows the tail of that reference is
 * P(mean share > r) = exp(c) (1 − r)^b. The coefficients are fitted by `tests/trials/narrowness-null.ts` on 1600 records
 * of 200 cycles (probabilities 1e-2 to 3e-4;
 * of white and coloured drive the one with the higher tail is kept), with the background levelled by one slope as in
 * short records. Longer records are levelled more closely and show less by chance. Checked on other seeds by
 * `detect.test.ts`.
 */
interface Tail {
  readonly windows: number;
  readonly b: number;
  readonly c: number;
}

const TAILS: readonly Tail[] = [
  { windows: 1, b: 5.32, c: 2.86 },
  { windows: 2, b: 6.32, c: 3.44 },
  { windows: 3, b: 7.27, c: 3.98 },
  { windows: 5, b: 8.56, c: 4.25 },
  { windows: 9, b: 11.62, c: 5.33 },
  { windows: 17, b: 18.72, c: 9.05 },
  { windows: 33, b: 27.63, c: 13.21 },
  { windows: 65, b: 37.49, c: 16.7 },
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
