/** Which hovers were flown with one and the same build, and what changed from one to the next. */
import { AXES, type AxisName, type FlownConfiguration, type GainsFile } from '@settle/parser';
import type { HoverSummary } from './hover-summary.js';

/** Masses nearer than this share are one (scales and batteries). */
const SAME_MASS = 0.02;

const partsOf = (c: FlownConfiguration): string | null =>
  c.parts === undefined
    ? null
    : [...c.parts]
        .map((p) => p.trim().toLowerCase())
        .sort()
        .join('; ');

/** Differences that were declared in both; what is not told in one of them is no difference. */
export function configurationChanges(a: FlownConfiguration, b: FlownConfiguration): string[] {
  const out: string[] = [];
  const [pa, pb] = [partsOf(a), partsOf(b)];
  if (pa !== null && pb !== null && pa !== pb) {
    const name = (c: FlownConfiguration): string => (c.parts?.length ? c.parts.join(', ') : 'none');
    out.push(`parts: ${name(a)} → ${name(b)}`);
  }
  if (a.massKg !== undefined && b.massKg !== undefined && Math.abs(b.massKg / a.massKg - 1) > SAME_MASS)
    out.push(`mass: ${String(a.massKg)} → ${String(b.massKg)} kg`);
  for (const key of ['props', 'battery'] as const)
    if (
      a[key] !== undefined &&
      b[key] !== undefined &&
      a[key].trim().toLowerCase() !== b[key].trim().toLowerCase()
    )
      out.push(`${key}: ${a[key]} → ${b[key]}`);
  return out;
}

/** Number of each hover's build; a build flown before has its old number. */
export function numberBuilds(hovers: readonly HoverSummary[]): number[] {
  const builds: number[] = [];
  hovers.forEach((hover, h) => {
    const known = hovers
      .slice(0, h)
      .findIndex((other) => configurationChanges(other.configuration, hover.configuration).length === 0);
    builds.push(known < 0 ? Math.max(-1, ...builds) + 1 : builds[known]!);
  });
  return builds;
}

/** A gain this near what it was, as a share, is the same: as declared, and as read from logged terms. */
const SAME_GAIN = { declared: 0.001, read: 0.05 };

export interface GainStep {
  readonly axis: AxisName;
  readonly loop: 'rate' | 'attitude';
  readonly term: 'P' | 'I' | 'D' | 'FF';
  readonly factor: number;
}

/** Gains that changed, as factors: as declared for both hovers where they are, else from the controllers as identified. */
export function gainSteps(a: HoverSummary, b: HoverSummary): GainStep[] {
  // What is read from a log stands beside what is read from a log only.
  if ((a.gains === null) !== (b.gains === null)) return [];
  return AXES.flatMap((axis): GainStep[] => {
    const [before, after] = [gainsOf(a, axis), gainsOf(b, axis)];
    const [ca, cb] = [a.axes[axis].controller, b.axes[axis].controller];
    const terms = [
      ['rate', 'P', 'kp', ca?.kp, cb?.kp],
      ['rate', 'I', 'ki', ca?.ki, cb?.ki],
      ['rate', 'D', 'kd', ca?.kd, cb?.kd],
      ['rate', 'FF', 'kff', ca?.kff, cb?.kff],
      ['attitude', 'P', 'attitude', ca?.attitude, cb?.attitude],
    ] as const;
    return terms.flatMap(([loop, term, key, readFrom, readTo]): GainStep[] => {
      const told =
        before[key] !== null && after[key] !== null && before[`${loop}Unit`] === after[`${loop}Unit`];
      const [from, to] = told ? [before[key], after[key]] : [readFrom, readTo];
      if (from == null || to == null || !(from > 0) || !(to > 0)) return [];
      const factor = to / from;
      const same = told ? SAME_GAIN.declared : SAME_GAIN.read;
      return Math.abs(factor - 1) <= same ? [] : [{ axis, loop, term, factor }];
    });
  });
}

/** As declared; null where not told. */
function gainsOf({ gains }: HoverSummary, axis: AxisName) {
  const rate = gains?.rate.axes[axis];
  return {
    kp: rate?.kp ?? null,
    ki: rate?.ki ?? null,
    kd: rate?.kd ?? null,
    kff: rate?.kff ?? null,
    attitude: gains?.attitude.axes[axis].kp ?? null,
    rateUnit: gains?.rate.writtenUnit ?? gains?.writtenUnit ?? null,
    attitudeUnit: gains?.attitude.writtenUnit ?? gains?.writtenUnit ?? null,
  };
}

/** Gains and filters that changed, in words. */
export function tuneChanges(a: HoverSummary, b: HoverSummary): string[] {
  const gains = gainSteps(a, b).map((g) => `${g.axis} ${g.loop} ${g.term} × ${g.factor.toFixed(2)}`);
  return [...gains, ...filterChanges(a.gains, b.gains)];
}

function filterChanges(a: GainsFile | null, b: GainsFile | null): string[] {
  if (a === null || b === null) return [];
  const out: string[] = [];
  for (const key of ['gyroLowPassHz', 'derivativeLowPassHz'] as const) {
    const name = key === 'gyroLowPassHz' ? 'gyro low-pass' : 'derivative low-pass';
    if (a.filters[key] !== null && b.filters[key] !== null && a.filters[key] !== b.filters[key])
      out.push(`${name}: ${String(a.filters[key])} → ${String(b.filters[key])} Hz`);
  }
  const notch = (file: GainsFile): string | null =>
    file.filters.notches === null
      ? null
      : file.filters.notches.map((n) => `${String(n.centreHz)} Hz`).join(', ') || 'none';
  const [na, nb] = [notch(a), notch(b)];
  if (na !== null && nb !== null && na !== nb) out.push(`notches: ${na} → ${nb}`);
  return out;
}
