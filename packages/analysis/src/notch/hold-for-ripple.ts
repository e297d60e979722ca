/**
 * Gains go up only as far as vibration lets them: more D makes more ripple of the same shaking, and where no filter worth its lag
 * takes that out, a raise that is not needed for safety waits until the shaking is mended.
 */
import type { AxisDecision } from '../identification/gain-advice.js';
import { atLeast, meets, tradeOf, type GainDecision } from '../identification/decide-gains.js';
import { applyFactors, predict, REQUIRED, type GainFactors } from '../identification/gain-search.js';
import type { AxisIdentification } from '../identification/identify.js';
import { isOnlyWeak } from '../identification/loop-findings.js';
import type { BothMargins } from '../identification/loop-model.js';
import type { StudiedPlan } from './plan-types.js';

/** Shares of the way from today's gains to the advised ones, as powers of the factors. */
const SHARES = [0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1];
/** Ripple or not, a loop is raised until it crosses over at this share of what margins allow: too loose is a danger too. */
const LOOSE_SHARE = 0.45;
const NO_CHANGE = 0.03;

/** @returns the decisions as they were where vibration does not stand against them */
export function heldForRipple(decisions: readonly AxisDecision[], studied: StudiedPlan): AxisDecision[] {
  return decisions.map((decision) => {
    const { id, measured, supposed } = decision;
    if (measured !== null) return { ...decision, measured: withHold(id, measured, studied) };
    if (supposed === null || id.supposed === null) return decision;
    const { plant, draws } = id.supposed;
    return { ...decision, supposed: withHold({ ...id, plant, draws }, supposed, studied) };
  });
}

function withHold(
  id: AxisIdentification,
  decision: GainDecision,
  { plan, rippleWith }: StudiedPlan,
): GainDecision {
  const { factors, today, crossoverShare } = decision;
  const { controller, plant } = id;
  if (factors === null || controller === null || plant === null) return decision;
  if (Math.max(factors.P, factors.D) <= 1 + NO_CHANGE) return decision;
  // A loop near its limit is mended, whatever more D makes of the vibration; one short of phase because it is weak is a weak one.
  if (decision.why === 'too-tight' && (today.rate === null || !isOnlyWeak(today.rate, decision)))
    return decision;
  const { axis } = id;
  const whole = rippleWith(axis, applyFactors(controller, factors));
  const allowed = Math.max(plan.ripple.target, plan.ripple.flown[axis] ?? 0);
  if (whole === null || whole <= allowed) return decision;
  const crossoverHz = today.rate?.crossoverHz ?? null;
  const leastHz =
    crossoverHz === null || crossoverShare === null ? 0 : (LOOSE_SHARE * crossoverHz) / crossoverShare;
  const most = SHARES.map((share) => {
    const some = shareOf(factors, share);
    return {
      some,
      ripple: rippleWith(axis, applyFactors(controller, some))!,
      expected: predict(id, plant, some),
    };
  }).filter(({ expected }) => isEnough(expected, leastHz));
  const percent = (share: number): string => `${(100 * share).toPrecision(2)} %`;
  const would = `the margins allow more, but vibration and the noise of the gyro would then make a ripple of ${percent(whole)} of full demand`;
  const wanted = `${percent(plan.ripple.target)} is wanted`;
  const quiet = most.find(({ ripple }) => ripple <= allowed) ?? null;
  // Fast enough and as loud as it may be: it stays as it is.
  if (quiet === null && leastHz > 0 && isEnough(today, leastHz))
    return {
      ...decision,
      factors: null,
      expected: today,
      expectedAtLeast: atLeast(id, { P: 1, I: 1, D: 1, attitude: 1 }),
      trade: [],
      limited: `${would}; ${wanted}`,
    };
  const kept = quiet ?? most.at(-1);
  if (kept === undefined) return decision;
  return {
    ...decision,
    factors: kept.some,
    expected: kept.expected!,
    expectedAtLeast: atLeast(id, kept.some),
    trade: tradeOf(id, plant, kept.some),
    limited: `${would} (${percent(kept.ripple)} with these gains; ${wanted}): take out what shakes, or mount the sensor softer, first`,
  };
}

/** Whether margins are what is required, in a loop fast enough to hold the aircraft. */
function isEnough(margins: BothMargins | null, leastHz: number): boolean {
  const rate = margins?.rate ?? null;
  return meets(rate, REQUIRED) && margins?.attitude?.stable !== false && (rate?.crossoverHz ?? 0) >= leastHz;
}

function shareOf({ P, I, D, attitude }: GainFactors, share: number): GainFactors {
  return { P: P ** share, I: I ** share, D: D ** share, attitude: attitude ** share };
}
