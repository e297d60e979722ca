/** Oscillations of an axis, and lines of its gyro that may be a loop or a structure, followed from hover to hover of one build. */
import type { AxisName } from '@settle/parser';
import type { Origin } from '../diagnosis.js';
import { BODY_AXIS_OF } from '../oscillation/axis-signals.js';
import type { LineKind } from '../vibration/vibration-study.js';
import type { HoverSummary } from './hover-summary.js';

/** One hover's part of a line. */
export interface Seen {
  readonly hover: number;
  readonly hz: number;
  readonly stdHz: number;
  readonly origin: Origin;
  readonly confidence: number;
  readonly selfSustained: boolean;
  /** Of one size: something, most often the motors' stops, holds it there. */
  readonly held: boolean;
  /** The axis swings in it; else only the vibration of its gyro shows it. */
  readonly oscillates: boolean;
}

/** Frequencies further apart than this are two lines (ln): a loop may move far with its gain. */
const SAME_SWING = 0.35;
/** What does not swing moves less. */
const SAME_LINE = 0.06;
/** A line this near an oscillation is the same (ln). */
const SAME = 0.03;
/** No loop of such an aircraft is faster (twice what is believed of a rigid body; common practice, no source). */
const FASTEST_HZ = 44;
const MAY_BE_EITHER: ReadonlySet<LineKind> = new Set<LineKind>(['structure', 'control-loop', 'unknown']);

/** @returns chains of two or more hovers, each in their order */
export function followAxis(
  hovers: readonly HoverSummary[],
  builds: readonly number[],
  axis: AxisName,
): Seen[][] {
  const chains: Seen[][] = [];
  hovers.forEach((hover, h) => {
    const open = chains.filter((chain) => builds[chain.at(-1)!.hover] === builds[h]);
    const fresh = seenIn(hover, h, axis);
    // The nearest pairs first, so that no line takes the chain of another.
    const pairs = fresh
      .flatMap((seen) => open.map((chain) => ({ seen, chain, distance: distanceTo(chain.at(-1)!, seen) })))
      .filter(({ chain, seen, distance }) => distance < reach(chain.at(-1)!, seen))
      .sort((a, b) => a.distance - b.distance);
    const taken = new Set<Seen>();
    for (const { seen, chain } of pairs) {
      if (taken.has(seen) || chain.at(-1)!.hover === h) continue;
      chain.push(seen);
      taken.add(seen);
    }
    for (const seen of fresh) if (!taken.has(seen)) chains.push([seen]);
  });
  return chains.filter((chain) => chain.length >= 2);
}

const distanceTo = (a: Seen, b: Seen): number => Math.abs(Math.log(b.hz / a.hz));

const reach = (a: Seen, b: Seen): number => (a.oscillates && b.oscillates ? SAME_SWING : SAME_LINE);

function seenIn({ diagnosis }: HoverSummary, hover: number, axis: AxisName): Seen[] {
  const swings = diagnosis.axes[axis].oscillations
    .filter((o) => o.follows === null)
    .map((o): Seen => ({
      hover,
      hz: o.frequencyHz,
      stdHz: o.frequencyStdHz,
      origin: o.origin,
      confidence: o.confidence,
      selfSustained: o.regime === 'growing' || o.regime === 'limit-cycle',
      held: o.regime === 'limit-cycle',
      oscillates: true,
    }));
  const { vibration } = diagnosis;
  if ('unavailable' in vibration) return swings;
  const lines = vibration.lines
    .filter(
      (line) =>
        line.sensor === 'gyro' &&
        line.axis === BODY_AXIS_OF[axis] &&
        line.order === null &&
        MAY_BE_EITHER.has(line.kind) &&
        line.frequencyHz < FASTEST_HZ,
    )
    .map((line): Seen => ({
      hover,
      hz: line.frequencyHz,
      stdHz: line.frequencyStdHz,
      origin: line.kind === 'structure' ? 'structure' : 'unknown',
      confidence: line.confidence,
      selfSustained: false,
      held: false,
      oscillates: false,
    }))
    .filter((line) => swings.every((swing) => distanceTo(swing, line) > SAME));
  return [...swings, ...lines];
}
