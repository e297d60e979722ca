import { Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { equationOf, PLANT } from '../../../../tests/support/made-loop.js';
import { complex } from '../control/complex.js';
import { fitAll, supposePlants } from './fit-axes.js';
import type { AxisEvidence } from './fit-plant.js';
import { plantAt, type PlantParameters } from './plant-model.js';

const NONE: AxisEvidence = { bands: [], equations: [], gain: null, motion: null };

/** Equations at four frequencies, as precise as a hop with a clear swing. */
function shown(plant: PlantParameters): AxisEvidence {
  const equations = [6, 12, 24, 40].map((omega) => {
    const s = complex(0, omega);
    const rate = plantAt(plant, s);
    return equationOf(s, rate, (0.02 * Math.hypot(rate.re, rate.im)) ** 2);
  });
  return { bands: [], equations, gain: null, motion: null };
}

/** A plant known within a share, as its motion in gusts might tell it. */
function inGusts(plant: PlantParameters, share: number): AxisEvidence {
  const mean = [
    Math.log(plant.lagS),
    Math.log(plant.delayS),
    plant.dampingPerS,
    plant.instabilityPerS2,
    Math.log(plant.effectiveness),
  ];
  const information = Matrix.eye(5).mul(share ** -2);
  const motion = { information, weighted: information.mmul(Matrix.columnVector(mean)) };
  return { bands: [], equations: [], gain: null, motion };
}

/** The same answers as {@link shown}, from sticks. */
function shownByBands(plant: PlantParameters): AxisEvidence {
  const bands = shown(plant).equations.map(({ s, rate, demand }) => ({
    s,
    rate,
    demand,
    rates: [rate, rate, rate],
    demands: [demand, demand, demand],
    omegas: [s.im, s.im, s.im],
    strength: 100,
  }));
  return { bands, equations: [], gain: null, motion: null };
}

const lnSpread = (draws: readonly PlantParameters[]): number => {
  const values = draws.map((d) => Math.log(d.effectiveness));
  const mean = values.reduce((a, b) => a + b, 0) / values.length;
  return Math.sqrt(values.reduce((sum, v) => sum + (v - mean) ** 2, 0) / values.length);
};

describe('supposePlants', () => {
  it('takes lag and delay from the axis that shows them, and its effectiveness within a factor', () => {
    const evidence = { roll: shown({ ...PLANT, lagS: 0.09 }), pitch: NONE, yaw: NONE };
    const fits = fitAll(evidence);
    const { roll, pitch, yaw } = supposePlants(evidence, fits);
    expect(roll).toBeNull();
    expect(pitch!.from).toBe('other-axes');
    expect(pitch!.plant.lagS / fits.roll!.plant.lagS).toBeCloseTo(1, 3);
    expect(pitch!.plant.effectiveness / fits.roll!.plant.effectiveness).toBeCloseTo(1, 1);
    expect(yaw!.plant.effectiveness / fits.roll!.plant.effectiveness).toBeCloseTo(1 / 6, 1);
    // Half of 48 draws of one standard deviation: within a quarter of it.
    expect(lnSpread(pitch!.draws) / Math.log(1.6)).toBeGreaterThan(0.75);
    expect(lnSpread(yaw!.draws) / Math.log(2)).toBeGreaterThan(0.75);
  });

  it('tells of roll and pitch from yaw alone', () => {
    const evidence = { roll: NONE, pitch: NONE, yaw: shown({ ...PLANT, effectiveness: 20 }) };
    const { roll, pitch } = supposePlants(evidence, fitAll(evidence));
    for (const axis of [roll, pitch]) expect(axis!.plant.effectiveness / 120).toBeCloseTo(1, 0);
  });

  it('says what an axis’ motion in gusts has shown, and takes the rotors from who shows them', () => {
    const alone = { roll: NONE, pitch: inGusts({ ...PLANT, effectiveness: 60 }, 0.1), yaw: NONE };
    const only = supposePlants(alone, fitAll(alone));
    expect([only.roll!.from, only.pitch!.from, only.yaw!.from]).toEqual([
      'other-axes',
      'motion',
      'other-axes',
    ]);
    expect(only.pitch!.plant.effectiveness / 60).toBeCloseTo(1, 1);
    const beside = { ...alone, roll: shown({ ...PLANT, lagS: 0.06 }) };
    const fits = fitAll(beside);
    const both = supposePlants(beside, fits);
    expect(both.roll).toBeNull();
    expect(both.pitch!.from).toBe('motion');
    expect(both.pitch!.plant.lagS).toBeCloseTo(fits.roll!.plant.lagS, 6);
  });

  it('does not let motion in gusts bend what strong sticks show', () => {
    const sticks = shownByBands(PLANT);
    const evidence = { roll: sticks, pitch: inGusts({ ...PLANT, lagS: 0.09 }, 0.02), yaw: NONE };
    const beside = fitAll(evidence).roll!.plant;
    const alone = fitAll({ ...evidence, pitch: NONE }).roll!.plant;
    expect(beside).toEqual(alone);
  });

  it('takes roll and pitch to be alike within a factor of 1.6, and yaw a sixth within 2, where an axis shows little itself', () => {
    const roll = shownByBands({ ...PLANT, effectiveness: 90 });
    // Gusts say 20 rad/s² within a factor of e^0.4; beside 90 within 1.6 the mean is (ln 20/0.4² + ln 90/ln²1.6)/(…).
    const precision = [0.4 ** -2, Math.log(1.6) ** -2];
    const expected =
      (Math.log(20) * precision[0]! + Math.log(90) * precision[1]!) / (precision[0]! + precision[1]!);
    const weak = (effectiveness: number): AxisEvidence => inGusts({ ...PLANT, effectiveness }, 0.4);
    const alone = fitAll({ roll: NONE, pitch: weak(20), yaw: NONE }).pitch!.plant.effectiveness;
    const beside = fitAll({ roll, pitch: weak(20), yaw: NONE }).pitch!.plant.effectiveness;
    expect(Math.log(alone)).toBeCloseTo(Math.log(20), 1);
    expect(Math.log(beside)).toBeCloseTo(expected, 1);
    const yaw = fitAll({ roll, pitch: NONE, yaw: weak(3) }).yaw!.plant.effectiveness;
    expect(yaw).toBeGreaterThan(3.3);
    expect(yaw).toBeLessThan(90 / 6);
    // What an axis shows clearly stands, however unlike the other it is.
    const both = fitAll({ roll, pitch: shownByBands({ ...PLANT, effectiveness: 25 }), yaw: NONE });
    expect(both.pitch!.plant.effectiveness / 25).toBeCloseTo(1, 1);
    expect(both.roll!.plant.effectiveness / 90).toBeCloseTo(1, 1);
  });

  it('supposes nothing where no axis shows anything', () => {
    const evidence = { roll: NONE, pitch: NONE, yaw: NONE };
    expect(supposePlants(evidence, fitAll(evidence))).toEqual({
      roll: null,
      pitch: null,
      yaw: null,
    });
  });
});
