/**
 * Did what a demand does to the aircraft change between hovers of one build, or between builds?
 *
 * What changes inertia or rotors usually shows on several axes. So the axes are first asked together, as one common factor
 * (inverse-variance mean), and one by one where they disagree.
 */
import { AXES, type AxisName } from '@settle/parser';
import type { PlantNormal } from '../identification/fit-plant.js';
import { chiSquareProbability, differenceP, holmAdjusted } from '../statistics/index.js';
import type { HoverSummary } from './hover-summary.js';
import { effectivenessChange, type EffectivenessChange } from './plant-pool.js';
import { eachAxis } from '../per-axis.js';

/** A hover whose effectiveness is another than that of the hovers before. */
export interface FoundChange extends EffectivenessChange {
  readonly hover: number;
  /** Hovers it is measured against. */
  readonly against: readonly number[];
  /** Axes that it holds for; more than one: as one common factor. */
  readonly axes: readonly AxisName[];
  /** The parts were declared to be others. */
  readonly declared: boolean;
}

/** A change counts when it is this sure and at least this large (ln): half of what is worth knowing. */
const CHANGE_P = 0.01;
const SMALLEST_CHANGE = 0.08;
/** Axes that differ with this p-value have no factor in common. */
const DISAGREE_P = 0.01;

/** Hovers whose sticks showed the plant of an axis: a swing at the stops is no measure of a change. */
export function stickNormal(hover: HoverSummary, axis: AxisName): PlantNormal | null {
  const { shownByStick, normal } = hover.axes[axis];
  return shownByStick ? normal : null;
}

/** Per axis the group of each member: hovers of one group share one effectiveness. */
export interface EffectivenessGroups {
  readonly groups: Readonly<Record<AxisName, readonly number[]>>;
  readonly found: readonly FoundChange[];
  /** Hovers of the last group of each axis. */
  readonly last: Readonly<Record<AxisName, readonly number[]>>;
}

/**
 * @param members hovers of one build, in order
 * @param before hovers of the build before, per axis, to measure the first against
 */
export function groupByEffectiveness(
  hovers: readonly HoverSummary[],
  members: readonly number[],
  before: Readonly<Record<AxisName, readonly number[]>>,
): EffectivenessGroups {
  const groups = eachAxis((): number[] => []);
  const current = eachAxis((): number[] => []);
  const group = eachAxis(() => 0);
  const found: FoundChange[] = [];
  const changesOf = (h: number, against: Readonly<Record<AxisName, readonly number[]>>): AxisChange[] =>
    AXES.flatMap((axis) => {
      const later = stickNormal(hovers[h]!, axis);
      const earlier = against[axis].flatMap((other) => stickNormal(hovers[other]!, axis) ?? []);
      return later === null || earlier.length === 0
        ? []
        : [{ axis, change: effectivenessChange(earlier, later), against: against[axis] }];
    });
  for (const h of members) {
    const declared = AXES.every((axis) => current[axis].length === 0);
    for (const change of decide(changesOf(h, declared ? before : current))) {
      found.push({ ...change, hover: h, declared });
      if (declared) continue;
      for (const axis of change.axes) {
        group[axis]++;
        current[axis] = [];
      }
    }
    for (const axis of AXES) {
      if (stickNormal(hovers[h]!, axis) !== null) current[axis].push(h);
      groups[axis].push(group[axis]);
    }
  }
  return { groups, found, last: current };
}

interface AxisChange {
  readonly axis: AxisName;
  readonly change: EffectivenessChange;
  readonly against: readonly number[];
}

function decide(changes: readonly AxisChange[]): Omit<FoundChange, 'hover' | 'declared'>[] {
  if (changes.length === 0) return [];
  const weights = changes.map(({ change }) => change.std ** -2);
  const total = weights.reduce((a, b) => a + b, 0);
  const mean = changes.reduce((sum, { change }, i) => sum + weights[i]! * change.lnRatio, 0) / total;
  const spread = changes.reduce((sum, { change }) => sum + ((change.lnRatio - mean) / change.std) ** 2, 0);
  const agree = changes.length === 1 || 1 - chiSquareProbability(spread, changes.length - 1) >= DISAGREE_P;
  if (agree) {
    const std = 1 / Math.sqrt(total);
    const p = differenceP(mean, std);
    return p < CHANGE_P && Math.abs(mean) > SMALLEST_CHANGE
      ? [{ lnRatio: mean, std, p, axes: changes.map(({ axis }) => axis), against: changes[0]!.against }]
      : [];
  }
  const adjusted = holmAdjusted(changes.map(({ change }) => change.p));
  return changes.flatMap(({ axis, change, against }, i) =>
    adjusted[i]! < CHANGE_P && Math.abs(change.lnRatio) > SMALLEST_CHANGE
      ? [{ ...change, p: adjusted[i]!, axes: [axis], against }]
      : [],
  );
}
