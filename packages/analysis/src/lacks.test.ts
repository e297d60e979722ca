import { describe, expect, it } from 'vitest';
import { madeFlight } from '../../../tests/support/made-flight.js';
import { analysisLacks } from './lacks.js';

const still = (hz: number): { hz: number; at: () => number } => ({ hz, at: () => 0 });
const rates = (hz: number): Parameters<typeof madeFlight>[1] => ({
  'rate.roll.measured': still(hz),
  'rate.pitch.measured': still(hz),
  'rate.yaw.measured': still(hz),
  'attitude.roll.measured': still(50),
  'attitude.pitch.measured': still(50),
  'attitude.yaw.measured': still(50),
});
const lacksOf = (flight: ReturnType<typeof madeFlight>, analysis: string): readonly string[] =>
  analysisLacks(flight).find((one) => one.analysis === analysis)!.lacks;

describe('analysisLacks', () => {
  it('asks nothing more for oscillations of rates at 100 Hz with attitude', () => {
    expect(lacksOf(madeFlight(10, rates(100)), 'oscillations')).toEqual([]);
    // A clock that reads 99.9 Hz is a 100 Hz log.
    expect(lacksOf(madeFlight(10, rates(99.9)), 'oscillations')).toEqual([]);
  });

  it('asks for faster rates at 50 Hz, and names the rate that is there', () => {
    expect(lacksOf(madeFlight(10, rates(50)), 'oscillations').join()).toContain('logged at 50 Hz');
  });

  it('names what the cause of an oscillation needs', () => {
    const lacks = lacksOf(madeFlight(10, rates(100)), 'cause of an oscillation').join('; ');
    for (const needed of ['attitude references', 'rate references', 'demands', 'motor commands', 'sticks'])
      expect(lacks).toContain(needed);
  });

  it('names the axes that are absent when only some are', () => {
    const flight = madeFlight(10, { ...rates(100), 'rate.roll.demand': still(50) });
    expect(lacksOf(flight, 'gain advice').join()).toContain('rate.pitch.demand, rate.yaw.demand');
  });
});
