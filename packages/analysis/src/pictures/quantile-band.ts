import type { Band } from './picture-data.js';

/** Fewest draws that a band is made of. */
const FEWEST = 8;

/**
 * 16th and 84th percentile of drawn curves, place by place; null where fewer than half of them have a value.
 *
 * @param curves all of the same length
 */
export function bandOf(curves: readonly (readonly (number | null)[])[], length: number): Band {
  const low: (number | null)[] = [];
  const high: (number | null)[] = [];
  for (let i = 0; i < length; i++) {
    const known = curves
      .map((curve) => curve[i] ?? null)
      .filter((value): value is number => value !== null && Number.isFinite(value))
      .sort((a, b) => a - b);
    const enough = known.length >= FEWEST && known.length >= curves.length / 2;
    const at = (share: number): number => known[Math.round(share * (known.length - 1))]!;
    low.push(enough ? at(0.16) : null);
    high.push(enough ? at(0.84) : null);
  }
  return { low, high };
}
