import { describe, expect, it } from 'vitest';
import { madeFlight } from '../../../../tests/support/made-flight.js';
import { near } from '../../../../tests/support/near.js';
import { randomSource } from '../../../../tests/support/random.js';
import { axisSignals } from './axis-signals.js';
import { findDemandSwings, type DemandSwing } from './demand-swing.js';
import { prepareSignal } from './find-axis.js';

const SWING_HZ = 14;
const DEG = Math.PI / 180;
const HOVER = { startS: 0, endS: 20 };
const SEARCH = { lowestHz: 1, highestHz: 28, falseAlarmRate: 1e-4 };

interface Made {
  /** Of the demand before it is cut at ±1. */
  readonly swing: number;
  readonly otherSwing?: number;
  /** Noise of the demand, share of full authority. */
  readonly noise?: number;
  /** Frequency of a line found in the motion. */
  readonly known?: number;
}

/** Yaw swings at 14 Hz: full demand, a degree per second of motion. */
function found({ swing, otherSwing = 0, noise = 0.03, known }: Made): DemandSwing[] {
  const random = randomSource(10_007);
  const hiss = Array.from({ length: 4100 }, () => random.normal());
  const at = (t: number): number => Math.sin(2 * Math.PI * SWING_HZ * t + 0.3);
  const cut = (v: number): number => Math.max(-1, Math.min(1, v));
  const flight = madeFlight(20, {
    'rate.yaw.demand': { hz: 200, at: (t) => cut(swing * at(t) + noise * hiss[Math.round(200 * t)]!) },
    'rate.roll.demand': { hz: 200, at: (t) => cut(otherSwing * at(t) + 0.02 * Math.sin(5 * t)) },
    'rate.yaw.measured': {
      hz: 200,
      at: (t) =>
        DEG * (1.2 * at(t - 0.02) + 1.5 * Math.sin(3 * t) + 0.4 * hiss[(7 * Math.round(200 * t)) % 4001]!),
    },
  });
  const other = prepareSignal(axisSignals(flight, 'roll').demand, HOVER)!;
  const lines = known === undefined ? [] : [{ ...HOVER, frequencyHz: known }];
  return findDemandSwings(flight, axisSignals(flight, 'yaw'), HOVER, SEARCH, lines, [other]);
}

describe('findDemandSwings', () => {
  it('finds a swing that meets the stops in the demand and hardly shows in the motion', () => {
    const [line, ...more] = found({ swing: 1.3 });
    expect(more).toEqual([]);
    expect(line!.regime).toBe('limit-cycle');
    near(line!.frequencyHz, SWING_HZ, 0.05);
    // A sine of 1.3 cut at 1 keeps a fundamental of 1.3·N(1.3), N the describing function of saturation: 1.13.
    const ratio = 1 / 1.3;
    const fundamental = 1.3 * (2 / Math.PI) * (Math.asin(ratio) + ratio * Math.sqrt(1 - ratio * ratio));
    near(line!.demandAmplitude, fundamental, 0.03);
    near(line!.rateAmplitude / DEG, 1.2, 0.25);
  });

  it('leaves a swing alone that meets no stop: what holds it is not the loop and its motors', () => {
    expect(found({ swing: 0.5 })).toEqual([]);
  });

  it('leaves a swing to the axis that swings further', () => {
    expect(found({ swing: 1.1, otherSwing: 1.6 })).toEqual([]);
  });

  it('takes no overtone of a swing that is already known for a swing', () => {
    expect(found({ swing: 1.3, known: SWING_HZ / 2 })).toEqual([]);
    expect(found({ swing: 1.3, known: SWING_HZ / 2.4 })).toHaveLength(1);
  });

  it('finds nothing in a restless demand without a line', () => {
    expect(found({ swing: 0, noise: 0.6 })).toEqual([]);
  });
});
