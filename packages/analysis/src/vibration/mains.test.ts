/** What may be the mains. */
import { expect, test } from 'vitest';
import { mainsOf, mayBeMains } from './mains.js';

test('a tone at a multiple of 50 or 60 Hz is named with it', () => {
  expect(mainsOf(50.1)).toEqual({ hz: 50, order: 1 });
  expect(mainsOf(179.9)).toEqual({ hz: 60, order: 3 });
  for (const hz of [50.5, 61, 75, 25, 950]) expect(mainsOf(hz)).toBeNull();
});

test('a base near 50 or 60 Hz may be one', () => {
  expect([50.2, 59.9, 50.8].every(mayBeMains)).toBe(true);
  expect([47, 55, 100].some(mayBeMains)).toBe(false);
});
