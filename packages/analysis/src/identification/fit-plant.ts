/**
 * The plant that explains a hover's equations best, with what is known of any such aircraft beforehand, and how sure that is.
 */
import { CholeskyDecomposition, EigenvalueDecomposition, inverse as invert, Matrix, solve } from 'ml-matrix';
import { absolute, complex, multiply, subtract, type Complex } from '../control/complex.js';
import type { Equation, InstrumentBand } from './evidence.js';
import { plantAt, type PlantParameters } from './plant-model.js';
import { NOTHING_KNOWN, PRIOR, type FitPriors, type Known } from './prior.js';
import type { GainEstimate } from './gain-estimate.js';
import type { GustEvidence } from './plant-in-gusts.js';

export interface AxisEvidence {
  readonly bands: readonly InstrumentBand[];
  readonly equations: readonly Equation[];
  /** Where there are no bands: the size of the plant's response at one frequency. */
  readonly gain: GainEstimate | null;
  /** Where there are no bands and no swing sustains itself: what the motion in gusts says. The stick and any ringing are part of it. */
  readonly motion: GustEvidence | null;
}

/** Whether sticks or swings show this axis' plant; the motion in gusts alone is good for a careful step. */
export function shows({ bands, equations, gain }: AxisEvidence): boolean {
  return bands.length + equations.length > 0 || gain !== null;
}

/** Whether a stick showed it, which no gust and no limit of the motors can feign. */
export function shownByStick({ bands, gain }: AxisEvidence): boolean {
  return bands.length > 0 || gain?.from === 'weak-stick';
}

export interface PlantFit {
  /** Common to the axes fitted together. */
  readonly plants: readonly (PlantParameters | null)[];
  /** Order: ln τ, ln d, φ, then ln K, c, i of each axis. */
  readonly parameters: Float64Array;
  readonly covariance: Matrix;
  /** Cost over degrees of freedom: near 1 when the stated noise explains what is left. */
  readonly misfit: number;
}

const COMMON = 3;
const PER_AXIS = 3;

export function parametersOf(p: ArrayLike<number>, axis: number): PlantParameters {
  return {
    lagS: Math.exp(p[0]!),
    delayS: Math.exp(p[1]!),
    filterShare: Math.min(1, Math.max(0, p[2]!)),
    effectiveness: Math.exp(p[COMMON + PER_AXIS * axis]!),
    dampingPerS: p[COMMON + 1 + PER_AXIS * axis]!,
    instabilityPerS2: p[COMMON + 2 + PER_AXIS * axis]!,
  };
}

/** The fit of one axis as a normal distribution, and the one it started from. Order: ln τ, ln d, φ, ln K, c, i. */
export interface PlantNormal {
  readonly mean: readonly number[];
  /** Of the mean, by the noise that the equations state. */
  readonly covariance: readonly (readonly number[])[];
  /** Over what the equations state, at least 1: the square of how much larger the noise turned out. */
  readonly misfit: number;
  readonly priorMean: readonly number[];
  readonly priorStd: readonly number[];
}

/** @param axis place of the axis among those fitted together */
export function normalOf(fit: PlantFit, axis: number, known: FitPriors): PlantNormal {
  const own = COMMON + PER_AXIS * axis;
  const places = [0, 1, 2, own, own + 1, own + 2];
  const priors = [
    known.lnLag,
    known.lnDelay,
    known.filterShare,
    known.lnEffectiveness[axis] ?? PRIOR.lnEffectiveness,
    PRIOR.damping,
    PRIOR.instability,
  ];
  return {
    mean: places.map((i) => fit.parameters[i]!),
    covariance: places.map((i) => places.map((j) => fit.covariance.get(i, j))),
    misfit: Math.max(1, fit.misfit),
    priorMean: priors.map(([mean]) => mean),
    priorStd: priors.map(([, std]) => std),
  };
}

interface Weighted {
  readonly axis: number;
  readonly s: Complex;
  readonly rate: Complex;
  readonly demand: Complex;
  readonly sigma: number;
}

/**
 * Fits all axes that share their rotors at once: lag and delay are common, effectiveness is each axis' own.
 * Gauss–Newton with Levenberg's damping from several lags; the covariance is the inverse of the normal matrix.
 */
