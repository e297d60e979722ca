/**
 * Hovers side by side: what changed, whether it helped, what the sequence shows that no single hover could, and what to do next.
 */
import type { AxisName } from '@settle/parser';
import { CAUTIONS } from '../cautions.js';
import type { Finding } from '../diagnosis.js';
import { loopsOverHovers, type AxisLoopsOverHovers } from './axis-loops.js';
import { numberBuilds } from './builds.js';
import type { Candidate } from './candidate.js';
import type { Comparison, ComparisonRow, LeftOut, PooledPlant } from './comparison.js';
import type { HoverSummary } from './hover-summary.js';
import { appearedLines, fallingModes } from './falling-modes.js';
import { fitGains } from './gain-fit.js';
import { lineOrigins, originFindings } from './line-origins.js';
import { adviseAfter, isDone } from './next-step.js';
import { checkPredictions } from './predictions.js';
import { configurationFindings } from './sequence-findings.js';
import { summariseSteps } from './steps.js';
import { judgeStep } from './judge.js';
import { loopRows } from './loop-rows.js';
import { aircraftRows, motionRows, windRows } from './other-rows.js';
import { vibrationRows } from './vibration-rows.js';

/**
 * @param hovers in the order they were flown
 * @param leftOut hovers of the same sequence that could not be analysed
 * @throws RangeError for fewer than two
 */
export function compareHovers(hovers: readonly HoverSummary[], leftOut: readonly LeftOut[] = []): Comparison {
  if (hovers.length < 2) throw new RangeError('a comparison needs at least two hovers');
  const builds = numberBuilds(hovers);
  const { axes: loops, changes } = loopsOverHovers(hovers, builds);
  const rows = judgeRows(
    [
      ...loops.flatMap((own) => loopRows(own, hovers)),
      ...windRows(hovers),
      ...motionRows(hovers),
      ...vibrationRows(hovers),
      ...aircraftRows(hovers),
    ],
    builds,
  );
  const lines = lineOrigins(hovers, builds, loops);
  const falls = fallingModes(hovers, builds);
  const fallen = new Set(falls.map(({ hover }) => hover));
  const appeared = appearedLines(hovers, builds).filter(({ hover }) => !fallen.has(hover));
  const steps = summariseSteps(
    hovers,
    builds,
    rows,
    new Set([...falls, ...appeared].map(({ hover }) => hover)),
  );
  const findings = mostUrgentFirst([
    ...[...falls, ...appeared].map(({ finding }) => finding),
    ...configurationFindings(hovers, builds, changes),
    ...originFindings(lines),
  ]);
  const advice = adviseAfter(hovers, loops, rows, steps, { falls, appeared });
  return {
    schema: 'settle.comparison/1',
    flights: hovers.map(({ diagnosis }) => diagnosis),
    leftOut,
    rows,
    steps,
    findings,
    advice,
    done: isDone(hovers, loops, rows, findings, advice, leftOut),
    predictions: checkPredictions(hovers, builds, changes),
    lines,
    effectivenessChanges: changes,
    plants: {
      roll: plantOf(loops, 'roll', hovers),
      pitch: plantOf(loops, 'pitch', hovers),
      yaw: plantOf(loops, 'yaw', hovers),
    },
    gainFits: fitGains(hovers, builds),
    cautions: CAUTIONS,
  };
}

const URGENCY = { danger: 0, fault: 1, note: 2 } as const;
const mostUrgentFirst = (findings: readonly Finding[]): Finding[] =>
  [...findings].sort((a, b) => URGENCY[a.severity] - URGENCY[b.severity]);

function plantOf(
  loops: readonly AxisLoopsOverHovers[],
  axis: AxisName,
  hovers: readonly HoverSummary[],
): PooledPlant | null {
  const own = loops.find((l) => l.axis === axis)!.hovers.at(-1)!;
  if (own.plant === null) return null;
  const { effectiveness, lagS, delayS } = own.plant;
  return {
    effectiveness,
    effectivenessStd: own.effectivenessStd,
    lagS,
    delayS,
    from: own.pooledFrom.map((h) => hovers[h]!.name),
  };
}

/** Each step's family is everything that can be judged in it. */
function judgeRows(candidates: readonly Candidate[], builds: readonly number[]): ComparisonRow[] {
  const byStep = builds.map((build, h) =>
    judgeStep(
      candidates.map((candidate) =>
        h === 0 || (build !== builds[h - 1] && !candidate.comparableAcrossBuilds)
          ? null
          : (candidate.steps[h] ?? null),
      ),
    ),
  );
  return candidates.map(({ row, notes, comparableAcrossBuilds }, c) => ({
    ...row,
    verdict: builds.map((_, h) => byStep[h]![c]?.verdict ?? null),
    why: builds.map((build, h) =>
      h > 0 && build !== builds[h - 1] && !comparableAcrossBuilds
        ? 'the aircraft was built differently, so this is not better or worse by its gains'
        : (byStep[h]![c]?.why ?? notes[h] ?? null),
    ),
  }));
}
