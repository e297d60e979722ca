/** Margins of the rate loop along a change of its gains: how far to go, and what is left there. */
import { multiply, type Complex } from '../control/complex.js';
import { marginsOnGrid, type LoopMargins } from '../control/margins.js';
import { controllerAt } from '../identification/controller.js';
import type { AxisDecision } from '../identification/gain-advice.js';
import { applyFactors, REQUIRED, type GainFactors } from '../identification/gain-search.js';
import { judged, LOOP_GRID } from '../identification/loop-model.js';
import { plantAt, type PlantParameters } from '../identification/plant-model.js';
import type { Unavailable } from '../unavailable.js';
import type { GainPicture } from './picture-data.js';
import { bandOf } from './quantile-band.js';

/** Shares of the advised change: a little before today's gains to half as far again. */
const SHARES = Array.from({ length: 25 }, (_, i) => -0.25 + (1.75 * i) / 24);
/** Factors on all rate gains where no change is advised. */
const FACTORS = Array.from({ length: 25 }, (_, i) => 0.4 * (2.5 / 0.4) ** (i / 24));
const MOST_DRAWS = 24;
/** A change of gains smaller than this is none. */
const NO_CHANGE = 0.03;

export function gainPicture(decision: AxisDecision | undefined): GainPicture | Unavailable {
  if (decision === undefined || decision.measured === null)
    return {
      unavailable: 'the loop’s margins are not known, so what other gains would do cannot be predicted',
    };
  const { axis, id, measured } = decision;
  const { factors } = measured;
  if (id.plant === null || id.controller === null) return { unavailable: 'the loop is not identified' };
  const changes =
    factors !== null && [factors.P, factors.I, factors.D].some((factor) => Math.abs(factor - 1) > NO_CHANGE);
  const x = changes ? SHARES : FACTORS;
  const along = x.map((at): GainFactors => {
    const part = (factor: number): number => (changes ? factor ** at : at);
    return {
      P: part(factors?.P ?? 1),
      I: part(factors?.I ?? 1),
      D: part(factors?.D ?? 1),
      attitude: 1,
    };
  });
  const controllers = along.map((each) => {
    const controller = applyFactors(id.controller!, each);
    return Array.from(LOOP_GRID, (omega) => controllerAt(controller, { re: 0, im: omega }));
  });
  const marginsFor = (plant: PlantParameters): (LoopMargins | null)[] => {
    const response = plantOnGrid(decision, plant);
    return controllers.map((controller) => marginsOfProduct(controller, response, id.controller!.ki));
  };
  const likeliest = marginsFor(id.plant);
  const every = Math.max(1, Math.ceil(id.draws.length / MOST_DRAWS));
  const drawn = id.draws.filter((_, i) => i % every === 0).map(marginsFor);
  return {
    axis,
    along: changes ? 'advice' : 'factor',
    x,
    gainMarginDb: likeliest.map((m) => m?.gainMarginDb ?? null),
    gainBand: bandOf(
      drawn.map((margins) => margins.map((m) => m?.gainMarginDb ?? null)),
      x.length,
    ),
    phaseMarginDeg: likeliest.map((m) => m?.phaseMarginDeg ?? null),
    phaseBand: bandOf(
      drawn.map((margins) => margins.map((m) => m?.phaseMarginDeg ?? null)),
      x.length,
    ),
    today: marginPair(measured.today.rate),
    advised: changes ? marginPair(measured.expected.rate) : null,
    required: REQUIRED,
    factors: changes && factors !== null ? { P: factors.P, I: factors.I, D: factors.D } : null,
    withFilters: id.addedFilters !== null,
  };
}

function marginPair(margins: LoopMargins | null): {
  gainMarginDb: number | null;
  phaseMarginDeg: number | null;
} {
  return {
    gainMarginDb: margins?.gainMarginDb ?? null,
    phaseMarginDeg: margins?.phaseMarginDeg ?? null,
  };
}

/** The plant as margins are judged, with the filters that are to be added. */
function plantOnGrid({ id }: AxisDecision, plant: PlantParameters): Complex[] {
  const { plant: own } = judged({
    plant,
    controller: id.controller!,
    gyroDelayS: id.gyroDelayS,
    addedFilters: id.addedFilters,
  });
  return Array.from(LOOP_GRID, (omega) => {
    const value = plantAt(own, { re: 0, im: omega });
    return id.addedFilters === null ? value : multiply(value, id.addedFilters(omega));
  });
}

function marginsOfProduct(
  controller: readonly Complex[],
  plant: readonly Complex[],
  ki: number,
): LoopMargins | null {
  const re = new Float64Array(LOOP_GRID.length);
  const im = new Float64Array(LOOP_GRID.length);
  controller.forEach((c, i) => {
    const value = multiply(c, plant[i]!);
    re[i] = value.re;
    im[i] = value.im;
  });
  const margins = marginsOnGrid({
    omega: LOOP_GRID,
    re,
    im,
    polesAtOrigin: ki === 0 ? 0 : 1,
    unstablePoles: 0,
  });
  return 'unavailable' in margins ? null : margins;
}
