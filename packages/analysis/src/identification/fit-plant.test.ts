import { describe, expect, it } from 'vitest';
import {
  CONTROLLER,
  doublets,
  equationOf,
  flyLinearLoop,
  heldPlant,
  PLANT,
} from '../../../../tests/support/made-loop.js';
import { near } from '../../../../tests/support/near.js';
import { complex } from '../control/complex.js';
import { instrumentBands } from './evidence.js';
import { fitPlants, type PlantFit } from './fit-plant.js';
import { PRIOR } from './prior.js';
import { plantAt, type PlantParameters } from './plant-model.js';

const LOOP = {
  kp: CONTROLLER.kp,
  ki: CONTROLLER.ki,
  attitude: 4,
  gyroNoise: 0.004,
  durationS: 30,
  stick: doublets(0.1),
} as const;

/** Distance of a parameter from its truth in stated standard deviations; parameters are logarithms but for φ, c and i. */
const deviations = (fit: PlantFit, index: number, truth: number): number =>
  Math.abs(fit.parameters[index]! - truth) /
  (Math.sqrt(Math.max(1, fit.misfit)) * Math.sqrt(fit.covariance.get(index, index)));

describe('fitPlants', () => {
  it.each<[string, Partial<PlantParameters>, number, number]>([
    ['a common plant', {}, 0.5, 1],
    ['slow rotors', { lagS: 0.09, effectiveness: 60 }, 0.5, 1],
    ['quick rotors', { lagS: 0.03, effectiveness: 180, delayS: 0.0075 }, 0.5, 1],
    ['a plant under gusts that hide it', {}, 3, Infinity],
  ])('finds %s from stick movements within 3 stated sd in each of 6 hovers', (_, plant, gust, mostDb) => {
    const flown = { ...PLANT, ...plant };
    const truth = heldPlant(flown);
    const kp = CONTROLLER.kp * (100 / truth.effectiveness) * (0.05 / truth.lagS);
    for (let seed = 1; seed <= 6; seed++) {
      const record = flyLinearLoop({ ...LOOP, plant: flown, kp, gust, seed });
      const bands = instrumentBands(record);
      expect(bands.length).toBeGreaterThanOrEqual(3);
      const fit = fitPlants([{ bands, equations: [], gain: null, motion: null }]);
      const found = fit.plants[0]!;
      const offDb = Math.abs(20 * Math.log10(found.effectiveness / truth.effectiveness));
      expect(offDb).toBeLessThan(mostDb);
      expect(deviations(fit, 0, Math.log(truth.lagS))).toBeLessThan(3);
      expect(deviations(fit, 1, Math.log(truth.delayS))).toBeLessThan(3);
      expect(deviations(fit, 2, truth.filterShare)).toBeLessThan(3);
      expect(deviations(fit, 3, Math.log(truth.effectiveness))).toBeLessThan(3);
    }
  });

  it('fits axes that share their rotors together: one lag for both, effectiveness of each', () => {
    const evidence = [100, 55].map((effectiveness, i) => {
      const plant = { ...PLANT, effectiveness };
      const kp = CONTROLLER.kp * (100 / effectiveness);
      const record = flyLinearLoop({ ...LOOP, plant, kp, gust: 1, seed: 20 + i });
      return { bands: instrumentBands(record), equations: [], gain: null, motion: null };
    });
    const { plants } = fitPlants(evidence);
    expect(plants[0]!.lagS).toBe(plants[1]!.lagS);
    near(20 * Math.log10(plants[0]!.effectiveness / 100), 0, 1);
    near(20 * Math.log10(plants[1]!.effectiveness / 55), 0, 1);
  });

  it('goes through an exact swing: the plant found has the response that was seen, within the error allowed it', () => {
    const s = complex(0.3, 2 * Math.PI * 3);
    const truth = { ...PLANT, lagS: 0.08, effectiveness: 140 };
    const seen = plantAt(truth, s);
    const equation = equationOf(s, seen, 1e-6 * (seen.re ** 2 + seen.im ** 2));
    const found = plantAt(
      fitPlants([{ bands: [], equations: [equation], gain: null, motion: null }]).plants[0]!,
      s,
    );
    near(found.re / seen.re, 1, 0.01);
    near(found.im / seen.im, 1, 0.01);
  });

  it('learns from one swing what it shows and keeps the rest uncertain: the lag hardly better known than before', () => {
    const s = complex(0, 2 * Math.PI * 3);
    const seen = plantAt(PLANT, s);
    const one = fitPlants([
      {
        bands: [],
        equations: [equationOf(s, seen, 1e-4 * (seen.re ** 2 + seen.im ** 2))],
        gain: null,
        motion: null,
      },
    ]);
    const lagStd = Math.sqrt(one.covariance.get(0, 0));
    expect(lagStd).toBeLessThan(PRIOR.lnLag[1]);
    expect(lagStd).toBeGreaterThan(0.1);
    expect(deviations(one, 3, Math.log(PLANT.effectiveness))).toBeLessThan(3);
  });

  it('says nothing of an axis without evidence', () => {
    const s = complex(0, 20);
    const own = equationOf(s, plantAt(PLANT, s), 1);
    expect(
      fitPlants([
        { bands: [], equations: [own], gain: null, motion: null },
        { bands: [], equations: [], gain: null, motion: null },
      ]).plants[1],
    ).toBeNull();
  });
});
