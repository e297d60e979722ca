/** The trade as a table: leaving it, the advised filters, the second choice, a low-pass alone, and more of the same. */
import type { AxisIdentification } from '../identification/identify.js';
import {
  lowPassFilters,
  lowPassLagDeg,
  notchCandidate,
  notchFilterOf,
  notchLagDeg,
  type CandidateInput,
} from './candidate-filters.js';
import { rippleOf, worstOf } from './demand-ripple.js';
import { existingChain, existingNotch } from './existing-filters.js';
import { marginsPerAxis, type FilterChange } from './filtered-margins.js';
import { filterSet, leastLag, type FilterSet, type SearchInput } from './place-notches.js';
import type { Alternative, LowPassSetting, NotchSetting, PerAxis } from './plan-types.js';

export interface TradeInput extends CandidateInput {
  readonly search: SearchInput;
  readonly loops: PerAxis<AxisIdentification>;
}

/** Lags are also given at these, for loops of which the crossover is only assumed. */
const LAG_HZ = [2, 5, 10];
const WIDER = 1.5;
const DEEPER_DB = 10;

export function tabulateAlternatives(input: TradeInput, advised: FilterSet): Alternative[] {
  const none = filterSet(input.model, [], null);
  const table = [describe('no new filter', none, input, true)];
  const isNothing = advised.notches.length === 0 && advised.lowPass === null;
  if (!isNothing) table.push(describe('advised', advised, input, true));
  const other = isNothing ? null : leastLag(input.search, (set) => signature(set) === signature(advised));
  if (other !== null) table.push(describe('second choice', other, input, false));
  const lowPass = lowPassAlone(input);
  if (lowPass !== null && (other === null || signature(lowPass) !== signature(other)))
    table.push(describe('low-pass alone', lowPass, input, false));
  const more = isNothing ? null : widerAndDeeper(input, advised);
  if (more !== null) table.push(describe('wider and deeper', more, input, false));
  return table;
}

/** What is filtered and how, whatever the width and depth. */
const signature = (set: FilterSet): string =>
  JSON.stringify([
    set.lowPass !== null,
    set.notches.map((each) => [each.target, each.setting.scheduledBy !== null]).sort(),
  ]);

/** The fastest low-pass that reaches the target, else the slowest tried. */
function lowPassAlone({ model, search }: TradeInput): FilterSet | null {
  const sets = search.lowPasses.map((each) => filterSet(model, [], each)).sort((a, b) => a.lagDeg - b.lagDeg);
  return sets.find((set) => worstOf(rippleOf(model, set.powerGain)) <= model.target) ?? sets.at(-1) ?? null;
}

function widerAndDeeper(input: TradeInput, advised: FilterSet): FilterSet | null {
  if (advised.notches.length === 0) return null;
  const notches = advised.notches.map(({ setting, target }) =>
    notchCandidate(
      {
        ...setting,
        bandwidthHz: Math.min(WIDER * setting.bandwidthHz, 0.4 * input.filterRateHz),
        depthDb: setting.depthDb + DEEPER_DB,
      },
      target,
      input,
    ),
  );
  return filterSet(input.model, notches, advised.lowPass);
}

function describe(name: string, set: FilterSet, input: TradeInput, withDraws: boolean): Alternative {
  const { model, existing, filterRateHz, loops } = input;
  const notches = set.notches.map((each) => each.setting);
  const lowPass = set.lowPass?.setting ?? null;
  const ripple = rippleOf(model, set.powerGain);
  const worstRipple = worstOf(ripple);
  const lagAt = (hz: number): number =>
    notches.reduce((sum, each) => sum + notchLagDeg(each, hz, filterRateHz), 0) +
    (lowPass === null ? 0 : lowPassLagDeg(lowPass, existing, hz, filterRateHz));
  return {
    name,
    notches,
    lowPass,
    ripple,
    worstRipple,
    meetsTarget: worstRipple <= model.target * (1 + 1e-9),
    phaseLagDeg: lagAt(input.lagAtHz),
    lagsDeg: LAG_HZ.map((frequencyHz) => ({ frequencyHz, lagDeg: lagAt(frequencyHz) })),
    margins: marginsPerAxis(loops, filterChange(notches, lowPass, input), withDraws),
  };
}

/** What enters and leaves the loop with these settings. */
export function filterChange(
  notches: readonly NotchSetting[],
  lowPass: LowPassSetting | null,
  { existing, filterRateHz }: Pick<CandidateInput, 'existing' | 'filterRateHz'>,
): FilterChange {
  const low = lowPass === null ? null : lowPassFilters(lowPass, existing, filterRateHz);
  // A loop identified from a gyro logged before the filters lacks what the controller has.
  const unseen = existing.rateIsRaw ? existingChain(existing, existing.taken.lowPassOrder, filterRateHz) : [];
  return {
    added: [
      ...unseen,
      ...notches.map((each) => notchFilterOf(each, filterRateHz)),
      ...(low === null ? [] : [low.own]),
    ],
    removed: [
      ...notches.flatMap(({ replaces }) =>
        replaces === null ? [] : [existingNotch(replaces, filterRateHz)],
      ),
      ...(low === null || low.old === null ? [] : [low.old]),
    ],
    filterRateHz,
    centresHz: notches.map(({ centreHz }) => centreHz),
  };
}