export function fitPlants(evidence: readonly AxisEvidence[], known: FitPriors = NOTHING_KNOWN): PlantFit {
  let best: (Minimum & { readonly unlikely: number }) | null = null;
  let weighted: Weighted[] = [];
  const gains = evidence.flatMap(({ gain, motion }, axis) =>
    gain === null || motion !== null ? [] : [{ axis, gain }],
  );
  const rows = [
    ...evidence.flatMap(({ motion }, axis) => (motion === null ? [] : rowsOf(motion, axis))),
    ...(known.lnRatio === null || evidence.length < 2 ? [] : [ratioRow(known.lnRatio)]),
  ];
  for (const lag of [0.03, 0.055, 0.1]) {
    let p = initial(evidence, lag, known);
    let result: Minimum | null = null;
    for (let pass = 0; pass < 4; pass++) {
      weighted = weigh(evidence, p);
      result = minimise(weighted, gains, rows, p, evidence.length, known);
      p = result.p;
    }
    if (result === null) continue;
    // The noise is estimated with the plant: a worse plant makes it larger, and its own misses look small.
    const unlikely = result.cost + weighted.reduce((sum, { sigma }) => sum + 4 * Math.log(sigma), 0);
    if (best === null || unlikely < best.unlikely) best = { ...result, unlikely };
  }
  const { p, normal, cost } = best!;
  // Every parameter takes one degree of freedom and has one prior that gives it back.
  const freedom = Math.max(1, 2 * weighted.length + gains.length + rows.length);
  return {
    plants: evidence.map((e, a) => (shows(e) ? parametersOf(p, a) : null)),
    parameters: p,
    covariance: invert(normal),
    misfit: cost / freedom,
  };
}

/** How well the evidence of one axis alone tells ln K. */
export function effectivenessStd(evidence: AxisEvidence): number {
  return Math.sqrt(fitPlants([evidence]).covariance.get(COMMON, COMMON));
}

function initial(evidence: readonly AxisEvidence[], lagS: number, known: FitPriors): Float64Array {
  const p = new Float64Array(COMMON + PER_AXIS * evidence.length);
  p[0] = Math.log(lagS);
  p[1] = PRIOR.lnDelay[0];
  p[2] = PRIOR.filterShare[0];
  evidence.forEach((axis, a) => {
    let top = 0;
    let bottom = 0;
    const unit = {
      effectiveness: 1,
      lagS,
      delayS: 0.014,
      filterShare: 0.4,
      dampingPerS: 0.6,
      instabilityPerS2: 0,
    };
    for (const e of [...axis.equations, ...axis.bands]) {
      const x = multiply(plantAt(unit, e.s), e.demand);
      const weight =
        'variance' in e ? 1 / Math.max(1e-30, e.variance) : 1 / Math.max(1e-30, meanPower(e.rates));
      top += weight * (x.re * e.rate.re + x.im * e.rate.im);
      bottom += weight * (x.re * x.re + x.im * x.im);
    }
    if (bottom === 0 && axis.gain !== null) {
      top = Math.exp(axis.gain.lnGain);
      bottom = absolute(plantAt(unit, complex(0, axis.gain.omega)));
    }
    const k = bottom > 0 ? top / bottom : 0;
    if (axis.motion !== null) {
      const likeliest = solve(axis.motion.information, axis.motion.weighted, true);
      p[COMMON + PER_AXIS * a] = likeliest.get(4, 0);
    } else
      p[COMMON + PER_AXIS * a] = k > 0.05 ? Math.log(k) : (known.lnEffectiveness[a]?.[0] ?? Math.log(30));
    p[COMMON + 1 + PER_AXIS * a] = PRIOR.damping[0];
    p[COMMON + 2 + PER_AXIS * a] = PRIOR.instability[0];
  });
  return p;
}

function meanPower(values: readonly Complex[]): number {
  let sum = 0;
  for (const v of values) sum += v.re * v.re + v.im * v.im;
  return sum / values.length;
}

/** How far few numbers follow a real plant, share of the response. */
const BAND_MODEL_ERROR = 0.03;

