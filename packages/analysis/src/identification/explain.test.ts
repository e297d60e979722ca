import { describe, expect, it } from 'vitest';
import { makeOscillation } from '../../../../tests/support/hand-made.js';
import { CONTROLLER, equationOf, madeIdentification, PLANT } from '../../../../tests/support/made-loop.js';
import { near } from '../../../../tests/support/near.js';
import { complex } from '../control/complex.js';
import { explainOscillation, guiltyTerm } from './explain.js';
import { applyFactors, tune } from './gain-search.js';
import { plantAt } from './plant-model.js';

const GOOD = applyFactors(CONTROLLER, tune(madeIdentification(), PLANT)!.factors);
const seenAt = (hz: number) => {
  const s = complex(0, 2 * Math.PI * hz);
  return equationOf(s, plantAt(PLANT, s), 1e-3);
};
const lineAt = (frequencyHz: number, follows: 'pitch' | null = null) =>
  makeOscillation({ frequencyHz, follows });

describe('explainOscillation', () => {
  it('blames a rate loop that is unstable by itself, with its gain margin', () => {
    const controller = { ...GOOD, kp: 4 * GOOD.kp, ki: 4 * GOOD.ki, kd: 4 * GOOD.kd };
    const id = madeIdentification({ controller, sticks: false });
    expect(id.margins!.rate!.stable).toBe(false);
    const hz = id.margins!.rate!.phaseCrossoverHz!;
    const why = explainOscillation(madeIdentification({ controller, equations: [seenAt(hz)] }), lineAt(hz))!;
    expect(why.origin).toBe('rate-loop');
    expect(why.confidence).toBeGreaterThan(0.7);
    // Four times the gain takes 12.04 dB off what was in hand.
    const before = madeIdentification({ controller: GOOD }).margins!.rate!.gainMarginDb!;
    near(id.margins!.rate!.gainMarginDb, before - 12.04, 0.05);
    expect(why.evidence[0]).toContain(`${id.margins!.rate!.gainMarginDb!.toFixed(1)} dB`);
  });

  it('blames the attitude loop around a sound rate loop when the attitude gain is far too high', () => {
    const controller = { ...GOOD, attitude: 4 * GOOD.attitude! };
    const id = madeIdentification({ controller });
    expect(id.margins!.rate!.stable).toBe(true);
    expect(id.margins!.attitude!.stable).toBe(false);
    const hz = id.margins!.attitude!.phaseCrossoverHz!;
    const why = explainOscillation(madeIdentification({ controller, equations: [seenAt(hz)] }), lineAt(hz))!;
    expect(why.origin).toBe('attitude-loop');
    expect(why.evidence[0]).toContain('it follows');
  });

  it('blames the structure for a line that no rigid aircraft could have', () => {
    const why = explainOscillation(madeIdentification({ bendingHz: [20] }), lineAt(20.4))!;
    expect(why.origin).toBe('structure');
    expect(why.evidence[0]).toContain('20.4 Hz');
    expect(
      explainOscillation(madeIdentification({ bendingHz: [20] }), lineAt(14))?.evidence[0],
    ).not.toContain('authority');
  });

  it('blames the structure for a fast line far from anything the rigid loops do', () => {
    const id = madeIdentification({ controller: GOOD });
    // Sound loops are well away from −1 at 20 Hz, and a slower line is never the structure's.
    expect(explainOscillation(id, lineAt(20))?.origin).toBe('structure');
    expect(explainOscillation(id, lineAt(7))?.origin).not.toBe('structure');
  });

  it('does not blame the structure for a fast line the rigid loops account for', () => {
    const id = madeIdentification({ controller: GOOD, equations: [seenAt(14)] });
    expect(explainOscillation(id, lineAt(14))?.origin).not.toBe('structure');
  });

  it('says nothing of a swing that only follows another axis', () => {
    expect(explainOscillation(madeIdentification({ equations: [seenAt(3)] }), lineAt(3, 'pitch'))).toBeNull();
  });

  it('says nothing without a plant, and nothing without a controller', () => {
    expect(explainOscillation(madeIdentification({ plant: null }), lineAt(3))).toBeNull();
    expect(explainOscillation(madeIdentification({ controller: null }), lineAt(3))).toBeNull();
  });
});

describe('guiltyTerm', () => {
  it.each([
    ['P', { kp: 4 * GOOD.kp }],
    ['I', { ki: 6 * GOOD.ki }],
    ['D', { kd: 6 * GOOD.kd }],
  ] as const)('is %s where that one alone is far too strong', (term, change) => {
    expect(guiltyTerm(madeIdentification({ controller: { ...GOOD, ...change } }))?.term).toBe(term);
  });

  it('is all where all are too strong by the same', () => {
    const controller = { ...GOOD, kp: 4 * GOOD.kp, ki: 4 * GOOD.ki, kd: 4 * GOOD.kd };
    expect(guiltyTerm(madeIdentification({ controller }))?.term).toBe('all');
  });

  it('is not named without a plant', () => {
    expect(guiltyTerm(madeIdentification({ plant: null }))).toBeNull();
  });
});
