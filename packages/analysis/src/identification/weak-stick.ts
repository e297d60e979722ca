/**
 * How strongly a demand turns an axis, where the stick moves it less than the gusts do.
 *
 * A ratio of two weak projections is drawn to the feedback's own ratio. What the closed loop makes of the stick is not: with
 * a plant G it is T(G) r, and the rest of the rate is gusts, which know nothing of the stick. So every likely plant is tried,
 * and weighed by how well T(G) r explains the rate beside the gusts' level (Whittle's approximation to the likelihood of a
 * record: L. Ljung, *System Identification*, 2nd ed., ch. 7; P. Whittle 1953, from memory). A plant that would have answered
 * the stick more than was seen loses as much as one that would have answered less.
 */
import { absolute, add, complex, multiply, type Complex } from '../control/complex.js';
import type { AxisController } from './controller.js';
import { drivenAxis, type DrivenAxis, type OutsideDrive } from './driven-axis.js';
import type { AxisRecord } from './evidence.js';
import type { GainEstimate } from './gain-estimate.js';
import { marginsOf } from './loop-model.js';
import { PRIOR } from './prior.js';
import { plantAt, type PlantParameters } from './plant-model.js';

/** Where sticks act, Hz. */
const LOWEST_HZ = 0.25;
const HIGHEST_HZ = 7;
/** Effectiveness tried, rad/s², each this much above the one before. */
const SMALLEST_EFFECTIVENESS = 1.5;
const LARGEST_EFFECTIVENESS = 700;
const STEP = 1.07;
/** Lags tried, in standard deviations from the likeliest. */
const LAGS = [-1.5, -0.75, 0, 0.75, 1.5];
/** The gusts' level is averaged over this share of the frequency either side, and at least this much, Hz. */
const LEVEL_SHARE = 0.35;
const LEVEL_HZ = 0.25;
/** The stick's answer must explain the rate better than none by this much in the log likelihood: four standard deviations. */
const VISIBLE = 8;
/** Wider answers are no help. */
const WIDEST = 0.4;
/** Plants less likely than the best by this factor do not count. */
const NEGLIGIBLE = 1e-3;
/** More than this likelihood at an end of what is tried: no limit is seen. */
const AT_END = 0.01;
/**
 * What few numbers miss of the closed loops' answer, as a share of it. A loop that follows well answers alike whatever the plant:
 * there a small miss stands for a large one of the plant, by one over the loop's sensitivity.
 */
const MODEL_STD = 0.02;
/** Gusts come and go, so the likelihood of a steady level is too sure of itself: measured on simulated hovers. */
const SPREAD = 1.5;

/**
 * What the stops cut off follows the gusts and the swing themselves, so it is no outside drive: it only corrects what the stick asks,
 * and where it holds more than this share of the stick's power nothing is read.
 */
const MOST_LOST = 0.25;

/**
 * @param controller known to its terms
 * @returns null where the stick shows nothing
 */
export function gainFromWeakStick(
  record: AxisRecord,
  drive: OutsideDrive,
  controller: AxisController,
): GainEstimate | null {
  if (controller.attitude === null) return null;
  const band = { lowestHz: LOWEST_HZ, highestHz: HIGHEST_HZ };
  const spectra = whereStickRules(drivenAxis(record, drive, controller, band));
  if (spectra.omegas.length < 8) return null;
  const plants = likelyPlants();
  const answers = answersOf(spectra, plants);
  const misfits = answers.map((answer, i) => misfit(spectra, left(spectra, answer)) - plants[i]!.prior);
  const best = misfits.indexOf(Math.min(...misfits));
  if (misfit(spectra, spectra.rate) - misfits[best]! < VISIBLE) return null;
  const { omega, sensitivity } = centre(spectra, answers[best]!, plants[best]!);
  let total = 0;
  let mean = 0;
  let square = 0;
  let atEnd = 0;
  plants.forEach((plant, i) => {
    const weight = Math.exp(misfits[best]! - misfits[i]!);
    // The hover held together, so what would not have is none of the likely ones.
    if (
      weight < NEGLIGIBLE ||
      marginsOf({ plant, controller, gyroDelayS: 0, addedFilters: null }).rate?.stable !== true
    )
      return;
    const lnGain = Math.log(absolute(plantAt(plant, complex(0, omega))));
    total += weight;
    mean += weight * lnGain;
    square += weight * lnGain ** 2;
    if (plant.atEnd) atEnd += weight;
  });
  if (!(total > 0) || atEnd > AT_END * total) return null;
  mean /= total;
  const std = Math.hypot(
    SPREAD * Math.sqrt(Math.max(0, square / total - mean * mean)),
    MODEL_STD / Math.max(1e-3, sensitivity),
  );
  return std > WIDEST ? null : { omega, lnGain: mean, lnGainStd: std, from: 'weak-stick' };
}

