/** Courses of rotors from commands that are written down. */
import { expect, test } from 'vitest';
import { speedsFrom, steadyOf, togetherOf, type Commands } from './relative-speeds.js';

const SECONDS = 10;
const rise = (i: number): number => 1 + 0.2 * Math.sin((2 * Math.PI * i) / (100 * SECONDS));

/** Four motors that rise and fall together; what a slow log folded down goes up in two of them and down in the others. */
function folded(share: number): Commands {
  return [1, 2, 3, 4].map((rotor) => ({
    rotor,
    startS: 0,
    mean: 0.5,
    values: Float64Array.from(
      { length: 100 * SECONDS },
      (_, i) => rise(i) + share * (rotor % 2 === 0 ? 1 : -1) * Math.sin(0.19 * i),
    ),
  }));
}

test('together, motor commands have none of the swings that were folded into them', () => {
  const together = togetherOf(folded(0.3));
  expect(together).toHaveLength(4);
  for (const one of together) {
    expect(one.rotor).toBeNull();
    one.values.forEach((v, i) => {
      expect(v).toBeCloseTo(rise(i), 9);
    });
  }
});

test.for([
  ['together', togetherOf],
  ['steady', steadyOf],
] as const)('%s, each is still told in the mean what it was told', ([, of]) => {
  const commands = [0.4, 0.5, 0.5, 0.6].map((mean, i) => ({ ...folded(0.1)[i]!, mean }));
  expect(of(commands).map(({ mean }) => mean)).toEqual([0.4, 0.5, 0.5, 0.6]);
});

test('a motor that is told more than the others turns as much faster as its power of the command', () => {
  const commands = [0.4, 0.5, 0.5, 0.6].map((mean, i) => ({ ...folded(0)[i]!, mean }));
  const shares = speedsFrom(commands, 0.5, 0.05).map(({ share }) => share);
  expect(shares.reduce((sum, v) => sum + v / 4, 0)).toBeCloseTo(1, 12);
  expect(shares[3]! / shares[0]!).toBeCloseTo(Math.sqrt(1.5), 12);
  expect(shares[1]).toBeCloseTo(shares[2]!, 12);
});
