/** What the motion in gusts is read from, and beside what it is not. */
import { expect, it } from 'vitest';
import { CONTROLLER, doublets, flyLinearLoop, PLANT } from '../../../../tests/support/made-loop.js';
import type { FlownRecord } from './flown-record.js';
import { motionInGusts } from './gather-evidence.js';

const GAINS = { kp: 0.12, ki: 0.3, attitude: 4 };

/** A roll axis in gusts, its stick hardly moved, beside a pitch axis that swings by ±`degS` at 1.4 Hz. */
function beside(degS: number, seed: number): FlownRecord {
  const { startS, stepS, rate, demand, instrument } = flyLinearLoop({
    ...GAINS,
    plant: PLANT,
    stick: doublets(0.005),
    gust: 2,
    gyroNoise: 0.003,
    durationS: 20,
    seed,
  });
  const pitch = rate.map((_, i) => ((degS * Math.PI) / 180) * Math.sin(2 * Math.PI * 1.4 * i * stepS));
  const none = rate.map(() => 0);
  let angle = 0;
  const attitude = rate.map((v) => (angle += v * stepS));
  const stick = instrument!;
  const logged: Readonly<Record<string, Float64Array>> = {
    'stick.roll': stick,
    'attitude.roll.reference': stick,
    'attitude.roll.measured': attitude,
    'rate.roll.reference': stick.map((v, i) => GAINS.attitude * (v - attitude[i]!)),
  };
  const each = { roll: demand, pitch: none, yaw: none };
  return {
    startS,
    stepS,
    rates: { roll: rate, pitch, yaw: none },
    asked: each,
    applied: {
      perAxis: each,
      cutShare: { roll: 0, pitch: 0, yaw: 0 },
      from: 'made data',
      stopsUnknown: false,
    } as unknown as FlownRecord['applied'],
    onClock: (channel) => logged[channel] ?? null,
  };
}

const controller = { ...CONTROLLER, ...GAINS, kd: 0 };

it('the motion in gusts is read beside an axis that swings a little, and not beside one that turns wildly', () => {
  for (const seed of [1, 2, 3]) {
    expect(motionInGusts(beside(10, seed), 'roll', controller, [])).not.toBeNull();
    // ±127 deg/s are 90 deg/s RMS.
    expect(motionInGusts(beside(110, seed), 'roll', controller, [])).not.toBeNull();
    expect(motionInGusts(beside(140, seed), 'roll', controller, [])).toBeNull();
    expect(motionInGusts(beside(300, seed), 'roll', controller, [])).toBeNull();
  }
});
