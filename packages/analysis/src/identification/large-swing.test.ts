import { describe, expect, it } from 'vitest';
import { flyLinearLoop, heldPlant, PLANT } from '../../../../tests/support/made-loop.js';
import { absolute, complex } from '../control/complex.js';
import type { AxisRecord } from './evidence.js';
import { gainFromLargeSwing } from './large-swing.js';
import { plantAt } from './plant-model.js';

/** A slow rate loop under an attitude loop that asks too much of it: it runs away within a few swings. */
const RUNAWAY = { kp: 0.012, ki: 0.05, attitude: 9, gyroNoise: 0.004, stick: () => 0 } as const;
const LARGEST_RATE = 4;

/** Up to where it would have tipped over. */
function cut(record: AxisRecord): AxisRecord {
  const at = record.rate.findIndex((v) => Math.abs(v) > LARGEST_RATE);
  const end = at < 0 ? record.rate.length : at;
  return { ...record, rate: record.rate.slice(0, end), demand: record.demand.slice(0, end) };
}

describe('gainFromLargeSwing', () => {
  it('finds the response of a plant whose loop runs away within a few seconds, within 3 stated sd', () => {
    let given = 0;
    for (let seed = 201; seed <= 216; seed++) {
      const plant = { ...PLANT, effectiveness: 60 + 8 * (seed % 9), lagS: 0.035 + 0.006 * (seed % 8) };
      const record = cut(flyLinearLoop({ ...RUNAWAY, plant, gust: 1, seed, durationS: 8 }));
      const found = gainFromLargeSwing(record);
      if (found === null) continue;
      given++;
      const truth = Math.log(absolute(plantAt(heldPlant(plant), complex(0, found.omega))));
      expect(Math.abs(found.lnGain - truth)).toBeLessThan(3 * found.lnGainStd);
    }
    expect(given).toBeGreaterThanOrEqual(8);
  });

  it('reads the swing before a touch of the ground, which turns the aircraft as no demand does', () => {
    // A demand that grows to half, 1.3 times a second; 70 rad/s² per full demand, a lag of 70 ms, no delay but the lag.
    const stepS = 0.005;
    const n = 800;
    const demand = Float64Array.from(
      { length: n },
      (_, i) => 0.5 * Math.min(1, i / 500) * Math.sign(Math.sin(2 * Math.PI * 1.3 * i * stepS + 0.4)),
    );
    const rate = new Float64Array(n);
    let thrust = 0;
    let turning = 0;
    for (let i = 0; i < n; i++) {
      thrust += (demand[Math.max(0, i - 2)]! - thrust) * (1 - Math.exp(-stepS / 0.07));
      turning += stepS * (70 * thrust - 0.6 * turning);
      rate[i] = turning;
    }
    const before = gainFromLargeSwing({ startS: 0, stepS, rate, demand, instrument: null })!;
    const touched = rate.map((v, i) => (i < n - 12 ? v : v + 3 * (i - n + 13)));
    const found = gainFromLargeSwing({ startS: 0, stepS, rate: touched, demand, instrument: null })!;
    for (const { lnGain, lnGainStd, omega } of [before, found]) {
      const truth = {
        ...PLANT,
        effectiveness: 70,
        lagS: 0.07,
        delayS: 0.01,
        dampingPerS: 0.6,
        instabilityPerS2: 0,
      };
      expect(Math.abs(lnGain - Math.log(absolute(plantAt(truth, complex(0, omega)))))).toBeLessThan(
        2 * lnGainStd,
      );
    }
  });

  it('shows nothing where gusts alone move a loop that holds', () => {
    for (let seed = 221; seed <= 226; seed++) {
      const calm = { ...RUNAWAY, kp: 0.12, ki: 0.3, attitude: 4 };
      for (const gust of [2, 20, 60])
        expect(
          gainFromLargeSwing(flyLinearLoop({ ...calm, plant: PLANT, gust, seed, durationS: 5 })),
        ).toBeNull();
    }
  });

  it('shows nothing where the motion is small', () => {
    const record = flyLinearLoop({ ...RUNAWAY, plant: PLANT, gust: 0.05, seed: 230, durationS: 0.6 });
    expect(gainFromLargeSwing(record)).toBeNull();
  });
});
