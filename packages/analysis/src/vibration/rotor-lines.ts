/** The lines of the rotors: every order of every rotor on every sensor axis, folded ones included. */
import type { LineKind, StudiedLine } from './vibration-study.js';
import type { RotorAngles } from './rotor-angles.js';
import { lineAtRest, restSpectrum, turning, type OrderLine, type RotorAngle } from './order-lines.js';
import type { SensorRecord } from './sensor-records.js';

/** Orders looked for, as far as they are slower than this many times the sample rate. */
const HIGHEST_ORDER = 8;
const HIGHEST_RATES = 2.5;
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
}

/**
 * @param falseAlarmRate chance per sensor axis that noise alone gives one
 */
export function findRotorLines(
  angles: RotorAngles,
  records: readonly SensorRecord[],
  lowestHz: number,
  falseAlarmRate: number,
): RotorLine[] {
  const perTest = falseAlarmRate / (HIGHEST_ORDER * Math.max(1, angles.rotors.length));
  const out: RotorLine[] = [];
  for (const rotor of angles.rotors) {
    for (let order = 1; order <= HIGHEST_ORDER; order++) {
      const trueHz = order * rotor.meanHz;
      let cosSin: Float64Array | null = null;
      for (const record of records) {
        if (record.values.length !== rotor.turns.length) continue;
        if (trueHz > HIGHEST_RATES * record.sampleRateHz) continue;
        const loggedHz = foldedHz(trueHz, record.sampleRateHz);
        if (loggedHz < lowestHz || loggedHz > 0.495 * record.sampleRateHz) continue;
        cosSin ??= turning(rotor.turns, order);
        const spectrum = restSpectrum(record.values, cosSin, record.sampleRateHz);
        const toleranceHz = Math.max(LEAST_TOLERANCE_HZ, TOLERANCE[angles.from] * trueHz);
        const line = lineAtRest(spectrum, toleranceHz, perTest);
        if (line === null) continue;
        out.push({
          ...line,
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
  return apart(out);
}

/** Over the hover, from steps of a tenth of a second. */
function rangeOf(rotor: RotorAngle, order: number, record: SensorRecord): { lowHz: number; highHz: number } {
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
  return {
    lowHz: speeds[Math.floor(0.05 * speeds.length)] ?? 0,
    highHz: speeds[Math.floor(0.95 * speeds.length)] ?? 0,
  };
}

/** Lines of one order on one axis that stand too near one another are one, of no rotor in particular. */
function apart(lines: readonly RotorLine[]): RotorLine[] {
  const groups = new Map<string, RotorLine[]>();
  for (const line of lines) {
    const key = `${line.record.sensor} ${line.record.axis} ${String(line.order)}`;
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

/** Orders from the second up among which the blades' is sought. */
const BLADES = [2, 3, 4, 5];

/** Blade pass is the order above the first that holds most over all axes, in units of each axis' whole family; null: none. */
export function bladeOrder(lines: readonly RotorLine[]): number | null {
  const wholes = new Map<string, number>();
  const key = (line: RotorLine): string => `${line.record.sensor} ${line.record.axis}`;
  for (const line of lines) wholes.set(key(line), (wholes.get(key(line)) ?? 0) + line.rms ** 2);
  let best: { order: number; share: number } | null = null;
  for (const order of BLADES) {
    const share = lines
      .filter((line) => line.order === order)
      .reduce((sum, line) => sum + line.rms ** 2 / wholes.get(key(line))!, 0);
    if (share > 0 && (best === null || share > best.share)) best = { order, share };
  }
  return best?.order ?? null;
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