/** Noise of every equation, given a plant: what it leaves unexplained around each band. */
function weigh(evidence: readonly AxisEvidence[], p: Float64Array): Weighted[] {
  const out: Weighted[] = [];
  evidence.forEach((axis, a) => {
    const plant = parametersOf(p, a);
    const levels = axis.bands.map((band) => {
      let sum = 0;
      for (let i = 0; i < band.rates.length; i++) {
        const s = complex(0, band.omegas[i]!);
        const left = subtract(band.rates[i]!, multiply(plantAt(plant, s), band.demands[i]!));
        sum += left.re ** 2 + left.im ** 2;
      }
      // What is projected on the instrument is one of the degrees of freedom.
      return sum / Math.max(1, band.rates.length - 1);
    });
    axis.bands.forEach((band, b) => {
      const near = levels.slice(Math.max(0, b - 2), b + 3);
      const level = Math.exp(near.reduce((sum, v) => sum + Math.log(Math.max(1e-30, v)), 0) / near.length);
      const size = absolute(band.rate);
      out.push({
        axis: a,
        s: band.s,
        rate: band.rate,
        demand: band.demand,
        sigma: Math.sqrt(level / 2 + (BAND_MODEL_ERROR ** 2 + band.strength ** -2) * size ** 2),
      });
    });
    // A swing that gusts keep alive is part of the motion in them.
    for (const e of axis.motion === null ? axis.equations : [])
      out.push({
        axis: a,
        s: e.s,
        rate: e.rate,
        demand: e.demand,
        sigma: Math.sqrt(e.variance / 2),
      });
  });
  return out;
}

/** A sum of parameters that is known to within one. */
interface LinearRow {
  readonly places: readonly number[];
  readonly weights: readonly number[];
  readonly value: number;
}

/** Less information than this is none. */
const NO_INFORMATION = 1e-6;

/** What a motion in gusts says, along the axes of its ellipsoid. */
function rowsOf({ information, weighted }: GustEvidence, axis: number): LinearRow[] {
  const own = COMMON + PER_AXIS * axis;
  const places = [0, 1, own + 1, own + 2, own];
  const symmetric = Matrix.add(information, information.transpose()).mul(0.5);
  const { realEigenvalues, eigenvectorMatrix } = new EigenvalueDecomposition(symmetric);
  return realEigenvalues.flatMap((size, i) => {
    if (!(size > NO_INFORMATION)) return [];
    const direction = places.map((_, j) => eigenvectorMatrix.get(j, i));
    const root = Math.sqrt(size);
    return {
      places,
      weights: direction.map((v) => root * v),
      value: direction.reduce((sum, v, j) => sum + v * weighted.get(j, 0), 0) / root,
    };
  });
}

/** What is known of the effectiveness of the second axis beside the first's. */
const ratioRow = ([mean, std]: Known): LinearRow => ({
  places: [COMMON, COMMON + PER_AXIS],
  weights: [-1 / std, 1 / std],
  value: mean / std,
});

function priorsOf(count: number, known: FitPriors): Known[] {
  const out: Known[] = [known.lnLag, known.lnDelay, known.filterShare];
  for (let a = 0; a < count; a++)
    out.push(known.lnEffectiveness[a] ?? PRIOR.lnEffectiveness, PRIOR.damping, PRIOR.instability);
  return out;
}

interface Minimum {
  readonly p: Float64Array;
  readonly cost: number;
  readonly normal: Matrix;
}

