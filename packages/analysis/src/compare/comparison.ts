/** What a comparison of hovers says: `settle compare --json`. */
import type { AxisName } from '@settle/parser';
import type { Advice, Diagnosis, Finding } from '../diagnosis.js';
import type { FoundChange } from './effectiveness.js';
import type { GainFit } from './gain-fit.js';
import type { HoverNotes } from './hover-summary.js';
import type { LineOrigin } from './line-origins.js';

export type Verdict = 'better' | 'worse' | 'same' | 'unclear';

export type RowGroup = 'loops' | 'wind' | 'motion' | 'vibration' | 'aircraft';

/** One quantity over all hovers. */
export interface ComparisonRow {
  readonly metric: string;
  readonly unit: string;
  readonly axis: AxisName | null;
  readonly group: RowGroup;
  /** One per hover; null where it cannot be given. */
  readonly values: readonly (number | null)[];
  /** A value as large as this stands for it and everything beyond, with no standard error; absent: no such end. */
  readonly ceiling?: number;
  /** Standard errors; null where the value is, or where it is not known. */
  readonly std: readonly (number | null)[];
  /**
   * One per hover, against the hover before; null for the first, and where a change of this quantity is neither good nor bad by
   * itself.
   */
  readonly verdict: readonly (Verdict | null)[];
  /** Why, where a verdict stands or is withheld; one per hover. */
  readonly why: readonly (string | null)[];
  /** How the values were got. */
  readonly from: string;
}

/** A hover that could not be analysed. */
export interface LeftOut {
  readonly name: string;
  /** And what to log or fly instead. */
  readonly why: string;
  /** Whether it was flown after all that are compared: what the gains of today did is then not known. */
  readonly isLatest: boolean;
}

/** What was different from the hover before. */
export interface StepSummary {
  /** Names of the two hovers. */
  readonly from: string;
  readonly to: string;
  /** Gains, filters and parts that changed, in words. */
  readonly changes: readonly string[];
  /** Axes whose gains are not known in one of the two hovers, so that they may have changed. */
  readonly gainsUnknown: readonly AxisName[];
  readonly configurationChanged: boolean;
  readonly verdict: 'better' | 'worse' | 'mixed' | 'same' | 'unclear' | 'not comparable';
  readonly summary: string;
  /** What the wind did. */
  readonly wind: string | null;
  /** What the person wrote down of the later hover; null: nothing. */
  readonly told: HoverNotes | null;
}

export interface Comparison {
  readonly schema: 'settle.comparison/1';
  readonly flights: readonly Diagnosis[];
  /** Hovers of the sequence that are not among `flights`. */
  readonly leftOut: readonly LeftOut[];
  readonly rows: readonly ComparisonRow[];
  readonly steps: readonly StepSummary[];
  readonly findings: readonly Finding[];
  readonly advice: readonly Advice[];
  /** Margins met in all axes, vibration quiet, trims small, as the last hover shows. */
  readonly done: { readonly ready: boolean; readonly summary: string; readonly missing: readonly string[] };
  /** What advice had promised and what came of it. */
  readonly predictions: readonly Prediction[];
  /** Oscillations followed over hovers whose gains differ, and what they are by that. */
  readonly lines: readonly LineOrigin[];
  /** Hovers whose effectiveness differs from that of the hovers before. */
  readonly effectivenessChanges: readonly FoundChange[];
  /** Plant of each axis in the last hover, pooled over hovers of its build; null where not known. */
  readonly plants: Readonly<Record<AxisName, PooledPlant | null>>;
  readonly gainFits: readonly GainFit[];
  readonly cautions: readonly string[];
}

export interface PooledPlant {
  /** rad/s² per unit demand. */
  readonly effectiveness: number;
  readonly effectivenessStd: number | null;
  readonly lagS: number;
  readonly delayS: number;
  /** Names of the hovers it comes from. */
  readonly from: readonly string[];
}

export interface Prediction {
  /** Hover that the advice came from, and the one it was about. */
  readonly from: string;
  readonly to: string;
  readonly axis: AxisName;
  readonly expected: { readonly gainMarginDb: number; readonly phaseMarginDeg: number };
  readonly shown: { readonly gainMarginDb: number | null; readonly phaseMarginDeg: number | null };
  readonly outcome: 'as expected' | 'not as expected' | 'not followed' | 'not shown';
  readonly summary: string;
}
