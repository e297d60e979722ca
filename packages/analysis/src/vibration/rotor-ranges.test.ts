/** Where lines of rotors may stand, from speeds that are written down. */
import { expect, test } from 'vitest';
import { unloggedRanges } from './rotor-ranges.js';

const rotors = [83, 80, 76].map((meanHz) => ({ meanHz }));
const at = (hz: number, rateHz: number, unseen: number): boolean =>
  unloggedRanges({ from: 'spectrum', rotors, unseen, exponent: null }, rateHz).some(
    ({ lowHz, highHz }) => hz > lowHz && hz < highHz,
  );

test('rotors that are seen stand at their orders, folded or not', () => {
  expect(at(82, 500, 0)).toBe(true);
  expect(at(164, 500, 0)).toBe(true);
  expect(at(90, 500, 0)).toBe(false);
  // 82 Hz in a log of 100 Hz, 164 Hz twice round.
  expect(at(18, 100, 0)).toBe(true);
  expect(at(36, 100, 0)).toBe(true);
  // Three times round 80 Hz would fold to 40 Hz, four times to 20: higher multiples are hardly seen folded.
  expect(at(28, 100, 0)).toBe(false);
});

test('in a slow log one that is not seen may be folded anywhere near them', () => {
  // 72 Hz.
  expect(at(28, 100, 1)).toBe(true);
  expect(at(72, 500, 1)).toBe(false);
  // 1.12 × 83 Hz is 93 Hz.
  expect(at(6, 100, 1)).toBe(false);
});

test('a range that passes half the sample rate, or all of it, ends there', () => {
  const [first, second] = unloggedRanges({ from: 'spectrum', rotors, unseen: 0, exponent: null }, 160);
  expect(first!.highHz).toBe(80);
  expect(first!.lowHz).toBeCloseTo(Math.min(76 * 0.992, 160 - 83 * 1.008), 9);
  expect(second!.lowHz).toBe(0);
  expect(second!.highHz).toBeCloseTo(Math.max(160 - 152 * 0.992, 166 * 1.008 - 160), 9);
});

test('logged speeds, and a throttle that moves, leave nothing in their place', () => {
  expect(unloggedRanges({ from: 'speed-channel', rotors, unseen: 0, exponent: null }, 100)).toEqual([]);
  expect(
    unloggedRanges({ from: 'spectrum', rotors, unseen: 1, exponent: { power: 0.5, std: 0.1 } }, 100),
  ).toEqual([]);
});
