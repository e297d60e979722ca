/** Advice is taken and the aircraft flown again: does the hover show what was promised, and is what both together advise sound? */
import { compareHovers, type Comparison } from '@settle/analysis';
import { AXES, type AxisName } from '@settle/parser';
import {
  judgeAxis,
  unsafeChanges,
  type AxisQuality,
  type SimulatedFlight,
  type UnsafeChange,
} from '@settle/simulator';
import { applyChanges } from './closed-loop-trial.js';
import { fly, flyPair } from './compare-pairs.js';
import { summarise } from './compare-trial.js';
import { gainChangesOf } from './tool-adviser.js';

/** What was promised of an axis, and the truth of the hover it was about. */
export interface PredictionCase {
  readonly seed: number;
  readonly axis: AxisName;
  /** The aircraft was made to answer less between the hovers, and nobody said so. */
  readonly weakened: boolean;
  readonly outcome: Comparison['predictions'][number]['outcome'];
  readonly summary: string;
  readonly gainOffDb: number;
  readonly phaseOffDeg: number;
}

/** What the two hovers together advise, and what it does to the loops. */
export interface NextStepCase {
  readonly seed: number;
  readonly axis: AxisName;
  readonly changes: number;
  readonly before: AxisQuality;
  readonly after: AxisQuality;
  readonly unsafe: readonly UnsafeChange[];
}

export interface SequenceCase {
  readonly predictions: readonly PredictionCase[];
  readonly next: readonly NextStepCase[];
}

/** Of what an aircraft answers, where a prop, a battery or added parts weaken it. */
const WEAKENED = 0.7;
/** Margins beyond these are as good as unlimited. */
const CLAMP = { gainDb: 25, phaseDeg: 90 };

/** Every third aircraft is weakened between the hovers. @returns null where one of them is no hover */
export function compareSequence(seed: number): SequenceCase | null {
  const [first] = flyPair('improvement', seed).hovers;
  const earlier = summarise(first, 'first');
  const weakened = seed % 3 === 0;
  const changed = applyChanges(first.config, gainChangesOf(earlier.diagnosis.advice));
  if (weakened) for (const axis of AXES) changed.airframe.effectiveness[axis] *= WEAKENED;
  const second = fly(changed, 2 * seed + 1);
  let comparison: Comparison;
  try {
    comparison = compareHovers([earlier, summarise(second, 'second')]);
  } catch (error) {
    if (error instanceof Error && error.name === 'CannotAnalyse') return null;
    throw error;
  }
  const after = applyChanges(changed, gainChangesOf(comparison.advice));
  return {
    predictions: comparison.predictions.map(({ axis, outcome, expected, summary }) => ({
      seed,
      axis,
      weakened,
      outcome,
      summary,
      ...offBy(expected, second, axis),
    })),
    next: AXES.map((axis) => {
      const [was, is] = [judgeAxis(changed, axis), judgeAxis(after, axis)];
      const own = gainChangesOf(comparison.advice).filter((change) => change.axis === axis);
      return {
        seed,
        axis,
        changes: own.length,
        before: was,
        after: is,
        unsafe: unsafeChanges(axis, was, is),
      };
    }),
  };
}

function offBy(
  expected: Comparison['predictions'][number]['expected'],
  { truth }: SimulatedFlight,
  axis: AxisName,
): Pick<PredictionCase, 'gainOffDb' | 'phaseOffDeg'> {
  const { gainMarginDb, phaseMarginDeg } = truth.axes[axis].margins.rate;
  const gain = (db: number | null): number => Math.min(CLAMP.gainDb, db ?? CLAMP.gainDb);
  const phase = (deg: number | null): number => Math.min(CLAMP.phaseDeg, deg ?? CLAMP.phaseDeg);
  return {
    gainOffDb: gain(gainMarginDb) - gain(expected.gainMarginDb),
    phaseOffDeg: phase(phaseMarginDeg) - phase(expected.phaseMarginDeg),
  };
}
