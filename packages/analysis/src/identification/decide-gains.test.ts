import { describe, expect, it } from 'vitest';
import { CONTROLLER, madeIdentification, PLANT } from '../../../../tests/support/made-loop.js';
import { near } from '../../../../tests/support/near.js';
import { randomSource } from '../../../../tests/support/random.js';
import type { SupposedPlant } from './fit-axes.js';
import { decideGains, decideOnSupposed, ruleOfThumb } from './decide-gains.js';
import { AIM, applyFactors, largestAttitudeFactor, predict, REQUIRED, tune } from './gain-search.js';
import type { AxisController } from './controller.js';

/** Plants and gains all over the place: what a first hover may bring. */
function cases(count: number, sticks: boolean) {
  const random = randomSource(sticks ? 31 : 32);
  const between = (low: number, high: number): number => low * (high / low) ** random.uniform();
  return Array.from({ length: count }, () => {
    const plant = {
      ...PLANT,
      effectiveness: between(8, 250),
      lagS: between(0.025, 0.11),
      delayS: between(0.006, 0.03),
      dampingPerS: random.uniform(),
    };
    const good = applyFactors(CONTROLLER, tune(madeIdentification({ plant }), plant)!.factors);
    const common = between(0.08, 6);
    const controller = {
      ...good,
      kp: good.kp * common * between(0.3, 3),
      ki: good.ki * common * between(0.3, 3),
      kd: random.uniform() < 0.2 ? 0 : good.kd * common * between(0.3, 3),
      attitude: random.uniform() < 0.1 ? null : good.attitude! * between(0.5, 2),
    };
    return madeIdentification({ plant, controller, sticks, spread: between(0.02, 0.3) });
  });
}

type Identified = ReturnType<typeof madeIdentification>;
interface Decided {
  readonly id: Identified;
  readonly decision: ReturnType<typeof decideGains>;
}
const decided = new Map<boolean, readonly Decided[]>();

/** What is decided on each of the cases: two tests look at it. */
function decisions(sticks: boolean): readonly Decided[] {
  let found = decided.get(sticks);
  if (found === undefined) {
    found = cases(150, sticks).map((id) => ({ id, decision: decideGains(id) }));
    decided.set(sticks, found);
  }
  return found;
}

