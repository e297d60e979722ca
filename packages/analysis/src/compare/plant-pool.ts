/**
 * One plant from several hovers, and whether it stayed the same.
 *
 * Each hover's fit is a normal distribution that holds what its log said and what was known before any log. What the logs said adds
 * up (inverse variances), what was known before counts once. Rotors, delays and damping are common to all hovers of one build; the
 * effectiveness may differ, and is then found beside what the hovers share, so that a lag that is uncertain in both does not
 * hide a difference between them.
 */
import { CholeskyDecomposition, inverse, Matrix } from 'ml-matrix';
import type { PlantNormal } from '../identification/fit-plant.js';
import { parametersOf } from '../identification/fit-plant.js';
import type { PlantParameters } from '../identification/plant-model.js';
import { PRIOR } from '../identification/prior.js';
import { differenceP, seededRandom } from '../statistics/index.js';

/** Places of a fit: ln τ, ln d, φ, ln K, c, i. */
const SIZE = 6;
const EFFECTIVENESS = 3;
/** Battery, density of the air and what else moves effectiveness a little from hover to hover: standard deviation of ln K. */
const DRIFT = 0.02;

/** How much less sure a change is than the fits say: on simulated pairs (seeds 10 to 33) this gives two in three within one. */
const CHANGE_STD_FACTOR = 1.4;

/** What the log of one hover says by itself: information matrix and vector. */
interface Evidence {
  readonly information: Matrix;
  readonly vector: Matrix;
}

/** A log that its own plant explains badly counts for less, by the square of the misfit: few numbers do not hold what it shows. */
function evidenceOf({ mean, covariance, misfit, priorMean, priorStd }: PlantNormal): Evidence {
  const prior = Matrix.diag(priorStd.map((std) => 1 / std ** 2));
  const m = Matrix.columnVector([...mean]);
  const pull = prior.mmul(Matrix.sub(m, Matrix.columnVector([...priorMean])));
  const information = Matrix.sub(inverse(new Matrix(covariance.map((row) => [...row]))), prior).mul(
    misfit ** -2,
  );
  // At the fit the log pulls as hard as what was known before, the other way.
  return { information, vector: Matrix.add(information.mmul(m), pull.mul(misfit ** -2)) };
}

interface Joint {
  readonly mean: Matrix;
  readonly covariance: Matrix;
}

/**
 * @param groups group of each hover, from 0; hovers of a group share one effectiveness
 * @returns order: what all share (ln τ, ln d, φ, c, i), then ln K of each group
 */
function solveJointly(normals: readonly PlantNormal[], groups: readonly number[], groupCount: number): Joint {
  const size = SIZE - 1 + groupCount;
  const information = Matrix.zeros(size, size);
  const vector = Matrix.zeros(size, 1);
  const shared = [0, 1, 2, -1, 3, 4];
  const place = (i: number, group: number): number => (i === EFFECTIVENESS ? SIZE - 1 + group : shared[i]!);
  normals.forEach((normal, h) => {
    const own = evidenceOf(normal);
    for (let i = 0; i < SIZE; i++) {
      const a = place(i, groups[h]!);
      vector.set(a, 0, vector.get(a, 0) + own.vector.get(i, 0));
      for (let j = 0; j < SIZE; j++) {
        const b = place(j, groups[h]!);
        information.set(a, b, information.get(a, b) + own.information.get(i, j));
      }
    }
  });
  // What was known before: once. Hovers may have started from different lags (yaw learns from roll and pitch): their mean.
  for (let i = 0; i < SIZE; i++) {
    const mean = average(normals.map((n) => n.priorMean[i]!));
    const weight = 1 / average(normals.map((n) => n.priorStd[i]! ** 2));
    for (let g = 0; g < (i === EFFECTIVENESS ? groupCount : 1); g++) {
      const a = place(i, g);
      information.set(a, a, information.get(a, a) + weight);
      vector.set(a, 0, vector.get(a, 0) + weight * mean);
    }
  }
  const covariance = inverse(Matrix.add(information, information.transpose()).mul(0.5));
  return { mean: covariance.mmul(vector), covariance };
}

