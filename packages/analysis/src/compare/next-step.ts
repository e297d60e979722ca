/** What to do after the last hover of a sequence, from all of them; and whether there is anything left to do. */
import { AXES, type AxisName } from '@settle/parser';
import type { Advice } from '../diagnosis.js';
import { adviseGains, type AxisDecision } from '../identification/gain-advice.js';
import { decideGains } from '../identification/decide-gains.js';
import type { AxisIdentification } from '../identification/identify.js';
import { predict, REQUIRED } from '../identification/gain-search.js';
import type { AxisLoopsOverHovers } from './axis-loops.js';
import { gainSteps } from './builds.js';
import type { Comparison, ComparisonRow, StepSummary } from './comparison.js';
import type { FallingMode } from './falling-modes.js';
import type { HoverSummary } from './hover-summary.js';

/** Rows by which an axis counts as worse than before. */
const DECISIVE = /margin|damping/;

export function adviseAfter(
  hovers: readonly HoverSummary[],
  loops: readonly AxisLoopsOverHovers[],
  rows: readonly ComparisonRow[],
  steps: readonly StepSummary[],
  { falls, appeared }: { readonly falls: readonly FallingMode[]; readonly appeared: readonly FallingMode[] },
): Advice[] {
  const last = hovers.at(-1)!;
  const own = last.diagnosis.advice;
  const cracked = falls.filter(({ hover }) => hover === hovers.length - 1);
  if (cracked.length > 0)
    return [
      {
        step: 1,
        kind: 'do-not-fly',
        basis: 'rule-of-thumb',
        because: cracked.map(({ finding }) => finding.summary),
        watchFor: 'cracks, play, creaking joints, screws that turn, mounts gone soft with heat',
        text: 'Do not fly before the structure is inspected. With the battery unplugged and the props off, look over tubes, joints, motor mounts and the mount of the sensor board, load each by hand, and mend what gives; change no gain for this.',
      },
      ...own.filter((a) => a.kind !== 'gain' && a.kind !== 'filter'),
    ];
  // What keeps an aircraft on the ground comes before any gain.
  if (own.some((a) => a.kind === 'do-not-fly')) return [...own];
  const back = steps.at(-1)?.configurationChanged === true ? [] : goBack(hovers, rows);
  const returned = new Set(back.map((a) => a.axis));
  const pooled = new Map<AxisName, readonly Advice[]>();
  for (const axis of AXES) {
    if (returned.has(axis)) pooled.set(axis, []);
    else {
      const advice = pooledAdvice(
        last,
        loops.find((l) => l.axis === axis)!,
      );
      if (advice !== null) pooled.set(axis, advice);
    }
  }
  const kept = own.filter(
    (a) => !(a.kind === 'gain' && a.step === 1 && a.axis !== undefined && pooled.has(a.axis)),
  );
  const fresh = appeared.filter(({ hover }) => hover === hovers.length - 1);
  return [...inspect(fresh), ...back, ...AXES.flatMap((axis) => pooled.get(axis) ?? []), ...kept];
}

function inspect(fresh: readonly FallingMode[]): Advice[] {
  if (fresh.length === 0) return [];
  return [
    {
      step: 1,
      kind: 'mechanical',
      basis: 'rule-of-thumb',
      because: fresh.map(({ finding }) => finding.summary),
      watchFor: 'cracks, play, creaking joints, screws that turn: do not fly with any of them',
      text: 'Before the next flight, with the battery unplugged and the props off, inspect tubes, joints, motor mounts and the mount of the sensor board, load each by hand, and mend what gives',
    },
  ];
}

/** Back to the gains before on every axis whose margins or damping the last step made worse. */
function goBack(hovers: readonly HoverSummary[], rows: readonly ComparisonRow[]): Advice[] {
  const h = hovers.length - 1;
  const [before, last] = [hovers[h - 1]!, hovers[h]!];
  return AXES.flatMap((axis): Advice[] => {
    const own = rows.filter((row) => row.axis === axis && row.group === 'loops' && DECISIVE.test(row.metric));
    const worse = own.filter((row) => row.verdict[h] === 'worse');
    if (worse.length === 0 || own.some((row) => row.verdict[h] === 'better')) return [];
    return gainSteps(before, last)
      .filter((step) => step.axis === axis)
      .map(({ loop, term, factor }) => ({
        step: 1,
        kind: 'gain',
        axis,
        loop,
        term,
        factor: 1 / factor,
        basis: 'margins',
        because: [`${before.name} → ${last.name} made worse: ${worse.map((row) => row.metric).join(', ')}`],
        watchFor: 'the swing or buzz of the last hover: land, and leave it on the ground',
        text: `Go back to the ${axis} ${loop} loop’s ${term} gain of ${before.name}: ${(1 / factor).toFixed(2)} times what it is`,
      }));
  });
}

