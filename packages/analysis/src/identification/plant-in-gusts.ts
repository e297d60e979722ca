/**
 * The plant of an axis that gusts move, from the shape of its motion.
 *
 * Rate over demand says nothing in gusts alone: it is the feedback's own ratio. The spectrum of the rate does: gusts have a smooth
 * one, and what the loops make of it, |1/(1 + L)|², depends on the plant at every frequency. So plant and gusts are fitted
 * together by Whittle's likelihood of the record (direct identification, consistent in closed loop where the noise model is
 * rich enough and the loop has delay: L. Ljung, *System Identification*, 2nd ed., ch. 13.4; P. Whittle 1953, from memory).
 * What the sticks and the limits did is part of it, as its mean. Fisher scoring from several starts; the information left when the
 * gusts are fitted too is what the record says of the plant.
 *
 * The spectrum does not tell a stable loop from its mirror image, so only stable loops are tried, and nothing is read where a
 * swing sustains itself.
 */
import { CholeskyDecomposition, inverse as invert, Matrix } from 'ml-matrix';
import { add, multiply, scale, subtract } from '../control/complex.js';
import type { AxisController } from './controller.js';
import { drivenAxis, type DrivenAxis, type OutsideDrive } from './driven-axis.js';
import { bins, type AxisRecord } from './evidence.js';
import { GustMotion, PRIORS } from './gust-motion.js';
import { marginsOf } from './loop-model.js';
import type { PlantParameters } from './plant-model.js';
import { PRIOR } from './prior.js';

/** What a record says of ln τ, ln d, c, i and ln K, in this order, without what is known beforehand. */
export interface GustEvidence {
  /** Inverse covariance. */
  readonly information: Matrix;
  /** `information` times the likeliest values. */
  readonly weighted: Matrix;
}

/** Where gusts and loops shape the motion, Hz: below, trim and pilot; above, vibration. */
const LOWEST_HZ = 0.25;
const HIGHEST_HZ = 20;
/** Highest frequency over the log's rate. */
const HIGHEST_SHARE = 0.4;
/** More of a record tells little more, s. */
const LONGEST_S = 60;
/** Twelve parameters, of which the wide priors hold the gusts': fewer bins than this tell hardly anything. */
const FEWEST_BINS = 40;
/** A bin this far above what is expected is a line of something else, e⁻¹² by chance; so many of them, and the shape is not understood. */
const OUTLIER = 12;
const MOST_OUTLIERS = 0.03;
/** Mean square of how far groups of bins are from what is expected, over what chance allows. */
const MOST_MISFIT = 8;
const FAIR_MISFIT = 1.5;
/** A lag or delay this many standard deviations from what such aircraft have: the shape is another's. */
const MOST_UNLIKELY = 3;
/** How much wider than the likelihood says: gusts come and go, and few numbers follow no real plant (measured on simulated hovers). */
const SPREAD = 1.5;
/** The same where the stops cut for more than this share of the hover: what they let through is no gain and a noise. */
const SPREAD_AT_STOPS = 2.5;
const OFTEN_CUT = 0.1;

const PLANT_COUNT = 5;
/** Starts: lags, s, corners of gusts, Hz, and effectiveness, rad/s², each this much above the one before. */
const START_LAGS = [0.028, 0.05, 0.09];
const START_CORNERS = [0.3, 1.2];
const SMALLEST_EFFECTIVENESS = 3;
const LARGEST_EFFECTIVENESS = 600;
/** Of ln K: wider is no help. */
const LARGEST_SPREAD = 0.5;
const START_STEP = 1.35;
const STARTS = 3;
/** Steps from every start, after which the best goes on, until a step gains less than this in the log likelihood. */
const FIRST_STEPS = 5;
const MOST_STEPS = 25;
const ENOUGH = 3e-3;
/** ln of a gust level that no gyro could resolve. */
const LEAST_LEVEL = -100;

function plantOf(p: ArrayLike<number>): PlantParameters {
  return {
    lagS: Math.exp(p[0]!),
    delayS: Math.exp(p[1]!),
    filterShare: PRIOR.filterShare[0],
    dampingPerS: p[2]!,
    instabilityPerS2: p[3]!,
    effectiveness: Math.exp(p[4]!),
  };
}

/**
 * @param record of an axis without a swing that sustains itself
 * @param movers what the other axes do
 * @param swingsHz at which other axes keep swinging by themselves: through the stops that comes over in ways of its own
 * @param cutShare share of the hover in which the stops cut the axis' demand
 * @returns null where the motion is not understood
 */
