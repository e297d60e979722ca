import { describe, expect, it } from 'vitest';
import { CONTROLLER, madeIdentification, PLANT } from '../../../../tests/support/made-loop.js';
import type { AxisController } from './controller.js';
import { decideGains } from './decide-gains.js';
import { adviseGains } from './gain-advice.js';
import { applyFactors, predict, tune, type GainFactors } from './gain-search.js';

const good = applyFactors(CONTROLLER, tune(madeIdentification({ plant: PLANT }), PLANT)!.factors);
const times = (f: GainFactors): AxisController => applyFactors(good, f);
/** A rate loop so weak that its attitude loop swings up by itself. */
const WEAK = times({ P: 0.15, I: 0.5, D: 0.15, attitude: 1 });

function ask(
  controller: AxisController,
  { upset = true, cutShare = 0, bends = false } = {},
): GainFactors | null {
  const id = madeIdentification({ controller, sticks: false, spread: 0.05, cutShare });
  const decisions = [{ axis: 'roll', id, measured: decideGains(id), supposed: null, rule: null } as const];
  const advice = adviseGains({ decisions, upset, bending: new Set(bends ? (['roll'] as const) : []) });
  if (advice.length === 0) return null;
  const factor = (loop: string, term: string): number =>
    advice.find((one) => one.loop === loop && one.term === term)?.factor ?? 1;
  return {
    P: factor('rate', 'P'),
    I: factor('rate', 'I'),
    D: factor('rate', 'D'),
    attitude: factor('attitude', 'P'),
  };
}

describe('adviseGains after an upset', () => {
  it('raises a loop whose own swing shows that it was too weak to hold, so that both loops are stable', () => {
    const id = madeIdentification({ controller: WEAK, sticks: false });
    const same = { P: 1, I: 1, D: 1, attitude: 1 };
    // Else there would have been nothing to mend.
    expect(predict(id, PLANT, same)!.attitude!.stable).toBe(false);
    const factors = ask(WEAK)!;
    expect(factors.P).toBeGreaterThan(1.5);
    expect(factors.P).toBeLessThanOrEqual(2);
    const next = predict(id, PLANT, factors)!;
    expect(next.rate!.stable && next.attitude!.stable).toBe(true);
  });

  it('raises nothing where the stops cut its demand, where something bends, or where it held as it was', () => {
    const none = (f: GainFactors | null): void => {
      if (f !== null) for (const of of ['P', 'I', 'D'] as const) expect(f[of]).toBeLessThanOrEqual(1);
    };
    none(ask(WEAK, { cutShare: 0.3 }));
    none(ask(WEAK, { bends: true }));
    // Slow, but stable with every plausible plant: that is not why it tipped over.
    none(ask(times({ P: 0.4, I: 0.4, D: 0.4, attitude: 0.4 })));
  });

  it('still lowers what is too tight, and raises no term of it', () => {
    const tight = ask(times({ P: 3, I: 0.5, D: 0.5, attitude: 1 }))!;
    expect(tight.P).toBeLessThan(0.6);
    for (const of of ['I', 'D', 'attitude'] as const) expect(tight[of]).toBeLessThanOrEqual(1);
    expect(ask(times({ P: 3, I: 0.5, D: 0.5, attitude: 1 }), { upset: false })!.D).toBeGreaterThan(1);
  });
});
