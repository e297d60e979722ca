import { findPhases, longestHover } from '@settle/analysis';
import { defaultConfig, simulateFlight, toFlight } from '@settle/simulator';
import { describe, expect, it } from 'vitest';
import { madeFlight } from '../support/made-flight.js';

const config = defaultConfig();
config.script.hoverS = 12;
const sim = simulateFlight(config, 10_500);
const air = sim.truth.airborne!;

describe('phases of a simulated flight', () => {
  it.each([
    ['everything', () => true, 0.1, 0.1],
    ['no height', (name: string) => name !== 'height', 0.25, 0.35],
    [
      'neither height nor accelerometer',
      (name: string) => name !== 'height' && !name.startsWith('accel'),
      0.6,
      0.35,
    ],
    [
      'throttle instead of motors',
      (name: string) => !name.startsWith('motor') && name !== 'height',
      0.25,
      0.5,
    ],
    ['height alone', (name: string) => /^(height|rate|attitude)/.test(name), 0.1, 0.1],
    ['rates and gyro alone', (name: string) => /^(rate|gyro)/.test(name), 1.2, 0.6],
  ] as const)('finds the hover from %s', (_name, channels, startWithinS, endWithinS) => {
    const hover = longestHover(findPhases(toFlight(sim, { channels })).phases)!;
    expect(Math.abs(hover.startS - air.startS)).toBeLessThan(startWithinS);
    expect(Math.abs(hover.endS - air.endS)).toBeLessThan(endWithinS);
  });

  it('runs ground, take-off, hover, landing, ground without holes', () => {
    const { phases } = findPhases(toFlight(sim));
    expect(phases.map((phase) => phase.kind)).toEqual(['ground', 'takeoff', 'hover', 'landing', 'ground']);
    for (let i = 1; i < phases.length; i++) expect(phases[i]!.startS).toBe(phases[i - 1]!.endS);
  });
});

describe('phases of made flights', () => {
  const steps = (t: number): number => ((t > 3 && t < 9) || (t > 14 && t < 30) ? 0.5 : 0.1);

  it('tells two hops apart and takes the longer', () => {
    const flight = madeFlight(35, { 'motor.1.command': { hz: 50, at: steps } });
    const { phases } = findPhases(flight);
    expect(phases.filter((phase) => phase.kind === 'hover')).toHaveLength(2);
    expect(longestHover(phases)!.startS).toBeGreaterThan(13);
  });

  it('does not take a dip of power for a landing', () => {
    const flight = madeFlight(35, {
      throttle: { hz: 50, at: (t) => (t < 3 || t > 30 ? 0.1 : t > 15 && t < 15.25 ? 0.1 : 0.5) },
    });
    expect(findPhases(flight).phases.filter((phase) => phase.kind === 'hover')).toHaveLength(1);
  });

  it('counts a record that never goes low as hover, and says so', () => {
    const report = findPhases(madeFlight(20, { throttle: { hz: 50, at: () => 0.5 } }));
    expect(report.phases).toEqual([{ kind: 'hover', startS: 0, endS: 20 }]);
    expect(report.decidedBy).toContain('never low enough for the ground');
  });

  it('takes a record whose motors are never told to turn for ground, unless a height says that it flew', () => {
    const parked = {
      'motor.1.command': { hz: 50, at: () => 0 },
      'motor.2.command': { hz: 50, at: () => 0.04 },
    };
    expect(findPhases(madeFlight(20, parked))).toEqual({
      phases: [{ kind: 'ground', startS: 0, endS: 20 }],
      decidedBy: 'motor commands: never above 5 %',
    });
    const height = { hz: 50, at: (t: number) => (t > 5 && t < 15 ? 2 : 0) };
    expect(longestHover(findPhases(madeFlight(20, { ...parked, height })).phases)!.startS).toBeCloseTo(5, 0);
  });

  it('takes the interval asked for as the hover, within the flight', () => {
    const flight = madeFlight(20, { throttle: { hz: 50, at: () => 0.5 } });
    expect(findPhases(flight, { startS: 4, endS: 90 }).phases).toEqual([
      { kind: 'hover', startS: 4, endS: 20 },
    ]);
  });

  it('ends a hover where the aircraft tips beyond 60°', () => {
    const flight = madeFlight(20, {
      throttle: { hz: 50, at: () => 0.5 },
      'attitude.roll.measured': { hz: 50, at: (t) => (t < 12 ? 0 : 0.5 * (t - 12)) },
    });
    // 60° are 1.047 rad: reached 2.09 s after 12 s.
    const { phases } = findPhases(flight);
    expect(phases.map((phase) => phase.kind)).toEqual(['hover', 'upset']);
    expect(phases[1]!.startS).toBeCloseTo(14.1, 1);
  });
});
