/**
 * Margins against truth: simulated hovers whose true margins are known, diagnosed with the gains file a pilot would give.
 */
import { diagnose, isUnavailable, type Diagnosis, type Margins } from '@settle/analysis';
import { AXES, parseGains, type AxisName } from '@settle/parser';
import {
  judgeAxis,
  planTrialFlight,
  simulateFlight,
  simulateRandom,
  toFlight,
  toGainsFile,
  trialAircraft,
  type MarginTruth,
  type SimulatedFlight,
} from '@settle/simulator';

export type MarginLoop = 'rate' | 'attitude';

/**
 * - `sticks`: a hover with stick doublets, the demand of the axis off the stops
 * - `saturated`: a limit cycle or a growing swing that the stops cut
 * - `growing`: such a flight, the demand of this axis off the stops
 */
export type MarginGroup = 'sticks' | 'saturated' | 'growing';

/** Stops that change the demand of an axis for less of the hover than this leave its loop linear. */
const UNSATURATED = 0.01;

/** One loop of one axis of one flight: what it is and what was said of it. */
export interface MarginCase {
  readonly seed: number;
  readonly group: MarginGroup;
  readonly axis: AxisName;
  readonly loop: MarginLoop;
  readonly truth: MarginTruth;
  /** null: not given. */
  readonly said: Margins | null;
  /** Why it was not given. */
  readonly why: string | null;
}

/** A hover with stick doublets: on the first gains of a random aircraft, or on its good ones where those are too risky. */
export function flySticks(seed: number): SimulatedFlight {
  const aircraft = trialAircraft(seed);
  const precarious = AXES.some((axis) => judgeAxis(aircraft.start, axis).precarious);
  const gains = precarious ? aircraft.good : aircraft.start;
  return simulateFlight(planTrialFlight(gains, false, seed).config, seed);
}

export const diagnoseWithGains = (sim: SimulatedFlight): Diagnosis =>
  diagnose(toFlight(sim), {
    gains: parseGains(JSON.stringify(toGainsFile(sim.config)), 'gains.json'),
    vibration: false,
  });

/** Both loops of every axis that falls in one of the groups. */
export function marginCases(seed: number, sim: SimulatedFlight, flown: 'sticks' | 'ringing'): MarginCase[] {
  const diagnosis = diagnoseWithGains(sim);
  return AXES.flatMap((axis) => {
    const truth = sim.truth.axes[axis];
    const free = truth.clippedShare < UNSATURATED;
    if (flown === 'sticks' && !free) return [];
    const group: MarginGroup = flown === 'sticks' ? 'sticks' : free ? 'growing' : 'saturated';
    return (['rate', 'attitude'] as const).map((loop): MarginCase => {
      const said = diagnosis.axes[axis].margins[loop];
      return {
        seed,
        group,
        axis,
        loop,
        truth: truth.margins[loop],
        said: isUnavailable(said) ? null : said,
        why: isUnavailable(said) ? said.unavailable : null,
      };
    });
  });
}

/** One flight with sticks, one limit cycle and one growing swing per seed. */
export function runMarginTrial(seed: number): MarginCase[] {
  return [
    ...marginCases(seed, flySticks(seed), 'sticks'),
    ...marginCases(seed, simulateRandom('limit-cycle', seed).sim, 'ringing'),
    ...marginCases(seed, simulateRandom('growing', seed).sim, 'ringing'),
  ];
}

/** How far one kind of margin is off. */
export interface MarginErrors {
  /** Loops with a truth and a figure. */
  readonly count: number;
  /** Median of |said − true|; null without any. */
  readonly median: number | null;
  /** 90th percentile of |said − true|. */
  readonly p90: number | null;
  /** Share of truths within one and two stated standard deviations, of those with one. */
  readonly within1: number | null;
  readonly within2: number | null;
}

export interface MarginSummary {
  /** Loops of the group, and how many were given margins. */
  readonly loops: number;
  readonly given: number;
  readonly gainDb: MarginErrors;
  readonly phaseDeg: MarginErrors;
  /** Loops called stable that are not, and the other way round. */
  readonly calledStable: number;
  readonly calledUnstable: number;
}

