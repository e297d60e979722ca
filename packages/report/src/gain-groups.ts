/** Gain advice of one axis gathered into one change: terms that stand or fall together are told together. */

import type { AxisName } from '@settle/parser';
import type { Advice, Diagnosis } from '@settle/analysis';
import { formatSignificant } from './numbers.js';
import { AXIS_ORDER } from './words.js';

/** An entry that names what is multiplied by how much. */
export type GainChange = Advice & Required<Pick<Advice, 'axis' | 'loop' | 'term' | 'factor'>>;

/** Changes of one axis and step that rest on the same basis; made together or not at all. */
export interface GainGroup {
  readonly axis: AxisName;
  readonly step: number;
  readonly basis: Advice['basis'];
  readonly changes: readonly GainChange[];
}

const LOOP_ORDER = ['rate', 'attitude', 'position'] as const;
const TERM_ORDER = ['P', 'I', 'D', 'FF'] as const;

/** Findings that say a loop is too tight: the gains it was flown with are then no refuge. */
const TOO_TIGHT = new Set([
  'rate-loop-too-tight',
  'derivative-too-strong',
  'integral-too-strong',
  'attitude-loop-too-tight',
]);

export function isGainChange(advice: Advice): advice is GainChange {
  const { kind, axis, loop, term, factor } = advice;
  return (
    kind === 'gain' && axis !== undefined && loop !== undefined && term !== undefined && factor !== undefined
  );
}

/** Groups in the order roll, pitch, yaw; within one, rate loop before attitude loop and P, I, D, FF. */
export function gatherGainGroups(advice: readonly Advice[]): GainGroup[] {
  const groups = new Map<string, GainGroup & { changes: GainChange[] }>();
  for (const change of advice.filter(isGainChange)) {
    const { axis, step, basis } = change;
    const key = `${axis} ${String(step)} ${basis}`;
    const group = groups.get(key) ?? { axis, step, basis, changes: [] };
    group.changes.push(change);
    groups.set(key, group);
  }
  for (const { changes } of groups.values())
    changes.sort(
      (a, b) =>
        LOOP_ORDER.indexOf(a.loop) - LOOP_ORDER.indexOf(b.loop) ||
        TERM_ORDER.indexOf(a.term) - TERM_ORDER.indexOf(b.term),
    );
  return [...groups.values()].sort(
    (a, b) => a.step - b.step || AXIS_ORDER.indexOf(a.axis) - AXIS_ORDER.indexOf(b.axis),
  );
}

/** Two decimals are what anybody sets; small factors keep two digits. */
function factorText(factor: number): string {
  return formatSignificant(factor, factor < 1 ? 2 : 3);
}

/** `rate P × 0.42 (0.18 → 0.0756), I × 0.50; attitude P × 0.80`; values only when wanted and known. */
export function changesText({ changes }: GainGroup, withValues: boolean): string {
  return LOOP_ORDER.flatMap((loop) => {
    const own = changes.filter((change) => change.loop === loop);
    if (own.length === 0) return [];
    const terms = own.map(({ term, factor, from, to }) => {
      const values =
        withValues && from !== undefined && to !== undefined
          ? ` (${formatSignificant(from)} → ${formatSignificant(to)})`
          : '';
      return `${term} × ${factorText(factor)}${values}`;
    });
    return [`${loop} ${terms.join(', ')}`];
  }).join('; ');
}

/** Whether the aircraft was unsafe on this axis with the gains it flew, so that going back to them is no way out. */
export function oldGainsAreUnsafe({ findings, axes }: Diagnosis, axis: AxisName): boolean {
  return (
    findings.some(
      (finding) => finding.axis === axis && finding.severity === 'danger' && TOO_TIGHT.has(finding.id),
    ) || axes[axis].oscillations.some(({ regime, follows }) => regime === 'growing' && follows === null)
  );
}

/** What to watch for on the next hover, each once; what a raised gain shows first stands last. */
export function watchTexts({ changes }: GainGroup, oldGainsUnsafe: boolean): string[] {
  const texts = (wanted: readonly GainChange[]): string[] => [
    ...new Set(wanted.map(({ watchFor }) => watchFor).filter((text) => text !== '')),
  ];
  const lowered = changes.filter(({ factor }) => factor < 1);
  // What a rate gain shows goes faster than what an attitude gain does.
  const raised = changes
    .filter(({ factor }) => factor >= 1)
    .sort((a, b) => Number(a.loop === 'rate') - Number(b.loop === 'rate'));
  if (!oldGainsUnsafe || raised.length === 0) return [...texts(lowered), ...texts(raised)];
  return [
    ...texts(lowered),
    'a buzz, a shake or a swing that is not gone at once: land. Do not go back to the old gains, they were unsafe on this axis; leave it on the ground until the new log is read',
  ];
}
