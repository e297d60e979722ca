/** Gains and filters for the next hover, decided together. */
import type { AxisName, Flight, GainsFile, Interval } from '@settle/parser';
import { decideAll, type AxisDecision } from './identification/gain-advice.js';
import type { AxisIdentification } from './identification/identify.js';
import { heldForRipple } from './notch/hold-for-ripple.js';
import { planForNextHover, withPlannedFilters } from './notch/plan-next.js';
import type { StudiedPlan } from './notch/plan-types.js';
import { isUnavailable, type Unavailable } from './unavailable.js';
import type { VibrationStudy } from './vibration/vibration-study.js';

export interface NextHover {
  readonly decisions: readonly AxisDecision[];
  readonly planned: StudiedPlan | null;
}

/**
 * Gains and filters are one step: filters are placed for the gains that the loops call for, the gains are decided once more with the
 * filters in the loops, and where no filter takes out what higher gains make of the vibration, they are held, and filters placed for that.
 */
export function decideNextHover(
  flight: Flight,
  hover: Interval,
  identified: Readonly<Record<AxisName, AxisIdentification>> | null,
  vibration: VibrationStudy | Unavailable,
  gains: GainsFile | null,
): NextHover {
  const first = identified === null ? [] : decideAll(identified);
  if (isUnavailable(vibration)) return { decisions: first, planned: null };
  const decided = (planned: StudiedPlan): NextHover & { readonly unheld: readonly AxisDecision[] } => {
    const { notches, lowPass } = planned.plan;
    const unheld =
      identified === null || (notches.length === 0 && lowPass === null)
        ? first
        : decideAll(withPlannedFilters(identified, planned.plan));
    return { decisions: heldForRipple(unheld, planned), planned, unheld };
  };
  const once = decided(planForNextHover(flight, hover, vibration, first, gains));
  const isHeld = once.decisions.some(
    ({ measured, supposed }, i) =>
      measured !== once.unheld[i]!.measured || supposed !== once.unheld[i]!.supposed,
  );
  return isHeld ? decided(planForNextHover(flight, hover, vibration, once.decisions, gains)) : once;
}
