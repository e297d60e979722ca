/** Which of several bases is once per revolution: by what the rotors hold around each, all placed together. */
import type { PlacedBase, RoughBase } from './place-rotors.js';

/** Multiples of a base that may be taken for it, and how near a ratio is to one, as a share. */
const MULTIPLES = [2, 3, 4];
const SAME_MULTIPLE = 0.04;

/** Of a base and a multiple of it the base is it where so much of what it holds is of orders that are none of the multiple’s. */
const OWN_SHARE = 0.2;
/** The first line of a base that was found as a multiple of it holds at least this share. */
const FIRST_HELD = 0.1;

/** A lower base must hold so many times as much as the multiple that was found first, and another base as the one that is likelier. */
const LOWER_HOLDS = 1.3;
const OTHER_HOLDS = 1.25;

/** Of bases, the likeliest first, the one around which the rotors hold most. */
export function heldMost<Base extends RoughBase>(
  bases: readonly Base[],
  placed: (base: Base) => (Base & PlacedBase) | null,
): (Base & PlacedBase) | null {
  let best: (Base & PlacedBase) | null = null;
  for (const base of bases) {
    const one = placed(base);
    if (one !== null && (best === null || isBetter(one, best))) best = one;
  }
  return best;
}

/** The same, if it holds so much more than any other one that has lines of its own, and its first line stands; else null. */
export function heldClearlyMost<Base extends RoughBase>(
  bases: readonly Base[],
  placed: (base: Base) => (Base & PlacedBase) | null,
): (Base & PlacedBase) | null {
  const all = bases.flatMap((base) => placed(base) ?? []);
  const best = heldMost(all, (one) => one);
  if (best === null || !holdsFirst(best)) return null;
  const rivals = all.filter(
    ({ baseHz }) =>
      Math.abs(baseHz / best.baseHz - 1) > SAME_MULTIPLE &&
      !isMultiple(baseHz, best.baseHz) &&
      !isMultiple(best.baseHz, baseHz),
  );
  return rivals.every(({ held }) => best.held > OTHER_HOLDS * held) ? best : null;
}

function isBetter(one: PlacedBase, than: PlacedBase): boolean {
  for (const multiple of MULTIPLES) {
    if (isNearMultiple(than.baseHz, one.baseHz, multiple))
      return one.held > LOWER_HOLDS * than.held && holdsFirst(one) && holdsOwn(one, multiple);
    if (isNearMultiple(one.baseHz, than.baseHz, multiple)) return !holdsOwn(than, multiple);
  }
  // What runs off half or a third of a base is told from it no better than they are.
  return one.held > OTHER_HOLDS * than.held && (one.baseHz > than.baseHz || holdsFirst(one));
}

/** Less than this share at the first multiple is nothing. */
const NOTHING = 0.02;

/** Whether anything is held once per revolution: without it a base may as well be a part of itself. */
export function showsFirst({ byOrder }: Pick<PlacedBase, 'byOrder'>): boolean {
  return byOrder[0]! > NOTHING * byOrder.reduce((sum, held) => sum + held, 0);
}

/** Whether the first line of a base stands. */
function holdsFirst({ byOrder }: PlacedBase): boolean {
  return byOrder[0]! > FIRST_HELD * byOrder.reduce((sum, held) => sum + held, 0);
}

/** Whether the first line of a base stands and another one, folded or not, at a multiple of it. */
export function holdsFamily(one: PlacedBase): boolean {
  const all = one.byOrder.reduce((sum, held) => sum + held, 0);
  return holdsFirst(one) && one.byOrder.some((held, o) => o > 0 && held > FIRST_HELD * all);
}

/** Whether lines stand at orders of a base that are none of a multiple of it. */
function holdsOwn({ byOrder }: PlacedBase, multiple: number): boolean {
  const all = byOrder.reduce((sum, held) => sum + held, 0);
  const own = byOrder.reduce((sum, held, o) => sum + ((o + 1) % multiple === 0 ? 0 : held), 0);
  return own > OWN_SHARE * all;
}

/** Whether the one may be a multiple of the other, and be taken for it. */
export function isMultiple(higherHz: number, lowerHz: number): boolean {
  return MULTIPLES.some((multiple) => isNearMultiple(higherHz, lowerHz, multiple));
}

function isNearMultiple(higherHz: number, lowerHz: number, multiple: number): boolean {
  return Math.abs(higherHz / lowerHz / multiple - 1) < SAME_MULTIPLE;
}
