/** A demand it takes just to hover level, and what it most likely comes from. */
import { AXES, type AxisName, type Flight, type Interval, type Signal } from '@settle/parser';
import type { Actuators, Finding } from '../diagnosis.js';
import { evenRecord } from '../signals.js';
import { learnMotorMix, type MotorMix } from './motor-mix.js';

/** Steady demand worth a word, and worth mending, as a share of full authority (common practice, no source). */
const TRIM_NOTE = 0.08;
const TRIM_FAULT = 0.15;
/** What was read straight off the log; what is left is the chance that a channel is not what its header says. */
const MEASURED = 0.95;
/** Level, and leaning, deg. */
const LEVEL_DEG = 3;
const LEANING_DEG = 4;
/** A demand steady within this share of itself over a hover comes from the aircraft; wind changes. */
const STEADY_SHARE = 0.35;
/** Slow parts of demand and tilt that go together like this belong together. */
const GOES_WITH = 0.7;
/** Share of the motors' differences (sum of squares) that one of them alone accounts for, to stand out. */
const ONE_MOTOR = 0.85;
/** Differences smaller than this of full command are those of any set of motors. */
const SAME_COMMAND = 0.02;
const AVERAGE_S = 1;
const DEG = 180 / Math.PI;

export interface TrimContext {
  readonly flight: Flight;
  readonly hover: Interval;
  readonly actuators: Actuators;
}

export function trimFindings({ flight, hover, actuators }: TrimContext): Finding[] {
  const large = AXES.filter((axis) => Math.abs(actuators.trim[axis] ?? 0) >= TRIM_NOTE);
  if (large.length === 0) return [];
  const mix = learnMotorMix(flight, hover);
  const odd = oddMotor(actuators);
  return large.map((axis) => {
    const trim = actuators.trim[axis]!;
    const reasons = rankReasons(flight, hover, axis, actuators, odd, mix);
    return {
      id: 'trim-offset',
      axis,
      severity: Math.abs(trim) >= TRIM_FAULT ? ('fault' as const) : ('note' as const),
      confidence: MEASURED,
      summary: `${axis} needs ${pct(trim)} of its authority just to hover level: ${reasons.first}`,
      evidence: [
        `the mean ${axis} demand in hover is ${trim.toFixed(3)} of full authority, which leaves ${pct(1 - Math.abs(trim))} one way`,
        ...authorityLeft(actuators, mix, axis),
        ...reasons.evidence,
      ],
    };
  });
}

/** How far the demand can still go before a motor meets the end of its range. */
function authorityLeft(actuators: Actuators, mix: MotorMix | null, axis: AxisName): string[] {
  if (mix === null || mix.length !== actuators.motors.length) return [];
  const trim = actuators.trim[axis]!;
  const way = Math.sign(trim);
  let left = Number.POSITIVE_INFINITY;
  let which = 0;
  actuators.motors.forEach((motor, m) => {
    const slope = way * mix[m]![axis];
    if (Math.abs(slope) < 0.02) return;
    const room = slope > 0 ? (1 - motor.mean) / slope : motor.mean / -slope;
    if (room >= left) return;
    left = room;
    which = m;
  });
  return Number.isFinite(left)
    ? [
        `a further demand of ${left.toFixed(2)} that way brings motor ${String(which + 1)} to the end of its range`,
      ]
    : [];
}

/** One motor whose mean command stands apart from all others; null where none does. */
export function oddMotor({
  motors,
}: Pick<Actuators, 'motors'>): { index: number; above: number; share: number } | null {
  const n = motors.length;
  if (n < 3) return null;
  const mean = motors.reduce((sum, m) => sum + m.mean / n, 0);
  const off = motors.map((m) => m.mean - mean);
  const total = off.reduce((sum, d) => sum + d * d, 0);
  let best: { index: number; above: number; share: number } | null = null;
  off.forEach((d, index) => {
    // One motor off by δ is off the mean by δ(n−1)/n, the others by −δ/n.
    const share = (d * d * n) / (n - 1) / Math.max(1e-12, total);
    const above = (d * n) / (n - 1);
    if (share > ONE_MOTOR && Math.abs(above) > SAME_COMMAND && (best === null || share > best.share))
      best = { index, above, share };
  });
  return best;
}

interface Reasons {
  readonly first: string;
  readonly evidence: readonly string[];
}

