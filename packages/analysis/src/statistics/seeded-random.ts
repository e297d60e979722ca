/** Random numbers that are the same for the same log, so that results can be repeated. */
export interface SeededRandom {
  /** 0 ≤ u < 1. */
  uniform(): number;
  /** Standard normal. */
  normal(): number;
}

/**
 * Mulberry32, a 32-bit mixing generator (T. Ettinger, public domain; from memory); normal by Box and Muller (Ann. Math. Statist.
 * 29(2), 1958). Good enough for resampling, not for anything secret.
 */
export function seededRandom(seed: number): SeededRandom {
  let state = seed >>> 0;
  const uniform = (): number => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4294967296;
  };
  // 1 − u is never 0.
  const normal = (): number => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform());
  return { uniform, normal };
}
