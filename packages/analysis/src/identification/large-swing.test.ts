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