export function plantInGusts(
  record: AxisRecord,
  drive: OutsideDrive,
  controller: AxisController,
  movers: readonly Mover[],
  swingsHz: readonly number[],
  cutShare: number,
): GustEvidence | null {
  if (controller.attitude === null) return null;
  const band = {
    lowestHz: LOWEST_HZ,
    highestHz: Math.min(HIGHEST_HZ, HIGHEST_SHARE / record.stepS),
    seconds: LONGEST_S,
  };
  const x = throughStops(drivenAxis(record, drive, controller, band));
  const isStable = (p: ArrayLike<number>): boolean => {
    const m = marginsOf({ plant: plantOf(p), controller, gyroDelayS: 0, addedFilters: null });
    return m.rate?.stable === true && m.attitude?.stable !== false;
  };
  const moved = movers.map((mover) => accelerationOf(mover, x));
  let used = x.omegas.flatMap((omega, i) => (isNear(omega / (2 * Math.PI), swingsHz) ? [] : [i]));
  for (let round = 0; ; round++) {
    if (used.length < FEWEST_BINS) return null;
    const motion = new GustMotion(
      x,
      used,
      movers.map(({ most }) => [0, most / 2] as const),
      moved,
    );
    const found = fit(motion, isStable);
    if (found === null) return null;
    const excess = motion.excess(found.p);
    const quiet = used.filter((_, k) => excess[k]! < OUTLIER);
    if (used.length - quiet.length > MOST_OUTLIERS * used.length) return null;
    if (quiet.length < used.length && round === 0) {
      used = quiet;
      continue;
    }
    if (misfitOf(excess) > MOST_MISFIT) return null;
    if (!isLikely(found)) return null;
    const wider = Math.sqrt(Math.max(1, misfitOf(excess) / FAIR_MISFIT));
    return evidenceOf(found, wider * (cutShare > OFTEN_CUT ? SPREAD_AT_STOPS : SPREAD));
  }
}

/**
 * What the motors' stops let through, as a gain on the axis' own demand and a drive that has nothing to do with it: where the swing of
 * another axis takes the motors to their stops, what they cut off this one is in part its own (R. C. Booton's equivalent gain, 1954:
 * A. Gelb and W. E. Vander Velde, *Multiple-Input Describing Functions*, 1968, ch. 1; from memory).
 */
function throughStops(x: DrivenAxis): DrivenAxis {
  const asked = x.omegas.map((_, i) => subtract(x.asked[i]!, multiply(x.feedback[i]!, x.rate[i]!)));
  let cross = 0;
  let power = 0;
  asked.forEach((u, i) => {
    const cut = x.lost[i]!;
    cross -= cut.re * u.re + cut.im * u.im;
    power += u.re * u.re + u.im * u.im;
  });
  const lostShare = power > 0 ? Math.max(0, Math.min(1, cross / power)) : 0;
  return {
    ...x,
    asked: x.asked.map((a) => scale(a, 1 - lostShare)),
    lost: x.lost.map((cut, i) => add(cut, scale(asked[i]!, lostShare))),
    feedback: x.feedback.map((f) => scale(f, 1 - lostShare)),
  };
}

interface Found {
  readonly p: Float64Array;
  readonly information: Matrix;
}

interface Descent {
  readonly p: Float64Array;
  readonly cost: number;
}

function fit(motion: GustMotion, isStable: (p: ArrayLike<number>) => boolean): Found | null {
  let best: Descent | null = null;
  for (const start of startsOf(motion, isStable)) {
    const one = descend(motion, start, isStable, FIRST_STEPS);
    if (best === null || one.cost < best.cost) best = one;
  }
  if (best === null) return null;
  const { p } = descend(motion, best.p, isStable, MOST_STEPS);
  return { p, information: motion.score(p).information };
}

function startsOf(motion: GustMotion, isStable: (p: ArrayLike<number>) => boolean): Float64Array[] {
  const all: { readonly p: Float64Array; readonly cost: number }[] = [];
  for (const lag of START_LAGS)
    for (const corner of START_CORNERS)
      for (let k = SMALLEST_EFFECTIVENESS; k < LARGEST_EFFECTIVENESS; k *= START_STEP) {
        const p = Float64Array.from({ length: motion.size }, (_, j) => motion.priors[j]?.[0] ?? 0);
        p[0] = Math.log(lag);
        p[4] = Math.log(k);
        p[5] = Math.log(corner);
        motion.setLevel(p);
        const cost = motion.cost(p);
        // A record of nothing but zeros has no level.
        if (Number.isFinite(cost) && p.at(-1)! > LEAST_LEVEL) all.push({ p, cost });
      }
  all.sort((a, b) => a.cost - b.cost);
  const chosen: Float64Array[] = [];
  for (const { p } of all) {
    if (chosen.length === STARTS) break;
    const isNew = chosen.every((one) => Math.abs(one[4]! - p[4]!) > 0.5 || one[0] !== p[0]);
    if (isNew && isStable(p)) chosen.push(p);
  }
  return chosen;
}

