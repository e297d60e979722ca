/**
 * Seeded random numbers for tests: the same seed gives the same numbers on every machine.
 *
 * Uniform: mulberry32, a 32-bit mixing generator (T. Ettinger, public domain; from memory). Normal: Box–Muller (G. Box and
 * M. Muller, Ann. Math. Statist. 29(2), 1958). Good enough for noise in tests, not for anything secret.
 */
export interface RandomSource {
  /** 0 ≤ u < 1. */
  uniform(): number;
  /** Standard normal. */
  normal(): number;
  /** `count` standard normal numbers. */
  normals(count: number): Float64Array;
}

export function randomSource(seed: number): RandomSource {
  let state = seed >>> 0;
  let spare: number | null = null;
  const uniform = (): number => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4294967296;
  };
  const normal = (): number => {
    if (spare !== null) {
      const value = spare;
      spare = null;
      return value;
    }
    const radius = Math.sqrt(-2 * Math.log(1 - uniform())); // 1 − u is never 0
    const angle = 2 * Math.PI * uniform();
    spare = radius * Math.sin(angle);
    return radius * Math.cos(angle);
  };
  const normals = (count: number): Float64Array => Float64Array.from({ length: count }, normal);
  return { uniform, normal, normals };
}