export function summariseMargins(
  cases: readonly MarginCase[],
  group: MarginGroup,
  loop: MarginLoop,
): MarginSummary {
  const own = cases.filter((c) => c.group === group && c.loop === loop);
  const given = own.flatMap((c) => (c.said === null ? [] : [{ truth: c.truth, said: c.said }]));
  const errors = (
    value: 'gainMarginDb' | 'phaseMarginDeg',
    std: 'gainMarginStdDb' | 'phaseMarginStdDeg',
  ): MarginErrors =>
    errorsOf(
      given.flatMap(({ truth, said }) =>
        truth[value] === null || said[value] === null
          ? []
          : [{ error: Math.abs(said[value] - truth[value]), std: said[std] }],
      ),
    );
  return {
    loops: own.length,
    given: given.length,
    gainDb: errors('gainMarginDb', 'gainMarginStdDb'),
    phaseDeg: errors('phaseMarginDeg', 'phaseMarginStdDeg'),
    calledStable: given.filter(({ truth, said }) => said.stable && !truth.stable).length,
    calledUnstable: given.filter(({ truth, said }) => !said.stable && truth.stable).length,
  };
}

function errorsOf(all: readonly { readonly error: number; readonly std: number | null }[]): MarginErrors {
  const sorted = all.map(({ error }) => error).sort((a, b) => a - b);
  const at = (share: number): number | null => sorted[Math.round(share * (sorted.length - 1))] ?? null;
  const stated = all.flatMap(({ error, std }) => (std === null ? [] : [error / Math.max(1e-9, std)]));
  const within = (count: number): number | null =>
    stated.length === 0 ? null : stated.filter((ratio) => ratio <= count).length / stated.length;
  return { count: all.length, median: at(0.5), p90: at(0.9), within1: within(1), within2: within(2) };
}

const GROUP_NAMES: Readonly<Record<MarginGroup, string>> = {
  sticks: 'stick movements, off the stops',
  saturated: 'swings cut by the stops',
  growing: 'swings off the stops',
};

/** One row per group, loop and kind of margin. */
export function formatMargins(cases: readonly MarginCase[]): string {
  const text = (value: number | null, digits: number, unit: string): string =>
    value === null ? '–' : `${value.toFixed(digits)}${unit}`;
  const share = (value: number | null): string => (value === null ? '–' : `${(100 * value).toFixed(0)} %`);
  const rows = [['group', 'loop', 'margin', 'given', 'compared', 'median', '90 %', 'in 1 sd', 'in 2 sd']];
  const wrong: string[] = [];
  for (const group of ['sticks', 'saturated', 'growing'] as const)
    for (const loop of ['rate', 'attitude'] as const) {
      const summary = summariseMargins(cases, group, loop);
      for (const [name, errors, digits, unit] of [
        ['gain', summary.gainDb, 2, ' dB'],
        ['phase', summary.phaseDeg, 1, '°'],
      ] as const)
        rows.push([
          GROUP_NAMES[group],
          loop,
          name,
          `${String(summary.given)} of ${String(summary.loops)}`,
          String(errors.count),
          text(errors.median, digits, unit),
          text(errors.p90, digits, unit),
          share(errors.within1),
          share(errors.within2),
        ]);
      wrong.push(
        `${GROUP_NAMES[group]}, ${loop} loop: ${String(summary.calledStable)} called stable that are not, ${String(summary.calledUnstable)} called unstable that are stable`,
      );
    }
  const widths = rows[0]!.map((_, i) => Math.max(...rows.map((cells) => cells[i]!.length)));
  const table = rows.map((cells) =>
    cells
      .map((cell, i) => (i < 3 ? cell.padEnd(widths[i]!) : cell.padStart(widths[i]!)))
      .join('  ')
      .trimEnd(),
  );
  return [...table, ...wrong].join('\n');
}
