import { describe, expect, it } from 'vitest';
import { CONTROLLER, madeIdentification, PLANT } from '../../../../tests/support/made-loop.js';
import { near } from '../../../../tests/support/near.js';
import { complex } from '../control/complex.js';
import {
  AIM,
  applyFactors,
  largestAttitudeFactor,
  largestFactor,
  rateLoopWith,
  predict,
  REQUIRED,
  tune,
} from './gain-search.js';
import { LOOP_GRID } from './loop-model.js';

const ONE = { P: 1, I: 1, D: 1, attitude: 1 };
/** One step of the search's ladder: an eighth of a decibel, and a little. */
const STEP = 10 ** (0.14 / 20);

const PLANTS = [0.03, 0.06, 0.1].flatMap((lagS) =>
  [0.008, 0.02, 0.035].flatMap((delayS) =>
    [20, 150].map((effectiveness) => ({ ...PLANT, lagS, delayS, effectiveness })),
  ),
);
/** I and D in the proportion to P that lets every one of them have 50°. */
const balancedFor = ({ lagS, delayS }: { lagS: number; delayS: number }) => ({
  kp: 1,
  ki: 1 / (8 * (lagS + delayS)),
  kd: 0.4 * lagS,
});
const TARGETS = [AIM, REQUIRED, { gainMarginDb: 12, phaseMarginDeg: 30 }];

describe('largestFactor', () => {
  it('of −1/s times anything stable is only bounded by its range: K/s has no gain limit and 90° at all gains', () => {
    const loop = Array.from(LOOP_GRID, (w) => complex(0, -10 / w));
    near(largestFactor(loop, AIM), 100, 1e-9);
  });

  it('of a loop that has no gain crossing with the phase wanted is none: 1/s² has at most 20° here at any gain', () => {
    const phase = (-160 * Math.PI) / 180;
    // Steep enough that no factor within the search's range takes the crossing off the grid.
    const loop = Array.from(LOOP_GRID, (w) => {
      const size = (10 / w) ** 2;
      return complex(size * Math.cos(phase), size * Math.sin(phase));
    });
    const k = largestFactor(loop, AIM);
    // Only a crossing below 0.02 Hz, where nothing is known, would do.
    expect(k === null || k * (10 / LOOP_GRID[0]!) ** 2 < 1).toBe(true);
  });

  it('of K/s behind a delay is bounded as by hand: 8 dB needs ωc d = π/2/2.512', () => {
    // |K/ω| = 1 at ω = K; phase −90° − K d; −180° at ω = π/(2d), where |L| = 2 K d/π.
    const d = 0.05;
    const loop = Array.from(LOOP_GRID, (w) => complex(-Math.sin(w * d) / w, -Math.cos(w * d) / w));
    const bound = Math.PI / (2 * d) / 10 ** (8 / 20);
    near(
      20 * Math.log10(largestFactor(loop, { gainMarginDb: 8, phaseMarginDeg: 20 })!),
      20 * Math.log10(bound),
      0.2,
    );
    // 60° allow K d = 30°: K = π/6/d.
    const byPhase = Math.PI / 6 / d;
    near(
      20 * Math.log10(largestFactor(loop, { gainMarginDb: 3, phaseMarginDeg: 60 })!),
      20 * Math.log10(byPhase),
      0.2,
    );
  });

  it('is none where only a loop that hardly holds anything would have the phase: an integral term four times as quick as the lags', () => {
    const plant = { ...PLANT, lagS: 0.1, delayS: 0.035, effectiveness: 20 };
    const controller = { ...CONTROLLER, kp: 1, ki: 2, kd: 0.4 * plant.lagS };
    const id = madeIdentification({ plant, controller });
    expect(largestFactor(rateLoopWith(id, plant, ONE), AIM)).toBeNull();
    // There is one by the letter: some 50 dB of gain margin, and a crossover at which the damping of the air rules.
    const tiny = { P: 0.0137, I: 0.0137, D: 0.0137, attitude: 1 };
    const { gainMarginDb, phaseMarginDeg } = predict(id, plant, tiny)!.rate!;
    expect(phaseMarginDeg!).toBeGreaterThan(AIM.phaseMarginDeg - 0.5);
    expect(gainMarginDb!).toBeGreaterThan(AIM.gainMarginDb + 26);
  });

  describe.each(TARGETS)('for $gainMarginDb dB and $phaseMarginDeg°', (target) => {
    it('leaves a rate loop of any plant exactly that: one margin at the target, a step further violates it', () => {
      let checked = 0;
      for (const plant of PLANTS) {
        const id = madeIdentification({
          plant,
          controller: { ...CONTROLLER, ...balancedFor(plant) },
        });
        const k = largestFactor(rateLoopWith(id, plant, ONE), target);
        expect(k).not.toBeNull();
        const at = (factor: number) => predict(id, plant, { ...ONE, P: factor, I: factor, D: factor })!.rate!;
        const { stable, gainMarginDb, phaseMarginDeg } = at(k!);
        expect(stable).toBe(true);
        expect(gainMarginDb!).toBeGreaterThan(target.gainMarginDb - 0.2);
        expect(phaseMarginDeg!).toBeGreaterThan(target.phaseMarginDeg - 1);
        const tight =
          Math.min((gainMarginDb! - target.gainMarginDb) / 0.2, phaseMarginDeg! - target.phaseMarginDeg) < 1;
        expect(tight).toBe(true);
        const next = at(k! * STEP);
        expect(
          next.gainMarginDb! < target.gainMarginDb + 0.05 ||
            next.phaseMarginDeg! < target.phaseMarginDeg + 0.2,
        ).toBe(true);
        checked++;
      }
      expect(checked).toBe(18);
    });

    it('leaves an attitude loop around a sound rate loop that', () => {
      for (const plant of PLANTS) {
        const id = madeIdentification({
          plant,
          controller: { ...CONTROLLER, ...balancedFor(plant) },
        });
        const k = largestFactor(rateLoopWith(id, plant, ONE), AIM)!;
        const rate = { P: k, I: k, D: k };
        const a = largestAttitudeFactor(id, plant, { ...rate, attitude: 1 }, target)!;
        const { stable, gainMarginDb, phaseMarginDeg } = predict(id, plant, {
          ...rate,
          attitude: a,
        })!.attitude!;
        expect(stable).toBe(true);
        expect(gainMarginDb!).toBeGreaterThan(target.gainMarginDb - 0.2);
        expect(phaseMarginDeg!).toBeGreaterThan(target.phaseMarginDeg - 1);
        expect(
          Math.min((gainMarginDb! - target.gainMarginDb) / 0.2, phaseMarginDeg! - target.phaseMarginDeg),
        ).toBeLessThan(1);
      }
    });
  });
});

