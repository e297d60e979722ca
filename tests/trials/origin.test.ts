import { describe, expect, it } from 'vitest';
import { diagnose, type Origin } from '@settle/analysis';
import { simulateRandom, toFlight, type LabelledFlight, type RandomKind } from '@settle/simulator';

const firstSeed = 10_100;
const flights = 5;

const flown = new Map<RandomKind, readonly LabelledFlight[]>();

/** Flown once, and looked at with and without sticks. */
function flightsOf(kind: RandomKind): readonly LabelledFlight[] {
  let found = flown.get(kind);
  if (found === undefined) {
    found = Array.from({ length: flights }, (_, i) => simulateRandom(kind, firstSeed + i));
    flown.set(kind, found);
  }
  return found;
}

/** Origins reported for the labelled oscillations of some flights. */
function origins(kind: RandomKind, withSticks: boolean): (Origin | 'missed')[] {
  return flightsOf(kind).flatMap(({ sim, shown }) => {
    const flight = toFlight(sim, { channels: (name) => withSticks || !name.startsWith('stick.') });
    const { axes } = diagnose(flight, { vibration: false });
    return shown.map(
      (line) =>
        axes[line.axis].oscillations.find((o) => Math.abs(Math.log(o.frequencyHz / line.frequencyHz)) < 0.22)
          ?.origin ?? 'missed',
    );
  });
}

const count = (list: readonly string[], what: string): number => list.filter((x) => x === what).length;

describe('who asks for a swing', () => {
  it.each([
    ['position-swing', true, 'position-loop'],
    ['position-swing', false, 'outer-loop'],
    ['pilot-stir', true, 'pilot'],
    ['pilot-stir', false, 'outer-loop'],
  ] as const)('%s with sticks logged: %s, is called %s', (kind, withSticks, origin) => {
    const found = origins(kind, withSticks);
    expect(found.length).toBeGreaterThanOrEqual(flights);
    // Some gentle swings drown in gusts; none may be given to somebody else.
    expect(count(found, origin) + count(found, 'missed')).toBe(found.length);
    expect(count(found, 'missed')).toBeLessThanOrEqual(2);
  });

  it('does not call a loop that oscillates by itself asked for', () => {
    const found = origins('limit-cycle', true);
    expect(found.length).toBeGreaterThanOrEqual(flights);
    for (const asked of ['pilot', 'position-loop', 'outer-loop']) expect(count(found, asked)).toBe(0);
  });
});
