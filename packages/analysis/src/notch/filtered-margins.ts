/** Margins of the identified rate loop with proposed filters in it: the same plant, controller and drawn plants as the gain advice. */
import type { AxisName } from '@settle/parser';
import { complex, divide, multiply, type Complex } from '../control/complex.js';
import { findLoopMargins, type LoopMargins } from '../control/margins.js';
import type { Margins } from '../diagnosis.js';
import { chainResponse, type FilterChain } from '../filters/index.js';
import { drawnMargins } from '../identification/drawn-margins.js';
import { describeModel, spread } from '../identification/describe-axis.js';
import { loopsOf, type AxisIdentification } from '../identification/identify.js';
import { judged, LOOP_GRID, rateLoopAt, type AxisLoops } from '../identification/loop-model.js';
import { isUnavailable, type Unavailable } from '../unavailable.js';
import type { PerAxis } from './plan-types.js';

/** Filters that come into the loop, and those that leave it. */
export interface FilterChange {
  readonly added: FilterChain;
  readonly removed: FilterChain;
  readonly filterRateHz: number;
  /** Centres of added notches, where the loop turns fast, Hz. */
  readonly centresHz: readonly number[];
}

/** Response of the change at ω: added over removed. */
export function changeAt({ added, removed, filterRateHz }: FilterChange, omega: number): Complex {
  const hz = omega / (2 * Math.PI);
  const gained = chainResponse(added, hz, filterRateHz);
  return removed.length === 0 ? gained : divide(gained, chainResponse(removed, hz, filterRateHz));
}

/** Rate loop with a change of filters in it, broken at the demand, attitude loop open; null where its course cannot be told. */
export function filteredMargins(loops: AxisLoops, change: FilterChange): LoopMargins | null {
  const seen = judged(loops);
  const margins = findLoopMargins({
    response: (omega) => multiply(rateLoopAt(seen, complex(0, omega)), changeAt(change, omega)),
    lowestRadS: LOOP_GRID[0]!,
    highestRadS: LOOP_GRID[LOOP_GRID.length - 1]!,
    points: 120,
    resonancesRadS: change.centresHz
      .map((hz) => 2 * Math.PI * hz)
      .filter((omega) => omega < LOOP_GRID[LOOP_GRID.length - 1]!),
    polesAtOrigin: loops.controller.ki === 0 ? 0 : 1,
    unstablePoles: 0,
  });
  return 'unavailable' in margins ? null : margins;
}

/**
 * Rate-loop margins of every identified axis. Their standard deviation is that over the drawn plants, and beyond it what the
 * diagnosis adds to today's margins for all that a plant of a few numbers leaves out.
 *
 * @param withDraws false leaves the standard deviations null, and is forty times as quick
 */
export function marginsPerAxis(
  loops: PerAxis<AxisIdentification>,
  change: FilterChange,
  withDraws: boolean,
): PerAxis<Margins | Unavailable> {
  const out: Partial<Record<AxisName, Margins | Unavailable>> = {};
  for (const [axis, id] of Object.entries(loops))
    out[axis as AxisName] = marginsOfAxis(id, change, withDraws);
  return out;
}

function marginsOfAxis(
  id: AxisIdentification,
  change: FilterChange,
  withDraws: boolean,
): Margins | Unavailable {
  const today = describeModel(id, []).rate;
  if (isUnavailable(today)) return today;
  const loops = id.plant === null ? null : loopsOf(id, id.plant);
  const margins = loops === null ? null : filteredMargins(loops, change);
  if (margins === null)
    return {
      unavailable: 'the loop’s course at low frequency cannot be told from this hover; fly longer and calmer',
    };
  const from = `${today.from}; filters added`;
  if (!withDraws) return { ...margins, gainMarginStdDb: null, phaseMarginStdDeg: null, from };
  const own = drawnMargins(id).map((drawn) => ({
    before: drawn.margins.rate,
    after: filteredMargins(drawn.loops, change),
  }));
  const std = (of: (m: LoopMargins) => number | null, stated: number | null): number | null => {
    const before = spread(own.map(({ before: m }) => (m === null ? null : of(m))));
    const after = spread(own.map(({ after: m }) => (m === null ? null : of(m))));
    if (stated === null || after === null) return null;
    const model = before === null ? stated : Math.sqrt(Math.max(0, stated ** 2 - before ** 2));
    return Math.hypot(after, model);
  };
  return {
    ...margins,
    gainMarginStdDb: margins.gainMarginDb === null ? null : std((m) => m.gainMarginDb, today.gainMarginStdDb),
    phaseMarginStdDeg:
      margins.phaseMarginDeg === null ? null : std((m) => m.phaseMarginDeg, today.phaseMarginStdDeg),
    from,
  };
}

/** Where the lag counts. */
export interface LagPoint {
  readonly hz: number;
  readonly from: 'crossover' | 'assumed';
  readonly assumption: string | null;
}

/** Of a rate loop on such an aircraft, where none is identified (common practice, no source). */
const ASSUMED_CROSSOVER_HZ = 5;

/** The highest crossover of the identified rate loops: below a notch its lag rises with frequency, so there it costs most. */
export function lagPoint(loops: PerAxis<AxisIdentification>): LagPoint {
  const known = Object.values(loops).flatMap((id) => {
    const hz = id.margins?.rate?.crossoverHz ?? null;
    return hz === null || !(hz > 0) ? [] : [hz];
  });
  if (known.length > 0) return { hz: Math.max(...known), from: 'crossover', assumption: null };
  return {
    hz: ASSUMED_CROSSOVER_HZ,
    from: 'assumed',
    assumption: `no rate loop could be identified, so its crossover is not known; lags are given at ${ASSUMED_CROSSOVER_HZ} Hz, an assumption; far below a notch the lag is in proportion to the frequency, so which filter is cheapest hardly depends on it`,
  };
}
