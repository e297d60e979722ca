import { AXES } from '@settle/parser';
import { describe, expect, test } from 'vitest';
import { judgeAxis } from './loop-quality.js';
import { simulateFlight } from './simulate.js';
import { isUpset, planTrialFlight, trialAircraft } from './trial-aircraft.js';

const FIRST_SEED = 700;
const fleet = Array.from({ length: 24 }, (_, i) => trialAircraft(FIRST_SEED + i));

describe('trial aircraft', () => {
  test('are the same for the same seed, and others for another', () => {
    expect(trialAircraft(FIRST_SEED)).toEqual(fleet[0]);
    expect(fleet[1]!.start).not.toEqual(fleet[0]!.start);
  });

  test('have a flexible mode in one of six and effects nobody models in three of eight', () => {
    const flexible = fleet.filter((aircraft) => aircraft.flexible);
    expect(flexible).toHaveLength(4);
    expect(fleet.filter((aircraft) => aircraft.unmodelled)).toHaveLength(9);
    for (const { flexible: has, good } of fleet) expect(good.flexibleMode !== null).toBe(has);
    for (const { good } of flexible) {
      const { axis, frequencyHz, dampingRatio } = good.flexibleMode!;
      expect(['roll', 'pitch']).toContain(axis);
      expect(frequencyHz).toBeGreaterThanOrEqual(14);
      expect(frequencyHz).toBeLessThanOrEqual(45);
      expect(dampingRatio).toBeLessThanOrEqual(0.03);
    }
    for (const { unmodelled, good } of fleet) {
      const { thrustExponent, batterySag, weakRotor, extraLowPassHz, clockJitterS } = good.unmodelled;
      const some = thrustExponent !== 1 || batterySag || weakRotor !== null || extraLowPassHz !== null;
      expect(some || clockJitterS > 0).toBe(unmodelled);
    }
  });

  test('are good on their good gains, on all axes, with room left in the crossover', () => {
    for (const { good } of fleet) {
      for (const axis of AXES) {
        const { rate, attitude, ...quality } = judgeAxis(good, axis);
        expect(quality.good).toBe(true);
        expect(rate.crossoverShare).toBeGreaterThanOrEqual(0.6);
        for (const { margins } of [rate, attitude]) {
          expect(margins.gainMarginDb ?? 99).toBeGreaterThanOrEqual(6);
          expect(margins.phaseMarginDeg ?? 180).toBeGreaterThanOrEqual(45);
        }
      }
    }
  });

  test('start with one factor of 0.2 to 6 on all rate terms, 0.3 to 3 on each, and 0.5 to 2 on attitude', () => {
    const commons: number[] = [];
    for (const { good, start } of fleet) {
      const factors = AXES.flatMap((axis) =>
        (['kp', 'ki', 'kd'] as const).map(
          (term) => start.controller.rate[axis][term] / good.controller.rate[axis][term],
        ),
      );
      const least = Math.min(...factors);
      const most = Math.max(...factors);
      // One common factor explains them all: 0.3 of it reaches down to the least, 3 times it up to the most.
      const lowestCommon = Math.max(0.2, most / 3);
      const highestCommon = Math.min(6, least / 0.3);
      expect(lowestCommon).toBeLessThanOrEqual(highestCommon * (1 + 1e-9));
      commons.push(Math.sqrt(lowestCommon * highestCommon));
      for (const axis of AXES) {
        const factor = start.controller.attitude[axis] / good.controller.attitude[axis];
        expect(factor).toBeGreaterThanOrEqual(0.5);
        expect(factor).toBeLessThanOrEqual(2);
      }
      // Gains apart it is the same aircraft.
      expect({ ...start, controller: null }).toEqual({ ...good, controller: null });
    }
    expect(Math.min(...commons)).toBeLessThan(0.5);
    expect(Math.max(...commons)).toBeGreaterThan(2.4);
  });
});

describe('a trial flight', () => {
  const { good } = fleet[0]!;

  test('of sound gains is 30 s of hover with two gentle doublets on each axis, apart from each other', () => {
    const { config, cautious } = planTrialFlight(good, false, 5);
    expect(cautious).toBe(false);
    expect(config.script.abort).toBeNull();
    const { doublets } = config.pilot;
    for (const axis of AXES) expect(doublets.filter((d) => d.axis === axis)).toHaveLength(2);
    doublets.forEach((d, i) => {
      expect(d.size).toBeGreaterThanOrEqual(d.axis === 'yaw' ? 0.4 : 0.15);
      expect(d.size).toBeLessThanOrEqual(d.axis === 'yaw' ? 0.7 : 0.3);
      const endS = d.atS + 2 * d.halfPeriodS;
      expect(endS).toBeLessThan(doublets[i + 1]?.atS ?? 30);
    });
    const { truth } = simulateFlight(config, 5);
    expect(truth.phases.map((p) => p.kind)).toEqual(['ground', 'takeoff', 'hover', 'landing', 'ground']);
    expect(truth.manoeuvres).toHaveLength(6);
    expect(truth.airborne!.endS - truth.airborne!.startS).toBeGreaterThan(30);
    expect(isUpset(truth)).toBe(false);
  });

  test('of precarious gains has no stick input and lands soon after the motion becomes large', () => {
    const violent = structuredClone(good);
    violent.controller.attitude.roll *= 6;
    expect(judgeAxis(violent, 'roll').precarious).toBe(true);
    const { config, cautious } = planTrialFlight(violent, true, 5);
    expect(cautious).toBe(true);
    const { truth } = simulateFlight(config, 5);
    expect(truth.manoeuvres).toHaveLength(0);
    expect(truth.airborne!.endS - truth.airborne!.startS).toBeLessThan(12);
  });
});
