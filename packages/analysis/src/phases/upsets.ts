/** Where an aircraft tipped over: in the air, or on the ground once it had landed. */
import type { Phase } from '../diagnosis.js';

/** Motors that turn the wrong way or answer one another's command tip an aircraft over sooner than this, s (judgement). */
const CAME_THROUGH_S = 2;

/**
 * Whether an upset happened on the ground after a hover: the aircraft had landed, perhaps in a swing, and its motors had run down. A tip-over on
 * the ground before the first hover is no such thing: that is how wrong motors show.
 */
export function tippedOnGround(phases: readonly Phase[], upset: Phase): boolean {
  let before = phases.indexOf(upset) - 1;
  while (phases[before]?.kind === 'upset') before--;
  return (
    phases[before]?.kind === 'ground' &&
    phases
      .slice(0, before)
      .some((phase) => phase.kind === 'hover' && phase.endS - phase.startS >= CAME_THROUGH_S)
  );
}

/** Whether any upset says that the aircraft could not be held. */
export const tippedInFlight = (phases: readonly Phase[]): boolean =>
  phases.some((phase) => phase.kind === 'upset' && !tippedOnGround(phases, phase));
