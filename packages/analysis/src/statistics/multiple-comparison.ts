/**
 * P-values of a family of tests, adjusted so that each may be held against one level for the whole family.
 *
 * Holm: S. Holm, "A simple sequentially rejective multiple test procedure", Scand. J. Statist. 6, 1979: the chance of any wrong
 * rejection in the family stays below the level, whatever the dependence. Benjamini–Hochberg: Y. Benjamini and Y. Hochberg, J. R.
 * Statist. Soc. B 57, 1995: the expected share of wrong ones among the rejections does.
 */

/** @throws RangeError on anything that is not from 0 to 1 */
export function holmAdjusted(pValues: readonly number[]): number[] {
  const order = ascending(pValues);
  const m = pValues.length;
  const out = new Array<number>(m);
  let highest = 0;
  order.forEach((index, rank) => {
    highest = Math.max(highest, Math.min(1, (m - rank) * pValues[index]!));
    out[index] = highest;
  });
  return out;
}

/** @throws RangeError on anything that is not from 0 to 1 */
export function benjaminiHochbergAdjusted(pValues: readonly number[]): number[] {
  const order = ascending(pValues);
  const m = pValues.length;
  const out = new Array<number>(m);
  let lowest = 1;
  for (let rank = m - 1; rank >= 0; rank--) {
    const index = order[rank]!;
    lowest = Math.min(lowest, (m / (rank + 1)) * pValues[index]!);
    out[index] = lowest;
  }
  return out;
}

/** Places of the values from small to large. */
function ascending(pValues: readonly number[]): number[] {
  for (const p of pValues) if (!(p >= 0 && p <= 1)) throw new RangeError(`not a probability: ${String(p)}`);
  return pValues.map((_, i) => i).sort((a, b) => pValues[a]! - pValues[b]!);
}
