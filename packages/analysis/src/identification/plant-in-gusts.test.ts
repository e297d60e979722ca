import { Matrix, solve } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import {
  CONTROLLER,
  doublets,
  flyLinearLoop,
  heldPlant,
  PLANT,
  type LinearLoop,
} from '../../../../tests/support/made-loop.js';
import { marginsOf } from './loop-model.js';
import { plantInGusts, type GustEvidence, type Mover } from './plant-in-gusts.js';
import type { PlantParameters } from './plant-model.js';
import { PRIOR } from './prior.js';

interface Hover extends Partial<LinearLoop> {
  readonly movers?: readonly Mover[];
  readonly swingsHz?: readonly number[];
}

const GAINS = { kp: 0.12, ki: 0.3, attitude: 4 };

function controllerOf({ kp = GAINS.kp, ki = GAINS.ki, attitude = GAINS.attitude }: Hover): typeof CONTROLLER {
  return { ...CONTROLLER, kp, ki, kd: 0, attitude };
}

function read(plant: PlantParameters, seed: number, hover: Hover = {}): GustEvidence | null {
  const loop = {
    ...GAINS,
    stick: () => 0,
    gust: 2,
    gyroNoise: 0.003,
    durationS: 30,
    ...hover,
    plant,
    seed,
  };
  const record = flyLinearLoop(loop);
  const none = new Float64Array(record.rate.length);
  const lostDemand = record.demand.map((v, i) => (loop.stops?.(v, i * record.stepS) ?? v) - v);
  const cutShare = lostDemand.filter((v) => Math.abs(v) > 0.01).length / lostDemand.length;
  return plantInGusts(
    { ...record, demand: record.demand.map((v, i) => v + lostDemand[i]!), instrument: null },
    { reference: record.instrument!, lostReference: none, lostDemand },
    controllerOf(hover),
    hover.movers ?? [],
    hover.swingsHz ?? [],
    cutShare,
  );
}

/** With what is known beforehand: means and standard deviations of ln τ, ln d, c, i, ln K. */
function posterior({ information, weighted }: GustEvidence): { mean: number[]; std: number[] } {
  const priors = [PRIOR.lnLag, PRIOR.lnDelay, PRIOR.damping, PRIOR.instability, PRIOR.lnEffectiveness];
  const all = information.clone();
  const right = weighted.clone();
  priors.forEach(([mean, std], j) => {
    all.set(j, j, all.get(j, j) + std ** -2);
    right.set(j, 0, right.get(j, 0) + mean * std ** -2);
  });
  const covariance = solve(all, Matrix.eye(5));
  return {
    mean: covariance.mmul(right).to1DArray(),
    std: [0, 1, 2, 3, 4].map((j) => Math.sqrt(covariance.get(j, j))),
  };
}

/** Errors of ln K in stated standard deviations, and of the rate loop's gain margin in dB. */
function errorsOf(found: GustEvidence, flown: PlantParameters, hover: Hover): { z: number; dB: number } {
  const { mean, std } = posterior(found);
  const truth = heldPlant(flown);
  const marginOf = (plant: PlantParameters): number =>
    marginsOf({ plant, controller: controllerOf(hover), gyroDelayS: 0, addedFilters: null }).rate!
      .gainMarginDb!;
  const said = {
    ...truth,
    lagS: Math.exp(mean[0]!),
    delayS: Math.exp(mean[1]!),
    filterShare: PRIOR.filterShare[0],
    dampingPerS: mean[2]!,
    effectiveness: Math.exp(mean[4]!),
  };
  return {
    z: (mean[4]! - Math.log(flown.effectiveness)) / std[4]!,
    dB: marginOf(said) - marginOf(truth),
  };
}

const plantOf = (seed: number): PlantParameters => ({
  ...PLANT,
  effectiveness: 70 + 12 * (seed % 6),
  lagS: 0.035 + 0.012 * (seed % 4),
});

const seeds = Array.from({ length: 8 }, (_, i) => 1 + i);

