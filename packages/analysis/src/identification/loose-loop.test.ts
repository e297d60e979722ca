import { describe, expect, it } from 'vitest';
import {
  CONTROLLER,
  doublets,
  flyLinearLoop,
  heldPlant,
  PLANT,
} from '../../../../tests/support/made-loop.js';
import { absolute, complex } from '../control/complex.js';
import { gainFromGusts } from './loose-loop.js';
import type { GainEstimate } from './gain-estimate.js';
import { plantAt, type PlantParameters } from './plant-model.js';

const LOOSE = { kp: 0.022, ki: 0.05, attitude: 4, gyroNoise: 0.003, gust: 2, durationS: 30 } as const;

function estimate(
  plant: PlantParameters,
  seed: number,
  loop: { kp: number; ki: number; attitude: number; gyroNoise: number; gust: number; durationS: number },
  stick: (timeS: number) => number = () => 0,
): GainEstimate | null {
  const record = flyLinearLoop({ ...loop, plant, seed, stick });
  const none = new Float64Array(record.rate.length);
  return gainFromGusts(
    record,
    { reference: record.instrument!, lostReference: none, lostDemand: none },
    { ...CONTROLLER, kp: loop.kp, ki: loop.ki, kd: 0, attitude: loop.attitude },
  );
}

const errorOf = (found: GainEstimate, plant: PlantParameters): number =>
  found.lnGain - Math.log(absolute(plantAt(heldPlant(plant), complex(0, found.omega))));

const plantOf = (seed: number): PlantParameters => ({
  ...PLANT,
  effectiveness: 60 + 10 * (seed % 9),
  lagS: 0.035 + 0.01 * (seed % 5),
});

describe('gainFromGusts', () => {
  it('finds how strong the demand of a loose loop is, from gusts alone, within 3 stated sd and within 1 at least half of the time', () => {
    let given = 0;
    let within = 0;
    for (let seed = 201; seed <= 212; seed++) {
      const found = estimate(plantOf(seed), seed, LOOSE);
      if (found === null) continue;
      given++;
      const off = Math.abs(errorOf(found, plantOf(seed))) / found.lnGainStd;
      expect(off).toBeLessThan(3);
      if (off < 1) within++;
    }
    expect(given).toBeGreaterThanOrEqual(9);
    expect(within / given).toBeGreaterThan(0.5);
  });

  it('tells much in a hop of five seconds, or says nothing', () => {
    let given = 0;
    for (let seed = 221; seed <= 226; seed++) {
      const found = estimate(plantOf(seed), seed, { ...LOOSE, attitude: 9, kp: 0.04, durationS: 6 });
      if (found === null) continue;
      given++;
      expect(Math.abs(errorOf(found, plantOf(seed))) / found.lnGainStd).toBeLessThan(3);
    }
    expect(given).toBeGreaterThanOrEqual(3);
  });

  it('takes out of the motion what the stick did', () => {
    const plant = plantOf(240);
    const found = estimate(plant, 240, LOOSE, doublets(0.1))!;
    expect(Math.abs(errorOf(found, plant)) / found.lnGainStd).toBeLessThan(3);
  });

  it('says nothing of a loop that is not far from its limit', () => {
    for (let seed = 251; seed <= 254; seed++)
      expect(estimate(PLANT, seed, { ...LOOSE, kp: 0.3, ki: 0.6 })).toBeNull();
  });

  it('says nothing where the gyro’s noise is all there is', () => {
    for (let seed = 261; seed <= 262; seed++)
      expect(estimate(PLANT, seed, { ...LOOSE, gust: 0.0005, gyroNoise: 0.01 })).toBeNull();
  });
});
