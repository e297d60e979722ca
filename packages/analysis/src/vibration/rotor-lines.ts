/** The lines of the rotors: every order of every rotor on every sensor axis, folded ones included. */
import type { LineKind, StudiedLine } from './vibration-study.js';
import type { RotorAngles } from './rotor-angles.js';
import type { LineSpectrum } from './line-spectrum.js';
import {
  lineAtRest,
  medianOf,
  restSpectrum,
  turning,
  type OrderLine,
  type RotorAngle,
} from './order-lines.js';
import type { SensorRecord } from './sensor-records.js';

/** Orders looked for, as far as they are slower than this many times the sample rate. */
const HIGHEST_ORDER = 8;
const HIGHEST_RATES = 2.5;
/** Chance at which a line counts whose order is seen from another rotor. */
const WEAK = 0.3;
/** Orders that rotors hardly make, and folded lines, must stand this far out. */
const UNLIKELY_DB = 7;
const RARE_NARROWNESS = 0.5;
const FOLDED_NARROWNESS = 0.2;
/** Lines of different rotors nearer than this cannot be told apart, Hz. */
const APART_HZ = 0.6;
/** How far off its order a line may stand: share of the frequency with logged speeds, and with speeds found from the spectrum. */
const TOLERANCE = { 'speed-channel': 0.002, spectrum: 0.003 } as const;
const LEAST_TOLERANCE_HZ = 0.3;

/** Frequency at which a line stands in a log of this rate. */
export function foldedHz(frequencyHz: number, sampleRateHz: number): number {
  return Math.abs(frequencyHz - sampleRateHz * Math.round(frequencyHz / sampleRateHz));
}

export interface RotorLine extends OrderLine {
  /** Where it stands in the log, and what it truly is. */
  readonly loggedHz: number;
  readonly trueHz: number;
  readonly folded: boolean;
  /** 5th and 95th percentile over the hover, as logged. */
  readonly lowHz: number;
  readonly highHz: number;
  /** Ends of the range. */
  readonly firstHz: number;
  readonly lastHz: number;
  /** Seen by itself; else only because another rotor's line of this order is. */
  readonly sure: boolean;
}

/**
 * @param falseAlarmRate chance per sensor axis that noise alone gives one
 */
export function findRotorLines(
  angles: RotorAngles,
  seen: readonly { readonly record: SensorRecord; readonly spectrum: LineSpectrum }[],
  lowestHz: number,
  falseAlarmRate: number,
): RotorLine[] {
  const perTest = falseAlarmRate / (HIGHEST_ORDER * Math.max(1, angles.rotors.length));
  const out: RotorLine[] = [];
  for (const rotor of angles.rotors) {
    for (let order = 1; order <= HIGHEST_ORDER; order++) {
      const trueHz = order * rotor.meanHz;
      let cosSin: Float64Array | null = null;
      for (const { record } of seen) {
        if (record.values.length !== rotor.turns.length) continue;
        if (trueHz > HIGHEST_RATES * record.sampleRateHz) continue;
        const loggedHz = foldedHz(trueHz, record.sampleRateHz);
        if (loggedHz < lowestHz || loggedHz > 0.495 * record.sampleRateHz) continue;
        cosSin ??= turning(rotor.turns, order);
        const spectrum = restSpectrum(record.values, cosSin, record.sampleRateHz);
        const toleranceHz = Math.max(LEAST_TOLERANCE_HZ, TOLERANCE[angles.from] * trueHz);
        const line = lineAtRest(spectrum, toleranceHz, WEAK);
        if (line === null) continue;
        const sure = lineAtRest(spectrum, toleranceHz, perTest) !== null;
        const unlikely = order > 3 || trueHz > record.sampleRateHz / 2;
        out.push({
          ...line,
          sure:
            sure &&
            (!unlikely ||
              (line.aboveFloorDb > UNLIKELY_DB &&
                line.narrowness > (order > 3 ? RARE_NARROWNESS : FOLDED_NARROWNESS))),
          record,
          rotor: rotor.rotor,
          order,
          trueHz,
          loggedHz,
          ...rangeOf(rotor, order, record),
          folded: trueHz > record.sampleRateHz / 2,
        });
      }
    }
  }
  const established = new Set(out.filter((line) => line.sure).map(placeOf));
  const seenOften = out.filter(
    (line) => established.has(placeOf(line)) && isPlausible(line, out, seen.length),
  );
  const lines = withoutGhosts(apart(seenOften));
  return seen.flatMap(({ record, spectrum }) =>
    levelled(
      lines.filter((line) => line.record === record),
      spectrum,
    ),
  );
}

/** Orders that rotors make, but for multiples of the blades'. */
const USUAL_ORDERS = 4;
/** A folded order is believed where this many sensor axes show it, as far as there are so many. */
const FOLDED_AXES = 2;

/** Folded lines are looked for where anything may stand: they need an order that rotors make, and more than one witness. */
function isPlausible(line: RotorLine, all: readonly RotorLine[], records: number): boolean {
  if (!line.folded) return true;
  const blades = bladeOrder(all.filter((other) => other.sure && !other.folded));
  if (line.order > USUAL_ORDERS && (blades === null || line.order % blades !== 0)) return false;
  const axes = new Set(
    all.filter((other) => other.sure && other.order === line.order).map((other) => other.record),
  );
  return axes.size >= Math.min(FOLDED_AXES, records);
}

/** A folded line this much weaker than a plain one that it falls upon is that one's skirt. */
const GHOST_SHARE = 0.5;

