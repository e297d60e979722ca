/** What may be the mains: tones at multiples of 50 or 60 Hz. */

/** Hz. */
const MAINS_HZ = [50, 60];
const HIGHEST_ORDER = 8;
/** Its tones stand this near to their multiples, as a share at the first of them. */
const TONE_SHARE = 0.004;
/** A base is told from a tone no better than rotors are placed around it, as a share. */
const BASE_SHARE = 0.03;

/** Which multiple a tone is; null: none. */
export function mainsOf(frequencyHz: number): { hz: number; order: number } | null {
  for (const hz of MAINS_HZ) {
    const order = Math.round(frequencyHz / hz);
    if (order < 1 || order > HIGHEST_ORDER) continue;
    const off = Math.abs(frequencyHz - order * hz);
    if (off <= (TONE_SHARE / Math.sqrt(order)) * order * hz) return { hz, order };
  }
  return null;
}

/** Lines of the other rotors stand within this share of the mean of all, and at most so far below the highest there, natural log. */
const BESIDE_SHARE = 0.08;
const MOST_BELOW = 5.5;

/**
 * Whether a base’s first line may be a tone of the mains, and no line beside it is another rotor’s: where nothing moves there is no telling
 * them apart.
 *
 * @param lines of the records and how high they stand, natural log, the highest first
 */
export function mayBeMains(
  lines: readonly { readonly hz: number; readonly height: number }[],
  baseHz: number,
): boolean {
  if (!MAINS_HZ.some((hz) => Math.abs(baseHz / hz - 1) < BASE_SHARE)) return false;
  const near = lines.filter(({ hz }) => Math.abs(hz / baseHz - 1) < BESIDE_SHARE);
  const least = (near[0]?.height ?? 0) - MOST_BELOW;
  return near.filter(({ hz, height }) => mainsOf(hz) === null && height > least).length < 2;
}
