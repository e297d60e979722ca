/** Height control, gusts, rotor vibration, trim and saturation: from flights whose truth can be checked in the head. */
import { describeActuators } from '../../packages/analysis/src/actuators.js';
import { heightFindings } from '../../packages/analysis/src/causes/height-control.js';
import { learnMotorMix } from '../../packages/analysis/src/causes/motor-mix.js';
import { saturationFindings } from '../../packages/analysis/src/causes/motor-saturation.js';
import { rotorVibrationFindings } from '../../packages/analysis/src/causes/rotor-vibration.js';
import { oddMotor, trimFindings } from '../../packages/analysis/src/causes/trim-offset.js';
import { diagnose, isUnavailable, type Actuators } from '@settle/analysis';
import type { ChannelName, Flight } from '@settle/parser';
import { defaultConfig, simulateFlight, toFlight, type FlightConfig } from '@settle/simulator';
import { describe, expect, it } from 'vitest';
import type { AxisStudy } from '../../packages/analysis/src/axis-study.js';
import { axisSignals } from '../../packages/analysis/src/oscillation/axis-signals.js';
import { madeFlight } from '../support/made-flight.js';

const HOVER = { startS: 0, endS: 20 };

function actuatorsOf(flight: Flight): Actuators {
  const actuators = describeActuators(flight, HOVER);
  if (isUnavailable(actuators)) throw new Error(actuators.unavailable);
  return actuators;
}

const study = (flight: Flight, axis: 'roll' | 'pitch' | 'yaw' = 'roll'): AxisStudy => ({
  axis,
  signals: axisSignals(flight, axis),
  oscillations: [],
  identification: null,
  folded: [],
});

describe('height control', () => {
  const flight = (climbMS: number, motor: number, throttle = 0.08): Flight =>
    madeFlight(20, {
      throttle: { hz: 50, at: (t) => (t < 10 ? 0.4 : throttle) },
      height: { hz: 25, at: (t) => (t < 10 ? 2 : 2 + climbMS * (t - 10)) },
      ...Object.fromEntries(
        [1, 2, 3, 4].map((m) => [
          `motor.${String(m)}.command`,
          // From stop to stop at 3 Hz, two and two against each other, once the throttle is low.
          {
            hz: 100,
            at: (t: number) =>
              t < 10 ? 0.4 : Math.sin(6 * Math.PI * t) * (m % 2 ? 1 : -1) > 0 ? motor : 0.05,
          },
        ]),
      ),
    });

  it('is lost where the throttle is low for seconds and the height rises, with times and figures', () => {
    const [finding] = heightFindings(flight(0.5, 0.8), HOVER);
    expect(finding).toMatchObject({ id: 'height-control-lost', severity: 'danger', confidence: 0.9 });
    expect(finding!.summary).toContain('8 %');
    // Motors spend half the time at 0.8 and half at 0.05: 0.425 on average, 0.345 above the throttle, in half of the hover.
    expect(finding!.evidence.join(' ')).toMatch(/1[67] % of full command above the throttle/);
  });

  it('is not lost where the aircraft comes down', () => {
    expect(heightFindings(flight(-0.6, 0.3), HOVER).some((f) => f.severity === 'danger')).toBe(false);
  });

  it('is not judged without a throttle', () => {
    const bare = flight(0.5, 0.8);
    const signals = new Map(bare.signals);
    signals.delete('throttle');
    expect(heightFindings({ ...bare, signals }, HOVER)).toEqual([]);
  });
});

