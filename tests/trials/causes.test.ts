import { describe, expect, it } from 'vitest';
import { causeCases, formatCauses, LABELLED_KINDS, summariseCauses } from './causes-trial.js';

const firstSeed = 10_200;
const perKind = 2;

describe('why it wobbles', () => {
  it('names the loop, the structure or who asks, and the guilty term, in nearly all labelled flights', () => {
    const cases = LABELLED_KINDS.flatMap((kind) =>
      Array.from({ length: perKind }, (_, i) => causeCases(kind, firstSeed + i)).flat(),
    );
    const summary = summariseCauses(cases);
    console.log(formatCauses('all', summary));
    expect(summary.named).toBeGreaterThan(8);
    // Wanted: 95 % of origins and 90 % of terms; the stated confidence is that of the named ones.
    expect(summary.right / summary.named).toBeGreaterThanOrEqual(0.95);
    expect(summary.terms).toBeGreaterThan(2);
    expect(summary.termsRight / summary.terms).toBeGreaterThanOrEqual(0.9);
    expect(summary.unknown).toBeLessThanOrEqual(0.1 * cases.length);
  }, 300_000);
});
