/** What lines are called that turn with no rotor, from fits that are written down. */
import { expect, test } from 'vitest';
import { describePlainLine, type FoundPeak, type PlainContext } from './plain-lines.js';

const peak = (frequencyHz: number, halfWidthHz: number): FoundPeak =>
  ({
    record: { sensor: 'gyro', axis: 'x', sampleRateHz: 125 },
    spectrum: { binHz: 0.25 },
    fitted: { kind: 'mode', frequencyHz, frequencyStdHz: 0.05, halfWidthHz, rms: 0.1 },
    aboveFloorDb: 15,
  }) as unknown as FoundPeak;

const known: PlainContext = {
  loops: [],
  ground: null,
  rotorsKnown: true,
  mayFold: false,
  told: () => null,
  rotorRanges: [
    { order: 1, lowHz: 108, highHz: 114, trueHz: 111, unseen: false },
    { order: 2, lowHz: 216, highHz: 228, trueHz: 222, unseen: false },
  ],
};

test('a mode beside the rotors is structure', () => {
  expect(describePlainLine(peak(150, 0.5), known).kind).toBe('structure');
});

test('what is narrow among rotors whose speeds are not logged may be a part of them, so it is not named', () => {
  const line = describePlainLine(peak(224, 0.5), known);
  expect(line.kind).toBe('unknown');
  expect(line.confidence).toBe(0);
  expect(line.evidence[0]).toContain('log the rotor speeds');
});

test('what may be the folded line of a rotor that does not show is not named, as wide as that may be, and said to be that', () => {
  const range = { order: 1, lowHz: 7, highHz: 33, trueHz: 80, unseen: true };
  const slow: PlainContext = { ...known, rotorRanges: [range] };
  const line = describePlainLine(peak(27, 0.5), slow);
  expect([line.kind, line.confidence]).toEqual(['unknown', 0]);
  expect(line.evidence[0]).toContain('not every rotor shows');
  expect(line.evidence[0]).not.toContain('among');
  expect(describePlainLine(peak(27, 0.7), slow).kind).toBe('structure');
  // Beside so wide a range says nothing.
  expect(describePlainLine(peak(33.3, 0.2), slow).confidence).toBeGreaterThan(0.8);
});

test('what is narrow just beside them is structure by a guess', () => {
  for (const hz of [107, 115]) {
    const line = describePlainLine(peak(hz, 0.3), known);
    expect([line.kind, line.confidence]).toEqual(['structure', 0.6]);
  }
  expect(describePlainLine(peak(120, 0.3), known).confidence).toBeGreaterThan(0.8);
});

test('a mode too wide for a rotor is structure among them as well', () => {
  expect(describePlainLine(peak(224, 4), known).kind).toBe('structure');
});

test('in a slow log without a rotor speed nothing that is wider than a tone is called structure', () => {
  const unknown: PlainContext = { ...known, rotorsKnown: false, rotorRanges: [] };
  expect(describePlainLine(peak(28, 0.3), unknown).kind).toBe('structure');
  const slow = describePlainLine(peak(28, 0.3), { ...unknown, mayFold: true });
  expect([slow.kind, slow.confidence]).toEqual(['unknown', 0]);
  expect(slow.evidence[0]).toContain('400 Hz');
  expect(describePlainLine(peak(28, 0.3), { ...known, mayFold: true }).kind).toBe('structure');
});

test('a multiple of a swing that keeps itself going goes with the swing; what is stronger, wider or elsewhere does not', () => {
  const swing = {
    axis: 'pitch',
    frequencyHz: 5.99,
    frequencyStdHz: 0.01,
    rms: 0.6,
    sustained: true,
  } as const;
  const beside = (loop: PlainContext['loops'][number], hz: number, half = 0.2): string =>
    describePlainLine(peak(hz, half), { ...known, loops: [loop] }).kind;
  for (const order of [3, 4, 5]) expect(beside(swing, order * 5.99 + 0.05)).toBe('control-loop');
  expect(beside(swing, 3.5 * 5.99)).toBe('structure');
  expect(beside(swing, 3 * 5.99, 1.5)).toBe('structure');
  expect(beside(swing, 9 * 5.99)).toBe('structure');
  expect(beside({ ...swing, rms: 0.2 }, 3 * 5.99)).toBe('structure');
  expect(beside({ ...swing, sustained: false }, 3 * 5.99)).toBe('structure');
});

test('what a second log tells goes before guesses: folded lines are flagged, and lines that stand where they are named as in a fast log', () => {
  const slow: PlainContext = { ...known, rotorsKnown: false, rotorRanges: [], mayFold: true };
  const told = (...hz: number[]): ReturnType<typeof describePlainLine> =>
    describePlainLine(peak(28, 0.3), { ...slow, told: () => ({ hz, ratesHz: [100] }) });
  const folded = told(-97);
  expect([folded.kind, folded.trueFrequencyHz]).toEqual(['alias', 97]);
  expect(folded.evidence[0]).toContain('truly 97.0 Hz');
  // Two that the second log folds to one place as well: folded for sure, but which is open.
  const open = told(153, -222);
  expect([open.kind, open.trueFrequencyHz]).toEqual(['alias', null]);
  expect(open.evidence[0]).toContain('153.0 or 222.0 Hz');
  expect(told(28).kind).toBe('structure');
  expect(told(28, 153).kind).toBe('unknown');
});
