/** Courses of rotors from commands that are written down. */
import { expect, test } from 'vitest';
import { speedsFrom, steadyOf, withoutDrift, type Commands } from './relative-speeds.js';

const SECONDS = 10;
const rise = (i: number): number => 1 + 0.2 * Math.sin((2 * Math.PI * i) / (100 * SECONDS));

/** Four motors that rise and fall together, and two of them besides while the others do the opposite. */
function risen(share: number): Commands {
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

test('steady, each is still told in the mean what it was told, and nothing else', () => {
  const commands = [0.4, 0.5, 0.5, 0.6].map((mean, i) => ({ ...risen(0.1)[i]!, mean }));
  for (const [i, one] of steadyOf(commands).entries()) {
    expect(one.mean).toBe(commands[i]!.mean);
    expect(one.rotor).toBeNull();
    expect(new Set(one.values)).toEqual(new Set([1]));
  }
});

test('a motor that is told more than the others turns as much faster as its power of the command', () => {
  const commands = [0.4, 0.5, 0.5, 0.6].map((mean, i) => ({ ...risen(0)[i]!, mean }));
  const shares = speedsFrom(commands, 0.5, 0.05).map(({ share }) => share);
  expect(shares.reduce((sum, v) => sum + v / 4, 0)).toBeCloseTo(1, 12);
  expect(shares[3]! / shares[0]!).toBeCloseTo(Math.sqrt(1.5), 12);
  expect(shares[1]).toBeCloseTo(shares[2]!, 12);
});

/** Four motors that rise together by 5 % over a hover, each with a swing of its own. */
function sagging(seconds: number): { commands: Commands; left: (some: Commands) => number } {
  const own = (i: number, m: number): number => 0.01 * Math.sin(0.031 * (1 + m) * i + m);
  const rises = (i: number): number => 1 + 0.05 * (i / (100 * seconds)) ** 2;
  const commands = [0, 1, 2, 3].map((m) => ({
    rotor: m + 1,
    startS: 0,
    mean: 0.5,
    values: Float64Array.from({ length: 100 * seconds }, (_, i) => rises(i) * (1 + own(i, m))),
  }));
  const left = (some: Commands): number =>
    Math.max(...some.flatMap(({ values }, m) => [...values].map((v, i) => Math.abs(v - 1 - own(i, m)))));
  return { commands, left };
}

test('commands that rise while the battery falls lose that, and keep what each does besides', () => {
  const { commands, left } = sagging(30);
  expect(left(commands)).toBeGreaterThan(0.04);
  expect(left(withoutDrift(commands))).toBeLessThan(0.004);
});

test('an aircraft that sinks in its first and in its last second is not taken for one whose battery falls', () => {
  const { commands } = sagging(30);
  const level = commands.map((one, m) => ({
    ...one,
    values: one.values.map(
      (_, i) => 1 + 0.01 * Math.sin(0.031 * (1 + m) * i + m) - (i < 100 || i > 2900 ? 0.2 : 0),
    ),
  }));
  const out = withoutDrift(level);
  const moved = Math.max(
    ...out.flatMap(({ values }, m) => [...values].map((v, i) => Math.abs(v / level[m]!.values[i]! - 1))),
  );
  expect(moved).toBeLessThan(0.004);
});

test('in a hop of four seconds what commands do together stays', () => {
  const { commands } = sagging(4);
  expect(withoutDrift(commands)).toEqual(commands);
});
