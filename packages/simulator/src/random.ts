/**
 * A small seeded generator, so that every simulated flight can be repeated from its seed alone.
 *
 * Uniform numbers come from mulberry32 (T. Ettinger, public domain; a 32-bit Weyl sequence with a multiply-xorshift
 * output, constants from memory), normal ones from the polar method (G. Marsaglia and T. A. Bray, "A convenient method
 * for generating normal variables", SIAM Review 6, 1964). Good enough to shake a simulated aircraft; not for secrets.
 */
export interface Random {
  /** Uniform in [0, 1). */
  uniform(): number;
  /** Uniform in [low, high). */
  between(low: number, high: number): number;
  /** Log-uniform in [low, high), both positive. */
  logBetween(low: number, high: number): number;
  /** Standard normal: mean 0, standard deviation 1. */
  normal(): number;
  /** True with the given probability. */
  chance(probability: number): boolean;
  /** One of the choices, each as likely. */
  pick<T>(choices: readonly T[]): T;
}

/** @param seed any finite number; only its integer value modulo 2^32 counts */
export function makeRandom(seed: number): Random {
  let state = (Math.imul(seed >>> 0, 0x9e3779b1) ^ 0x85ebca6b) >>> 0;
  let spare: number | null = null;
  const uniform = (): number => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
  const normal = (): number => {
    if (spare !== null) {
      const kept = spare;
      spare = null;
      return kept;
    }
    for (;;) {
      const a = 2 * uniform() - 1;
      const b = 2 * uniform() - 1;
      const s = a * a + b * b;
      if (s > 0 && s < 1) {
        const scale = Math.sqrt((-2 * Math.log(s)) / s);
        spare = b * scale;
        return a * scale;
      }
    }
  };
  return {
    uniform,
    normal,
    between: (low, high) => low + (high - low) * uniform(),
    logBetween: (low, high) => low * (high / low) ** uniform(),
    chance: (probability) => uniform() < probability,
    pick: (choices) => choices[Math.floor(uniform() * choices.length)]!,
  };
}

/**
 * A generator of its own for each subject (wind, gyro noise, …) of one flight, so that a change in one of them, or in
 * the gains, leaves the others' numbers as they were.
 */
export function makeStream(seed: number, subject: string): Random {
  // FNV-1a (Fowler, Noll, Vo; constants from memory) spreads the subject over the seeds.
  let hash = 0x811c9dc5 ^ (seed >>> 0);
  for (let i = 0; i < subject.length; i++) hash = Math.imul(hash ^ subject.charCodeAt(i), 0x01000193) >>> 0;
  return makeRandom(hash);
}