/** Fisher scoring with Levenberg's damping, never into an unstable loop. */
function descend(
  motion: GustMotion,
  start: Float64Array,
  isStable: (p: ArrayLike<number>) => boolean,
  steps: number,
): Descent {
  let p = start;
  let cost = motion.cost(p);
  let damping = 1e-2;
  for (let step = 0; step < steps; step++) {
    const { gradient, information } = motion.score(p);
    let gain = 0;
    for (let attempt = 0; attempt < 7 && gain === 0; attempt++) {
      const damped = information.clone();
      for (let j = 0; j < motion.size; j++) damped.set(j, j, damped.get(j, j) * (1 + damping) + 1e-9);
      const move = new CholeskyDecomposition(damped).solve(gradient);
      const next = p.map((v, j) => v + Math.max(-0.5, Math.min(0.5, move.get(j, 0))));
      const nextCost = motion.cost(next);
      if (nextCost < cost && isStable(next)) {
        gain = cost - nextCost;
        p = next;
        cost = nextCost;
        damping = Math.max(1e-4, damping / 4);
      } else damping *= 6;
    }
    if (gain < ENOUGH) break;
  }
  return { p, cost };
}

/** Whether the plant is one that such an aircraft may have, and its effectiveness known at all. */
function isLikely({ p, information }: Found): boolean {
  const usual = [0, 1].every((j) => Math.abs(p[j]! - PRIORS[j]![0]) < MOST_UNLIKELY * PRIORS[j]![1]);
  const effectiveness = Math.exp(p[4]!);
  const spread = Math.sqrt(invert(information).get(4, 4));
  return (
    usual &&
    effectiveness > SMALLEST_EFFECTIVENESS &&
    effectiveness < LARGEST_EFFECTIVENESS &&
    spread < LARGEST_SPREAD
  );
}

/** What another axis, or two of them together, may do to this one. */
export interface Mover {
  /** On the clock of the axis' record. */
  readonly values: Float64Array;
  /** Values are rates, and move by their derivative; else they are angular accelerations themselves. */
  readonly isRate: boolean;
  /** Largest share that can come over. */
  readonly most: number;
}

/** Harmonics of a swing that are left out, and how far around them, as a share of the frequency. */
const HARMONICS = [1, 2, 3];
const NEAR = 0.12;

function isNear(hz: number, swingsHz: readonly number[]): boolean {
  return swingsHz.some((swing) => HARMONICS.some((k) => Math.abs(hz / (k * swing) - 1) < NEAR));
}

/** Spectrum of a mover's angular acceleration, at the places of the axis' own. */
function accelerationOf({ values, isRate }: Mover, x: DrivenAxis): Float64Array {
  const all = bins(values.subarray(0, x.samples));
  return Float64Array.from(
    x.omegas.flatMap((omega) => {
      const k = Math.round(omega / (2 * Math.PI * x.df));
      const [re, im] = [all[2 * k]!, all[2 * k + 1]!];
      return isRate ? [-im * omega, re * omega] : [re, im];
    }),
  );
}

/** How far groups of bins are from their expected power: about 1 where the shape is understood. */
function misfitOf(excess: Float64Array): number {
  const size = Math.max(6, Math.floor(excess.length / 25));
  let sum = 0;
  let groups = 0;
  for (let from = 0; from + size <= excess.length; from += size) {
    let total = 0;
    for (let k = from; k < from + size; k++) total += excess[k]!;
    sum += (total - size) ** 2 / size;
    groups++;
  }
  return sum / Math.max(1, groups);
}

/** The plant's part, with the gusts left free as far as their priors let them. */
function evidenceOf({ p, information }: Found, spread: number): GustEvidence {
  const plant = Array.from({ length: PLANT_COUNT }, (_, j) => j);
  const rest = Array.from({ length: p.length - PLANT_COUNT }, (_, j) => PLANT_COUNT + j);
  const across = information.selection(plant, rest);
  const posterior = Matrix.sub(
    information.selection(plant, plant),
    across.mmul(invert(information.selection(rest, rest))).mmul(across.transpose()),
  );
  const mean = Matrix.columnVector(plant.map((j) => p[j]!));
  const weighted = posterior.mmul(mean);
  const own = posterior.clone();
  for (const j of plant) {
    const [priorMean, std] = PRIORS[j]!;
    own.set(j, j, own.get(j, j) - std ** -2);
    weighted.set(j, 0, weighted.get(j, 0) - priorMean * std ** -2);
  }
  return { information: own.div(spread ** 2), weighted: weighted.div(spread ** 2) };
}