describe('tune', () => {
  it('meets the aim in both loops of every plant', () => {
    for (const plant of PLANTS) {
      const tuned = tune(madeIdentification({ plant }), plant)!;
      for (const margins of [tuned.margins.rate!, tuned.margins.attitude!]) {
        expect(margins.stable).toBe(true);
        expect(margins.gainMarginDb!).toBeGreaterThan(AIM.gainMarginDb - 0.2);
        expect(margins.phaseMarginDeg!).toBeGreaterThan(AIM.phaseMarginDeg - 1);
      }
    }
  });

  it('asks for the same gains whatever the gains are today', () => {
    const a = madeIdentification();
    const other = {
      ...CONTROLLER,
      kp: CONTROLLER.kp * 4,
      ki: CONTROLLER.ki * 0.3,
      kd: CONTROLLER.kd * 2,
      attitude: 11,
    };
    const b = madeIdentification({ controller: other });
    const after = (id: typeof a) => applyFactors(id.controller!, tune(id, PLANT)!.factors);
    const [first, second] = [after(a), after(b)];
    for (const term of ['kp', 'ki', 'kd', 'attitude'] as const)
      near(first[term]! / second[term]!, 1, 0.03, term);
  });

  it('asks for half the gains on twice the effectiveness', () => {
    const strong = { ...PLANT, effectiveness: 2 * PLANT.effectiveness };
    const once = tune(madeIdentification(), PLANT)!.factors;
    const twice = tune(madeIdentification({ plant: strong }), strong)!.factors;
    for (const term of ['P', 'I', 'D'] as const) near(twice[term] / once[term], 0.5, 0.015, term);
    near(twice.attitude / once.attitude, 1, 0.03);
  });

  it.each([2, 8])(
    'raises I and D by no more than %d times where that is the limit, and still meets the aim',
    (most) => {
      for (const plant of PLANTS) {
        const controller = { ...CONTROLLER, kp: 0.5, ki: 0.01, kd: 0.0002 };
        const { factors, margins } = tune(madeIdentification({ plant, controller }), plant, AIM, most)!;
        expect(factors.I).toBeLessThan(most * 1.011);
        expect(factors.D).toBeLessThan(most * 1.011);
        expect(margins.rate!.gainMarginDb!).toBeGreaterThan(AIM.gainMarginDb - 0.2);
        expect(margins.rate!.phaseMarginDeg!).toBeGreaterThan(AIM.phaseMarginDeg - 1);
      }
    },
  );

  it('meets the aim without a derivative term on any plant, and never by making the loop uselessly slow', () => {
    for (const plant of PLANTS) {
      const controller = { ...CONTROLLER, kd: 0 };
      const { factors, margins } = tune(madeIdentification({ plant, controller }), plant)!;
      expect(margins.rate!.gainMarginDb!).toBeGreaterThan(AIM.gainMarginDb - 0.2);
      expect(margins.rate!.phaseMarginDeg!).toBeGreaterThan(AIM.phaseMarginDeg - 1);
      // By hand: P alone with 50° crosses where ω (τ + d) is some 40° = 0.7; the integral term costs at most two thirds of it.
      const crossover = 2 * Math.PI * margins.rate!.crossoverHz!;
      expect(crossover * (plant.lagS + plant.delayS)).toBeGreaterThan(0.7 / 3);
      expect(factors.P).toBeGreaterThan(0);
    }
  });

  it('brings in no term that is zero', () => {
    const controller = { ...CONTROLLER, ki: 0, kd: 0 };
    const tuned = tune(madeIdentification({ controller }), PLANT)!;
    const after = applyFactors(controller, tuned.factors);
    expect([after.ki, after.kd]).toEqual([0, 0]);
    expect(tuned.margins.rate!.gainMarginDb!).toBeGreaterThan(AIM.gainMarginDb - 0.2);
  });

  it('is not there without a controller or without a proportional gain', () => {
    expect(tune(madeIdentification({ controller: null }), PLANT)).toBeNull();
    expect(tune(madeIdentification({ controller: { ...CONTROLLER, kp: 0 } }), PLANT)).toBeNull();
  });
});
