import type { AxisName } from './flight.js';
import { compareAttitudeWithRates, compareRates, unwrapAngles } from './kinematics.js';
import type { Agreement, PerAxis, Series } from './kinematics.js';
import type { Conversion, RawSignal } from './log-data.js';
import { LogError } from './log-error.js';
import type { ProblemList } from './problems.js';
import { unitNamed } from './units.js';
import type { Unit } from './units.js';

/** Writes a channel map in which the given signals' units are left for the user to choose. */
export type DraftMap = (unclear: ReadonlyMap<RawSignal, string>) => string;

export type RotationGroupName = 'attitude' | 'gyro' | 'rate';

/** How the measured rotations agree with each other, in SI and before any sign is turned. */
export interface RotationAgreement {
  readonly attitudeGyro: PerAxis<Agreement>;
  readonly attitudeRate: PerAxis<Agreement>;
  readonly gyroRate: PerAxis<Agreement>;
}

export interface RotationUnits {
  readonly conversions: ReadonlyMap<RawSignal, Conversion>;
  readonly agreement: RotationAgreement;
}

/** Correlation from which two rates are taken to show the same motion. */
export const SAME_MOTION = 0.7;
/** Gains within this factor of 1 agree; units in question differ by 17 and more. */
const GAIN_TOLERANCE = 1.3;
/** Peaks no body rate reaches: sensors end at 4000 deg/s (reference-values.md section 10, from memory). */
const RATE_LIMIT_RAD_S = 75;
/**
 * As degrees, a record this still is no flight (common practice, no source): 0.2° RMS of roll and of pitch over all of
 * it, and 3 °/s; where attitude and rate nevertheless follow each other, they are in radians.
 */
const STILL = { attitude: 0.2, rate: 3 };
/** Ratios that betray a wrong unit: deg for rad, milli for whole, both at once, hundredths of a degree. */
const CONFUSIONS = [180 / Math.PI, 1000, 1000 * (Math.PI / 180), 100, 100 * (180 / Math.PI)];

interface Choice {
  readonly unit: Unit;
  /** One factor per signal, logged value to SI. */
  readonly scales: ReadonlyMap<RawSignal, number>;
}

interface Group {
  readonly name: RotationGroupName;
  readonly signals: PerAxis<RawSignal>;
  readonly stated: boolean;
  readonly choices: readonly Choice[];
}

/**
 * Decides the units of measured attitude, gyro and body rate: stated ones are checked against each other, missing
 * ones follow from the rate of attitude against body rate (a factor of 1 or 57.3 either way) and from magnitudes
 * that are impossible in one unit.
 *
 * @throws LogError `unit-contradiction` or `unit-ambiguous`
 */
export function decideRotationUnits(
  signals: readonly RawSignal[],
  draft: DraftMap,
  problems: ProblemList,
): RotationUnits {
  const groups = {
    attitude: groupOf('attitude', signals),
    gyro: groupOf('gyro', signals),
    rate: groupOf('rate', signals),
  };
  const compared = new ComparedRotations(groups.attitude, groups.gyro, groups.rate);
  const combinations = combine(groups.attitude, groups.gyro, groups.rate);
  const fitting = combinations.filter((each) => compared.fit(each));
  checkStated(groups, combinations, compared, draft, problems, fitting.length);
  const decided = narrow(groups, fitting.length > 0 ? fitting : combinations, compared, draft);
  return { conversions: conversionsOf(groups, decided, compared), agreement: compared.agreement(decided) };
}

type Combination = Record<RotationGroupName, Choice | null>;
type Groups = Record<RotationGroupName, Group>;

function groupOf(name: RotationGroupName, all: readonly RawSignal[]): Group {
  const pattern = {
    attitude: /^attitude\.(\w+)\.measured$/,
    gyro: /^gyro\.(\w)$/,
    rate: /^rate\.(\w+)\.measured$/,
  }[name];
  const axes: Record<string, AxisName> = {
    x: 'roll',
    y: 'pitch',
    z: 'yaw',
    roll: 'roll',
    pitch: 'pitch',
    yaw: 'yaw',
  };
  const signals: PerAxis<RawSignal> = {};
  for (const signal of all) {
    const axis = axes[pattern.exec(signal.channel)?.[1] ?? ''];
    if (axis && !signal.error) signals[axis] = signal;
  }
  const members = Object.values(signals);
  const first = members.find((signal) => signal.stated)?.stated ?? null;
  const candidates = first ? [first.unit] : candidateUnits(name);
  const choices = candidates
    .filter((unit) => first !== null || members.every((signal) => isPossible(name, signal, unit)))
    .map((unit): Choice => ({
      unit,
      scales: new Map(members.map((s) => [s, (s.stated?.unit ?? unit).scale * (s.entry?.scale ?? 1)])),
    }));
  return { name, signals, stated: first !== null, choices };
}

