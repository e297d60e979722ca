/** Which of several bases is once per revolution, by what is held around each. */
import { expect, test } from 'vitest';
import { heldClearlyMost, heldMost, holdsFamily, showsFirst } from './choose-base.js';
import type { PlacedBase } from './place-rotors.js';

const base = (baseHz: number, byOrder: readonly number[]): PlacedBase => ({
  commands: [],
  baseHz,
  power: 0.5,
  lagS: 0.05,
  rotors: [],
  shown: 4,
  held: byOrder.reduce((sum, v) => sum + v, 0),
  byOrder,
});

const best = (...bases: readonly PlacedBase[]): number => heldMost(bases, (one) => one)!.baseHz;

test('of bases that have nothing to do with one another, the one that holds most', () => {
  expect(best(base(40, [100, 50, 0, 0]), base(52, [150, 60, 0, 0]))).toBe(52);
});

test('half a base holds as much at its second and fourth multiple, and nothing of its own', () => {
  expect(best(base(80, [100, 90, 0, 0]), base(40, [0, 140, 0, 130]))).toBe(80);
  expect(best(base(40, [0, 140, 0, 130]), base(80, [100, 90, 0, 0]))).toBe(80);
});

test('a base whose first and third line stand is not the multiple that was found first', () => {
  expect(best(base(80, [100, 90, 0, 0]), base(40, [120, 110, 90, 80]))).toBe(40);
  expect(best(base(40, [120, 110, 90, 80]), base(80, [200, 190, 0, 0]))).toBe(40);
});

test('a lower base without a first line is none, whatever else folds onto its multiples', () => {
  expect(best(base(37, [180, 10, 100, 0]), base(12.3, [0, 300, 370, 560]))).toBe(37);
});

test('nor is one that ran off half of the base, where it holds no first line', () => {
  expect(best(base(59.3, [0, 100, 306, 0]), base(27.6, [0, 243, 0, 263]))).toBe(59.3);
});

test('the likelier base stays unless another one holds clearly more', () => {
  expect(best(base(64, [212, 0, 138, 0]), base(59, [131, 97, 158, 0]))).toBe(64);
  expect(best(base(51, [400, 341, 41, 0]), base(25.5, [92, 495, 170, 0]))).toBe(51);
});

test('nothing placed, nothing found', () => {
  expect(heldMost([base(40, [100])], () => null)).toBeNull();
});

test('where no base is clearer than another one, the one around which clearly most is held', () => {
  const clearly = (...bases: readonly PlacedBase[]): number | undefined =>
    heldClearlyMost(bases, (one) => one)?.baseHz;
  expect(clearly(base(70, [200, 299, 0, 0]), base(56, [321, 11, 487, 0]))).toBe(56);
  expect(clearly(base(70, [200, 299, 0, 0]), base(56, [321, 11, 200, 0]))).toBeUndefined();
  // A multiple of it has no lines of its own.
  expect(clearly(base(168, [487, 90, 0, 0]), base(56, [321, 11, 487, 0]))).toBe(56);
  // Nothing stands once per revolution.
  expect(clearly(base(70, [10, 299, 0, 0]), base(56, [0, 11, 900, 0]))).toBeUndefined();
  expect(clearly()).toBeUndefined();
});

test('a family has a first line and one more', () => {
  expect(holdsFamily(base(85, [130, 142, 0, 0]))).toBe(true);
  expect(holdsFamily(base(85, [130, 4, 0, 0]))).toBe(false);
  expect(holdsFamily(base(28, [0, 0, 164, 0]))).toBe(false);
});

test('a base without anything once per revolution may be a part of itself', () => {
  expect(showsFirst(base(59.3, [0, 100, 306, 0]))).toBe(false);
  expect(showsFirst(base(101, [39, 84, 94, 221]))).toBe(true);
});
