/**
 * Filters for the next hover: placed for the gains that are advised for it, so that gains and filters rest on one prediction.
 */
import { AXES, type AxisName, type Flight, type GainsFile, type Interval } from '@settle/parser';
import type { Complex } from '../control/complex.js';
import { designLowPass, designNotch, type Biquad } from '../filters/index.js';
import type { AxisController } from '../identification/controller.js';
import type { AxisDecision } from '../identification/gain-advice.js';
import { applyFactors } from '../identification/gain-search.js';
import type { AxisIdentification } from '../identification/identify.js';
import type { VibrationStudy } from '../vibration/vibration-study.js';
import { changeAt } from './filtered-margins.js';
import { studyNotches } from './plan-notches.js';
import type { NotchPlan, StudiedPlan } from './plan-types.js';

/** @param decisions gains decided without any new filter */
export function planForNextHover(
  flight: Flight,
  hover: Interval,
  study: VibrationStudy,
  decisions: readonly AxisDecision[],
  gains: GainsFile | null,
): StudiedPlan {
  const controllers: Partial<Record<AxisName, AxisController>> = {};
  const flown: Partial<Record<AxisName, AxisController>> = {};
  const loops: Partial<Record<AxisName, AxisIdentification>> = {};
  for (const { axis, id, measured: shown, supposed, rule } of decisions) {
    const measured = shown ?? supposed;
    if (id.controller === null) continue;
    const factors = measured?.factors ?? rule?.factors ?? null;
    const controller = factors === null ? id.controller : applyFactors(id.controller, factors);
    controllers[axis] = controller;
    flown[axis] = id.controller;
    loops[axis] = { ...id, controller, margins: measured?.expected ?? id.margins };
  }
  const swinging = new Set(
    decisions.filter(({ id }) => id.evidence.equations.length > 0).map(({ axis }) => axis),
  );
  return studyNotches({ flight, hover, study, controllers, flown, loops, swinging, gains });
}

/** The same axes with the plan's filters in the loops of the next hover. */
export function withPlannedFilters(
  identified: Readonly<Record<AxisName, AxisIdentification>>,
  plan: NotchPlan,
): Readonly<Record<AxisName, AxisIdentification>> {
  const added = responseOf(plan);
  if (added === null) return identified;
  return Object.fromEntries(
    AXES.map((axis) => [axis, { ...identified[axis], addedFilters: added }]),
  ) as Record<AxisName, AxisIdentification>;
}

/** What the plan's filters do to the loop; those they take the place of are taken out. null: none are planned. */
function responseOf(plan: NotchPlan): ((omega: number) => Complex) | null {
  const rate = plan.filterRateHz;
  const added: Biquad[] = [];
  const removed: Biquad[] = [];
  for (const notch of plan.notches) {
    added.push(
      designNotch({ centreHz: notch.centreHz, widthHz: notch.bandwidthHz, depthDb: notch.depthDb }, rate),
    );
    if (notch.replaces !== null)
      removed.push(
        designNotch(
          {
            centreHz: notch.replaces.centreHz,
            widthHz: notch.replaces.bandwidthHz,
            depthDb: notch.replaces.depthDb,
          },
          rate,
        ),
      );
  }
  if (plan.lowPass !== null) {
    added.push(designLowPass(plan.lowPass.cutoffHz, 2, rate));
    if (plan.lowPass.replacesHz !== null) removed.push(designLowPass(plan.lowPass.replacesHz, 2, rate));
  }
  if (added.length === 0) return null;
  return (omega) => changeAt({ added, removed, filterRateHz: rate, centresHz: [] }, omega);
}
