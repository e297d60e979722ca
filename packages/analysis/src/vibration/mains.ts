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

/** Whether a base’s first line may be a tone of the mains: where nothing moves there is no telling them apart. */
export function mayBeMains(baseHz: number): boolean {
  return MAINS_HZ.some((hz) => Math.abs(baseHz / hz - 1) < BASE_SHARE);
}
