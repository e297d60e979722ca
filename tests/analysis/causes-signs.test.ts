/** Demands with the wrong sign or on the wrong axis, from simulated flights that tip over, and never from sound ones. */
import { CannotAnalyse, diagnose, findPhases } from '@settle/analysis';
import {
  randomFlight,
  simulateFlight,
  simulateRandom,
  toFlight,
  type FlightConfig,
  type RandomKind,
} from '@settle/simulator';
import { describe, expect, it } from 'vitest';
import { signFindings } from '../../packages/analysis/src/causes/sign-findings.js';

type Wiring = NonNullable<FlightConfig['wiring']>;

/** Each mistake and the axes that do not follow their own demand with it. */
const MISTAKES: Readonly<Record<string, { readonly wiring: Wiring; readonly wrong: readonly string[] }>> = {
  'front motors swapped': { wiring: { motorOrder: [2, 1, 3, 4] }, wrong: ['roll', 'yaw'] },
  'motors across swapped': { wiring: { motorOrder: [3, 2, 1, 4] }, wrong: ['roll', 'pitch'] },
  'motors one place round': { wiring: { motorOrder: [2, 3, 4, 1] }, wrong: ['roll', 'pitch', 'yaw'] },
  'all rotors turn the other way': { wiring: { sign: { yaw: -1 } }, wrong: ['yaw'] },
  'roll inverted': { wiring: { sign: { roll: -1 } }, wrong: ['roll'] },
  'board turned by 90°': { wiring: { boardTurnedDeg: 90 }, wrong: ['roll', 'pitch'] },
  'board turned by 180°': { wiring: { boardTurnedDeg: 180 }, wrong: ['roll', 'pitch'] },
};
const FIRST_SEED = 10_900;
const PER_MISTAKE = 2;

function findingsOf(config: FlightConfig, seed: number) {
  const flight = toFlight(simulateFlight(config, seed));
  return signFindings(flight, findPhases(flight).phases);
}

describe('wrong connections', () => {
  it('are found in at least 90 % of flights, and no axis that follows its demand is called wrong', () => {
    let flights = 0;
    let found = 0;
    const falselyNamed: string[] = [];
    for (const [name, { wiring, wrong }] of Object.entries(MISTAKES))
      for (let seed = FIRST_SEED; seed < FIRST_SEED + PER_MISTAKE; seed++) {
        const { config } = randomFlight('well-damped', seed);
        const findings = findingsOf({ ...config, wiring }, seed);
        flights++;
        if (findings.length > 0) found++;
        for (const f of findings)
          if (f.axis !== null && !wrong.includes(f.axis))
            falselyNamed.push(`${name}, ${String(seed)}: ${f.axis}`);
        expect(findings.every((f) => f.severity === 'danger' && f.confidence >= 0.5)).toBe(true);
      }
    console.log(`wrong connections found in ${String(found)} of ${String(flights)} flights`);
    expect(found / flights).toBeGreaterThanOrEqual(0.9);
    expect(falselyNamed.length).toBeLessThanOrEqual(0.05 * flights);
  });

  it('lead to one do-not-fly and to no gain advice, or to no analysis that says why', () => {
    let diagnosed = 0;
    for (let seed = FIRST_SEED; seed < FIRST_SEED + 4; seed++) {
      const { config } = randomFlight('well-damped', seed);
      const flight = toFlight(simulateFlight({ ...config, wiring: { sign: { yaw: -1 } } }, seed));
      try {
        const diagnosis = diagnose(flight, { vibration: false });
        if (!diagnosis.findings.some((f) => f.id === 'demand-sign-wrong')) continue;
        diagnosed++;
        expect(diagnosis.advice.filter((a) => a.kind === 'gain')).toEqual([]);
        expect(diagnosis.advice.filter((a) => a.kind === 'do-not-fly')).toHaveLength(1);
        expect(diagnosis.advice[0]!.text).toContain('With the props off');
      } catch (error) {
        expect(error).toBeInstanceOf(CannotAnalyse);
      }
    }
    expect(diagnosed).toBeGreaterThan(1);
  });

  it('say what to check even where the aircraft tipped over before any hover', () => {
    const messages: string[] = [];
    for (let seed = FIRST_SEED; seed < FIRST_SEED + 4; seed++) {
      const { config } = randomFlight('well-damped', seed);
      const flight = toFlight(simulateFlight({ ...config, wiring: { sign: { roll: -1 } } }, seed));
      try {
        diagnose(flight, { vibration: false });
      } catch (error) {
        if (!(error instanceof CannotAnalyse)) throw error;
        messages.push(`${error.message} ${error.next}`);
      }
    }
    expect(
      messages.some((m) => m.includes('roll does not follow its own demand') && m.includes('props off')),
    ).toBe(true);
  });
});

describe('sound aircraft', () => {
  const KINDS: readonly RandomKind[] = [
    'well-damped',
    'limit-cycle',
    'growing',
    'attitude-swing',
    'loose',
    'structure',
  ];

  it('are never called wrongly connected, not even in wild limit cycles, strong coupling or gusts that tip them over', () => {
    const flagged: string[] = [];
    let flights = 0;
    for (const kind of KINDS)
      for (let seed = FIRST_SEED; seed < FIRST_SEED + 4; seed++) {
        const config = structuredClone(randomFlight(kind, seed).config);
        config.script.hoverS = Math.min(10, config.script.hoverS);
        config.script.abort = null;
        if (seed % 4 === 1) config.airframe.crossCoupling = 0.2;
        // Gains far too high: swings from stop to stop.
        if (seed % 4 === 2 && kind !== 'loose')
          for (const axis of ['roll', 'pitch', 'yaw'] as const) {
            const gains = config.controller.rate[axis];
            gains.kp *= 3;
            gains.ki *= 3;
            gains.kd *= 3;
          }
        if (seed % 4 === 3)
          for (let i = 0; i < 3; i++)
            config.wind.pulses.push({
              axis: (['roll', 'pitch', 'yaw'] as const)[i]!,
              atS: 1 + 2.5 * i,
              durationS: 0.5,
              peakRadS2: 0.6 * config.airframe.effectiveness[(['roll', 'pitch', 'yaw'] as const)[i]!],
            });
        flights++;
        if (findingsOf(config, seed).length > 0) flagged.push(`${kind} ${String(seed)}`);
      }
    expect(flights).toBeGreaterThanOrEqual(24);
    expect(flagged).toEqual([]);
  });

  it('are flown as before where the simulator is told of no mistake', () => {
    const { sim } = simulateRandom('well-damped', FIRST_SEED);
    const again = simulateFlight({ ...sim.config, wiring: {} }, sim.seed);
    const roll = (s: typeof sim) => s.log.groups.find((g) => g.columns.has('rate.roll.demand'))!.columns;
    expect(roll(again).get('rate.roll.demand')).toEqual(roll(sim).get('rate.roll.demand'));
  });
});
