import { AXES } from '@settle/parser';
import { describe, expect, test } from 'vitest';
import type { FlightConfig } from './config.js';
import { axisLoop } from './linear-loop.js';
import { bestLoop, judgeAxis, unsafeChanges } from './loop-quality.js';
import { makeRandom } from './random.js';
import { trialAircraft } from './trial-aircraft.js';
import { axisMargins } from './truth.js';

const rigid = trialAircraft(700).good;
// Any seed of remainder 5 by 6 has a mode.
const flexible = trialAircraft(707).good;
const copy = structuredClone<FlightConfig>;

describe('the best crossover of an axis', () => {
  test('does not depend on the gains flown', () => {
    expect(bestLoop(trialAircraft(700).start, 'roll')).toEqual(bestLoop(rigid, 'roll'));
  });

  test('does not depend on effectiveness: gains go with one over it', () => {
    const strong = copy(rigid);
    strong.airframe.effectiveness.roll *= 3;
    const best = bestLoop(strong, 'roll');
    expect(best.rateCrossoverHz).toBeCloseTo(bestLoop(rigid, 'roll').rateCrossoverHz, 9);
  });

  test('doubles when everything happens twice as fast', () => {
    const slow = copy(rigid);
    // What does not scale is left out: aerodynamics, and a low-pass nobody was told of.
    slow.airframe.damping.roll = 0;
    slow.airframe.instability.roll = 0;
    slow.unmodelled.extraLowPassHz = null;
    slow.sensors.gyroLowPassHz = 40;
    const fast = copy(slow);
    fast.loopRateHz *= 2;
    fast.rotors.lagS /= 2;
    fast.rotors.delayS /= 2;
    fast.sensors.gyroLowPassHz = 80;
    fast.controller.derivativeLowPassHz! *= 2;
    // The integral times of the search contain a fixed hundredth of a second, and its lowest frequency is fixed.
    const ratio = bestLoop(fast, 'roll').rateCrossoverHz / bestLoop(slow, 'roll').rateCrossoverHz;
    expect(Math.abs(ratio - 2)).toBeLessThan(0.08);
  });

  test.each([
    ['rigid', rigid],
    ['flexible', flexible],
  ])('is not passed by any of 200 random PID controllers with 8 dB and 50°, %s', (_, config) => {
    const random = makeRandom(3);
    const axis = config.flexibleMode?.axis ?? 'roll';
    const loop = axisLoop(config, axis);
    const limitHz = bestLoop(config, axis).rateCrossoverHz;
    let kept = 0;
    let fastest = 0;
    for (let i = 0; i < 200; i++) {
      const crossover = 2 * Math.PI * limitHz;
      const kp = (crossover / loop.effectiveness) * random.logBetween(0.4, 2.5);
      const rate = {
        kp,
        ki: kp / (loop.lagS * random.logBetween(4, 40)),
        kd: kp * loop.lagS * random.between(0, 1.2),
        kff: 0,
      };
      const margins = axisMargins({ ...loop, rate }).rate;
      if (!margins.stable || (margins.gainMarginDb ?? 99) < 8 || (margins.phaseMarginDeg ?? 0) < 50) continue;
      kept++;
      const tried = copy(config);
      tried.controller.rate[axis] = rate;
      fastest = Math.max(fastest, judgeAxis(tried, axis).rate.crossoverHz!);
    }
    expect(kept).toBeGreaterThan(10);
    // The search's grids cost up to 5 %; a mode's phase crossings count in it even where they do no harm.
    expect(fastest / limitHz).toBeLessThan(config === rigid ? 1.05 : 1.15);
    expect(fastest / limitHz).toBeGreaterThan(0.8);
  });
});

describe('the judge of an axis', () => {
  test('crosses over where the margins of a rigid, sound loop are taken', () => {
    for (const axis of AXES) {
      const { rate } = judgeAxis(rigid, axis);
      expect(rate.crossoverHz! / rate.margins.crossoverHz!).toBeCloseTo(1, 2);
    }
  });

  test('calls a loop of an eighth of its gain loose, and of eight times its gain unsafe', () => {
    const weak = copy(rigid);
    const strong = copy(rigid);
    for (const term of ['kp', 'ki', 'kd'] as const) {
      weak.controller.rate.roll[term] /= 8;
      strong.controller.rate.roll[term] *= 8;
    }
    expect(judgeAxis(weak, 'roll')).toMatchObject({ good: false, precarious: true });
    const tight = judgeAxis(strong, 'roll');
    expect(tight).toMatchObject({ good: false, precarious: true });
    expect(tight.rate.safe).toBe(false);
    // The gain margin says by how much: eight times is 18.06 dB.
    const before = judgeAxis(rigid, 'roll').rate.margins.gainMarginDb!;
    expect(tight.rate.margins.gainMarginDb!).toBeCloseTo(before - 20 * Math.log10(8), 2);
  });

  test('calls advice unsafe that takes a safe loop under 3 dB or 0.25 of the best, and no other', () => {
    const before = judgeAxis(rigid, 'roll');
    const spare = before.rate.margins.gainMarginDb!;
    const after = (factor: number) => {
      const next = copy(rigid);
      for (const term of ['kp', 'ki', 'kd'] as const) next.controller.rate.roll[term] *= factor;
      return judgeAxis(next, 'roll');
    };
    const db = (value: number): number => 10 ** (value / 20);
    const rate = (factor: number) =>
      unsafeChanges('roll', before, after(factor)).filter(({ loop }) => loop === 'rate');
    expect(rate(1)).toEqual([]);
    expect(rate(db(spare - 3.2))).toEqual([]);
    expect(rate(db(spare - 2.8))).toEqual([{ axis: 'roll', loop: 'rate', became: 'under 3 dB' }]);
    expect(rate(db(spare + 1))).toEqual([{ axis: 'roll', loop: 'rate', became: 'unstable' }]);
    expect(rate(0.1)).toEqual([{ axis: 'roll', loop: 'rate', became: 'loose' }]);
    // What was not safe before cannot be made unsafe.
    expect(unsafeChanges('roll', after(db(spare - 2)), after(db(spare + 2)))).not.toContainEqual(
      expect.objectContaining({ loop: 'rate' }),
    );
  });
});
