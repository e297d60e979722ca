import { describe, expect, it } from 'vitest';
import { equationOf, PLANT } from '../../../../tests/support/made-loop.js';
import { complex } from '../control/complex.js';
import { fitAll, supposePlants } from './fit-axes.js';
import type { AxisEvidence } from './fit-plant.js';
import { plantAt, type PlantParameters } from './plant-model.js';

const NONE: AxisEvidence = { bands: [], equations: [], gain: null };
const NO_GUSTS = { roll: null, pitch: null, yaw: null };

/** Equations at four frequencies, as precise as a hop with a clear swing. */
function shown(plant: PlantParameters): AxisEvidence {
  const equations = [6, 12, 24, 40].map((omega) => {
    const s = complex(0, omega);
    const rate = plantAt(plant, s);
    return equationOf(s, rate, (0.02 * Math.hypot(rate.re, rate.im)) ** 2);
  });
  return { bands: [], equations, gain: null };
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
    const { roll, pitch, yaw } = supposePlants(evidence, fits, NO_GUSTS);
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
    const { roll, pitch } = supposePlants(evidence, fitAll(evidence), NO_GUSTS);
    for (const axis of [roll, pitch]) expect(axis!.plant.effectiveness / 120).toBeCloseTo(1, 0);
  });

  it('says what gusts have shown, beside it or alone', () => {
    const omega = 12;
    const lnGain = Math.log(Math.hypot(...Object.values(plantAt(PLANT, complex(0, omega)))));
    const gusts = { ...NO_GUSTS, pitch: { omega, lnGain, lnGainStd: 0.1, from: 'gusts' as const } };
    const alone = { roll: NONE, pitch: NONE, yaw: NONE };
    const only = supposePlants(alone, fitAll(alone), gusts);
    expect([only.roll!.from, only.pitch!.from, only.yaw!.from]).toEqual([
      'other-axes',
      'gusts',
      'other-axes',
    ]);
    const beside = { ...alone, roll: shown(PLANT) };
    const both = supposePlants(beside, fitAll(beside), gusts);
    expect(both.pitch!.from).toBe('gusts');
    // The lag that roll shows leaves the effectiveness as sure as the gusts' answer.
    expect(lnSpread(both.pitch!.draws)).toBeLessThan(0.15);
    expect(lnSpread(only.pitch!.draws)).toBeGreaterThan(lnSpread(both.pitch!.draws));
  });

  it('supposes nothing where no axis shows anything', () => {
    const evidence = { roll: NONE, pitch: NONE, yaw: NONE };
    expect(supposePlants(evidence, fitAll(evidence), NO_GUSTS)).toEqual({
      roll: null,
      pitch: null,
      yaw: null,
    });
  });
});