function candidateUnits(name: RotationGroupName): readonly Unit[] {
  return name === 'attitude'
    ? [unitNamed('rad'), unitNamed('deg')]
    : [unitNamed('rad/s'), unitNamed('deg/s')];
}

/** Whether values of these magnitudes can be in the unit at all. */
function isPossible(name: RotationGroupName, signal: RawSignal, unit: Unit): boolean {
  const range = rangeOf(signal.values);
  const scale = unit.scale * (signal.entry?.scale ?? 1);
  const peak = Math.max(Math.abs(range.low), Math.abs(range.high)) * scale;
  if (name !== 'attitude') return peak <= RATE_LIMIT_RAD_S;
  const turn = 2 * Math.PI;
  if (signal.channel.includes('pitch')) return peak <= 1.05 * (turn / 4);
  const jump = range.jump * scale;
  // A wrap is a jump of a whole turn; anything else that large in one step is no aircraft.
  const wraps = jump > 0.9 * turn && jump < 1.02 * turn;
  if (jump > 1.1 * turn) return false;
  if (signal.channel.includes('roll')) return peak <= 1.05 * (turn / 2);
  // Unwrapped yaw may count turns, but does not start beyond one without having turned.
  return wraps || peak <= 1.02 * turn || (range.high - range.low) * scale > turn;
}

function rangeOf(values: Float64Array): { low: number; high: number; jump: number } {
  let [low, high, jump, last] = [Infinity, -Infinity, 0, NaN];
  for (const value of values) {
    if (!(value - value === 0)) continue;
    if (value < low) low = value;
    if (value > high) high = value;
    const step = Math.abs(value - last);
    if (step > jump) jump = step;
    last = value;
  }
  return low > high ? { low: 0, high: 0, jump: 0 } : { low, high, jump };
}

function combine(...groups: Group[]): Combination[] {
  let all: Combination[] = [{ attitude: null, gyro: null, rate: null }];
  for (const group of groups)
    if (Object.keys(group.signals).length > 0 && group.choices.length > 0)
      all = all.flatMap((each) => group.choices.map((choice) => ({ ...each, [group.name]: choice })));
  return all;
}

/** The three comparisons, computed once per unit of attitude (rates enter them as a mere factor). */
class ComparedRotations {
  readonly #groups: Groups;
  readonly #attitude = new Map<string, { gyro: PerAxis<Agreement>; rate: PerAxis<Agreement> }>();
  readonly #gyroRate: PerAxis<Agreement>;

  constructor(attitude: Group, gyro: Group, rate: Group) {
    this.#groups = { attitude, gyro, rate };
    this.#gyroRate = compareRates(seriesOf(gyro.signals), seriesOf(rate.signals));
    for (const choice of attitude.choices) {
      const angles = angleSeries(attitude.signals, choice);
      this.#attitude.set(choice.unit.name, {
        gyro: compareAttitudeWithRates(angles, seriesOf(gyro.signals)),
        rate: compareAttitudeWithRates(angles, seriesOf(rate.signals)),
      });
    }
  }

  agreement(choice: Combination): RotationAgreement {
    const angles = choice.attitude ? this.#attitude.get(choice.attitude.unit.name) : undefined;
    const { gyro, rate } = this.#groups;
    return {
      attitudeGyro: scaled(angles?.gyro ?? {}, null, null, gyro, choice.gyro),
      attitudeRate: scaled(angles?.rate ?? {}, null, null, rate, choice.rate),
      gyroRate: scaled(this.#gyroRate, gyro, choice.gyro, rate, choice.rate),
    };
  }

  /** No two rotations that show the same motion disagree about its size. */
  fit(choice: Combination): boolean {
    const { attitudeGyro, attitudeRate, gyroRate } = this.agreement(choice);
    return [attitudeGyro, attitudeRate, gyroRate].every((each) => {
      const gain = commonGain(each);
      return gain === null || isNearOne(gain);
    });
  }
}

