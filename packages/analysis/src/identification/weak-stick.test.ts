import { describe, expect, it } from 'vitest';
import {
  CONTROLLER,
  doublets,
  flyLinearLoop,
  heldPlant,
  PLANT,
} from '../../../../tests/support/made-loop.js';
import { absolute, complex } from '../control/complex.js';
import type { GainEstimate } from './gain-estimate.js';
import { plantAt, type PlantParameters } from './plant-model.js';
import { gainFromWeakStick } from './weak-stick.js';

const STICK_RAD = 0.1;
const GUST = 2;
/** Two doublets in half a minute. */
const seldom =
  (size: number) =>
  (timeS: number): number =>
    (timeS > 4 && timeS < 8) || (timeS > 16 && timeS < 20) ? doublets(size)(timeS) : 0;
const LOOP = { kp: 0.08, ki: 0.2, attitude: 4, gyroNoise: 0.004, durationS: 30 } as const;
const controller = { ...CONTROLLER, kp: LOOP.kp, ki: LOOP.ki, kd: 0, attitude: LOOP.attitude };

function estimate(plant: PlantParameters, gust: number, seed: number, size: number): GainEstimate | null {
  const record = flyLinearLoop({ ...LOOP, plant, gust, seed, stick: seldom(size) });
  const none = new Float64Array(record.rate.length);
  return gainFromWeakStick(
    record,
    { reference: record.instrument!, lostReference: none, lostDemand: none },
    controller,
  );
}

const errorOf = (found: GainEstimate, plant: PlantParameters): number =>
  found.lnGain - Math.log(absolute(plantAt(heldPlant(plant), complex(0, found.omega))));

describe('gainFromWeakStick', () => {
  it('finds the response from two doublets under gusts within 3 stated sd, and within 1 at least half of the time', () => {
    let within = 0;
    let given = 0;
    for (let seed = 101; seed <= 124; seed++) {
      const plant = { ...PLANT, effectiveness: 60 + 5 * (seed % 10), lagS: 0.04 + 0.005 * (seed % 7) };
      const found = estimate(plant, GUST, seed, STICK_RAD);
      if (found === null) continue;
      given++;
      const off = Math.abs(errorOf(found, plant)) / found.lnGainStd;
      expect(off).toBeLessThan(3);
      if (off < 1) within++;
    }
    expect(given).toBeGreaterThanOrEqual(14);
    expect(within / given).toBeGreaterThan(0.5);
  });

  it('shows nothing where the stick rests, whatever the gusts do', () => {
    for (let seed = 131; seed <= 138; seed++) expect(estimate(PLANT, 3, seed, 0)).toBeNull();
  });

  it('shows nothing where the gusts drown the stick', () => {
    let given = 0;
    for (let seed = 141; seed <= 152; seed++) if (estimate(PLANT, 5, seed, 0.002) !== null) given++;
    expect(given).toBe(0);
  });

  it('counts what a limit took away, without which the plant would look weak', () => {
    const record = flyLinearLoop({ ...LOOP, plant: PLANT, gust: 1, seed: 160, stick: doublets(0.1) });
    const none = new Float64Array(record.rate.length);
    // A reference twice as far of which half is said to be lost again is the same drive.
    const reference = record.instrument!.map((v) => 2 * v);
    const lostReference = record.instrument!.map((v) => -LOOP.attitude * v);
    const told = gainFromWeakStick(record, { reference, lostReference, lostDemand: none }, controller)!;
    const plain = gainFromWeakStick(
      record,
      { reference: record.instrument!, lostReference: none, lostDemand: none },
      controller,
    )!;
    expect(Math.abs(told.lnGain - plain.lnGain)).toBeLessThan(1e-6);
    expect(Math.abs(errorOf(told, PLANT))).toBeLessThan(3 * told.lnGainStd);
    const untold = gainFromWeakStick(
      record,
      { reference, lostReference: none, lostDemand: none },
      controller,
    );
    if (untold !== null) expect(errorOf(untold, PLANT)).toBeLessThan(-0.3);
  });
});
