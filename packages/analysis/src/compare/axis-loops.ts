/** The loops of one axis over all hovers, from plants pooled over those of one build. */
import { AXES, type AxisName } from '@settle/parser';
import { spread } from '../identification/describe-axis.js';
import type { PlantParameters } from '../identification/plant-model.js';
import type { HoverSummary } from './hover-summary.js';
import { loopMetrics, vergeHz, type LoopMetrics } from './loop-metrics.js';
import {
  groupByEffectiveness,
  stickNormal,
  type EffectivenessGroups,
  type FoundChange,
} from './effectiveness.js';
import { poolPlants } from './plant-pool.js';

/** Of one axis in one hover. */
export interface HoverLoops {
  /** With the likeliest plant; null where plant or controller is not known. */
  readonly best: LoopMetrics | null;
  /** Frequency and damping ratio of its oscillatory poles. */
  readonly poles: readonly { readonly hz: number; readonly dampingRatio: number }[];
  /** Where the motors' stops would hold it, Hz; null for a stable loop. */
  readonly vergeHz: number | null;
  /** With as likely plants, the same ones in the same order for every hover of one build. */
  readonly draws: readonly LoopMetrics[];
  readonly plant: PlantParameters | null;
  readonly plantDraws: readonly PlantParameters[];
  readonly effectivenessStd: number | null;
  /** Hovers whose plants are pooled here. */
  readonly pooledFrom: readonly number[];
  /** Sticks showed the plant, in one of them at least. */
  readonly fromSticks: boolean;
}

export interface AxisLoopsOverHovers {
  readonly axis: AxisName;
  readonly hovers: readonly HoverLoops[];
}

/** The loops of all axes, and the changes of effectiveness found on the way. */
export interface LoopsOverHovers {
  readonly axes: readonly AxisLoopsOverHovers[];
  readonly changes: readonly FoundChange[];
}

/** @param builds number of the declared build of each hover: hovers of different builds share nothing */
export function loopsOverHovers(hovers: readonly HoverSummary[], builds: readonly number[]): LoopsOverHovers {
  const out: Record<AxisName, HoverLoops[]> = {
    roll: hovers.map(() => NOTHING),
    pitch: hovers.map(() => NOTHING),
    yaw: hovers.map(() => NOTHING),
  };
  const changes: FoundChange[] = [];
  let last: EffectivenessGroups['last'] = { roll: [], pitch: [], yaw: [] };
  for (const build of [...new Set(builds)]) {
    const members = hovers.map((_, h) => h).filter((h) => builds[h] === build);
    const grouped = groupByEffectiveness(hovers, members, last);
    changes.push(...grouped.found);
    last = grouped.last;
    for (const axis of AXES)
      solveBuild(axis, hovers, members, grouped.groups[axis]).forEach((own, i) => {
        out[axis][members[i]!] = own;
      });
  }
  return { axes: AXES.map((axis) => ({ axis, hovers: out[axis] })), changes };
}

const NOTHING: HoverLoops = {
  best: null,
  poles: [],
  vergeHz: null,
  draws: [],
  plant: null,
  plantDraws: [],
  effectivenessStd: null,
  pooledFrom: [],
  fromSticks: false,
};

function solveBuild(
  axis: AxisName,
  hovers: readonly HoverSummary[],
  members: readonly number[],
  groups: readonly number[],
): HoverLoops[] {
  const withStick = members.filter((h) => stickNormal(hovers[h]!, axis) !== null);
  const used =
    withStick.length > 0 ? withStick : members.filter((h) => hovers[h]!.axes[axis].normal !== null);
  if (used.length === 0) return members.map(() => NOTHING);
  // Groups without a plant of their own take that of the nearest before (or after) them.
  const known = [...new Set(used.map((h) => groups[members.indexOf(h)]!))];
  const place = (g: number): number => {
    const at = known.filter((k) => k <= g).at(-1) ?? known[0]!;
    return known.indexOf(at);
  };
  const hoverGroups = members.map((_, i) => place(groups[i]!));
  const pooled = poolPlants(
    used.map((h) => hovers[h]!.axes[axis].normal!),
    used.map((h) => hoverGroups[members.indexOf(h)]!),
    hoverGroups,
  );
  return members.map((h, i) => {
    const { controller, gyroDelayS } = hovers[h]!.axes[axis];
    const plant = pooled.plants[hoverGroups[i]!]!;
    const plantDraws = pooled.draws.map((draw) => draw[i]!);
    const pooledFrom = used.filter((u) => hoverGroups[members.indexOf(u)] === hoverGroups[i]);
    const fromSticks = withStick.length > 0;
    const effectivenessStd = spread(plantDraws.map((d) => d.effectiveness));
    if (controller === null)
      return { ...NOTHING, plant, plantDraws, effectivenessStd, pooledFrom, fromSticks };
    const best = loopMetrics({ controller, gyroDelayS }, plant);
    const draws = plantDraws.map((draw) => loopMetrics({ controller, gyroDelayS }, draw, best.poles));
    return {
      best,
      poles: best.poles.map((p) => ({
        hz: p.im / (2 * Math.PI),
        dampingRatio: -p.re / Math.hypot(p.re, p.im),
      })),
      vergeHz:
        best.dampingRatio !== null && best.dampingRatio < 0.05
          ? vergeHz({ controller, gyroDelayS }, plant)
          : null,
      draws,
      plant,
      plantDraws,
      effectivenessStd,
      pooledFrom,
      fromSticks,
    };
  });
}
