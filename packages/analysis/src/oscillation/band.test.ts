import { describeClock, type Flight, type Signal } from '@settle/parser';
import { describe, expect, it } from 'vitest';
import { searchBand } from './band.js';

function flightWithRotor(hz: number | null): Flight {
  const clock = describeClock(Float64Array.from({ length: 200 }, (_, i) => i / 10));
  const signals = new Map<Signal['channel'], Signal>();
  if (hz !== null) {
    const decision = {
      channel: 'rotor.1.speed' as const,
      file: 'log.csv',
      column: 'rotor 1 (Hz)',
      unit: 'Hz',
      scale: 1,
      offset: 0,
      decidedBy: [],
      clipped: 0,
      nonFinite: 0,
    };
    signals.set('rotor.1.speed', {
      channel: 'rotor.1.speed',
      clock,
      values: new Float64Array(200).fill(hz),
      decision,
    });
  }
  return {
    name: 'log',
    files: [],
    signals,
    frame: { logged: 'z-down', decidedBy: '' },
    problems: [],
    durationS: 20,
  };
}

describe('searchBand', () => {
  it.each([
    // Five cycles in 16 s are 0.3125 Hz.
    ['five cycles in the hover', null, 16, 400, 0.3125, 30],
    ['0.1 Hz at the least', null, 400, 400, 0.1, 30],
    ['two fifths of a slow log', null, 400, 40, 0.1, 16],
    ['four fifths of a slow rotor', 20, 400, 400, 0.1, 16],
    ['30 Hz below fast rotors', 90, 400, 400, 0.1, 30],
  ] as const)('is bounded by %s', (_name, rotorHz, hoverS, sampleRateHz, lowest, highest) => {
    const band = searchBand(flightWithRotor(rotorHz), { startS: 0, endS: hoverS }, sampleRateHz);
    expect(band.lowestHz).toBeCloseTo(lowest, 9);
    expect(band.highestHz).toBeCloseTo(highest, 9);
  });
});
