/** Lines that stand where a multiple of another folds to. */
import { describe, expect, test } from 'vitest';
import { flagFoldPairs } from './fold-pairs.js';
import type { StudiedLine } from './vibration-study.js';

const line = (
  axis: 'x' | 'y',
  frequencyHz: number,
  aboveFloorDb: number,
  kind: StudiedLine['kind'],
): StudiedLine => ({
  sensor: 'gyro',
  axis,
  frequencyHz,
  frequencyStdHz: 0.05,
  lowHz: frequencyHz,
  highHz: frequencyHz,
  rms: 0.01,
  aboveFloorDb,
  kind,
  order: null,
  rotor: null,
  trueFrequencyHz: null,
  confidence: 0.6,
  evidence: ['first'],
});
const kindsOf = (lines: readonly StudiedLine[], rateHz: number): string[] =>
  flagFoldPairs(lines, rateHz).map(({ kind }) => kind);

describe('a rotor at 60 Hz, or 100 Hz, and its second multiple in a log of 160 Hz', () => {
  // 2 · 60 = 120 and 2 · 100 = 200 both fold to 40.
  const lines = [60, 40].flatMap((hz) =>
    (['x', 'y'] as const).map((axis) => line(axis, hz, hz / 2, 'structure')),
  );

  test('the multiple is flagged, with no true frequency, and both readings named', () => {
    const out = flagFoldPairs(lines, 160).filter(({ frequencyHz }) => frequencyHz === 40);
    for (const one of out) {
      expect(one.kind).toBe('alias');
      expect(one.trueFrequencyHz).toBeNull();
      expect(one.evidence[0]).toContain('truly 120.0 Hz, or 200.0 Hz');
    }
    expect(out).toHaveLength(2);
  });

  test('what it is a multiple of is no structure, and no rotor either', () => {
    const out = flagFoldPairs(lines, 160).filter(({ frequencyHz }) => frequencyHz === 60);
    expect(out.map(({ kind }) => kind)).toEqual(['unknown', 'unknown']);
  });

  test('in a log fast enough for the multiple nothing changes', () => {
    expect(kindsOf(lines, 400)).toEqual(lines.map(({ kind }) => kind));
  });

  test('one sensor axis alone is too little', () => {
    expect(
      kindsOf(
        lines.filter(({ axis }) => axis === 'x'),
        160,
      ),
    ).toEqual(['structure', 'structure']);
  });

  test('a line beside the fold, and an electrical one on it, stay what they are', () => {
    const beside = [60, 42].flatMap((hz) =>
      (['x', 'y'] as const).map((axis) => line(axis, hz, 20, 'structure')),
    );
    expect(kindsOf(beside, 160)).toEqual(beside.map(({ kind }) => kind));
    const mains = lines.map((one) =>
      one.frequencyHz === 40 ? { ...one, kind: 'electrical' as const } : one,
    );
    expect(kindsOf(mains, 160)).toEqual(mains.map(({ kind }) => kind));
  });
});
