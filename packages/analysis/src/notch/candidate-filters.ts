/** Notches and low-passes that might be proposed: what each leaves of every part of the ripple, and what it costs in phase. */
import type { GyroNotch } from '@settle/parser';
import {
  biquadPowerGain,
  designLowPass,
  designNotch,
  gainAtCentre,
  phaseLagDeg,
  widening,
  type Biquad,
} from '../filters/index.js';
import type { StudiedLine } from '../vibration/vibration-study.js';
import type { RippleModel } from './demand-ripple.js';
import { existingNotch, type ExistingFilters } from './existing-filters.js';
import type { LowPassSetting, NotchSetting, Schedule } from './plan-types.js';
import type { SpeedSamples } from './speed-samples.js';

/** One thing to take out: a line, or lines that one notch can cover. */
export interface NotchTarget {
  readonly lines: readonly number[];
  /** Of the rotor speed; null where the lines follow none. */
  readonly order: number | null;
  readonly centreHz: number;
}

export interface NotchCandidate {
  readonly target: number;
  readonly setting: NotchSetting;
  /** Share of the power left, part by part. */
  readonly powerGain: Float64Array;
  /** Beyond today's filters. */
  readonly lagDeg: number;
}

export interface LowPassCandidate {
  readonly setting: LowPassSetting;
  readonly powerGain: Float64Array;
  readonly lagDeg: number;
}

export interface CandidateGrid {
  /** centre/width. */
  readonly qs: readonly number[];
  readonly depthsDb: readonly number[];
  readonly lowPassesHz: readonly number[];
}

const geometric = (from: number, to: number, count: number): number[] =>
  Array.from({ length: count }, (_, i) => from * (to / from) ** (i / (count - 1)));

export const NOTCH_GRID = { qs: geometric(0.8, 12, 10), depthsDb: [10, 18, 28, 40] } as const;

/** A low-pass slower than this many times the crossover is no filter but a brake. */
const LEAST_CUTOFF = 2;

export function defaultGrid(
  crossoverHz: number,
  filterRateHz: number,
  existingLowPassHz: number | null,
): CandidateGrid {
  const lowest = Math.max(LEAST_CUTOFF * crossoverHz, 5);
  const highest = Math.min(0.45 * filterRateHz, existingLowPassHz === null ? 400 : 0.95 * existingLowPassHz);
  return { ...NOTCH_GRID, lowPassesHz: highest > lowest ? geometric(lowest, highest, 12) : [] };
}

/** What a filter may be placed on. */
const TREATABLE: ReadonlySet<StudiedLine['kind']> = new Set([
  'rotor',
  'blade-pass',
  'rotor-harmonic',
  'electrical',
  'structure',
]);
const MOST_TARGETS = 6;
/** Lines this close (as a share) are one target; lines of one order further apart are also tried one by one. */
const ONE_TARGET = 0.03;
/** A line that makes less of the allowed power than this is not worth a filter. */
const LEAST_SHARE = 0.01;

export interface CandidateInput {
  readonly model: RippleModel;
  readonly existing: ExistingFilters;
  readonly speeds: SpeedSamples | null;
  readonly filterRateHz: number;
  readonly lagAtHz: number;
  readonly grid: CandidateGrid;
}

export function findTargets(model: RippleModel, filterRateHz: number): NotchTarget[] {
  const power = new Float64Array(model.lines.length);
  for (const part of model.parts) if (part.line !== null) power[part.line]! += part.power;
  const worth = model.lines
    .map((line, index) => ({ line, index, power: power[index]! }))
    .filter(({ line, power: p }) => TREATABLE.has(line.kind) && p > (LEAST_SHARE * model.target ** 2) / 2)
    .filter(({ line }) => line.frequencyHz < 0.45 * filterRateHz);
  const near = (a: number, b: number): boolean => Math.abs(a - b) <= ONE_TARGET * Math.max(a, b);
  const groups: (typeof worth)[] = [];
  const addTo = (each: (typeof worth)[number], same: (other: StudiedLine) => boolean): void => {
    const found = groups.find((group) => group.some(({ line }) => same(line)));
    if (found === undefined) groups.push([each]);
    else found.push(each);
  };
  const byFrequency = [...worth].sort((a, b) => a.line.frequencyHz - b.line.frequencyHz);
  for (const each of byFrequency)
    addTo(each, (other) =>
      each.line.order === null || other.order === null
        ? each.line.order === other.order && near(each.line.frequencyHz, other.frequencyHz)
        : Math.abs(each.line.order - other.order) < 0.1,
    );
  const targets = groups.flatMap((group) => {
    const whole = targetOf(group);
    const spread = group[group.length - 1]!.line.frequencyHz / group[0]!.line.frequencyHz - 1;
    if (spread <= 2 * ONE_TARGET) return [{ target: whole, power: powerOf(group) }];
    const single: (typeof worth)[] = [];
    for (const each of group) {
      const last = single.at(-1);
      if (last !== undefined && near(last[0]!.line.frequencyHz, each.line.frequencyHz)) last.push(each);
      else single.push([each]);
    }
    return [group, ...single].map((one) => ({ target: targetOf(one), power: powerOf(one) }));
  });
  return targets
    .sort((a, b) => b.power - a.power)
    .slice(0, MOST_TARGETS)
    .map(({ target }) => target);
}

