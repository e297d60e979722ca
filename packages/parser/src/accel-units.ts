import type { Conversion, RawSignal } from './log-data.js';
import { LogError } from './log-error.js';
import type { ProblemList } from './problems.js';
import type { DraftMap } from './rotation-units.js';
import { STANDARD_GRAVITY, unitNamed } from './units.js';
import type { Unit } from './units.js';

/** What the accelerometer's mean says about gravity. */
export interface AccelLevel {
  /** Mean specific force on z over the norm of the mean, −1…1; null if there is no z or no gravity in it. */
  readonly zShare: number | null;
  readonly meanZ: number | null;
}

export interface AccelUnits {
  readonly conversions: ReadonlyMap<RawSignal, Conversion>;
  readonly level: AccelLevel;
}

/** A hovering or resting accelerometer shows 1 g; flight and calibration leave it within this factor. */
const LEVEL_TOLERANCE = 1.45;
const CANDIDATES: readonly Unit[] = [unitNamed('m/s²'), unitNamed('g')];

/**
 * Decides the unit of the accelerometer by its level, which is 1 g at rest and on average in a hover.
 *
 * @throws LogError `unit-contradiction` or `unit-ambiguous`
 */
export function decideAccelUnits(
  signals: readonly RawSignal[],
  draft: DraftMap,
  problems: ProblemList,
): AccelUnits {
  const accel = signals.filter((signal) => signal.channel.startsWith('accel.'));
  const conversions = new Map<RawSignal, Conversion>();
  if (accel.length === 0) return { conversions, level: { zShare: null, meanZ: null } };
  const stated = accel.find((signal) => signal.stated)?.stated ?? null;
  const level = loggedLevel(accel);
  const fitting = CANDIDATES.filter((unit) => isLevel(level * unit.scale));
  const first = accel[0]!;
  if (stated && stated.by === 'log' && !isLevel(level * stated.unit.scale) && fitting.length === 1)
    throw new LogError(
      'unit-contradiction',
      `the accelerometer is stated in ${stated.unit.name} (${stated.from}) but its level of ${level.toPrecision(3)} is gravity in ${fitting[0]!.name}`,
      'state the unit in a channel map and pass it with --map',
      { file: first.log.name, column: first.column.label },
      draft(new Map(accel.map((signal) => [signal, 'm/s² or g']))),
    );
  if (!stated && fitting.length !== 1)
    throw new LogError(
      'unit-ambiguous',
      `the unit of the accelerometer is not stated, and its level of ${level.toPrecision(3)} is gravity neither in m/s² nor in g`,
      'state it in a channel map ("unit", and "scale" for raw counts) and pass it with --map',
      { file: first.log.name, line: first.log.dialect.headerLine, column: first.column.label },
      draft(new Map(accel.map((signal) => [signal, 'm/s² or g']))),
    );
  const unit = stated?.unit ?? fitting[0]!;
  const shown = `mean level ${level.toPrecision(3)} ${unit.name}`;
  for (const signal of accel) {
    const own = signal.stated?.unit ?? unit;
    const why = signal.stated
      ? `${signal.stated.from}; ${shown}`
      : stated
        ? `${unit.name} like its neighbours`
        : `${unit.name}: ${shown}`;
    conversions.set(signal, {
      unit: own.name,
      scale: own.scale * (signal.entry?.scale ?? 1),
      offset: 0,
      why,
    });
  }
  if (!isLevel(level * unit.scale))
    problems.add(first.log.name, 'no-gravity', `the accelerometer shows ${(level * unit.scale).toPrecision(3)} m/s² where gravity should be: its unit and the log's frame cannot be checked`, { column: first.column.label }); // prettier-ignore
  return { conversions, level: describeLevel(accel, conversions) };
}

function isLevel(levelMs2: number): boolean {
  return levelMs2 > STANDARD_GRAVITY / LEVEL_TOLERANCE && levelMs2 < STANDARD_GRAVITY * LEVEL_TOLERANCE;
}

/** Norm of the mean vector (vibration averages out); if that vanishes, as in turning motion, the median norm. */
function loggedLevel(accel: readonly RawSignal[]): number {
  // A stated or mapped scale of raw counts belongs to the logged value here.
  const means = accel.map((signal) => mean(signal.values) * (signal.entry?.scale ?? 1));
  const ofMean = Math.hypot(...means);
  if (CANDIDATES.some((unit) => isLevel(ofMean * unit.scale)) || accel.length < 3) return ofMean;
  const n = Math.min(...accel.map((signal) => signal.values.length));
  const norms = new Float64Array(n);
  for (let i = 0; i < n; i++)
    norms[i] = Math.hypot(...accel.map((s) => s.values[i]! * (s.entry?.scale ?? 1)));
  const finite = norms.filter((norm) => norm - norm === 0).sort();
  const median = finite[finite.length >> 1] ?? 0;
  return CANDIDATES.some((unit) => isLevel(median * unit.scale)) ? median : ofMean;
}

function describeLevel(
  accel: readonly RawSignal[],
  conversions: ReadonlyMap<RawSignal, Conversion>,
): AccelLevel {
  const vector = accel.map(
    (signal) => mean(signal.values) * conversions.get(signal)!.scale * (signal.entry?.sign ?? 1),
  );
  const index = accel.findIndex((signal) => signal.channel === 'accel.z');
  const meanZ = vector[index];
  if (meanZ === undefined) return { zShare: null, meanZ: null };
  const norm = Math.hypot(...vector);
  return { zShare: isLevel(norm) ? meanZ / norm : null, meanZ };
}

function mean(values: Float64Array): number {
  let [n, sum] = [0, 0];
  for (const value of values)
    if (value - value === 0) {
      n++;
      sum += value;
    }
  return n === 0 ? 0 : sum / n;
}
