import { AXES, parseGains, type ChannelName } from '@settle/parser';
import { diagnose, isUnavailable, type Diagnosis } from '@settle/analysis';
import {
  planTrialFlight,
  simulateFlight,
  simulateRandom,
  toFlight,
  toGainsFile,
  trialAircraft,
} from '@settle/simulator';
import { describe, expect, it } from 'vitest';
import { DIAGNOSIS_SCHEMA, schemaErrors } from '../support/contract-schema.js';

const sticks = (() => {
  const { good } = trialAircraft(10_301);
  return simulateFlight(planTrialFlight(good, false, 10_301).config, 10_301);
})();
const ringing = simulateRandom('limit-cycle', 10_302).sim;
const loose = simulateRandom('loose', 10_303).sim;
const flights = { sticks, ringing, loose } as const;

const isTerm = (name: ChannelName): boolean =>
  /^rate\.\w+\.(proportional|integral|derivative|feedforward)$/.test(name);
const isRate = (name: ChannelName): boolean => /^rate\.\w+\.measured$/.test(name);

const LOGS: Readonly<Record<string, (name: ChannelName) => boolean>> = {
  'no terms': (name) => !isTerm(name),
  'no motor commands': (name) => !name.startsWith('motor.'),
  'no demand': (name) => !name.endsWith('.demand'),
  'no demand and no terms': (name) => !name.endsWith('.demand') && !isTerm(name),
  'rates and motors only': (name) => isRate(name) || name.startsWith('motor.'),
  'attitude and motors only': (name) => name.startsWith('attitude.') || name.startsWith('motor.'),
};

function checkTrue(diagnosis: Diagnosis, sim: typeof sticks): void {
  expect(schemaErrors(DIAGNOSIS_SCHEMA, JSON.parse(JSON.stringify(diagnosis)))).toEqual([]);
  for (const axis of AXES) {
    const { rate } = diagnosis.axes[axis].margins;
    if (isUnavailable(rate)) {
      expect(rate.unavailable.length).toBeGreaterThan(20);
      continue;
    }
    const truth = sim.truth.axes[axis].margins.rate;
    if (rate.gainMarginDb === null || truth.gainMarginDb === null) continue;
    const allowed = Math.max(3, 3 * (rate.gainMarginStdDb ?? 0));
    expect(Math.abs(rate.gainMarginDb - truth.gainMarginDb)).toBeLessThan(allowed);
  }
}

describe.each(Object.keys(flights) as (keyof typeof flights)[])('a %s flight with fewer channels', (kind) => {
  const sim = flights[kind];
  const gains = parseGains(JSON.stringify(toGainsFile(sim.config)), 'gains.json');

  it.each(Object.keys(LOGS))('%s: weaker but true', (log) => {
    const diagnosis = diagnose(toFlight(sim, { channels: LOGS[log]! }), { gains });
    checkTrue(diagnosis, sim);
  });

  it('without demand or terms no gain is touched and no margin given', () => {
    const diagnosis = diagnose(toFlight(sim, { channels: LOGS['no demand and no terms']! }), { gains });
    expect(diagnosis.advice.filter((a) => a.kind === 'gain')).toEqual([]);
    for (const axis of AXES) {
      expect(isUnavailable(diagnosis.axes[axis].margins.rate)).toBe(true);
      expect(isUnavailable(diagnosis.axes[axis].plant)).toBe(true);
    }
  });

  it('without terms, gains of no declared unit are not calculated with', () => {
    const diagnosis = diagnose(toFlight(sim, { channels: LOGS['no terms']! }), { gains });
    for (const axis of AXES) expect(isUnavailable(diagnosis.axes[axis].margins.rate)).toBe(true);
    expect(diagnosis.advice.filter((a) => a.kind === 'gain')).toEqual([]);
  });

  it('without a gains file the terms alone give the controller, filters unknown', () => {
    checkTrue(diagnose(toFlight(sim)), sim);
  });

  it('at 50 Hz nothing false is said', () => {
    const config = structuredClone(sim.config);
    config.log.rateHz = 50;
    const slow = simulateFlight(config, sim.seed);
    checkTrue(diagnose(toFlight(slow), { gains }), slow);
  });
});