function rankReasons(
  flight: Flight,
  hover: Interval,
  axis: AxisName,
  actuators: Actuators,
  odd: ReturnType<typeof oddMotor>,
  mix: MotorMix | null,
): Reasons {
  const names: { name: string; weight: number }[] = [];
  const evidence: string[] = [];
  const byMotor = 'a weak motor or prop';
  const bent = 'rotors that do not stand upright, or turn against each other unevenly';
  const weight = 'weight off centre';
  const wind = 'a steady wind';
  if (odd !== null && odd.above > 0) {
    const others = actuators.motors.filter((_, m) => m !== odd.index);
    evidence.push(
      `motor ${String(odd.index + 1)} stands out: ${actuators.motors[odd.index]!.mean.toFixed(2)} of full command on average, the others ${(others.reduce((s, m) => s + m.mean, 0) / others.length).toFixed(2)}; it alone accounts for ${pct(odd.share)} of the differences between motors`,
    );
    const shares = mix?.[odd.index];
    if (shares !== undefined) {
      const agree = AXES.filter((a) => shares[a] * (actuators.trim[a] ?? 0) > 0);
      evidence.push(
        `the demands of ${agree.join(', ')} go the way that raises it${agree.includes('yaw') ? ', yaw included, as its direction of rotation calls for' : ''}`,
      );
    }
    names.push({ name: `${byMotor} (motor ${String(odd.index + 1)})`, weight: 3 });
  } else names.push({ name: byMotor, weight: actuators.motors.length < 3 ? 1 : 0.5 });
  if (axis === 'yaw') {
    const pairs = yawPairs(actuators, mix);
    if (pairs !== null) evidence.push(pairs);
    names.push({ name: bent, weight: 2 });
  } else {
    const steady = steadiness(flight, hover, axis, actuators.trim[axis]!);
    if (steady !== null) evidence.push(...steady.evidence);
    names.push({ name: weight, weight: steady?.isSteady === false ? 0.7 : 2 });
    names.push({ name: wind, weight: steady?.isLeaning === true ? 2.5 : 0.6 });
  }
  names.sort((a, b) => b.weight - a.weight);
  const rest = names.slice(1).map((n) => n.name);
  return {
    first: `most likely ${names[0]!.name}`,
    evidence: [...evidence, `less likely by this log: ${rest.join(', then ')}`],
  };
}

function yawPairs(actuators: Actuators, mix: MotorMix | null): string | null {
  if (mix === null || mix.length !== actuators.motors.length) return null;
  const mean = (sign: number): number | null => {
    const group = actuators.motors.filter((_, m) => Math.sign(mix[m]!.yaw) === sign);
    return group.length === 0 ? null : group.reduce((sum, m) => sum + m.mean / group.length, 0);
  };
  const [up, down] = [mean(1), mean(-1)];
  if (up === null || down === null) return null;
  return `motors that turn the nose right stand at ${up.toFixed(2)} of full command, those that turn it left at ${down.toFixed(2)}`;
}

/** How steady the demand is, and whether the aircraft leans with it. */
function steadiness(
  flight: Flight,
  hover: Interval,
  axis: 'roll' | 'pitch',
  trim: number,
): { isSteady: boolean | null; isLeaning: boolean; evidence: readonly string[] } | null {
  const demand = averages(flight.signals.get(`rate.${axis}.demand`), hover);
  if (demand === null) return null;
  const angle = averages(flight.signals.get(`attitude.${axis}.measured`), hover);
  const spread = std(demand);
  const isSteady = demand.length < 4 ? null : spread < STEADY_SHARE * Math.abs(trim);
  const evidence =
    isSteady === null
      ? []
      : [
          `averaged over a second the demand ranges by ±${pct(spread)} around it: ${isSteady ? 'it comes from the aircraft more than from the air' : 'it changes as wind does'}`,
        ];
  if (angle === null) return { isSteady, isLeaning: false, evidence };
  const tilt = angle.reduce((sum, v) => sum + v / angle.length, 0) * DEG;
  const together = angle.length >= 6 ? correlation(demand, angle) : 0;
  const isLeaning = Math.abs(tilt) > LEANING_DEG || (isSteady === false && Math.abs(together) > GOES_WITH);
  if (Math.abs(tilt) < LEVEL_DEG)
    evidence.push(`it hovers level meanwhile: ${tilt.toFixed(1)}° of ${axis} on average`);
  else evidence.push(`it leans by ${tilt.toFixed(1)}° of ${axis} on average, as against a wind`);
  if (angle.length >= 6 && Math.abs(together) > GOES_WITH)
    evidence.push(
      `slow changes of the demand go with those of the angle (correlation ${together.toFixed(2)})`,
    );
  return { isSteady, isLeaning, evidence };
}

function averages(signal: Signal | undefined, hover: Interval): number[] | null {
  const record = signal === undefined ? null : evenRecord(signal, hover);
  if (record === null) return null;
  const width = Math.max(1, Math.round(AVERAGE_S * record.sampleRateHz));
  const out: number[] = [];
  for (let at = 0; at + width <= record.values.length; at += width) {
    let sum = 0;
    for (let i = at; i < at + width; i++) sum += record.values[i]! / width;
    out.push(sum);
  }
  return out.length < 2 ? null : out;
}

function std(values: readonly number[]): number {
  const mean = values.reduce((sum, v) => sum + v / values.length, 0);
  return Math.sqrt(values.reduce((sum, v) => sum + (v - mean) ** 2, 0) / values.length);
}

function correlation(a: readonly number[], b: readonly number[]): number {
  const n = Math.min(a.length, b.length);
  const x = a.slice(0, n);
  const y = b.slice(0, n);
  const mx = x.reduce((sum, v) => sum + v / n, 0);
  const my = y.reduce((sum, v) => sum + v / n, 0);
  const both = x.reduce((sum, v, i) => sum + ((v - mx) * (y[i]! - my)) / n, 0);
  const size = std(x) * std(y);
  return size > 0 ? both / size : 0;
}

function pct(share: number): string {
  return `${(100 * Math.abs(share)).toFixed(0)} %`;
}