describe('trim', () => {
  /** Front left, front right, rear right, rear left; shares of the demands as a mixer gives them. */
  const MIX = [
    [0.5, 0.5, 0.4],
    [-0.5, 0.5, -0.4],
    [-0.5, -0.5, 0.4],
    [0.5, -0.5, -0.4],
  ] as const;
  const trimmed = (
    trim: readonly [number, number, number],
    angle: (t: number) => number = () => 0,
    wander: (t: number) => number = () => 0,
  ): Flight => {
    const demand = (a: number, t: number): number =>
      trim[a]! + 0.02 * Math.sin((3 + 2 * a) * t + a) + (a === 0 ? wander(t) : 0);
    const channels: Partial<Record<ChannelName, { hz: number; at: (t: number) => number }>> = {
      'rate.roll.demand': { hz: 100, at: (t) => demand(0, t) },
      'rate.pitch.demand': { hz: 100, at: (t) => demand(1, t) },
      'rate.yaw.demand': { hz: 100, at: (t) => demand(2, t) },
      'attitude.roll.measured': { hz: 50, at: angle },
      throttle: { hz: 50, at: () => 0.45 },
    };
    MIX.forEach((shares, m) => {
      channels[`motor.${String(m + 1)}.command` as ChannelName] = {
        hz: 100,
        at: (t) => 0.45 + shares.reduce((sum, share, a) => sum + share * demand(a, t), 0),
      };
    });
    return madeFlight(20, channels);
  };
  const roll = (flight: Flight) =>
    trimFindings({ flight, hover: HOVER, actuators: actuatorsOf(flight) }).find((f) => f.axis === 'roll')!;

  it('learns which way each motor answers each demand', () => {
    const mix = learnMotorMix(trimmed([0.1, 0, 0]), HOVER)!;
    MIX.forEach((shares, m) => {
      expect(mix[m]!.roll).toBeCloseTo(shares[0], 2);
      expect(mix[m]!.pitch).toBeCloseTo(shares[1], 2);
      expect(mix[m]!.yaw).toBeCloseTo(shares[2], 2);
    });
  });

  it('of a level aircraft with a steady demand is most likely weight off centre', () => {
    const finding = roll(trimmed([0.2, 0, 0]));
    expect(finding.severity).toBe('fault');
    expect(finding.summary).toContain('20 %');
    expect(finding.summary).toContain('most likely weight off centre');
    expect(finding.evidence.join(' ')).toContain('hovers level');
    // 0.45 + 0.5 · 0.2 = 0.55 at the raised motors, 0.35 at the lowered: 0.35 / 0.5 comes first.
    expect(finding.evidence.join(' ')).toContain('further demand of 0.70');
  });

  it('that leans and wanders with the angle is most likely a wind', () => {
    const slow = (t: number): number => Math.sin((2 * Math.PI * t) / 10);
    const finding = roll(
      trimmed(
        [0.12, 0, 0],
        (t) => 0.12 + 0.06 * slow(t),
        (t) => 0.08 * slow(t),
      ),
    );
    expect(finding.summary).toContain('most likely a steady wind');
  });

  it('that raises one motor alone names it, yaw included', () => {
    // Motor 1 up by 0.16 and the others down by a third of it: 0.04 on each axis over its share.
    const finding = roll(trimmed([0.08, 0.08, 0.1]));
    expect(finding.summary).toContain('weak motor or prop (motor 1)');
    expect(finding.evidence.join(' ')).toContain('yaw included');
  });

  it('names no motor where two and two differ, nor where all are alike', () => {
    const motors = (...means: number[]): Pick<Actuators, 'motors'> => ({
      motors: means.map((mean) => ({ mean, lowStopShare: 0, highStopShare: 0 })),
    });
    expect(oddMotor(motors(0.5, 0.5, 0.4, 0.4))).toBeNull();
    expect(oddMotor(motors(0.45, 0.45, 0.45, 0.45))).toBeNull();
    expect(oddMotor(motors(0.45, 0.45, 0.57, 0.45))).toMatchObject({ index: 2 });
  });

  it('of a simulated weak rotor names that rotor, of simulated weight off centre none', () => {
    const weak = defaultConfig();
    weak.unmodelled.weakRotor = { rotor: 3, factor: 0.72 };
    weak.airframe.trim = { roll: 0, pitch: 0, yaw: 0 };
    const heavy = structuredClone(weak);
    heavy.unmodelled.weakRotor = null;
    heavy.airframe.trim.pitch = 0.2;
    const said = (config: FlightConfig, seed: number): string =>
      diagnose(toFlight(simulateFlight(config, seed)), { vibration: false })
        .findings.filter((f) => f.id === 'trim-offset')
        .map((f) => f.summary)
        .join('; ');
    for (const seed of [10_930, 10_931]) {
      expect(said(weak, seed)).toContain('motor 3');
      const ofHeavy = said(heavy, seed);
      expect(ofHeavy).toContain('pitch needs');
      expect(ofHeavy).toContain('weight off centre');
    }
  });
});