describe('decideGains', () => {
  it.each([
    ['stick movements', true, 10, 2.5],
    ['a swing alone', false, 2, 1.5],
  ])('from %s never raises P or attitude beyond its limit', (_, sticks, most, mostAttitude) => {
    let raised = 0;
    let limited = 0;
    let undecided = 0;
    for (const { decision } of decisions(sticks)) {
      if (decision === null) undecided++;
      if (decision?.factors == null) continue;
      expect(decision.factors.P).toBeLessThanOrEqual(most * (1 + 1e-9));
      expect(decision.factors.attitude).toBeLessThanOrEqual(mostAttitude * (1 + 1e-9));
      if (decision.factors.P > 1) raised++;
      if (decision.limited !== null) limited++;
    }
    expect(undecided).toBeLessThan(25);
    // Else the limits would not have been tried.
    expect(raised).toBeGreaterThan(20);
    expect(limited).toBeGreaterThan(3);
  });

  it.each([
    ['stick movements', true],
    ['a swing alone', false],
  ])('from %s never advises gains that leave less than 6 dB and 45°', (_, sticks) => {
    const poor: string[] = [];
    let advised = 0;
    decisions(sticks).forEach(({ id, decision }, i) => {
      if (decision?.factors == null) return;
      const { factors, expected } = decision;
      advised++;
      // What is expected is what these factors give on the identified plant.
      expect(expected).toEqual(predict(id, id.plant!, factors));
      for (const [name, m] of [
        ['rate', expected.rate],
        ['attitude', expected.attitude],
      ] as const) {
        if (m === null) continue;
        if (!m.stable || (m.gainMarginDb ?? 99) < 6 || (m.phaseMarginDeg ?? 180) < 45)
          poor.push(
            `case ${String(i)} ${name}: ${String(m.gainMarginDb)} dB, ${String(m.phaseMarginDeg)}° with ${JSON.stringify(factors)}`,
          );
      }
    });
    expect(advised).toBeGreaterThan(80);
    expect(poor).toEqual([]);
  });

  it('leaves gains alone that keep 8 dB and 50° and are as fast as that allows', () => {
    const id = madeIdentification();
    const controller = applyFactors(CONTROLLER, tune(id, PLANT)!.factors);
    const decision = decideGains(madeIdentification({ controller }))!;
    expect(decision.factors).toBeNull();
    expect(decision.why).toBe('margins-met');
    near(decision.crossoverShare, 1, 0.03);
  });

  it('lowers gains four times too high to about a quarter, and calls them too tight', () => {
    const good = applyFactors(CONTROLLER, tune(madeIdentification(), PLANT)!.factors);
    const controller = { ...good, kp: 4 * good.kp, ki: 4 * good.ki, kd: 4 * good.kd };
    const decision = decideGains(madeIdentification({ controller, spread: 0.02 }))!;
    expect(decision.why).toBe('too-tight');
    near(decision.factors!.P, 0.25, 0.03);
  });

  it('raises gains four times too low when sticks showed it, and only to twice when a swing alone did', () => {
    const good = applyFactors(CONTROLLER, tune(madeIdentification(), PLANT)!.factors);
    const controller = { ...good, kp: good.kp / 4, ki: good.ki / 4, kd: good.kd / 4, attitude: 1 };
    const shown = decideGains(madeIdentification({ controller, spread: 0.02 }))!;
    expect(shown.why).toBe('too-loose');
    near(shown.factors!.P, 4, 0.4);
    const guessed = decideGains(madeIdentification({ controller, spread: 0.02, sticks: false }))!;
    near(guessed.factors!.P, 2, 1e-9);
    expect(guessed.limited).toContain('limited to 2 times');
  });

  it('is more careful the less sure the plant is', () => {
    const factorAt = (spread: number): number => {
      const controller = { ...CONTROLLER, kp: 0.5, ki: 2, kd: 0.02 };
      return decideGains(madeIdentification({ controller, spread }))!.factors!.P;
    };
    expect(factorAt(0.3)).toBeLessThan(0.93 * factorAt(0.02));
  });

  it('takes a loop down as a whole where it is as it should be but unsure, and raises no term of it', () => {
    const good = applyFactors(CONTROLLER, tune(madeIdentification(), PLANT)!.factors);
    const controller = { ...good, ki: good.ki / 3, attitude: null };
    const { factors } = decideGains(madeIdentification({ controller, spread: 0.5 }))!;
    expect(factors!.P).toBeLessThan(1);
    expect(factors!.P).toBeGreaterThanOrEqual(0.75);
    near(factors!.I, factors!.P, 1e-9);
    near(factors!.D, factors!.P, 1e-9);
  });

  it('touches only the attitude gain when the rate loop is as it should be', () => {
    const good = applyFactors(CONTROLLER, tune(madeIdentification(), PLANT)!.factors);
    const decision = decideGains(
      madeIdentification({ controller: { ...good, attitude: 3 * good.attitude! } }),
    )!;
    expect(decision.why).toBe('attitude-too-tight');
    expect(decision.factors).toMatchObject({ P: 1, I: 1, D: 1 });
    near(decision.factors!.attitude, 1 / 3, 0.04);
  });

  it('shows the trade as the margins that other factors on the advice would give: lower gains, more of both', () => {
    const id = madeIdentification({ controller: { ...CONTROLLER, kp: 0.6, ki: 2, kd: 0.02 } });
    const { factors, trade } = decideGains(id)!;
    expect(trade.map((t) => t.factor)).toEqual([0.7, 1, 1.4]);
    for (const t of trade) {
      const scaled = {
        ...factors!,
        P: factors!.P * t.factor,
        I: factors!.I * t.factor,
        D: factors!.D * t.factor,
      };
      near(t.gainMarginDb, predict(id, PLANT, scaled)!.rate!.gainMarginDb!, 1e-9);
    }
    // A factor on the gains is that many decibels of gain margin.
    near(trade[0]!.gainMarginDb! - trade[1]!.gainMarginDb!, -20 * Math.log10(0.7), 0.05);
    near(trade[2]!.gainMarginDb! - trade[1]!.gainMarginDb!, -20 * Math.log10(1.4), 0.05);
  });

  it('keeps 12 dB instead of 8 where gusts shake something of the structure, and raises nothing that is near it', () => {
    const structuralPeak = { frequencyHz: 19, riseDb: 8 };
    const good = applyFactors(CONTROLLER, tune(madeIdentification({ plant: PLANT }), PLANT)!.factors);
    const times = (f: number): AxisController => applyFactors(good, { P: f, I: f, D: f, attitude: 1 });
    const ask = (f: number, peak: typeof structuralPeak | null) =>
      decideGains(madeIdentification({ controller: times(f), sticks: true, structuralPeak: peak }))!;
    // Two thirds of the gain that leaves 8 dB leave 11.5 dB: as it should be beside a structure, and slow without one.
    expect(ask(0.66, null).factors!.P).toBeGreaterThan(1.15);
    expect(ask(0.66, structuralPeak).factors?.P ?? 1).toBeLessThanOrEqual(1);
    const slow = ask(0.2, structuralPeak);
    near(slow.expected.rate!.gainMarginDb!, 12, 0.5);
    expect(slow.limited).toContain('19.0 Hz');
    const tight = ask(1, structuralPeak);
    expect(tight.why).toBe('near-structure');
    near(tight.expected.rate!.gainMarginDb!, 12, 0.5);
  });

  it('decides nothing without a plant or a controller', () => {
    expect(decideGains(madeIdentification({ plant: null }))).toBeNull();
    expect(decideGains(madeIdentification({ controller: null }))).toBeNull();
  });
});