interface Weighed {
  readonly line: StudiedLine;
  readonly index: number;
  readonly power: number;
}

const powerOf = (group: readonly Weighed[]): number => group.reduce((sum, each) => sum + each.power, 0);

function targetOf(group: readonly Weighed[]): NotchTarget {
  const total = powerOf(group);
  return {
    lines: group.map(({ index }) => index),
    order: group[0]!.line.order,
    centreHz: group.reduce((sum, { line, power }) => sum + (line.frequencyHz * power) / total, 0),
  };
}

/** Existing notch that already stands on this target. */
export function notchInPlace(existing: ExistingFilters, centreHz: number): GyroNotch | null {
  const over = existing.notches.filter(
    (notch) => Math.abs(notch.centreHz - centreHz) <= Math.max(notch.bandwidthHz, 0.1 * centreHz),
  );
  return over.sort((a, b) => Math.abs(a.centreHz - centreHz) - Math.abs(b.centreHz - centreHz))[0] ?? null;
}

/** Every width, depth and schedule for every target: fixed ones first, then those that follow the rotors. */
export function notchCandidates(input: CandidateInput, targets: readonly NotchTarget[]): NotchCandidate[] {
  const turns = partAngles(input);
  return targets.flatMap((target, index) => {
    // Rotor speed itself, where there is one, rather than the throttle that only hints at it.
    const schedule = (['rotor-speed', 'throttle'] as const).find(
      (each) => input.speeds?.schedules[each] !== undefined,
    );
    const schedules: (Schedule | null)[] =
      target.order === null || schedule === undefined ? [null] : [null, schedule];
    return schedules.flatMap((scheduledBy) =>
      input.grid.qs.flatMap((q) =>
        input.grid.depthsDb.flatMap((depthDb) => {
          const setting = settingOf(target, q, depthDb, scheduledBy, input);
          return setting === null ? [] : [notchCandidate(setting, index, input, turns)];
        }),
      ),
    );
  });
}

function settingOf(
  target: NotchTarget,
  q: number,
  depthDb: number,
  scheduledBy: Schedule | null,
  { existing, speeds, filterRateHz }: CandidateInput,
): NotchSetting | null {
  const centreHz =
    scheduledBy === null || target.order === null ? target.centreHz : target.order * speeds!.hoverHz;
  const bandwidthHz = centreHz / q;
  if (bandwidthHz > 0.4 * filterRateHz || centreHz > 0.45 * filterRateHz) return null;
  return {
    centreHz,
    bandwidthHz,
    depthDb,
    orders: target.order === null ? [] : [target.order],
    scheduledBy,
    replaces: notchInPlace(existing, centreHz),
  };
}

interface PartAngles {
  readonly cosine: Float64Array;
  readonly sineSquare: Float64Array;
}

function partAngles({ model, filterRateHz }: Pick<CandidateInput, 'model' | 'filterRateHz'>): PartAngles {
  const turn = Float64Array.from(model.parts, (p) => (2 * Math.PI * p.frequencyHz) / filterRateHz);
  return { cosine: turn.map(Math.cos), sineSquare: turn.map((w) => Math.sin(w) ** 2) };
}

