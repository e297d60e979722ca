import { AXES } from '@settle/parser';
import { describe, expect, test } from 'vitest';
import { randomFlight, simulateRandom, type RandomKind } from './random-flight.js';

const seeds = (n: number): number[] => Array.from({ length: n }, (_, i) => 9000 + i);

describe('random flights', () => {
  test('are the same for the same kind and seed', () => {
    expect(randomFlight('limit-cycle', 7)).toEqual(randomFlight('limit-cycle', 7));
    expect(randomFlight('limit-cycle', 7)).not.toEqual(randomFlight('limit-cycle', 8));
  });

  test('labelled well damped have 6 dB and 45° on every axis, no label, and stay upright', () => {
    for (const seed of seeds(6)) {
      const { sim, flight } = simulateRandom('well-damped', seed);
      expect(flight.expected).toEqual([]);
      for (const axis of AXES) {
        // Sag and the hover's own mean shift the truth a little from the draw: half a decibel and a degree.
        const { rate, attitude } = sim.truth.axes[axis].margins;
        for (const m of [rate, attitude]) {
          expect(m.stable).toBe(true);
          expect(m.gainMarginDb ?? 99).toBeGreaterThan(5.5);
          expect(m.phaseMarginDeg ?? 180).toBeGreaterThan(44);
        }
      }
      expect(sim.truth.phases.map((p) => p.kind)).not.toContain('upset');
    }
  });

  test.each<[RandomKind, boolean]>([
    ['limit-cycle', false],
    ['growing', false],
    ['driven', true],
  ])('labelled %s have the pole and the motion the label says', (kind, stable) => {
    for (const seed of seeds(4)) {
      const { sim, shown, flight } = simulateRandom(kind, seed);
      expect(shown.length).toBeGreaterThan(0);
      const lasts = sim.truth.airborne!.endS - sim.truth.airborne!.startS;
      expect(lasts).toBeGreaterThanOrEqual(2);
      if (flight.hop) expect(lasts).toBeLessThanOrEqual(8);
      for (const line of shown) {
        const truth = sim.truth.axes[line.axis].dominant!;
        expect(truth.growthPerS < 0).toBe(stable);
        if (stable) {
          expect(line.dampingRatio).toBeGreaterThan(0.01);
          expect(line.dampingRatio).toBeLessThan(0.09);
        }
        expect((line.span.endS - line.span.startS) * line.frequencyHz).toBeGreaterThanOrEqual(6);
        expect(line.rateAmplitudeRadS).toBeGreaterThan(0.05);
      }
    }
  });

  test('of unstable kinds are aborted hops about half the time', () => {
    const flights = seeds(30).map((seed) => randomFlight('growing', seed));
    // Three standard deviations of such a count are 8.
    const hops = flights.filter((f) => f.hop).length;
    expect(hops).toBeGreaterThan(7);
    expect(hops).toBeLessThan(23);
  });

  test('use effects no linear analysis knows of in at least a quarter', () => {
    const flights = seeds(30).map((seed) => randomFlight('well-damped', seed));
    expect(flights.filter((f) => f.unmodelled).length).toBeGreaterThanOrEqual(8);
  });
});