describe('rotor vibration', () => {
  const shaken = (ripple: number, hz = 62): Flight =>
    madeFlight(20, {
      'rate.roll.measured': { hz: 400, at: (t) => 0.05 * Math.sin(2 * Math.PI * hz * t) },
      'rate.roll.demand': {
        hz: 400,
        at: (t) => 0.03 * Math.sin(2 * Math.PI * 0.7 * t) + ripple * Math.sin(2 * Math.PI * hz * t),
      },
      'rotor.1.speed': { hz: 20, at: () => 62 },
      'rotor.2.speed': { hz: 20, at: () => 61.5 },
    });
  const found = (flight: Flight) =>
    rotorVibrationFindings({ flight, hover: HOVER, studies: [study(flight)] });

  it('of 2 % of full demand is a note, of 8 % a fault, each with its size within a tenth', () => {
    for (const [ripple, severity] of [
      [0.02, 'note'],
      [0.08, 'fault'],
    ] as const) {
      const [finding] = found(shaken(ripple));
      expect(finding).toMatchObject({ id: 'rotor-vibration', axis: 'roll', severity });
      const said = Number(/±([\d.]+) %/.exec(finding!.summary)![1]);
      expect(Math.abs(said / (100 * ripple) - 1)).toBeLessThan(0.1);
    }
  });

  it('of half a percent, or away from the rotors, is none', () => {
    expect(found(shaken(0.005))).toEqual([]);
    expect(found(shaken(0.05, 87))).toEqual([]);
  });

  it('takes the lines of a study of vibration in place of rotor speeds, each at its own fold', () => {
    // 262 Hz in a 400 Hz log stands at 138 Hz.
    const flight = shaken(0.04, 138);
    const line = {
      sensor: 'gyro' as const,
      axis: 'x' as const,
      frequencyHz: 138,
      frequencyStdHz: 0.1,
      lowHz: 137,
      highHz: 139,
      rms: 0.03,
      aboveFloorDb: 30,
      kind: 'blade-pass' as const,
      order: 2,
      rotor: null,
      trueFrequencyHz: 262,
      confidence: 0.9,
      evidence: [],
    };
    const context = { flight, hover: HOVER, studies: [study(flight)] };
    const [finding] = rotorVibrationFindings({ ...context, vibrationLines: [line] });
    expect(finding?.evidence.join(' ')).toContain('262.0 Hz');
    expect(rotorVibrationFindings({ ...context, vibrationLines: [{ ...line, kind: 'structure' }] })).toEqual(
      [],
    );
  });
});

describe('motors on their stops', () => {
  it('are blamed on a heavy aircraft where the mean command is high and nothing swings', () => {
    const flight = madeFlight(
      20,
      Object.fromEntries(
        [1, 2, 3, 4].map((m) => [
          `motor.${String(m)}.command`,
          { hz: 100, at: (t: number) => Math.min(1, 0.9 + 0.12 * Math.sin(1.3 * t + m)) },
        ]),
      ),
    );
    const [finding] = saturationFindings({
      flight,
      hover: HOVER,
      studies: [study(flight)],
      actuators: actuatorsOf(flight),
    });
    expect(finding!.evidence.join(' ')).toContain('too heavy for these rotors');
    expect(finding!.evidence.join(' ')).toMatch(/at least one motor stood on a stop for \d+ %/);
  });
});

describe('gusts', () => {
  const windy = (gust: number): FlightConfig => {
    const config = defaultConfig();
    config.wind.gustRadS2 = { roll: gust, pitch: gust, yaw: 0.3 * gust };
    config.pilot.corrections = 0;
    return config;
  };
  const gustFinding = (config: FlightConfig, seed: number) =>
    diagnose(toFlight(simulateFlight(config, seed)), { vibration: false }).findings.find(
      (f) => f.id === 'gust-response',
    );

  it('are named where they move a sound aircraft, with no gain to change for them', () => {
    let named = 0;
    for (const seed of [10_940, 10_941, 10_942]) {
      const finding = gustFinding(windy(9), seed);
      if (finding === undefined) continue;
      named++;
      expect(finding.summary).toMatch(/\d+\.\d deg\/s RMS/);
    }
    expect(named).toBeGreaterThanOrEqual(2);
  });

  it('are told from sticks only where the sticks are logged', () => {
    const flight = toFlight(simulateFlight(windy(9), 10_940));
    const signals = new Map([...flight.signals].filter(([name]) => !name.startsWith('stick.')));
    const { findings, advice } = diagnose({ ...flight, signals }, { vibration: false });
    const finding = findings.find((f) => f.id === 'gust-response');
    expect(finding?.summary).toMatch(/gusts move it, or a stick/);
    expect(advice.find(({ because }) => because.includes(finding!.summary))?.text).toMatch(/^Log the sticks/);
  });

  it('are not named in calm air', () => {
    for (const seed of [10_940, 10_941]) expect(gustFinding(windy(0.3), seed)).toBeUndefined();
  });
});
