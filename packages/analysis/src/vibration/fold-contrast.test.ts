/** A family where it stands against the one that folds to the same places; what does not wander speaks for the nearer. */
import { expect, test } from 'vitest';
import { calmFlight, feltBy } from '../../../../tests/support/calm-flight.js';
import { clustersOf } from './find-base.js';
import { foldContrast } from './fold-contrast.js';

const RATE_HZ = 133;

test.for([1, 2])('rotors speak for where they are, seed %i', (seed) => {
  const contrast = (hz: number): number => {
    const flight = calmFlight([hz, 1.01 * hz, 0.99 * hz, 1.004 * hz], seed);
    const record = feltBy(flight, RATE_HZ, [1, 2], seed + 10);
    return foldContrast(flight.commands, clustersOf([record], 14), Math.min(hz, RATE_HZ - hz), RATE_HZ);
  };
  expect(contrast(36)).toBeGreaterThan(120);
  expect(contrast(97)).toBeLessThan(-120);
});

test('a tone speaks for the nearer, and nothing for nothing', () => {
  const { commands } = calmFlight([36, 36.4, 35.7, 36.2], 3);
  const tone = (t: number): number => Math.sin(2 * Math.PI * 36 * t);
  const clusters = clustersOf([feltBy({ commands, turns: [] }, RATE_HZ, [], 4, tone)], 14);
  expect(foldContrast(commands, clusters, 36, RATE_HZ)).toBeGreaterThan(120);
  expect(foldContrast(commands, clusters, 50, RATE_HZ)).toBe(0);
});
