/**
 * Verdicts from evidence: a difference against its standard error, with all that is judged in one step accounted for, and `same` only
 * where the difference is shown to be smaller than what matters.
 */
import { differenceP, equivalenceP, benjaminiHochbergAdjusted } from '../statistics/index.js';
import type { Verdict } from './comparison.js';

/** A step from one hover to the next of one quantity, on a scale on which more is better. */
export interface StepEvidence {
  /** Later less earlier; above 0: better. */
  readonly gain: number;
  readonly std: number;
  /** Differences smaller than this do not matter. */
  readonly bound: number;
  /** Something speaks against the difference: it is not called better or worse. */
  readonly doubt: string | null;
  /** What the evidence rests on, where that is not the two values of the row. */
  readonly basis?: string;
}

export interface Judgement {
  readonly verdict: Verdict;
  readonly why: string;
}

/** Share of wrong ones among the `better` and `worse` of one step; where nothing changed, chance of any. */
const FAMILY_LEVEL = 0.05;
/** Chance of a wrong `same`, of each. */
const EQUIVALENCE_LEVEL = 0.05;

/** @param evidence all that is judged in one step; null where it cannot be */
export function judgeStep(evidence: readonly (StepEvidence | null)[]): (Judgement | null)[] {
  const known = evidence.flatMap((e, i) => (e === null ? [] : [{ e, i }]));
  const adjusted = benjaminiHochbergAdjusted(known.map(({ e }) => differenceP(e.gain, e.std)));
  const out: (Judgement | null)[] = evidence.map(() => null);
  known.forEach(({ e, i }, k) => {
    const { verdict, why } = judge(e, adjusted[k]!, known.length);
    out[i] = { verdict, why: e.basis === undefined ? why : `${e.basis}; ${why}` };
  });
  return out;
}

function judge(e: StepEvidence, p: number, family: number): Judgement {
  const same = equivalenceP(e.gain, e.std, e.bound);
  if (e.doubt !== null && same >= EQUIVALENCE_LEVEL) return { verdict: 'unclear', why: e.doubt };
  if (same < EQUIVALENCE_LEVEL && Math.abs(e.gain) < e.bound)
    return { verdict: 'same', why: `the difference is smaller than what matters (p = ${formatP(same)})` };
  const text = `difference ${(Math.abs(e.gain) / Math.max(1e-12, e.std)).toFixed(1)} standard errors, p = ${formatP(p)} with ${String(family)} quantities accounted for`;
  if (p < FAMILY_LEVEL) return { verdict: e.gain > 0 ? 'better' : 'worse', why: text };
  return { verdict: 'unclear', why: text };
}

const formatP = (p: number): string => (p < 0.001 ? 'below 0.001' : p.toFixed(3));
