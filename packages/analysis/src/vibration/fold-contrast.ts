/**
 * In a slow log whose throttle hardly moves: does a family stand where it is, or at the sample rate less that? Both fold to the same
 * places, but the lines of one wander one way with the commands, those of the other the other way, and farther. Nothing is said of
 * whether it turns at all: what does not wander speaks for the nearer of the two.
 */
import type { PeakCluster } from './find-base.js';
import { coursesBy, explainedBy, surroundingsOf } from './explain-line.js';
import type { Commands } from './relative-speeds.js';

const POWERS = [0.5, 0.75, 1];
const LAGS_S = [0.04, 0.09];
const ORDERS = [1, 2, 3];
/** A peak this near to where a multiple stands in the log is taken for it: share of the multiple, and Hz. */
const NEAR_SHARE = 0.015;
const NEAR_HZ = 1;

/**
 * @param clusters peaks of the records, the highest first
 * @returns how much better the family’s lines are explained by rotors at the base than at the rate less the base: log of likelihoods,
 *   were the noise all there is; 0 where no line of it stands
 */
export function foldContrast(
  commands: Commands,
  clusters: readonly PeakCluster[],
  baseHz: number,
  rateHz: number,
): number {
  let sum = 0;
  for (const order of ORDERS) {
    const at = Math.abs(signedFold(order * baseHz, rateHz));
    const reach = Math.max(NEAR_HZ, NEAR_SHARE * order * baseHz);
    const own = clusters.find(({ hz }) => Math.abs(hz - at) < reach);
    if (own === undefined) continue;
    const { record } = own.at[0]!;
    const around = surroundingsOf(record, own.hz);
    const courses = POWERS.flatMap((power) => LAGS_S.map((lagS) => coursesBy(commands, power, lagS, record)));
    const left = (trueHz: number): number => {
      const signed = Math.sign(signedFold(trueHz, rateHz)) * trueHz;
      return Math.min(...courses.map((some) => explainedBy(around, some, signed).left));
    };
    sum += around.freedom * (left(order * (rateHz - baseHz)) - left(order * baseHz));
  }
  return sum;
}

/** Where a frequency stands in the log; negative where it runs the other way. */
function signedFold(hz: number, rateHz: number): number {
  return hz - Math.round(hz / rateHz) * rateHz;
}