/** @returns null where the last hover's own advice stands */
function pooledAdvice(last: HoverSummary, loops: AxisLoopsOverHovers): Advice[] | null {
  const own = loops.hovers.at(-1)!;
  const { axis } = loops;
  const { controller, gyroDelayS } = last.axes[axis];
  const { diagnosis } = last;
  // Filters and gains are one step, and bending or an upset is no matter of pooling: the hover's own advice stands.
  if (diagnosis.advice.some((a) => a.step === 1 && a.kind === 'filter')) return null;
  if (diagnosis.findings.some((f) => f.id === 'upset' || f.id === 'demand-sign-wrong')) return null;
  if (diagnosis.axes[axis].oscillations.some((o) => o.origin === 'structure')) return null;
  if (own.pooledFrom.length < 2 || own.plant === null || controller === null) return null;
  if (own.best === null) return null;
  const id: AxisIdentification = {
    axis,
    controller,
    plant: own.plant,
    draws: own.plantDraws,
    supposed: null,
    normal: null,
    gyroDelayS,
    addedFilters: null,
    margins: null,
    // Only sticks are pooled; what they showed stands behind the plant.
    evidence: {
      bands: [],
      equations: [],
      motion: null,
      gain: { omega: 1, lnGain: 0, lnGainStd: 0, from: own.fromSticks ? 'weak-stick' : 'large-swing' },
    },
    bendingHz: [],
    structuralPeak: last.axes[axis].structuralPeak,
    cutShare: 0,
    motion: { rateStd: 0, rateHz: 0, demandHz: 0, fastDemandStd: 0, stickStd: 0 },
    from: '',
    why: null,
  };
  const margins = predict(id, own.plant, { P: 1, I: 1, D: 1, attitude: 1 });
  if (margins === null) return null;
  const decision: AxisDecision = {
    axis,
    id: { ...id, margins },
    measured: decideGains({ ...id, margins }),
    supposed: null,
    rule: null,
  };
  if (decision.measured === null) return null;
  return adviseGains({ decisions: [decision], upset: false, bending: new Set() }).map((advice) => ({
    ...advice,
    because: [`the plant is pooled over ${String(own.pooledFrom.length)} hovers`, ...advice.because],
  }));
}

/** Trims beyond this share of full authority are no longer small (as for the finding of a single hover). */
const LARGE_TRIM = 0.1;
const QUIET_FINDINGS = new Set([
  'rotor-vibration',
  'structural-resonance',
  'sensor-clipping',
  'mode-falling',
  'aliased-vibration',
]);

export function isDone(
  hovers: readonly HoverSummary[],
  loops: readonly AxisLoopsOverHovers[],
  rows: readonly ComparisonRow[],
  findings: Comparison['findings'],
  advice: readonly Advice[],
  leftOut: Comparison['leftOut'],
): Comparison['done'] {
  const h = hovers.length - 1;
  const last = hovers[h]!;
  const missing = leftOut
    .filter(({ isLatest }) => isLatest)
    .map(({ name }) => `${name}, flown after ${last.name}, could not be analysed`);
  const unknown = new Map<string, AxisName[]>();
  for (const { axis } of loops) {
    for (const [metric, required, unit] of [
      ['rate loop gain margin', REQUIRED.gainMarginDb, 'dB'],
      ['rate loop phase margin', REQUIRED.phaseMarginDeg, '°'],
      ['attitude loop gain margin', REQUIRED.gainMarginDb, 'dB'],
      ['attitude loop phase margin', REQUIRED.phaseMarginDeg, '°'],
    ] as const) {
      const row = rows.find((r) => r.axis === axis && r.metric === metric);
      const value = row?.values[h] ?? null;
      if (value === null) {
        // A loop without a limit has all the margin there is.
        const best = loops.find((l) => l.axis === axis)!.hovers[h]!.best;
        const free = metric.startsWith('rate') ? best?.rateStable : best?.attitudeStable;
        if (free !== true || row?.why[h] != null) unknown.set(metric, [...(unknown.get(metric) ?? []), axis]);
      } else if (value < required)
        missing.push(
          `${axis}: ${metric} ${value.toFixed(unit === 'dB' ? 1 : 0)} ${unit}, wanted at least ${String(required)}`,
        );
    }
    const trim = last.axes[axis].trim;
    if (trim === null) unknown.set('trim', [...(unknown.get('trim') ?? []), axis]);
    else if (Math.abs(trim.value) > LARGE_TRIM)
      missing.push(`${axis}: the trim takes ${(100 * Math.abs(trim.value)).toFixed(0)} % of full demand`);
  }
  missing.push(...unknownTexts(unknown));
  if ('unavailable' in last.diagnosis.vibration) missing.push('vibration is not known');
  const open = [...last.diagnosis.findings, ...findings].filter(
    (f) => f.severity !== 'note' || QUIET_FINDINGS.has(f.id),
  );
  for (const f of open) missing.push(f.summary);
  const gains = advice.filter(
    (a) => a.step === 1 && (a.kind === 'gain' || a.kind === 'filter' || a.kind === 'do-not-fly'),
  );
  if (gains.length > 0) missing.push('a change is still advised');
  const unique = [...new Set(missing)];
  return unique.length === 0
    ? {
        ready: true,
        missing: [],
        summary: `${last.name}: margins met in all axes, vibration quiet, trims small: ready for the next stage of testing`,
      }
    : {
        ready: false,
        missing: unique,
        summary: `not done: ${String(unique.length)} ${unique.length === 1 ? 'thing is' : 'things are'} left`,
      };
}

/** What is not known, those of the same axes together. */
function unknownTexts(unknown: ReadonlyMap<string, readonly AxisName[]>): string[] {
  const byAxes = new Map<string, string[]>();
  for (const [metric, axes] of unknown) {
    const names = axes.join(', ');
    byAxes.set(names, [...(byAxes.get(names) ?? []), metric]);
  }
  return [...byAxes].map(([axes, metrics]) => {
    const names = metrics.map((metric) => `the ${metric}`);
    const last = names.pop()!;
    return names.length === 0
      ? `${axes}: ${last} is not known`
      : `${axes}: ${names.join(', ')} and ${last} are not known`;
  });
}