export function notchCandidate(
  setting: NotchSetting,
  target: number,
  input: CandidateInput,
  turns: PartAngles = partAngles(input),
): NotchCandidate {
  const { model, filterRateHz, lagAtHz } = input;
  const { cosine, sineSquare } = turns;
  const gain = gainAtCentre(setting.depthDb) ** 2;
  const wider = widening(setting.depthDb);
  // |H|² = ((cos ω − cos ω0)² + g²β² sin² ω)/((cos ω − cos ω0)² + β² sin² ω)
  const shape = (centreHz: number): { c0: number; beta2: number } => {
    const width = Math.min((setting.bandwidthHz * centreHz) / setting.centreHz, 0.45 * filterRateHz);
    const beta = Math.tan((Math.PI * width) / filterRateHz) * wider;
    return { c0: Math.cos((2 * Math.PI * centreHz) / filterRateHz), beta2: beta * beta };
  };
  const course = scheduledCentres(setting, input.speeds);
  const moments = course === null ? null : Array.from(course, shape);
  const still = shape(setting.centreHz);
  const old = setting.replaces === null ? null : existingNotch(setting.replaces, filterRateHz);
  const powerGain = new Float64Array(model.parts.length);
  model.parts.forEach((part, i) => {
    const { c0, beta2 } = moments === null || part.moment === null ? still : moments[part.moment]!;
    const off = (cosine[i]! - c0) ** 2;
    const damping = beta2 * sineSquare[i]!;
    const value = (off + gain * damping) / Math.max(1e-30, off + damping);
    powerGain[i] = old === null ? value : value / biquadPowerGain(old, part.frequencyHz, filterRateHz);
  });
  return { target, setting, powerGain, lagDeg: notchLagDeg(setting, lagAtHz, filterRateHz) };
}

/** Centres at the moments; null where the notch stands still. */
function scheduledCentres(setting: NotchSetting, speeds: SpeedSamples | null): Float64Array | null {
  const order = setting.orders[0];
  if (setting.scheduledBy === null || order === undefined) return null;
  return speeds?.schedules[setting.scheduledBy]?.map((hz) => order * hz) ?? null;
}

export function notchFilterOf(setting: NotchSetting, filterRateHz: number): Biquad {
  const { centreHz, bandwidthHz: widthHz, depthDb } = setting;
  return designNotch({ centreHz, widthHz, depthDb }, filterRateHz);
}

/** Beyond what the notch it replaces takes. */
export function notchLagDeg(setting: NotchSetting, atHz: number, filterRateHz: number): number {
  const own = phaseLagDeg([notchFilterOf(setting, filterRateHz)], atHz, filterRateHz);
  if (setting.replaces === null) return own;
  return own - phaseLagDeg([existingNotch(setting.replaces, filterRateHz)], atHz, filterRateHz);
}

/** Low-passes in place of the existing one, which each must be slower than. */
export function lowPassCandidates(input: CandidateInput): LowPassCandidate[] {
  const { model, existing, filterRateHz, grid, lagAtHz } = input;
  const replacesHz = existing.lowPassHz;
  return grid.lowPassesHz.map((cutoffHz) => {
    const setting: LowPassSetting = { cutoffHz, order: 2, replacesHz };
    const { own, old } = lowPassFilters(setting, existing, filterRateHz);
    return {
      setting,
      powerGain: Float64Array.from(model.parts, (part) => {
        const left = biquadPowerGain(own, part.frequencyHz, filterRateHz);
        // Near Nyquist both are zero; the quotient of two low-passes never gets below that of their cut-offs.
        if (old === null) return left;
        return left / Math.max(1e-12, biquadPowerGain(old, part.frequencyHz, filterRateHz));
      }),
      lagDeg: lowPassLagDeg(setting, existing, lagAtHz, filterRateHz),
    };
  });
}

export function lowPassFilters(
  setting: LowPassSetting,
  existing: ExistingFilters,
  filterRateHz: number,
): { own: Biquad; old: Biquad | null } {
  const own = designLowPass(setting.cutoffHz, setting.order, filterRateHz);
  const { replacesHz } = setting;
  if (replacesHz === null || replacesHz >= 0.48 * filterRateHz) return { own, old: null };
  return { own, old: designLowPass(replacesHz, existing.taken.lowPassOrder, filterRateHz) };
}

export function lowPassLagDeg(
  setting: LowPassSetting,
  existing: ExistingFilters,
  atHz: number,
  filterRateHz: number,
): number {
  const { own, old } = lowPassFilters(setting, existing, filterRateHz);
  const lag = phaseLagDeg([own], atHz, filterRateHz);
  return old === null ? lag : lag - phaseLagDeg([old], atHz, filterRateHz);
}
