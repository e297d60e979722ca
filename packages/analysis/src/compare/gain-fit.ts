/** Gain margin against gain over the sequence, from what each hover showed by itself: the check on all that is pooled. */
import type { AxisName } from '@settle/parser';
import { AXES } from '@settle/parser';
import { isUnavailable } from '../unavailable.js';
import type { HoverSummary } from './hover-summary.js';

export interface GainFit {
  readonly axis: AxisName;
  /** Gain relative to the first of these hovers and the margin each showed. */
  readonly points: readonly {
    readonly hover: number;
    readonly gainDb: number;
    readonly marginDb: number;
    readonly stdDb: number;
  }[];
  /** dB of margin per dB of gain: −1 where all terms were scaled alike and the plant stayed the same. */
  readonly slope: number;
  readonly slopeStd: number;
  /** Margin at the gain of the first. */
  readonly atFirstDb: number;
  /** Gain relative to the first, dB, that would leave 8 dB of margin. */
  readonly gainForAimDb: number;
}

/** All terms must have been scaled by the same factor to within this (ln). */
const ALIKE = 0.08;
/** Gains must range over this, dB. */
const LEAST_RANGE_DB = 1;
const AIM_DB = 8;

export function fitGains(hovers: readonly HoverSummary[], builds: readonly number[]): GainFit[] {
  return AXES.flatMap((axis) => {
    const build = builds.at(-1)!;
    const members = hovers.map((_, h) => h).filter((h) => builds[h] === build);
    const first = members.find((h) => hovers[h]!.axes[axis].controller !== null);
    if (first === undefined) return [];
    const points = members.flatMap((h) => {
      const gainDb = scaledBy(hovers[first]!, hovers[h]!, axis);
      const margins = hovers[h]!.diagnosis.axes[axis].margins.rate;
      if (gainDb === null || isUnavailable(margins) || margins.gainMarginDb === null) return [];
      return [
        {
          hover: h,
          gainDb,
          marginDb: margins.gainMarginDb,
          stdDb: Math.max(0.3, margins.gainMarginStdDb ?? 3),
        },
      ];
    });
    const range = Math.max(...points.map((p) => p.gainDb)) - Math.min(...points.map((p) => p.gainDb));
    if (points.length < 2 || !(range >= LEAST_RANGE_DB)) return [];
    return [{ axis, points, ...weightedLine(points) }];
  });
}

function scaledBy(a: HoverSummary, b: HoverSummary, axis: AxisName): number | null {
  const [x, y] = [a.axes[axis].controller, b.axes[axis].controller];
  if (x === null || y === null) return null;
  const factors = [
    [x.kp, y.kp],
    [x.ki, y.ki],
    [x.kd, y.kd],
  ].flatMap(([from, to]) => (from! > 0 && to! > 0 ? [Math.log(to! / from!)] : []));
  if (factors.length === 0 || Math.max(...factors) - Math.min(...factors) > ALIKE) return null;
  return (20 / Math.LN10) * (factors.reduce((s, v) => s + v, 0) / factors.length);
}

/** Weighted least squares of a straight line. */
function weightedLine(
  points: GainFit['points'],
): Pick<GainFit, 'slope' | 'slopeStd' | 'atFirstDb' | 'gainForAimDb'> {
  const w = points.map((p) => p.stdDb ** -2);
  const total = w.reduce((a, b) => a + b, 0);
  const mx = points.reduce((s, p, i) => s + w[i]! * p.gainDb, 0) / total;
  const my = points.reduce((s, p, i) => s + w[i]! * p.marginDb, 0) / total;
  const sxx = points.reduce((s, p, i) => s + w[i]! * (p.gainDb - mx) ** 2, 0);
  const slope = points.reduce((s, p, i) => s + w[i]! * (p.gainDb - mx) * (p.marginDb - my), 0) / sxx;
  return {
    slope,
    slopeStd: 1 / Math.sqrt(sxx),
    atFirstDb: my - slope * mx,
    // By the physics, one dB for one dB, through the weighted mean: two noisy points fix no slope.
    gainForAimDb: mx + (my - AIM_DB),
  };
}