describe('what goes up', () => {
  it('leaves 3 dB with 19 of 20 plausible plants, however unsure they are', () => {
    let raised = 0;
    for (const id of cases(60, true)) {
      const decision = decideGains(id);
      const factors = decision?.factors ?? null;
      if (factors === null || factors.P <= 1.001) continue;
      raised++;
      const poor = id.draws.filter((draw) => {
        const rate = predict(id, draw, factors)!.rate!;
        return !rate.stable || (rate.gainMarginDb ?? 99) < 2.9;
      });
      expect(poor.length).toBeLessThanOrEqual(0.05 * id.draws.length);
    }
    expect(raised).toBeGreaterThan(10);
  });
});

describe('decideOnSupposed', () => {
  const good = applyFactors(CONTROLLER, tune(madeIdentification(), PLANT)!.factors);
  const times = (factor: number): AxisController => ({
    ...good,
    kp: good.kp * factor,
    ki: good.ki * factor,
    kd: good.kd * factor,
  });
  const unseen = (
    controller: AxisController,
    from: SupposedPlant['from'],
    fastDemandStd: number,
    stickStd = 0,
  ) => {
    const { draws } = madeIdentification({ spread: 0.3 });
    const motion = { rateStd: 0.05, rateHz: 1.2, demandHz: 2, fastDemandStd, stickStd };
    return {
      ...madeIdentification({ plant: null, controller, motion }),
      supposed: { plant: PLANT, draws, from },
    };
  };
  const CALM = 0.03;
  const SHAKES = 0.3;
  const decideOn = (id: ReturnType<typeof unseen>) => decideOnSupposed(id, ruleOfThumb(id, false));

  it('raises a loose loop that its motion in gusts has shown, by 6 times at most, and lowers a tight one', () => {
    expect(decideOn(unseen(times(0.4), 'motion', CALM)).supposed!.factors!.P).toBeGreaterThan(1.4);
    expect(decideOn(unseen(times(0.05), 'motion', CALM)).supposed!.factors!.P).toBeLessThanOrEqual(6);
    expect(decideOn(unseen(times(2), 'motion', CALM)).supposed!.factors!.P).toBeLessThan(0.7);
  });

  it('raises it by little where a stick was flown and did not show through the gusts', () => {
    const weak = { ...times(0.1), attitude: 0.15 * CONTROLLER.attitude! };
    const raised = (stickStd: number) => decideOn(unseen(weak, 'motion', CALM, stickStd)).supposed!.factors!;
    expect(raised(0.01).P).toBeGreaterThan(2);
    near(raised(0.08).P, 1.6, 1e-9);
  });

  it('raises nothing that its motion in gusts has shown while the stops cut its demand', () => {
    const good = applyFactors(CONTROLLER, tune(madeIdentification({ plant: PLANT }), PLANT)!.factors);
    const { plant, draws } = madeIdentification({ spread: 0.02 });
    const ask = (f: { P: number; I: number; D: number }, cutShare: number, fastDemandStd = SHAKES) =>
      decideOnSupposed(
        {
          ...madeIdentification({
            plant: null,
            controller: applyFactors(good, { ...f, attitude: 1 }),
            cutShare,
            motion: { rateStd: 0.05, rateHz: 1.2, demandHz: 2, fastDemandStd, stickStd: 0 },
          }),
          supposed: { plant: plant!, draws, from: 'motion' },
        },
        null,
      ).supposed!;
    const loose = { P: 0.2, I: 0.2, D: 0.2 };
    expect(ask(loose, 0).factors!.P).toBeGreaterThan(3);
    const cut = ask(loose, 0.4);
    expect(cut.why).toBe('too-loose');
    for (const of of ['P', 'I', 'D'] as const) expect(cut.factors![of]).toBeLessThanOrEqual(1 + 1e-9);
    // Four times too much integral gain: the cure raises P and D when nothing cuts the demand.
    const unbalanced = { P: 0.45, I: 3, D: 0.45 };
    expect(ask(unbalanced, 0).factors!.P).toBeGreaterThan(1.1);
    const short = ask(unbalanced, 0.4);
    expect(short.why).toBe('too-tight');
    for (const of of ['P', 'I', 'D'] as const) expect(short.factors![of]).toBeLessThanOrEqual(1 + 1e-9);
    // Where its demand is calm meanwhile, it is another axis' swing that the stops cut: then it is left alone.
    expect(ask(unbalanced, 0, CALM)).not.toBeNull();
    expect(ask(unbalanced, 0.4, CALM)).toBeNull();
  });

  it('does not lower an attitude loop that keeps the requirement for a few degrees that gusts alone speak of', () => {
    // An attitude gain that leaves between the requirement and the aim: 6 to 8 dB, 45 to 50°.
    const id = unseen(times(1), 'motion', CALM);
    const most = (target: typeof AIM | typeof REQUIRED) =>
      largestAttitudeFactor({ ...id, plant: PLANT }, PLANT, { P: 1, I: 1, D: 1, attitude: 1 }, target)!;
    const between = Math.sqrt(most(AIM) * most(REQUIRED));
    expect(most(REQUIRED)).toBeGreaterThan(1.03 * most(AIM));
    const at = (factor: number) => {
      const tuned = times(1);
      return decideOn(unseen({ ...tuned, attitude: factor * tuned.attitude! }, 'motion', CALM)).supposed;
    };
    expect(at(between)?.factors?.attitude ?? 1).toBeGreaterThanOrEqual(1);
    expect(at(1.3 * most(REQUIRED))!.factors!.attitude).toBeLessThan(1 / 1.3);
  });

  it('leaves alone what its motion in gusts shows to be well, whatever a rule of thumb says', () => {
    const id = unseen(times(0.85), 'motion', SHAKES);
    expect(ruleOfThumb(id, false)?.why).toBe('restless');
    const { supposed, rule } = decideOn(id);
    expect(rule).toBeNull();
    expect(Math.abs(Math.log(supposed!.factors?.P ?? 1))).toBeLessThan(0.3);
  });

  it('never raises what only the other axes tell of, and leaves alone what is calm', () => {
    for (const fastDemandStd of [CALM, SHAKES])
      for (const factor of [0.1, 0.3, 1]) {
        const { supposed } = decideOn(unseen(times(factor), 'other-axes', fastDemandStd));
        const { P, I, D, attitude } = supposed?.factors ?? { P: 1, I: 1, D: 1, attitude: 1 };
        expect(Math.max(P, I, D, attitude)).toBeLessThanOrEqual(1);
      }
    expect(decideOn(unseen(times(6), 'other-axes', CALM))).toEqual({ supposed: null, rule: null });
  });

  it('lowers a restless axis as far as the others say, where a rule of thumb would only halve', () => {
    const { supposed } = decideOn(unseen(times(6), 'other-axes', SHAKES));
    expect(supposed!.factors!.P).toBeLessThan(0.25);
    expect(supposed!.factors!.P).toBeGreaterThanOrEqual(0.1);
  });

  it('does not halve a restless axis that the others call far from tight', () => {
    const id = unseen(times(0.2), 'other-axes', SHAKES);
    expect(ruleOfThumb(id, false)?.why).toBe('restless');
    expect(decideOn(id)).toEqual({ supposed: null, rule: null });
  });
});