interface LikelyPlant extends PlantParameters {
  /** Log of how likely its lag is before any log. */
  readonly prior: number;
  /** The weakest or the strongest tried. */
  readonly atEnd: boolean;
}

function likelyPlants(): LikelyPlant[] {
  const out: LikelyPlant[] = [];
  for (const z of LAGS)
    for (let k = SMALLEST_EFFECTIVENESS; k < LARGEST_EFFECTIVENESS; k *= STEP)
      out.push({
        effectiveness: k,
        lagS: Math.exp(PRIOR.lnLag[0] + z * PRIOR.lnLag[1]),
        delayS: Math.exp(PRIOR.lnDelay[0]),
        filterShare: PRIOR.filterShare[0],
        dampingPerS: PRIOR.damping[0],
        instabilityPerS2: 0,
        prior: -0.5 * z * z,
        atEnd: k === SMALLEST_EFFECTIVENESS || k * STEP >= LARGEST_EFFECTIVENESS,
      });
  return out;
}

/** The bins up to the first at which the stops cut off more than the stick asks for. */
function whereStickRules(x: DrivenAxis): DrivenAxis {
  const [stick, lost] = [levels(x.asked, x), levels(x.lost, x)];
  const end = x.omegas.findIndex((_, i) => lost[i]! > MOST_LOST * stick[i]!);
  if (end < 0) return x;
  return {
    ...x,
    omegas: x.omegas.slice(0, end),
    rate: x.rate.slice(0, end),
    asked: x.asked.slice(0, end),
    lost: x.lost.slice(0, end),
    feedback: x.feedback.slice(0, end),
  };
}

/** What the closed loops of each plant make of the drive. */
function answersOf(x: DrivenAxis, plants: readonly PlantParameters[]): Complex[][] {
  let lagS = Number.NaN;
  let open: Complex[] = [];
  let loop: Complex[] = [];
  return plants.map((plant) => {
    // Plants come in rows of one lag, which differ by their effectiveness alone.
    if (plant.lagS !== lagS) {
      lagS = plant.lagS;
      const unit = x.omegas.map((omega) => plantAt({ ...plant, effectiveness: 1 }, complex(0, omega)));
      open = unit.map((g, i) => multiply(g, add(x.asked[i]!, x.lost[i]!)));
      loop = unit.map((g, i) => multiply(g, x.feedback[i]!));
    }
    const k = plant.effectiveness;
    return open.map((a, i) => {
      const re = 1 + k * loop[i]!.re;
      const im = k * loop[i]!.im;
      const size = k / (re * re + im * im);
      return complex(size * (a.re * re + a.im * im), size * (a.im * re - a.re * im));
    });
  });
}

function left(x: DrivenAxis, answer: readonly Complex[]): Complex[] {
  return x.rate.map((y, i) => complex(y.re - answer[i]!.re, y.im - answer[i]!.im));
}

/** Minus the log likelihood of gusts of a smooth level, whatever that level is (concentrated: the level is what is left itself). */
function misfit(x: DrivenAxis, rest: readonly Complex[]): number {
  const level = levels(rest, x);
  return rest.reduce((sum, v, i) => sum + Math.log(level[i]!) + (v.re ** 2 + v.im ** 2) / level[i]!, 0);
}

/** Mean power around each bin. */
function levels(of: readonly Complex[], { omegas, df }: DrivenAxis): number[] {
  const sums = [0];
  for (const v of of) sums.push(sums.at(-1)! + v.re ** 2 + v.im ** 2);
  return omegas.map((omega, i) => {
    const half = Math.round(Math.max(LEVEL_HZ, (LEVEL_SHARE * omega) / (2 * Math.PI)) / df);
    const a = Math.max(0, i - half);
    const b = Math.min(of.length, i + half + 1);
    return Math.max(1e-30, (sums[b]! - sums[a]!) / (b - a));
  });
}

/** Mean frequency, rad/s, of what the answer tells of the plant, and how much of a change of the plant shows in it. */
function centre(
  x: DrivenAxis,
  answer: readonly Complex[],
  plant: PlantParameters,
): { omega: number; sensitivity: number } {
  const level = levels(left(x, answer), x);
  let total = 0;
  let told = 0;
  let weighted = 0;
  answer.forEach((v, i) => {
    const omega = x.omegas[i]!;
    const seen = (v.re ** 2 + v.im ** 2) / level[i]!;
    const loop = multiply(plantAt(plant, complex(0, omega)), x.feedback[i]!);
    const share = seen / absolute(add(complex(1), loop)) ** 2;
    total += seen;
    told += share;
    weighted += share * omega;
  });
  return {
    omega: weighted / Math.max(1e-30, told),
    sensitivity: Math.sqrt(told / Math.max(1e-30, total)),
  };
}
