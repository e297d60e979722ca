/** A line is explained by rotors at its true frequency, and by no other that folds to the same place. */
import { describe, expect, test } from 'vitest';
import { calmFlight, feltBy } from '../../../../tests/support/calm-flight.js';
import { coursesBy, explainedBy, surroundingsOf } from './explain-line.js';

const RATE_HZ = 160;
/** 20 dB, natural log. */
const TENFOLD = 2.3;

describe('what rotors explain of a line', () => {
  test.for([
    ['where it is', 61, 61, 61],
    ['mirrored', 97, 63, -97],
    ['once round', 200, 40, 200],
    ['rotors too alike to be told apart by their lines', 97.02, 63, -97],
  ] as const)('%s', ([, hz, loggedHz, readHz]) => {
    const flight = calmFlight([hz, hz + 0.01, hz + 0.02, hz - 0.01], 5);
    const record = feltBy(flight, RATE_HZ, [1], 6);
    const around = surroundingsOf(record, loggedHz);
    const courses = coursesBy(flight.commands, 0.5, 0.06, record);
    const left = (trueHz: number): number => explainedBy(around, courses, trueHz).left;
    const others = [loggedHz, loggedHz - RATE_HZ, loggedHz + RATE_HZ, loggedHz - 2 * RATE_HZ].filter(
      (other) => Math.abs(other - readHz) > 1,
    );
    for (const other of [0, ...others]) expect(left(readHz)).toBeLessThan(left(other) - TENFOLD);
    expect(Math.abs(explainedBy(around, courses, readHz).meanHz - hz)).toBeLessThan(0.5);
  });

  test('the line of a rotor far below the others tells the mean of them all', () => {
    const flight = calmFlight([54, 62, 63, 61], 7);
    const record = feltBy({ ...flight, turns: flight.turns.slice(0, 1) }, RATE_HZ, [1], 6);
    const around = surroundingsOf(record, 54);
    const { meanHz } = explainedBy(around, coursesBy(flight.commands, 0.5, 0.06, record), 54);
    expect(Math.abs(meanHz - 60)).toBeLessThan(0.6);
  });

  test('a tone is explained by nothing that turns', () => {
    const flight = calmFlight([30, 30.4, 30.9, 31.5], 8);
    const tone = (t: number): number => Math.sin(2 * Math.PI * 63 * t);
    const record = feltBy(flight, RATE_HZ, [], 9, tone);
    const around = surroundingsOf(record, 63);
    const courses = coursesBy(flight.commands, 0.5, 0.06, record);
    const still = explainedBy(around, courses, 0).left;
    expect(still).toBeLessThan(-TENFOLD);
    for (const trueHz of [63, 63 - RATE_HZ, 63 + RATE_HZ])
      expect(explainedBy(around, courses, trueHz).left).toBeGreaterThan(still);
  });
});
