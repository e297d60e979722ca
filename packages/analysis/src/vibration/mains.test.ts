/** What may be the mains. */
import { expect, test } from 'vitest';
import { mainsOf, mayBeMains } from './mains.js';

test('a tone at a multiple of 50 or 60 Hz is named with it', () => {
  expect(mainsOf(50.1)).toEqual({ hz: 50, order: 1 });
  expect(mainsOf(179.9)).toEqual({ hz: 60, order: 3 });
  for (const hz of [50.5, 61, 75, 25, 950]) expect(mainsOf(hz)).toBeNull();
});

test('a base near 50 or 60 Hz may be one, unless lines of other rotors stand beside it', () => {
  const tone = [{ hz: 50.06, height: 12 }];
  expect([50.2, 59.9, 50.8].every((hz) => mayBeMains(tone, hz))).toBe(true);
  expect([47, 55, 100].some((hz) => mayBeMains(tone, hz))).toBe(false);
  const rotors = [...tone, { hz: 51.2, height: 9.7 }, { hz: 53.2, height: 7.4 }];
  expect(mayBeMains(rotors, 51.4)).toBe(false);
  expect(mayBeMains(rotors.slice(0, 2), 51.4)).toBe(true);
  const skirts = [...tone, { hz: 50.8, height: 5 }, { hz: 49.2, height: 5 }];
  expect(mayBeMains(skirts, 50.2)).toBe(true);
});