describe('ruleOfThumb', () => {
  const still = { rateStd: 0.05, rateHz: 1.2, demandHz: 2, fastDemandStd: 0.02, stickStd: 0 };
  const loose = { ...still, rateStd: 0.3, rateHz: 0.4 };
  const restless = { ...still, fastDemandStd: 0.3 };

  it('raises by a little what wanders slowly and far, and halves what shakes', () => {
    expect(ruleOfThumb(madeIdentification({ plant: null, motion: loose }), false)?.factors.P).toBe(1.6);
    expect(ruleOfThumb(madeIdentification({ plant: null, motion: restless }), false)?.factors.P).toBe(0.5);
  });

  it('lowers what both shakes and wanders: raising a loop that shakes is the greater risk', () => {
    const both = { ...loose, fastDemandStd: 0.3 };
    expect(ruleOfThumb(madeIdentification({ plant: null, motion: both }), false)?.factors.P).toBe(0.5);
  });

  it('does not halve the gains of a slow, far swing, whose demand the stops cut, nor of a loop known to be loose', () => {
    const swing = { ...restless, rateStd: 2, rateHz: 1.4 };
    expect(ruleOfThumb(madeIdentification({ plant: null, motion: swing }), false)).toBeNull();
    const controller = { ...CONTROLLER, kp: CONTROLLER.kp / 5, ki: CONTROLLER.ki / 5, kd: CONTROLLER.kd / 5 };
    expect(ruleOfThumb(madeIdentification({ controller, motion: restless }), false)).toBeNull();
  });

  it('lowers D most, and nothing by more than half, where the structure bends', () => {
    const { factors } = ruleOfThumb(madeIdentification({ bendingHz: [20] }), false)!;
    expect(factors.D).toBe(0.5);
    expect(Math.min(factors.P, factors.I)).toBeGreaterThanOrEqual(0.5);
    expect(Math.max(factors.P, factors.I, factors.attitude)).toBeLessThanOrEqual(1);
  });

  it('says nothing of quiet motion, of an identified plant, or without a controller', () => {
    expect(ruleOfThumb(madeIdentification({ plant: null, motion: still }), false)).toBeNull();
    expect(ruleOfThumb(madeIdentification({ motion: loose }), false)).toBeNull();
    expect(
      ruleOfThumb(madeIdentification({ plant: null, controller: null, motion: loose }), false),
    ).toBeNull();
  });
});