/** Wanted of a margin: 1 dB off the stops, 2 dB on them, far from the limit or in seconds. Of eight: two in three within one standard deviation would be 5, stated spreads are wider on purpose. */
function expectRight(errors: readonly { z: number; dB: number }[], within: number): void {
  expect(errors.length).toBeGreaterThanOrEqual(7);
  expect(errors.filter(({ z }) => Math.abs(z) < 1).length).toBeGreaterThanOrEqual(5);
  expect(errors.filter(({ z }) => Math.abs(z) < 2.5)).toHaveLength(errors.length);
  const sorted = errors.map(({ dB }) => Math.abs(dB)).sort((a, b) => a - b);
  expect(sorted[sorted.length >> 1]!).toBeLessThan(within);
}

describe('a plant read from motion in gusts', () => {
  it.each([
    ['well damped', {}, 1],
    ['with little margin left', { kp: 0.26, ki: 0.8 }, 1],
    ['loose', { kp: 0.03, ki: 0.05, attitude: 3 }, 2],
    ['well damped, for five seconds', { durationS: 5 }, 2],
  ] as const)('%s: effectiveness within its spread, the gain margin near the truth', (_, hover, within) => {
    const errors = seeds.flatMap((seed) => {
      const found = read(plantOf(seed), seed, hover);
      return found === null ? [] : [errorsOf(found, plantOf(seed), hover)];
    });
    expectRight(errors, within);
  });

  it('takes the stick for what it is', () => {
    const hover = { stick: doublets(0.05) };
    const errors = seeds.map((seed) => errorsOf(read(plantOf(seed), seed, hover)!, plantOf(seed), hover));
    expectRight(errors, 1);
  });

  it('is not misled by motors at their stops half of the time, whose equivalent gain it takes', () => {
    // Something else takes the motors to their stops in every other eighth of a second: half the demand gets through.
    const hover = {
      stops: (demand: number, timeS: number) => (Math.floor(8 * timeS) % 2 ? 0.4 : 1) * demand,
    };
    const errors = seeds.map((seed) => errorsOf(read(plantOf(seed), seed, hover)!, plantOf(seed), hover));
    expectRight(errors, 2);
  });

  it('tells what another axis pushes from what gusts do', () => {
    const wide = (timeS: number): number => Math.sin(2 * Math.PI * 3.3 * timeS + Math.sin(1.7 * timeS));
    const values = Float64Array.from({ length: 6000 }, (_, i) => 100 * wide(i * 0.005));
    const hover = {
      push: (timeS: number) => 6 * wide(timeS),
      movers: [{ values, isRate: false, most: 0.1 }],
    };
    const errors = seeds.map((seed) => errorsOf(read(plantOf(seed), seed, hover)!, plantOf(seed), hover));
    expectRight(errors, 2);
    const unaware = { ...hover, movers: [] };
    const misled = seeds.filter((seed) => {
      const found = read(plantOf(seed), seed, unaware);
      return found === null || Math.abs(errorsOf(found, plantOf(seed), hover).z) > 1;
    });
    expect(misled.length).toBeGreaterThan(6);
  });

  it('leaves out where another axis swings by itself', () => {
    const hover = { push: (timeS: number) => 6 * Math.sin(2 * Math.PI * 5 * timeS), swingsHz: [5] };
    const errors = seeds.map((seed) => errorsOf(read(plantOf(seed), seed, hover)!, plantOf(seed), hover));
    expectRight(errors, 1);
  });

  it('says nothing of a record too short, of one that stands still, or with an attitude loop it does not know', () => {
    expect(read(PLANT, 1, { durationS: 1.5 })).toBeNull();
    const record = flyLinearLoop({
      ...GAINS,
      plant: PLANT,
      stick: () => 0,
      gust: 2,
      gyroNoise: 0,
      seed: 1,
      durationS: 20,
    });
    const none = new Float64Array(record.rate.length);
    const drive = { reference: none, lostReference: none, lostDemand: none };
    expect(plantInGusts(record, drive, { ...CONTROLLER, attitude: null }, [], [], 0)).toBeNull();
    const still = { ...record, rate: none, demand: none };
    expect(plantInGusts(still, drive, CONTROLLER, [], [], 0)).toBeNull();
    const steady = { ...record, rate: none.map(() => 0.01), demand: none };
    expect(plantInGusts(steady, drive, CONTROLLER, [], [], 0)).toBeNull();
  });
});
