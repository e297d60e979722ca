import { AXES, readFlight } from '@settle/parser';
import { describe, expect, it } from 'vitest';
import { trialAircraft } from '@settle/simulator';
import { applyChanges, runTrial, type Adviser, type GainChange } from './closed-loop-trial.js';
import { formatSummaries, shortcomings, summariseTrials } from './closed-loop-report.js';
import { toolAdviser } from './tool-adviser.js';
import { truthToldRule } from './truth-told-rule.js';

const seeds = (first: number, count: number): number[] => Array.from({ length: count }, (_, i) => first + i);

/** Sets every gain to the good one: what a perfect adviser would say. */
const perfect = (seed: number): Adviser => {
  const { good } = trialAircraft(seed);
  return ({ truth }) => {
    const flown = truth().config.controller;
    return AXES.flatMap((axis): GainChange[] => [
      ...(['P', 'I', 'D'] as const).map((term): GainChange => {
        const key = ({ P: 'kp', I: 'ki', D: 'kd' } as const)[term];
        return {
          axis,
          loop: 'rate',
          term,
          factor: good.controller.rate[axis][key] / flown.rate[axis][key],
        };
      }),
      { axis, loop: 'attitude', term: 'P', factor: good.controller.attitude[axis] / flown.attitude[axis] },
    ]);
  };
};

const everywhere = (factor: number): GainChange[] =>
  AXES.flatMap((axis) =>
    (['P', 'I', 'D'] as const).map((term): GainChange => ({ axis, loop: 'rate', term, factor })),
  );

describe('the closed-loop trial', () => {
  it('can be won: good gains at once make every aircraft good after one change, and upset none', () => {
    const trials = seeds(1, 6).map((seed) => runTrial(seed, perfect(seed), { askWhenGood: true }));
    const summary = summariseTrials(trials);
    expect(summary.goodWithinPct).toEqual([expect.any(Number), 100, 100, 100, 100]);
    expect(summary.goodWithinPct[0]).toBeLessThan(10);
    expect(summary).toMatchObject({ medianChanges: 1, unsafe: 0, newUpsets: 0, stayedGood: 6 });
    expect(trials.flatMap((trial) => shortcomings(trial))).toEqual([]);
  });

  it('proves something: bad gains upset some airframes although they are flown with care', () => {
    const first = seeds(130, 12).map((seed) => runTrial(seed, () => [], { maxChanges: 0 }));
    const { firstUpsets } = summariseTrials(first, 0);
    expect(firstUpsets).toBeGreaterThan(0);
    // A trial in which every second aircraft is lost at once would not be flown with care.
    expect(firstUpsets).toBeLessThan(4);
  });

  it('sees harm: advice that spoils good gains is unsafe, whichever way it errs', () => {
    const spoil = (seed: number, factor: number): Adviser => {
      const putRight = perfect(seed);
      let asked = 0;
      return (input) => (asked++ === 0 ? putRight(input) : everywhere(factor));
    };
    for (const factor of [8, 1 / 8]) {
      const trials = seeds(1, 4).map((seed) => runTrial(seed, spoil(seed, factor), { askWhenGood: true }));
      const summary = summariseTrials(trials);
      expect(summary).toMatchObject({ askedWhenGood: 4, stayedGood: 0 });
      // The rate loops of three axes each; their attitude loops may fall with them.
      expect(summary.unsafe).toBeGreaterThanOrEqual(12);
      for (const trial of trials)
        expect(shortcomings(trial)).toContain('advice after the good hover spoils it');
    }
  });

  it('sees new upsets: gains made ever looser tip over aircraft that the gains before would not have', () => {
    const trials = seeds(1, 6).map((seed) => runTrial(seed, () => everywhere(0.25), { maxChanges: 3 }));
    const { newUpsets, upsets } = summariseTrials(trials, 3);
    expect(newUpsets).toBeGreaterThan(0);
    // Some of the later upsets the gains before would have had too.
    expect(newUpsets).toBeLessThan(upsets);
  });

  it('tells the same story twice', () => {
    const tell = (): unknown => runTrial(2, truthToldRule).flights;
    expect(tell()).toEqual(tell());
  });

  it('hands over a log that reads without problems, and the gains it was flown with', () => {
    let asked = 0;
    const { flights } = runTrial(
      2,
      ({ files, gainsText, truth }) => {
        asked++;
        const encoder = new TextEncoder();
        const flight = readFlight(files.map(({ name, text }) => ({ name, bytes: encoder.encode(text) })));
        const sim = truth();
        const measured = flight.signals.get('rate.roll.measured')!;
        expect(measured.values.length).toBeGreaterThan(100);
        expect(flight.durationS).toBeCloseTo(sim.truth.motion.timeS.at(-1)!, 0);
        expect(JSON.parse(gainsText)).toMatchObject({
          gains: { rate: sim.config.controller.rate },
          loopRateHz: sim.config.loopRateHz,
        });
        return [];
      },
      { maxChanges: 1 },
    );
    expect(asked).toBe(1);
    expect(flights).toHaveLength(2);
    expect(flights[1]!.axes).toEqual(flights[0]!.axes);
  });

  it('refuses advice that no gain can follow', () => {
    const { start } = trialAircraft(1);
    const change: GainChange = { axis: 'roll', loop: 'rate', term: 'P', factor: 1.5 };
    expect(applyChanges(start, [change, change]).controller.rate.roll.kp).toBeCloseTo(
      2.25 * start.controller.rate.roll.kp,
      12,
    );
    for (const factor of [0, -1, Number.NaN, Infinity]) {
      expect(() => applyChanges(start, [{ ...change, factor }])).toThrow('cannot be multiplied');
    }
    expect(() => applyChanges(start, [{ ...change, loop: 'attitude', term: 'D' }])).toThrow('no D term');
  });
});

const fleet = seeds(10_001, 8);

describe('the tool against fixed steps by someone who is told the truth, on the same 8 aircraft', () => {
  it('puts clearly more of them right, and does no harm', () => {
    const rule = summariseTrials(fleet.map((seed) => runTrial(seed, truthToldRule)));
    const tool = summariseTrials(fleet.map((seed) => runTrial(seed, toolAdviser, { askWhenGood: true })));
    console.log(formatSummaries({ 'this tool': tool, 'fixed steps, told the truth': rule }));
    // The rule, seen elsewhere: about 50 % and 90 %. Of 8 aircraft two standard deviations are 35 % and 21 %.
    expect(rule.goodWithinPct[2]).toBeGreaterThan(15);
    expect(rule.goodWithinPct[2]).toBeLessThan(85);
    expect(rule.goodWithinPct[4]).toBeGreaterThan(69);
    // Wanted; over more aircraft not all of it is met (docs/methods.md). On these it is, and is to stay so.
    expect(tool.goodWithinPct[2]).toBeGreaterThan(rule.goodWithinPct[2]! + 15);
    expect(tool.goodWithinPct[2]).toBeGreaterThanOrEqual(90);
    expect(tool.goodWithinPct[4]).toBeGreaterThanOrEqual(98);
    expect(tool.medianChanges).toBe(1);
    expect(tool.unsafe).toBe(0);
    expect(tool.newUpsets).toBe(0);
    expect(tool.flexible).toBe(2);
    expect(tool.unmodelled).toBeGreaterThanOrEqual(3);
  }, 900_000);
});
