/** A row before it is judged: values, and for each step the evidence for or against a difference. */
import type { ComparisonRow } from './comparison.js';
import type { Measured } from './hover-summary.js';
import type { StepEvidence } from './judge.js';

export interface Candidate {
  readonly row: Omit<ComparisonRow, 'verdict' | 'why'>;
  /** One per hover, the first null. */
  readonly steps: readonly (StepEvidence | null)[];
  /** Why there is nothing to judge, where there is not. */
  readonly notes: readonly (string | null)[];
  /** Judged by evidence that does not hang on the wind. */
  readonly comparableAcrossBuilds: boolean;
}

/** Values as they stand; nothing about them is good or bad by itself. */
export function plainRow(
  row: Omit<ComparisonRow, 'verdict' | 'why' | 'values' | 'std' | 'from'>,
  values: readonly (Measured | null)[],
  note: string | null = null,
): Candidate[] {
  if (values.every((v) => v === null)) return [];
  return [
    {
      row: { ...row, ...columnsOf(values) },
      steps: values.map(() => null),
      notes: values.map((_, h) => (h === 0 ? null : note)),
      comparableAcrossBuilds: false,
    },
  ];
}

export function columnsOf(
  values: readonly (Measured | null)[],
): Pick<ComparisonRow, 'values' | 'std' | 'from'> {
  return {
    values: values.map((v) => v?.value ?? null),
    std: values.map((v) => v?.std ?? null),
    from: values.find((v) => v !== null)?.from ?? '',
  };
}

/**
 * A quantity of which less is better, judged as a ratio.
 *
 * @param bound ratios nearer to 1 than this (as a logarithm) do not matter
 * @param floor values below this are as good as it gets
 */
export function lessIsBetter(
  row: Omit<ComparisonRow, 'verdict' | 'why' | 'values' | 'std' | 'from'>,
  values: readonly (Measured | null)[],
  bound: number,
  floor: number,
  comparableAcrossBuilds = false,
): Candidate[] {
  if (values.every((v) => v === null)) return [];
  const steps = values.map((later, h): StepEvidence | null => {
    const earlier = h === 0 ? null : values[h - 1]!;
    if (earlier === null || later === null || earlier.std === null || later.std === null) return null;
    const [a, b] = [Math.max(floor, earlier.value), Math.max(floor, later.value)];
    if (!(a > 0) || !(b > 0)) return null;
    return { gain: Math.log(a / b), std: Math.hypot(earlier.std / a, later.std / b), bound, doubt: null };
  });
  return [
    {
      row: { ...row, ...columnsOf(values) },
      steps,
      notes: values.map((v, h) =>
        h === 0 ? null : v === null || values[h - 1] === null ? 'not measured in both hovers' : null,
      ),
      comparableAcrossBuilds,
    },
  ];
}
