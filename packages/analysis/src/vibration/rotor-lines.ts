/** The lines of the rotors as they are handed on: where they fold to, how far they range, which order is the blades'. */
import type { LineKind, StudiedLine } from './vibration-study.js';
import type { RotorAngles } from './rotor-angles.js';
import type { FittedLine } from './fit-line.js';
import type { OrderLine, RotorAngle } from './order-lines.js';
import { meanOf } from './relative-speeds.js';
import type { SensorRecord } from './sensor-records.js';

/** Frequency at which a line stands in a log of this rate. */
export function foldedHz(frequencyHz: number, sampleRateHz: number): number {
  return Math.abs(frequencyHz - sampleRateHz * Math.round(frequencyHz / sampleRateHz));
}

export interface RotorLine extends OrderLine {
  /** Where it stands in the log, on average over time, and what it truly is. */
  readonly loggedHz: number;
  readonly trueHz: number;
  readonly folded: boolean;
  /** 5th and 95th percentile over the hover, as logged. */
  readonly lowHz: number;
  readonly highHz: number;
  /** Ends of the range. */
  readonly firstHz: number;
  readonly lastHz: number;
}

/** Where a multiple of a rotor stands in a log over the hover. */
export interface LoggedRange extends Pick<RotorLine, 'lowHz' | 'highHz' | 'firstHz' | 'lastHz'> {
  /** Time mean, less where the mean speed would stand: a line that turns round at half the sample rate keeps below it. */
  readonly turnedHz: number;
}

export function rangeOf(rotor: Pick<RotorAngle, 'turns'>, order: number, record: SensorRecord): LoggedRange {
  const { sampleRateHz } = record;
  const trueHz = courseHz(rotor, order, record);
  const logged = trueHz.map((hz) => foldedHz(hz, sampleRateHz));
  const turnedHz = logged.length === 0 ? 0 : meanOf(logged) - foldedHz(meanOf(trueHz), sampleRateHz);
  logged.sort((a, b) => a - b);
  const at = (share: number): number => logged[Math.floor(share * (logged.length - 1))] ?? 0;
  return { lowHz: at(0.05), highHz: at(0.95), firstHz: at(0), lastHz: at(1), turnedHz };
}

/** Frequency of a multiple of a rotor, before it folds, over steps of a tenth of a second. */
function courseHz(
  { turns }: Pick<RotorAngle, 'turns'>,
  order: number,
  { sampleRateHz }: SensorRecord,
): number[] {
  const step = Math.max(1, Math.round(0.1 * sampleRateHz));
  const out: number[] = [];
  for (let i = 0; i + step < turns.length; i += step)
    out.push((order * (turns[i + step]! - turns[i]!) * sampleRateHz) / step);
  return out;
}

/** How far apart multiples of two rotors stand in a log, rms over time, Hz. */
export function loggedApartHz(
  a: { readonly rotor: Pick<RotorAngle, 'turns'>; readonly order: number },
  b: { readonly rotor: Pick<RotorAngle, 'turns'>; readonly order: number },
  record: SensorRecord,
): number {
  const [one, other] = [a, b].map(({ rotor, order }) =>
    courseHz(rotor, order, record).map((hz) => foldedHz(hz, record.sampleRateHz)),
  ) as [number[], number[]];
  return Math.sqrt(meanOf(one.map((hz, i) => (hz - other[i]!) ** 2)));
}

/** What a line this strong leaves beside it is no mode of its own: share of its rms, and half widths of the mode that reach it. */
const SKIRT_RMS = 0.05;
const SKIRT_WIDTHS = 2;

export function isSkirt(
  { frequencyHz, halfWidthHz, rms }: Pick<FittedLine, 'frequencyHz' | 'halfWidthHz' | 'rms'>,
  turning: readonly Pick<RotorLine, 'firstHz' | 'lastHz' | 'rms'>[],
  sidebandHz: number,
): boolean {
  const reach = Math.max(sidebandHz, SKIRT_WIDTHS * halfWidthHz);
  return turning.some(
    (line) =>
      frequencyHz > line.firstHz - reach && frequencyHz < line.lastHz + reach && rms < SKIRT_RMS * line.rms,
  );
}

/** Orders from the second up among which the blades' is sought. */
const BLADES = [2, 3, 4, 5];
/** What counts against an order, natural log of power: share across the rotors' axes, about them, and unevenness between rotors. */
const ACROSS = 8;
const ABOUT = 20;
const UNEVEN = 6;
/** Fewer rotors of an order told apart say nothing of how even they are. */
const LEAST_ROTORS = 3;

/**
 * Blade pass is the order above the first that holds most and looks most like thrust. Blades push the air down in pulses: along the
 * rotors' axes, so an arm away from the middle they roll and pitch the body and do not yaw it; and blades of one make push alike,
 * while what is off centre differs from rotor to rotor. (Mechanics; the weights are common sense, no source.) A mode passes on what it
 * stands near, along its own axes and many times over: a line that a stronger mode of its record holds does not count, while others do.
 *
 * @returns null: none
 */
