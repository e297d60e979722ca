import { describe, expect, it } from 'vitest';
import { CONTROLLER, madeIdentification, PLANT } from '../../../../tests/support/made-loop.js';
import { randomSource } from '../../../../tests/support/random.js';
import type { AxisController } from './controller.js';
import { decideGains } from './decide-gains.js';
import { applyFactors, tune } from './gain-search.js';
import { loopFindings } from './loop-findings.js';

const GOOD = applyFactors(CONTROLLER, tune(madeIdentification(), PLANT)!.factors);
const TOO_STRONG = ['rate-loop-too-tight', 'derivative-too-strong', 'integral-too-strong'];

/** Findings about roll with these gains, nothing swinging. */
function read(controller: AxisController) {
  const id = madeIdentification({ controller, spread: 0.02 });
  const measured = decideGains(id);
  const findings = loopFindings({
    studies: [],
    decisions: [{ axis: 'roll', id, measured, supposed: null, rule: null }],
    actuators: { unavailable: 'no motors in this test' },
  });
  return { findings, measured };
}

describe('findings about a loop', () => {
  it('never call a stable rate loop too tight where every one of its gains is to be raised, nor too loose where P comes down', () => {
    const random = randomSource(33);
    const between = (low: number, high: number): number => low * (high / low) ** random.uniform();
    const seen = { weakAndShort: 0, tight: 0 };
    for (let i = 0; i < 200; i++) {
      const common = between(0.08, 5);
      const { findings, measured } = read({
        ...GOOD,
        kp: GOOD.kp * common * between(0.3, 3),
        ki: GOOD.ki * common * between(0.3, 3),
        kd: GOOD.kd * common * between(0.3, 3),
      });
      if (measured?.factors == null) continue;
      const { P, I, D } = measured.factors;
      const tight = findings.some(({ id }) => TOO_STRONG.includes(id));
      const loose = findings.some(({ id }) => id === 'loop-too-loose');
      // In one that swings, or nearly, a term can be too strong for the others although all are weak: still a danger.
      const { rate } = measured.today;
      const swings = rate === null || !rate.stable || (rate.phaseMarginDeg ?? 180) < 20;
      if (swings && rate !== null) expect(findings.some(({ severity }) => severity === 'danger')).toBe(true);
      if (!swings && Math.min(P, I, D) >= 1 && P > 1) {
        expect({ i, tight }).toEqual({ i, tight: false });
        if ((rate.phaseMarginDeg ?? 180) < 45 && loose) seen.weakAndShort++;
      }
      if (P < 0.95) expect({ i, loose }).toEqual({ i, loose: false });
      if (tight) seen.tight++;
    }
    // Else neither would have been tried.
    expect(seen.weakAndShort).toBeGreaterThan(3);
    expect(seen.tight).toBeGreaterThan(20);
  });

  it('calls gains four times too high too tight', () => {
    const { findings } = read({ ...GOOD, kp: 4 * GOOD.kp, ki: 4 * GOOD.ki, kd: 4 * GOOD.kd });
    expect(findings.map(({ id }) => id)).toContain('rate-loop-too-tight');
  });
});
