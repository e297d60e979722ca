/** Comparisons against truth: what is said of pairs of simulated hovers, and whether it is so. */
import {
  compareHovers,
  describeStudy,
  studyFlight,
  summariseHover,
  type Comparison,
  type HoverSummary,
} from '@settle/analysis';
import { parseGains, type AxisName } from '@settle/parser';
import { toFlight, toGainsFile, type SimulatedFlight } from '@settle/simulator';
import { flyPair, type PairKind } from './compare-pairs.js';

const summaries = new WeakMap<SimulatedFlight, HoverSummary>();

export function summarise(sim: SimulatedFlight, name: string, vibration = false): HoverSummary {
  const known = summaries.get(sim);
  if (known !== undefined) return { ...known, name };
  const gains = parseGains(JSON.stringify(toGainsFile(sim.config)), 'gains.json');
  const study = studyFlight(toFlight(sim), { gains, vibration });
  const summary = summariseHover(study, describeStudy(study), { name, gains });
  summaries.set(sim, summary);
  return summary;
}

/** Truths that a row is held against, how much of a value is wanted, and how small a difference does not matter. */
const JUDGED: Readonly<
  Record<
    string,
    { enough: number; bound: number; of: (sim: SimulatedFlight, axis: AxisName) => number | null }
  >
> = {
  'rate loop gain margin': {
    enough: 8,
    bound: 1,
    of: (s, a) => s.truth.axes[a].margins.rate.gainMarginDb ?? 99,
  },
  'rate loop phase margin': {
    enough: 50,
    bound: 5,
    of: (s, a) => s.truth.axes[a].margins.rate.phaseMarginDeg,
  },
  'attitude loop gain margin': {
    enough: 8,
    bound: 1,
    of: (s, a) => s.truth.axes[a].margins.attitude.gainMarginDb ?? 99,
  },
  'attitude loop phase margin': {
    enough: 50,
    bound: 5,
    of: (s, a) => s.truth.axes[a].margins.attitude.phaseMarginDeg,
  },
  // The least damped pole of an aircraft that bends is the bending.
  'damping ratio': {
    enough: 0.3,
    bound: 0.04,
    of: (s, a) =>
      s.config.flexibleMode?.axis === a ? null : (s.truth.axes[a].dominant?.dampingRatio ?? null),
  },
};

/** One verdict and the truth. */
export interface VerdictCase {
  readonly pair: PairKind;
  readonly seed: number;
  readonly told: string;
  readonly metric: string;
  readonly axis: AxisName;
  readonly verdict: Comparison['rows'][number]['verdict'][number];
  readonly why: string | null;
  readonly values: readonly (number | null)[];
  readonly std: readonly (number | null)[];
  readonly truths: readonly [number, number];
  /** Of what is wanted: later less earlier. */
  readonly trueGain: number;
  readonly wrong: boolean;
}

/** What is kept of a pair: the flights themselves are not, so that a trial of hundreds stays small. */
export interface ComparedPair {
  readonly kind: PairKind;
  readonly seed: number;
  /** Effectiveness of the later aircraft over that of the earlier. */
  readonly effectivenessRatio: number;
  readonly comparison: Pick<Comparison, 'rows' | 'effectivenessChanges'>;
  readonly cases: readonly VerdictCase[];
}

/** A verdict of this kind may rest on a difference this small, as a share of what matters. */
const RIGHT_SIDE = 0.1;

export function comparePair(kind: PairKind, seed: number): ComparedPair | null {
  const pair = flyPair(kind, seed);
  let comparison: Comparison;
  try {
    comparison = compareHovers(pair.hovers.map((sim, i) => summarise(sim, `hover ${String(i + 1)}`)));
  } catch (error) {
    if (error instanceof Error && error.name === 'CannotAnalyse') return null;
    throw error;
  }
  const cases = comparison.rows.flatMap((row): VerdictCase[] => {
    const judged = JUDGED[row.metric];
    if (judged === undefined || row.axis === null) return [];
    const axis = row.axis;
    const [a, b] = pair.hovers.map((sim) => judged.of(sim, axis));
    if (a == null || b == null) return [];
    const trueGain = Math.min(judged.enough, b) - Math.min(judged.enough, a);
    const verdict = row.verdict[1]!;
    const wrong =
      (verdict === 'better' && trueGain < RIGHT_SIDE * judged.bound) ||
      (verdict === 'worse' && trueGain > -RIGHT_SIDE * judged.bound) ||
      (verdict === 'same' && Math.abs(trueGain) > judged.bound);
    return [
      {
        pair: kind,
        seed,
        told: pair.told,
        metric: row.metric,
        axis,
        verdict,
        why: row.why[1]!,
        values: row.values,
        std: row.std,
        truths: [a, b],
        trueGain,
        wrong,
      },
    ];
  });
  const [earlier, later] = pair.hovers.map((sim) => sim.config.airframe.effectiveness.roll);
  const { rows, effectivenessChanges } = comparison;
  return {
    kind,
    seed,
    effectivenessRatio: later! / earlier!,
    comparison: { rows, effectivenessChanges },
    cases,
  };
}