function scaled(
  agreement: PerAxis<Agreement>,
  first: Group | null,
  firstChoice: Choice | null,
  second: Group,
  secondChoice: Choice | null,
): PerAxis<Agreement> {
  const result: PerAxis<Agreement> = {};
  for (const [axis, each] of Object.entries(agreement) as [AxisName, Agreement][]) {
    const a = first ? (firstChoice?.scales.get(first.signals[axis]!) ?? NaN) : 1;
    const b = secondChoice?.scales.get(second.signals[axis]!) ?? NaN;
    result[axis] = { ...each, gain: (each.gain * b) / a, deviation: each.deviation * a };
  }
  return result;
}

function isNearOne(gain: number): boolean {
  return gain < GAIN_TOLERANCE && gain > 1 / GAIN_TOLERANCE;
}

/** Gain over the axes that show the same motion, the liveliest counting most; null if none does. */
function commonGain(agreement: PerAxis<Agreement>): number | null {
  let [first, second] = [0, 0];
  for (const { gain, correlation, deviation } of Object.values(agreement)) {
    if (Math.abs(correlation) < SAME_MOTION || !Number.isFinite(gain)) continue;
    first += deviation ** 2;
    second += (gain * deviation) ** 2;
  }
  return first > 0 ? Math.sqrt(second / first) : null;
}

function seriesOf(signals: PerAxis<RawSignal>): PerAxis<Series> {
  const series: PerAxis<Series> = {};
  for (const [axis, signal] of Object.entries(signals) as [AxisName, RawSignal][])
    series[axis] = {
      timeS: signal.track.timeS,
      values: signal.entry?.sign === -1 ? signal.values.map((value) => -value) : signal.values,
    };
  return series;
}

function angleSeries(signals: PerAxis<RawSignal>, choice: Choice): PerAxis<Series> {
  const series: PerAxis<Series> = {};
  for (const [axis, signal] of Object.entries(signals) as [AxisName, RawSignal][]) {
    const scale = choice.scales.get(signal)! * (signal.entry?.sign ?? 1);
    const values = signal.values.map((value) => value * scale);
    if (axis !== 'pitch') unwrapAngles(values, 2 * Math.PI);
    series[axis] = { timeS: signal.track.timeS, values };
  }
  return series;
}

/** Further apart than this nothing that is worked out from the two can be believed. */
const MOST_ODD = 1.6;

/** Stops where what is stated cannot all be true; a slightly odd ratio is a problem, not an error. */
function checkStated(
  groups: Groups,
  combinations: readonly Combination[],
  compared: ComparedRotations,
  draft: DraftMap,
  problems: ProblemList,
  fitting: number,
): void {
  if (fitting > 0) return;
  // Of several combinations, report on the one that is least off.
  const agreements = combinations.map((each) => compared.agreement(each));
  const pairs = agreements.flatMap((each) => [
    { a: groups.attitude, b: groups.gyro, gain: commonGain(each.attitudeGyro) },
    { a: groups.attitude, b: groups.rate, gain: commonGain(each.attitudeRate) },
    { a: groups.gyro, b: groups.rate, gain: commonGain(each.gyroRate) },
  ]);
  const off = pairs
    .filter((pair): pair is typeof pair & { gain: number } => pair.gain !== null && !isNearOne(pair.gain))
    .sort((x, y) => Math.abs(Math.log(x.gain)) - Math.abs(Math.log(y.gain)))[0];
  if (!off) return;
  const [a, b] = [firstOf(off.a), firstOf(off.b)];
  const says = (group: Group, signal: RawSignal): string =>
    group.stated
      ? `"${signal.column.label}" (${signal.stated?.from ?? 'unit stated'})`
      : `"${signal.column.label}"`;
  const angle = off.a.name === 'attitude' ? 'the rate of ' : '';
  const message = `${says(off.b, b)} is ${off.gain.toPrecision(3)} times ${angle}${says(off.a, a)}, which cannot be with these units`;
  const confused = CONFUSIONS.some((ratio) => isNearOne(off.gain / ratio) || isNearOne(off.gain * ratio));
  const byMap = [a, b].some((signal) => signal.stated?.by === 'map');
  const stated = byMap || (off.a.stated && off.b.stated && !confused);
  if (stated && Math.abs(Math.log(off.gain)) > Math.log(MOST_ODD)) {
    const clock =
      angle === ''
        ? ''
        : `; if the sample rate was given with --rate and all axes are off by the same factor, one ${off.gain.toPrecision(3)} times as high would fit`;
    throw new LogError(
      'unit-contradiction',
      message.replace(
        ', which cannot be with these units',
        ', so one of the two is not what it is said to be',
      ),
      `correct the units or factors in the channel map, or leave one of the two out of it${clock}`,
      { file: b.log.name, column: b.column.label },
    );
  }
  if (stated) {
    problems.add(
      b.log.name,
      'unit-ratio',
      message.replace(', which cannot be with these units', '; units as stated'),
      {
        column: b.column.label,
      },
    );
    return;
  }
  const unclear = [off.a, off.b].flatMap((group) => Object.values(group.signals)).map((s): [RawSignal, string] => [s, s.channel.startsWith('attitude') ? 'deg or rad' : 'deg/s or rad/s or mrad/s']); // prettier-ignore
  throw new LogError(
    off.a.stated || off.b.stated ? 'unit-contradiction' : 'unit-ambiguous',
    message,
    'state the units in a channel map and pass it with --map',
    { file: b.log.name, column: b.column.label },
    draft(new Map(unclear)),
  );
}

