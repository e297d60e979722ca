/** Loop against structure over three hovers with changed gain; and the levels of vibration from one day to another. */
import { compareHovers, type Comparison } from '@settle/analysis';
import type { AxisName } from '@settle/parser';
import {
  flyVibration,
  isUpset,
  makeStream,
  randomFlight,
  scaleGain,
  simulateFlight,
  type FlightConfig,
  type SimulatedFlight,
} from '@settle/simulator';
import { summarise } from './compare-trial.js';

export interface LineCase {
  readonly seed: number;
  readonly truth: 'loop' | 'structure';
  readonly axis: AxisName;
  readonly linearHz: number;
  /** What was said of the line nearest to it; null: it was not followed over the hovers. */
  readonly said: Comparison['lines'][number] | null;
  /** dB by which the first hover's gain may rise to leave 8 dB of margin: as fitted over the hovers, and true. null: no fit. */
  readonly gainFit: {
    readonly saidDb: number;
    readonly trueDb: number;
    readonly slope: number;
    readonly slopeStd: number;
  } | null;
}

/** Rate gains of the hovers, over those of the first. */
const GAINS = { loop: [1, 1.25, 1.5], structure: [1, 1.25, 1.5] } as const;

/** @returns null where fewer than two of the hovers could be flown */
export function compareLines(truth: 'loop' | 'structure', seed: number): LineCase | null {
  const kind = truth === 'structure' ? 'structure' : seed % 2 === 0 ? 'driven' : 'limit-cycle';
  const { config, expected } = randomFlight(kind, seed);
  const { axis, linearHz } = expected[0]!;
  const sims = GAINS[truth].flatMap((factor, i): SimulatedFlight[] => {
    const sim = simulateFlight(withGain(config, axis, factor), 3 * seed + i);
    return sim.truth.airborne === null || isUpset(sim.truth) ? [] : [sim];
  });
  if (sims.length < 2) return null;
  let comparison: Comparison;
  try {
    comparison = compareHovers(sims.map((sim, i) => summarise(sim, `hover ${String(i + 1)}`, true)));
  } catch (error) {
    if (error instanceof Error && error.name === 'CannotAnalyse') return null;
    throw error;
  }
  const near = comparison.lines
    .filter((line) => line.axis === axis)
    .map((line) => ({
      line,
      distance: Math.abs(Math.log(line.frequenciesHz.find((hz) => hz !== null)! / linearHz)),
    }))
    .filter(({ distance }) => distance < 0.4)
    .sort((a, b) => a.distance - b.distance)[0];
  const fit = comparison.gainFits.find((each) => each.axis === axis);
  // Of a loop whose terms are all scaled alike the margin falls dB for dB.
  const trueMarginDb = sims[0]!.truth.axes[axis].margins.rate.gainMarginDb;
  const gainFit =
    fit === undefined || trueMarginDb === null
      ? null
      : {
          saidDb: fit.gainForAimDb,
          trueDb: trueMarginDb - 8,
          slope: fit.slope,
          slopeStd: fit.slopeStd,
        };
  return { seed, truth, axis, linearHz, said: near?.line ?? null, gainFit };
}

const withGain = (config: FlightConfig, axis: AxisName, factor: number): FlightConfig =>
  factor === 1 ? config : scaleGain(config, axis, 'rate', factor);

export interface VibrationVerdict {
  readonly seed: number;
  readonly metric: string;
  readonly verdict: string | null;
  /** ln of later over earlier. */
  readonly trueChange: number;
  readonly saidChange: number | null;
  readonly wrong: boolean;
}

/** Differences of a level that do not matter, and what a verdict may rest on. */
const BOUND = Math.log(1.25);
const RIGHT_SIDE = 0.1;
const QUIET_LINE = 0.25;

/** The same aircraft on another day, its vibration as it was (even seeds) or halved or doubled. */
export function compareVibration(seed: number): VibrationVerdict[] {
  const random = makeStream(seed, 'compared vibration');
  const { flight, sim: first } = flyVibration(seed);
  const other = structuredClone(flight.config);
  const factor = seed % 2 === 0 ? 1 : random.pick([0.5, 0.6, 1.7, 2]);
  other.vibration.gyroOnce *= factor;
  other.vibration.accelOnce *= factor;
  const wind = random.logBetween(0.5, 2);
  for (const axis of ['roll', 'pitch', 'yaw'] as const) other.wind.gustRadS2[axis] *= wind;
  const second = simulateFlight(other, seed + 5e8);
  const comparison = compareHovers(
    [first, second].map((sim, i) => summarise(sim, `hover ${String(i + 1)}`, true)),
  );
  return comparison.rows.flatMap((row): VibrationVerdict[] => {
    const sensor = row.metric.startsWith('gyro') ? 'gyro' : 'accel';
    if (!row.metric.includes('rotor line, 1 ×') && !row.metric.includes('blade-pass')) return [];
    const kind = row.metric.includes('rotor line') ? 'rotor' : 'blade-pass';
    const [a, b] = [first, second].map((sim) => trueRms(sim, sensor, kind));
    if (a == null || b == null || !(a > 0) || !(b > 0)) return [];
    const trueChange = Math.log(b / a);
    const verdict = row.verdict[1]!;
    const [x, y] = row.values;
    return [
      {
        seed,
        metric: row.metric,
        verdict,
        trueChange,
        saidChange: x == null || y == null ? null : Math.log(y / x),
        wrong:
          (verdict === 'worse' && trueChange < RIGHT_SIDE * BOUND) ||
          (verdict === 'better' && trueChange > -RIGHT_SIDE * BOUND) ||
          (verdict === 'same' && Math.abs(trueChange) > 1.1 * BOUND),
      },
    ];
  });
}

function trueRms(sim: SimulatedFlight, sensor: 'gyro' | 'accel', kind: string): number | null {
  const span = sim.truth.vibration?.airborne;
  if (span == null) return null;
  const squares = (['x', 'y', 'z'] as const).map(
    (axis) =>
      span.rmsTogether(span.lines.filter((l) => l.sensor === sensor && l.axis === axis && l.kind === kind)) **
      2,
  );
  const unit = sensor === 'gyro' ? 180 / Math.PI : 1;
  // Below a quarter deg/s or m/s² a line is as good as none, and not judged.
  return Math.max(QUIET_LINE, unit * Math.sqrt(squares.reduce((sum, v) => sum + v, 0)));
}
