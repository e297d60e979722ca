import { describe, expect, it } from 'vitest';
import type { Phase, PhaseKind } from '../diagnosis.js';
import { tippedInFlight, tippedOnGround } from './upsets.js';

/** Phases one after the other: kind and length, s. */
function phases(...parts: readonly (readonly [PhaseKind, number])[]): Phase[] {
  let startS = 0;
  return parts.map(([kind, lengthS]) => {
    const phase = { kind, startS, endS: startS + lengthS };
    startS += lengthS;
    return phase;
  });
}

describe('an upset', () => {
  it('is on the ground where the motors had run down after a hover', () => {
    const flown = phases(
      ['ground', 1],
      ['takeoff', 2],
      ['hover', 30],
      ['landing', 1],
      ['ground', 0.1],
      ['upset', 1],
    );
    expect(tippedInFlight(flown)).toBe(false);
    expect(tippedOnGround(flown, flown.at(-1)!)).toBe(true);
    // One that goes on as another.
    expect(tippedInFlight(phases(['hover', 30], ['ground', 1], ['upset', 0.2], ['upset', 1]))).toBe(false);
  });

  it.each([
    ['in the hover', phases(['takeoff', 2], ['hover', 30], ['upset', 1])],
    ['while landing', phases(['takeoff', 2], ['hover', 30], ['landing', 0.3], ['upset', 1])],
    ['at the first throttle-up', phases(['ground', 3], ['upset', 1])],
    [
      'after less than a hop',
      phases(['takeoff', 2], ['hover', 1], ['landing', 0.3], ['ground', 0.2], ['upset', 1]),
    ],
    [
      'in a second hover',
      phases(['hover', 30], ['ground', 1], ['upset', 1], ['takeoff', 2], ['hover', 4], ['upset', 1]),
    ],
  ])('is in flight %s', (_, flown) => {
    expect(tippedInFlight(flown)).toBe(true);
  });

  it('is none where there is none', () => {
    expect(tippedInFlight(phases(['takeoff', 2], ['hover', 30], ['landing', 1], ['ground', 1]))).toBe(false);
  });
});