function firstOf(group: Group): RawSignal {
  return Object.values(group.signals)[0]!;
}

/** Leaves one choice per group, or stops and says what is unclear. */
function narrow(
  groups: Groups,
  fitting: readonly Combination[],
  compared: ComparedRotations,
  draft: DraftMap,
): Combination {
  const unclear = new Map<RawSignal, string>();
  for (const group of Object.values(groups))
    if (Object.keys(group.signals).length > 0 && group.choices.length === 0) note(group, unclear);
  let left = fitting;
  if (left.length > 1) left = withoutStill(groups, left, compared);
  for (const group of Object.values(groups)) {
    if (group.stated || unclear.has(firstOf(group)) || Object.keys(group.signals).length === 0) continue;
    const units = new Set(left.map((each) => each[group.name]?.unit.name));
    if (group.name !== 'attitude' && units.size > 1) {
      const bounded = boundedByAttitude(group, left, compared);
      if (bounded) {
        left = bounded;
        continue;
      }
    }
    if (units.size > 1 || (group.name !== 'attitude' && !isAnchored(group, left[0]!, compared)))
      note(group, unclear);
  }
  if (unclear.size === 0) return left[0]!;
  const signals = [...unclear.keys()];
  const names = signals.map((signal) => `"${signal.column.label}"`).join(', ');
  const units = [...new Set(unclear.values())].join('; ');
  throw new LogError(
    'unit-ambiguous',
    `the unit of ${names} is not stated and nothing in the log can tell it (${units})`,
    'state it in a channel map and pass it with --map',
    {
      file: signals[0]!.log.name,
      line: signals[0]!.log.dialect.headerLine,
      column: signals[0]!.column.label,
    },
    draft(unclear),
  );
}

function note(group: Group, unclear: Map<RawSignal, string>): void {
  const units = group.name === 'attitude' ? 'rad or deg' : 'rad/s or deg/s or mrad/s';
  for (const signal of Object.values(group.signals)) unclear.set(signal, units);
}

/** A rate is anchored if it shows the motion of something else whose unit is known. */
function isAnchored(group: Group, choice: Combination, compared: ComparedRotations): boolean {
  const { attitudeGyro, attitudeRate, gyroRate } = compared.agreement(choice);
  const own = group.name === 'gyro' ? attitudeGyro : attitudeRate;
  const other = group.name === 'gyro' ? attitudeRate : attitudeGyro;
  if (commonGain(own) !== null) return true;
  // Gyro and rate vouch for each other only if one of them is anchored otherwise: counts would agree too.
  return commonGain(gyroRate) !== null && commonGain(other) !== null;
}