function withoutGhosts(lines: readonly RotorLine[]): RotorLine[] {
  return lines.filter(
    (line) =>
      !line.folded ||
      !lines.some(
        (other) =>
          !other.folded &&
          other.record === line.record &&
          other.rms * GHOST_SHARE > line.rms &&
          line.loggedHz > other.firstHz - EDGE_HZ / 2 &&
          line.loggedHz < other.lastHz + EDGE_HZ / 2,
      ),
  );
}

/** Sensor, axis and order of a line. */
function placeOf({ record, order }: RotorLine): string {
  return `${record.sensor} ${record.axis} ${String(order)}`;
}

/** Over the hover, from steps of a tenth of a second. */
export function rangeOf(
  rotor: Pick<RotorAngle, 'turns'>,
  order: number,
  record: SensorRecord,
): Pick<RotorLine, 'lowHz' | 'highHz' | 'firstHz' | 'lastHz'> {
  const step = Math.max(1, Math.round(0.1 * record.sampleRateHz));
  const speeds: number[] = [];
  for (let i = 0; i + step < rotor.turns.length; i += step)
    speeds.push(
      foldedHz(
        (order * (rotor.turns[i + step]! - rotor.turns[i]!) * record.sampleRateHz) / step,
        record.sampleRateHz,
      ),
    );
  speeds.sort((a, b) => a - b);
  const at = (share: number): number => speeds[Math.floor(share * (speeds.length - 1))] ?? 0;
  return { lowHz: at(0.05), highHz: at(0.95), firstHz: at(0), lastHz: at(1) };
}

/** Lines of one order on one axis that stand too near one another are one, of no rotor in particular. */
function apart(lines: readonly RotorLine[]): RotorLine[] {
  const groups = new Map<string, RotorLine[]>();
  for (const line of lines) {
    const key = placeOf(line);
    groups.set(key, [...(groups.get(key) ?? []), line]);
  }
  const out: RotorLine[] = [];
  for (const group of groups.values()) {
    const sorted = [...group].sort((a, b) => a.trueHz - b.trueHz);
    let together: RotorLine[] = [];
    for (const line of sorted) {
      if (together.length > 0 && line.trueHz - together.at(-1)!.trueHz > APART_HZ) {
        out.push(merged(together));
        together = [];
      }
      together.push(line);
    }
    out.push(merged(together));
  }
  return out;
}

function merged(lines: readonly RotorLine[]): RotorLine {
  const strongest = lines.reduce((a, b) => (b.rms > a.rms ? b : a));
  // Each already holds its neighbours' power: they stand within one another's bins.
  return lines.length === 1 ? strongest : { ...strongest, rotor: null };
}

/** Beyond the range of a smeared line, Hz. */
const BESIDE_HZ = 0.6;
/** More than this times what was seen at rest is another line's. */
const MOST_SMEARED = 2.5;
/** Rotors too near one another to tell apart each hold part of their neighbours' power: together they hold no more than there is. */
const MOST_SHARED = 0.4;

/**
 * What a rotor's speed, known only so well, smears beyond the bins at rest is still its own: lines whose ranges touch are given
 * together what the plain spectrum holds there.
 */
function levelled(lines: readonly RotorLine[], spectrum: LineSpectrum): RotorLine[] {
  const sorted = [...lines].sort((a, b) => a.firstHz - b.firstHz);
  const groups: RotorLine[][] = [];
  let until = -Infinity;
  for (const line of sorted) {
    if (line.firstHz - BESIDE_HZ < until) groups.at(-1)!.push(line);
    else groups.push([line]);
    until = Math.max(until, line.lastHz + BESIDE_HZ);
  }
  return groups.flatMap((group) => {
    const lowHz = Math.min(...group.map((line) => line.firstHz)) - BESIDE_HZ;
    const power = powerWithin(spectrum, lowHz, Math.max(...group.map((line) => line.lastHz)) + BESIDE_HZ);
    const atRest = group.reduce((sum, line) => sum + line.rms ** 2, 0);
    const factor = Math.sqrt(Math.max(0, power) / atRest);
    return factor > MOST_SHARED && factor < MOST_SMEARED
      ? group.map((line) => ({ ...line, rms: factor * line.rms }))
      : group;
  });
}

/** Beside a range, where its floor is read, Hz. */
const EDGE_HZ = 4;

/** Power over the floor; a wide smear lifts the floor under it, so that is read beside it as well. */
function powerWithin({ density, floor, binHz }: LineSpectrum, lowHz: number, highHz: number): number {
  const last = density.length - 1;
  const from = Math.max(1, Math.floor(lowHz / binHz));
  const to = Math.min(last, Math.ceil(highHz / binHz));
  const beside = (start: number, end: number): number =>
    medianOf([...density.subarray(Math.max(1, Math.round(start)), Math.min(last, Math.round(end)))]) ||
    Infinity;
  const edge = Math.min(beside(from - EDGE_HZ / binHz, from), beside(to + 1, to + 1 + EDGE_HZ / binHz));
  let power = 0;
  for (let k = from; k <= to; k++) power += (density[k]! - Math.min(floor[k]!, edge)) * binHz;
  return power;
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
 * while what is off centre differs from rotor to rotor. (Mechanics; the weights are common sense, no source.) null: none.
 */
export function bladeOrder(lines: readonly RotorLine[]): number | null {
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
        .filter(({ record }) => record.sensor === sensor && axes.includes(record.axis))
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
