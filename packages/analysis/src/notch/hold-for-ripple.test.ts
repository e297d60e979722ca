/** Gains that would go up, and vibration that stands against it. */
import { expect, test } from 'vitest';
import { CONTROLLER, madeIdentification } from '../../../../tests/support/made-loop.js';
import { decideGains } from '../identification/decide-gains.js';
import { REQUIRED } from '../identification/gain-search.js';
import { heldForRipple } from './hold-for-ripple.js';
import type { StudiedPlan } from './plan-types.js';

/** Ripple in proportion to the gain. */
function studied(perP: number, flown: number): StudiedPlan {
  return {
    plan: { ripple: { flown: { roll: flown }, before: {}, after: {}, target: 0.01 } },
    spectra: [],
    rippleWith: (_axis: string, { kp }: { kp: number }) => perP * (kp / CONTROLLER.kp),
  } as unknown as StudiedPlan;
}

/** Rate gains that many times lower than those of the made loop, which are a third of what its margins allow. */
function loose(by: number) {
  const controller = {
    ...CONTROLLER,
    kp: CONTROLLER.kp / by,
    ki: CONTROLLER.ki / by,
    kd: CONTROLLER.kd / by,
  };
  const id = madeIdentification({ controller });
  return { axis: 'roll' as const, id, measured: decideGains(id), supposed: null, rule: null };
}

test('a raise goes as far as the ripple allows, and keeps what is required', () => {
  const decision = loose(1);
  const { factors } = decision.measured!;
  expect(factors!.P).toBeGreaterThan(1.3);
  // The advised P would make 1.2 % of ripple.
  const perP = (0.012 * CONTROLLER.kp) / (decision.id.controller!.kp * factors!.P);
  const [held] = heldForRipple([decision], studied(perP, 0));
  const now = held!.measured!;
  expect(now.factors!.P).toBeLessThan(factors!.P);
  expect(now.factors!.P).toBeGreaterThan(1);
  expect(perP * ((decision.id.controller!.kp * now.factors!.P) / CONTROLLER.kp)).toBeLessThanOrEqual(0.01);
  expect(now.expected.rate!.gainMarginDb).toBeGreaterThanOrEqual(REQUIRED.gainMarginDb);
  expect(now.expected.rate!.phaseMarginDeg).toBeGreaterThanOrEqual(REQUIRED.phaseMarginDeg);
  expect(now.limited).toMatch(/ripple of 1\.2 % of full demand/);
});

test('where the ripple stays under the target nothing is held', () => {
  const decision = loose(1);
  expect(heldForRipple([decision], studied(0.001, 0))).toEqual([decision]);
});

test('what is loud already and fast enough stays as it is', () => {
  const decision = loose(0.5);
  expect(decision.measured!.factors!.P).toBeGreaterThan(1);
  const [held] = heldForRipple([decision], studied(0.1, 0.1 / 0.5));
  expect(held!.measured!.factors).toBeNull();
  expect(held!.measured!.expected).toBe(decision.measured!.today);
});

test('a loop so weak that it could tip over is raised all the same, but no further than it needs', () => {
  const decision = loose(2);
  const { factors, crossoverShare, today } = decision.measured!;
  const [held] = heldForRipple([decision], studied(0.1, 0.005));
  const now = held!.measured!;
  expect(now.factors!.P).toBeGreaterThan(1.2);
  expect(now.factors!.P).toBeLessThan(factors!.P);
  const best = today.rate!.crossoverHz! / crossoverShare!;
  expect(now.expected.rate!.crossoverHz! / best).toBeGreaterThanOrEqual(0.45);
});

test('a loop that is too tight is mended whatever it makes of the vibration', () => {
  const controller = { ...CONTROLLER, kp: 8 * CONTROLLER.kp, kd: 0.3 * CONTROLLER.kd };
  const id = madeIdentification({ controller });
  const decision = { axis: 'roll' as const, id, measured: decideGains(id), supposed: null, rule: null };
  expect(decision.measured!.why).toBe('too-tight');
  expect(heldForRipple([decision], studied(0.1, 0))).toEqual([decision]);
});