function minimise(
  equations: readonly Weighted[],
  gains: readonly { readonly axis: number; readonly gain: GainEstimate }[],
  rows: readonly LinearRow[],
  start: Float64Array,
  axes: number,
  known: FitPriors,
): Minimum {
  const priors = priorsOf(axes, known);
  const size = start.length;
  const residuals = (p: Float64Array): Float64Array => {
    const r = new Float64Array(2 * equations.length + size + gains.length + rows.length);
    equations.forEach((e, i) => {
      const d = subtract(e.rate, multiply(plantAt(parametersOf(p, e.axis), e.s), e.demand));
      r[2 * i] = d.re / e.sigma;
      r[2 * i + 1] = d.im / e.sigma;
    });
    priors.forEach(([mean, std], j) => {
      r[2 * equations.length + j] = (p[j]! - mean) / std;
    });
    gains.forEach(({ axis, gain }, i) => {
      const size = absolute(plantAt(parametersOf(p, axis), complex(0, gain.omega)));
      r[2 * equations.length + priors.length + i] = (Math.log(size) - gain.lnGain) / gain.lnGainStd;
    });
    rows.forEach(({ places, weights, value }, i) => {
      r[2 * equations.length + priors.length + gains.length + i] =
        weights.reduce((sum, w, j) => sum + w * p[places[j]!]!, 0) - value;
    });
    return r;
  };
  const sum = (r: Float64Array): number => r.reduce((s, v) => s + v * v, 0);
  let p = Float64Array.from(start);
  let r = residuals(p);
  let cost = sum(r);
  let damping = 1e-3;
  let normal = Matrix.eye(size);
  for (let iteration = 0; iteration < 40; iteration++) {
    const jacobian = Array.from({ length: size }, (_, j) => {
      const step = 1e-5;
      const moved = Float64Array.from(p);
      moved[j] = moved[j]! + step;
      return residuals(moved).map((v, i) => (v - r[i]!) / step);
    });
    normal = Matrix.zeros(size, size);
    const gradient = Matrix.zeros(size, 1);
    for (let i = 0; i < size; i++) {
      for (let j = 0; j <= i; j++) {
        let value = 0;
        const a = jacobian[i]!;
        const b = jacobian[j]!;
        for (let k = 0; k < a.length; k++) value += a[k]! * b[k]!;
        normal.set(i, j, value);
        normal.set(j, i, value);
      }
      let value = 0;
      for (let k = 0; k < r.length; k++) value += jacobian[i]![k]! * r[k]!;
      gradient.set(i, 0, -value);
    }
    let improved = false;
    for (let attempt = 0; attempt < 8; attempt++) {
      const damped = normal.clone();
      for (let i = 0; i < size; i++) damped.set(i, i, damped.get(i, i) * (1 + damping));
      const step = new CholeskyDecomposition(damped).solve(gradient);
      const next = p.map((v, i) => v + Math.max(-0.7, Math.min(0.7, step.get(i, 0))));
      const nextR = residuals(next);
      const nextCost = sum(nextR);
      if (nextCost < cost) {
        const small = cost - nextCost < 1e-5 * (1 + cost);
        p = next;
        r = nextR;
        cost = nextCost;
        damping = Math.max(1e-7, damping / 5);
        improved = !small;
        break;
      }
      damping *= 6;
    }
    if (!improved) break;
  }
  return { p, cost, normal };
}

/** Plants drawn for the uncertainty of whatever follows from them. */
const DRAWS = 48;

/**
 * Parameters drawn from the fit's normal distribution by a fixed, well spread sequence: the same log gives the same numbers.
 *
 * @param wider how much wider than the equations' noise says
 */
export function drawParameters(fit: PlantFit, wider = 1): Float64Array[] {
  const size = fit.parameters.length;
  const symmetric = Matrix.add(fit.covariance, fit.covariance.transpose()).mul(0.5);
  for (let i = 0; i < size; i++) symmetric.set(i, i, symmetric.get(i, i) * (1 + 1e-9) + 1e-15);
  const root = new CholeskyDecomposition(symmetric).lowerTriangularMatrix;
  let state = 12345;
  const uniform = (): number => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return (state + 0.5) / 4294967296;
  };
  const draws: Float64Array[] = [];
  const spread = wider * Math.sqrt(Math.max(1, fit.misfit));
  for (let d = 0; d < DRAWS; d += 2) {
    const z = Array.from({ length: size }, () => {
      const u = uniform();
      const v = uniform();
      return Math.sqrt(-2 * Math.log(u)) * Math.cos(2 * Math.PI * v);
    });
    for (const sign of [1, -1]) {
      const p = Float64Array.from(fit.parameters);
      for (let i = 0; i < size; i++)
        for (let j = 0; j <= i; j++) p[i] = p[i]! + sign * spread * root.get(i, j) * z[j]!;
      draws.push(p);
    }
  }
  return draws;
}