export function bladeOrder(
  all: readonly RotorLine[],
  found: readonly { readonly record: SensorRecord; readonly fitted: FittedMode }[],
): number | null {
  const modes = found.filter(({ fitted }) => fitted.kind === 'mode');
  const clear = all.filter(
    (line) =>
      line.order === 1 || !modes.some(({ record, fitted }) => record === line.record && holds(fitted, line)),
  );
  const lines = clear.some((line) => BLADES.includes(line.order)) ? clear : all;
  // Further off a mode still turns what it passes on into its own direction.
  const straight = (line: RotorLine): boolean =>
    !modes.some(({ record, fitted }) => record === line.record && bends(fitted, line));
  const wholes = new Map<string, number>();
  const key = ({ record }: RotorLine): string => `${record.sensor} ${record.axis}`;
  for (const line of lines) wholes.set(key(line), (wholes.get(key(line)) ?? 0) + line.rms ** 2);
  let best: { order: number; score: number } | null = null;
  for (const order of BLADES) {
    const own = lines.filter((line) => line.order === order);
    const share = own.reduce((sum, line) => sum + line.rms ** 2 / wholes.get(key(line))!, 0);
    if (share <= 0) continue;
    const power = (sensor: string, axes: string): number =>
      own
        .filter((line) => line.record.sensor === sensor && axes.includes(line.record.axis) && straight(line))
        .reduce((sum, line) => sum + line.rms ** 2, 0);
    const part = (some: number, all: number): number => (all > 0 ? some / all : 0);
    const score =
      Math.log(share) -
      ACROSS * part(power('accel', 'xy'), power('accel', 'xyz')) -
      ABOUT * part(power('gyro', 'z'), power('gyro', 'xyz')) -
      UNEVEN * unevenness(own, key);
    if (best === null || score > best.score) best = { order, score };
  }
  return best?.order ?? null;
}

/** A mode passes on what stands within so many half widths of it, and within this share of its frequency. */
const MODE_WIDTHS = 2;
const MODE_SHARE = 0.02;

/** It turns what stands within this share of its frequency: there its own motion is at least 1.4 times what drives it. */
const BENDS_SHARE = 0.3;

function bends({ frequencyHz, rms }: FittedMode, line: RotorLine): boolean {
  return rms > line.rms && Math.abs(line.loggedHz / frequencyHz - 1) < BENDS_SHARE;
}

type FittedMode = Pick<FittedLine, 'kind' | 'frequencyHz' | 'halfWidthHz' | 'rms'>;

function holds({ frequencyHz, halfWidthHz, rms }: FittedMode, line: RotorLine): boolean {
  const reach = Math.max(MODE_WIDTHS * halfWidthHz, MODE_SHARE * frequencyHz);
  return rms > line.rms && line.firstHz - reach < frequencyHz && frequencyHz < line.lastHz + reach;
}

/** Standard deviation over mean of the rotors' levels, on the sensor axis that shows them most evenly. */
function unevenness(own: readonly RotorLine[], key: (line: RotorLine) => string): number {
  let least: number | null = null;
  for (const place of new Set(own.map(key))) {
    const levels = own.filter((line) => key(line) === place && line.rotor !== null).map((line) => line.rms);
    if (levels.length < LEAST_ROTORS) continue;
    const mean = levels.reduce((sum, v) => sum + v, 0) / levels.length;
    const variance = levels.reduce((sum, v) => sum + (v - mean) ** 2, 0) / levels.length;
    least = Math.min(least ?? Infinity, Math.sqrt(variance) / mean);
  }
  return least ?? 0;
}

export function kindOfOrder(order: number, blades: number | null): LineKind {
  return order === 1 ? 'rotor' : order === blades ? 'blade-pass' : 'rotor-harmonic';
}

export function describeRotorLine(
  line: RotorLine,
  blades: number | null,
  from: RotorAngles['from'],
): StudiedLine {
  const { record, folded } = line;
  const kind = kindOfOrder(line.order, blades);
  const names = {
    rotor: 'once per revolution',
    'blade-pass': 'blade pass',
    'rotor-harmonic': 'a multiple of the rotor',
  } as const;
  const what = names[kind as keyof typeof names];
  return {
    sensor: record.sensor,
    axis: record.axis,
    frequencyHz: line.loggedHz,
    frequencyStdHz: Math.max(0.02, 0.0005 * line.trueHz),
    lowHz: line.lowHz,
    highHz: line.highHz,
    rms: line.rms,
    aboveFloorDb: line.aboveFloorDb,
    kind: folded ? 'alias' : kind,
    order: line.order,
    rotor: line.rotor,
    trueFrequencyHz: folded ? line.trueHz : null,
    confidence: from === 'speed-channel' ? 0.97 : 0.9,
    evidence: [
      `it turns with ${line.rotor === null ? 'the rotors' : `rotor ${String(line.rotor)}`}, ${String(line.order)} times per revolution (${what}), within ${Math.abs(line.offsetHz).toFixed(2)} Hz, whatever the speed does`,
      ...(folded
        ? [
            `its true frequency is ${line.trueHz.toFixed(1)} Hz: at ${record.sampleRateHz.toFixed(0)} Hz the log folds it down to ${line.loggedHz.toFixed(1)} Hz; log at ${(2.5 * line.trueHz).toFixed(0)} Hz or more to see it where it is`,
          ]
        : []),
    ],
  };
}