/** Two readings left, both in radians or both in degrees: as degrees, the motion may be too small for any flight. */
function withoutStill(
  groups: Groups,
  left: readonly Combination[],
  compared: ComparedRotations,
): readonly Combination[] {
  const attitude = left.find((each) => each.attitude?.unit.name === 'deg');
  if (groups.attitude.stated || !attitude) return left;
  const { attitudeGyro, attitudeRate } = compared.agreement(attitude);
  const axes = [...Object.values(attitudeGyro), ...Object.values(attitudeRate)];
  if (!axes.some((each) => Math.abs(each.correlation) >= SAME_MOTION)) return left;
  const stillRate = axes.every((each) => each.deviation < STILL.rate * (Math.PI / 180));
  const { roll, pitch } = groups.attitude.signals;
  const stillAttitude = [roll, pitch].every((signal) => !signal || deviation(signal.values) < STILL.attitude);
  if (!stillRate || !stillAttitude) return left;
  return left.filter((each) => each.attitude?.unit.name === 'rad');
}

function deviation(values: Float64Array): number {
  let [n, sum, squares] = [0, 0, 0];
  for (const value of values)
    if (value - value === 0) {
      n++;
      sum += value;
    }
  const mean = sum / n;
  for (const value of values) if (value - value === 0) squares += (value - mean) ** 2;
  return Math.sqrt(squares / n);
}

/** In a quiet log: as rad/s the gyro would turn much farther than the attitude does, as deg/s it would not. */
function boundedByAttitude(
  group: Group,
  left: readonly Combination[],
  compared: ComparedRotations,
): readonly Combination[] | null {
  const gains = (unit: string): number[] => {
    const choice = left.find((each) => each[group.name]?.unit.name === unit);
    if (!choice) return [];
    const { attitudeGyro, attitudeRate } = compared.agreement(choice);
    return Object.values(group.name === 'gyro' ? attitudeGyro : attitudeRate).map((each) => each.gain);
  };
  const [radians, degrees] = [gains('rad/s'), gains('deg/s')];
  const tooFar = radians.length >= 2 && radians.every((gain) => gain > 5);
  const near = degrees.every((gain) => gain > 0.2 && gain < 3);
  return tooFar && near ? left.filter((each) => each[group.name]?.unit.name === 'deg/s') : null;
}

function conversionsOf(
  groups: Groups,
  decided: Combination,
  compared: ComparedRotations,
): Map<RawSignal, Conversion> {
  const agreement = compared.agreement(decided);
  // In radians although degrees would be possible too: decided because degrees would mean no motion.
  const still = decided.attitude?.unit.name === 'rad';
  const result = new Map<RawSignal, Conversion>();
  for (const group of Object.values(groups)) {
    const choice = decided[group.name];
    if (!choice) continue;
    for (const signal of Object.values(group.signals)) {
      const unit = signal.stated?.unit ?? choice.unit;
      result.set(signal, {
        unit: unit.name,
        scale: choice.scales.get(signal)!,
        offset: 0,
        why: reason(groups, still, group, signal, unit, agreement),
      });
    }
  }
  return result;
}

function reason(
  groups: Groups,
  still: boolean,
  group: Group,
  signal: RawSignal,
  unit: Unit,
  agreement: RotationAgreement,
): string {
  const evidence: [string, PerAxis<Agreement>][] =
    group.name === 'attitude'
      ? [['gyro over rate of attitude', agreement.attitudeGyro], ['body rate over rate of attitude', agreement.attitudeRate]]
      : [['this rate over rate of attitude', group.name === 'gyro' ? agreement.attitudeGyro : agreement.attitudeRate], ['body rate over gyro', agreement.gyroRate]]; // prettier-ignore
  const found = evidence.find(([, each]) => commonGain(each) !== null);
  const gain = found ? commonGain(found[1])! : null;
  const physics = gain === null ? '' : `${found![0]} is ${gain.toPrecision(3)} in these units`;
  if (signal.stated) return physics === '' ? signal.stated.from : `${signal.stated.from}; ${physics}`;
  if (group.stated) return `${unit.name} like its neighbours`;
  if (physics === '') return `${unit.name}: its magnitudes are impossible otherwise`;
  // A ratio of 1 holds in degrees throughout as in radians throughout: say what told them apart.
  const { attitude } = groups;
  const apart =
    attitude.stated || Object.keys(attitude.signals).length === 0
      ? ''
      : attitude.choices.length === 1
        ? `, and the angles cannot be in ${attitude.choices[0]!.unit.name === 'deg' ? 'rad' : 'deg'}`
        : still
          ? ', and in degrees the aircraft would hardly have moved'
          : '';
  return `${unit.name}: ${physics}${apart}`;
}