const average = (values: readonly number[]): number => values.reduce((a, b) => a + b, 0) / values.length;

/** ln of the ratio of two hovers' effectiveness, with its standard deviation. */
export interface EffectivenessChange {
  readonly lnRatio: number;
  readonly std: number;
  /** Two-sided p-value of no change. */
  readonly p: number;
}

/** A later hover over earlier ones that have one effectiveness in common; everything else is shared by all. */
export function effectivenessChange(
  earlier: readonly PlantNormal[],
  later: PlantNormal,
): EffectivenessChange {
  const { mean, covariance } = solveJointly([...earlier, later], [...earlier.map(() => 0), 1], 2);
  const a = SIZE - 1;
  const lnRatio = mean.get(a + 1, 0) - mean.get(a, 0);
  const variance = covariance.get(a, a) + covariance.get(a + 1, a + 1) - 2 * covariance.get(a, a + 1);
  const std = Math.hypot(CHANGE_STD_FACTOR * Math.sqrt(Math.max(0, variance)), 0.01);
  return { lnRatio, std, p: differenceP(lnRatio, std) };
}

export interface PooledPlants {
  /** Likeliest plant of each group. */
  readonly plants: readonly PlantParameters[];
  /** As likely plants, per draw one for each hover; what the hovers share is the same within a draw. */
  readonly draws: readonly (readonly PlantParameters[])[];
}

const DRAWS = 60;

/**
 * @param groups of the hovers whose fits these are
 * @param hoverGroups of all hovers the plants are wanted for
 */
export function poolPlants(
  normals: readonly PlantNormal[],
  groups: readonly number[],
  hoverGroups: readonly number[],
): PooledPlants {
  const count = Math.max(...groups) + 1;
  const { mean, covariance } = solveJointly(normals, groups, count);
  const size = mean.rows;
  const regular = Matrix.add(covariance, covariance.transpose()).mul(0.5);
  for (let i = 0; i < size; i++) regular.set(i, i, regular.get(i, i) * (1 + 1e-9) + 1e-15);
  const root = new CholeskyDecomposition(regular).lowerTriangularMatrix;
  const plant = (p: ArrayLike<number>, group: number, drift: number): PlantParameters =>
    parametersOf([p[0]!, p[1]!, p[2]!, p[SIZE - 1 + group]! + drift, p[3]!, p[4]!], 0);
  const random = seededRandom(20_177);
  const draws = Array.from({ length: DRAWS / 2 }, () => Array.from({ length: size }, random.normal)).flatMap(
    (z) => {
      const drifts = hoverGroups.map(() => DRIFT * random.normal());
      return [1, -1].map((sign) => {
        const p = Array.from({ length: size }, (_, i) => {
          let value = mean.get(i, 0);
          for (let j = 0; j <= i; j++) value += sign * root.get(i, j) * z[j]!;
          return value;
        });
        return hoverGroups.map((group, h) => plant(p, group, sign * drifts[h]!));
      });
    },
  );
  return { plants: Array.from({ length: count }, (_, g) => plant(mean.to1DArray(), g, 0)), draws };
}

const PLAUSIBLE = 80;
/** Effectiveness of anything that hovers, rad/s² per full demand (common practice, no source). */
const ANY_EFFECTIVENESS = [3, 450] as const;

/** Plants that an aircraft nothing is known of might have, the same ones every time. */
export function plausiblePlants(): PlantParameters[] {
  const random = seededRandom(4_711);
  const [low, high] = ANY_EFFECTIVENESS;
  return Array.from({ length: PLAUSIBLE }, () => ({
    effectiveness: low * (high / low) ** random.uniform(),
    lagS: Math.exp(PRIOR.lnLag[0] + PRIOR.lnLag[1] * random.normal()),
    delayS: Math.exp(PRIOR.lnDelay[0] + PRIOR.lnDelay[1] * random.normal()),
    filterShare: PRIOR.filterShare[0],
    dampingPerS: Math.max(0, PRIOR.damping[0] + PRIOR.damping[1] * random.normal()),
    instabilityPerS2: 0,
  }));
}
