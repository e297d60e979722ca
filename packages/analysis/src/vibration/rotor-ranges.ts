/** Where in a log lines of rotors may stand whose speeds are not logged. */
import { FOLDS_BELOW_HZ } from './find-rotors.js';
import type { RotorRange } from './plain-lines.js';
import type { RotorAngles } from './rotor-angles.js';
import { foldedHz } from './rotor-lines.js';

/** Orders that rotors make most, and those that are strong enough to be seen folded. */
const USUAL_ORDERS = [1, 2, 3, 4];
const STRONG_ORDERS = [1, 2];
/** Found speeds are known to this share, so what the rotors leave may stand as far beside them. */
const BESIDE = 0.008;

/** A rotor that does not show where its command makes one expect it may stand this far from all others, as a share. */
const ASTRAY = 0.12;

/**
 * Where rotors stand whose speeds were found. With logged ones nothing of them is left, and where the throttle moves what stays in its
 * place is none of them. In a slow log one that was not found among the others may be folded anywhere near them.
 *
 * @param rateHz of the log
 */
export function unloggedRanges(
  {
    from,
    rotors,
    unseen,
    exponent,
  }: Pick<RotorAngles, 'from' | 'unseen' | 'exponent'> & {
    readonly rotors: readonly { readonly meanHz: number }[];
  },
  rateHz: number,
): RotorRange[] {
  if (from === 'speed-channel' || exponent !== null) return [];
  const firstHz = Math.min(...rotors.map(({ meanHz }) => meanHz));
  const lastHz = Math.max(...rotors.map(({ meanHz }) => meanHz));
  const range = (order: number, beside: number): Omit<RotorRange, 'unseen'> =>
    foldedRange(order, order * (1 - beside) * firstHz, order * (1 + beside) * lastHz, rateHz);
  return [
    ...USUAL_ORDERS.filter((order) => STRONG_ORDERS.includes(order) || order * lastHz < rateHz / 2).map(
      (order) => ({ ...range(order, BESIDE), unseen: false }),
    ),
    ...(unseen > 0 && rateHz < FOLDS_BELOW_HZ
      ? STRONG_ORDERS.map((order) => ({ ...range(order, ASTRAY), unseen: true }))
      : []),
  ];
}

/** Where what lies between two frequencies stands in a log. */
function foldedRange(
  order: number,
  fromHz: number,
  toHz: number,
  rateHz: number,
): Omit<RotorRange, 'unseen'> {
  const ends = [foldedHz(fromHz, rateHz), foldedHz(toHz, rateHz)];
  const half = rateHz / 2;
  // Beyond a multiple of half the rate it turns round there.
  const turns = Math.floor(fromHz / half) !== Math.floor(toHz / half);
  const atTop = turns && Math.floor(toHz / half) % 2 === 1;
  return {
    order,
    lowHz: turns && !atTop ? 0 : Math.min(...ends),
    highHz: atTop ? half : Math.max(...ends),
    trueHz: (fromHz + toHz) / 2,
  };
}
