/** Rotor vibration that goes round the loop: lines of the gyro at rotor frequencies that the demand carries on. */
import { AXES, type AxisName, type Flight, type Interval, type Signal } from '@settle/parser';
import type { AxisStudy } from '../axis-study.js';
import type { Finding } from '../diagnosis.js';
import { BODY_AXIS_OF } from '../oscillation/axis-signals.js';
import { evenRecord, indexAtOrAfter, quantile, rotorSignals } from '../signals.js';
import { powerSpectralDensity } from '../spectrum/index.js';
import type { StudiedLine } from '../vibration/vibration-study.js';

/** Ripple of the demand worth a word, and a fault, as a share of full demand (common practice, no source). */
const RIPPLE_NOTE = 0.01;
const RIPPLE_FAULT = 0.05;
/** What is slower than this many times the rate loop's crossover is control, not vibration. */
const ABOVE_LOOP = 2;
/** Crossover where none is identified: faster than most, Hz (common practice, no source). */
const USUAL_CROSSOVER_HZ = 5;
/** A line is looked for this far either side of where it ranges. */
const BESIDE = 0.03;
const SEGMENT_S = 1.5;
/** Lines put into words; the rest is in the study. */
const MOST_WORDS = 3;
const KINDS = new Set<StudiedLine['kind']>(['rotor', 'blade-pass', 'rotor-harmonic']);

/** One rotor line as the demand's log can show it. */
interface RotorLine {
  readonly name: string;
  readonly lowHz: number;
  readonly highHz: number;
  /** In the gyro, rad/s; null where only the rotors' speed is known. */
  readonly gyroRms: number | null;
}

export interface VibrationContext {
  readonly flight: Flight;
  readonly hover: Interval;
  readonly studies: readonly AxisStudy[];
  readonly vibrationLines?: readonly StudiedLine[] | undefined;
}

export function rotorVibrationFindings(context: VibrationContext): Finding[] {
  return context.studies.flatMap((study) => {
    const { demand } = study.signals;
    const lines = linesOf(context, study.axis);
    if (demand === null || lines.length === 0) return [];
    return axisFinding(study, demand, context.hover, lines);
  });
}

function linesOf({ flight, hover, vibrationLines }: VibrationContext, axis: AxisName): RotorLine[] {
  if (vibrationLines !== undefined)
    return vibrationLines
      .filter((l) => l.sensor === 'gyro' && l.axis === BODY_AXIS_OF[axis] && KINDS.has(l.kind))
      .map((l) => ({
        name: `${l.kind === 'blade-pass' ? 'blade pass' : l.order === null ? 'rotor' : `${l.order.toFixed(0)}× rotor`}`,
        // A folded line is measured where it truly is, and folds again with the demand's own log.
        lowHz: l.trueFrequencyHz ?? l.lowHz,
        highHz: l.trueFrequencyHz ?? l.highHz,
        gyroRms: l.rms,
      }));
  const speeds = rotorSignals(flight).flatMap((signal) => {
    const from = indexAtOrAfter(signal.clock.timeS, hover.startS);
    const values = signal.values.slice(from, indexAtOrAfter(signal.clock.timeS, hover.endS));
    const low = quantile(values, 0.05);
    const high = quantile(values, 0.95);
    return low > 1 ? [{ low, high }] : [];
  });
  if (speeds.length === 0) return [];
  const lowHz = Math.min(...speeds.map((s) => s.low));
  const highHz = Math.max(...speeds.map((s) => s.high));
  return [1, 2].map((order) => ({
    name: `${String(order)}× rotor`,
    lowHz: order * lowHz,
    highHz: order * highHz,
    gyroRms: null,
  }));
}

function axisFinding(
  study: AxisStudy,
  demand: Signal,
  hover: Interval,
  lines: readonly RotorLine[],
): Finding[] {
  const record = evenRecord(demand, hover);
  if (record === null) return [];
  const rate = record.sampleRateHz;
  const segmentLength = Math.min(record.values.length, Math.round(SEGMENT_S * rate));
  if (segmentLength < 64) return [];
  const spectrum = powerSpectralDensity(record.values, rate, { segmentLength });
  const crossover = study.identification?.margins?.rate?.crossoverHz ?? USUAL_CROSSOVER_HZ;
  const above = ABOVE_LOOP * crossover;
  const binHz = spectrum.frequenciesHz[1]!;
  const power = (inside: (hz: number) => boolean): number => {
    let sum = 0;
    for (let k = 1; k < spectrum.frequenciesHz.length; k++)
      if (inside(spectrum.frequenciesHz[k]!)) sum += spectrum.values[k]! * binHz;
    return sum;
  };
  // A fold that falls on a swing of the axis itself cannot be told from it.
  const swings = study.oscillations.map((o) => o.frequencyHz);
  const bands = lines
    .flatMap((line) => foldedBand(line, rate, above))
    .filter((band) => swings.every((hz) => hz < band.lowHz || hz > band.highHz));
  if (bands.length === 0) return [];
  const inLine = (hz: number): boolean => bands.some((b) => hz >= b.lowHz - binHz && hz <= b.highHz + binHz);
  const fast = power((hz) => hz > above);
  const raw = power((hz) => hz > above && inLine(hz));
  // The lines stand on a floor that would be there without them.
  const floorDensity = quantile(
    Array.from(spectrum.values).filter(
      (_, k) => spectrum.frequenciesHz[k]! > above && !inLine(spectrum.frequenciesHz[k]!),
    ),
    0.5,
  );
  const width = binHz * countBins(spectrum.frequenciesHz, (hz) => hz > above && inLine(hz));
  const own = Math.max(0, raw - (Number.isFinite(floorDensity) ? floorDensity : 0) * width);
  const ripple = Math.sqrt(2 * own);
  const { axis } = study;
  if (ripple < RIPPLE_NOTE) return [];
  const fault = ripple >= RIPPLE_FAULT;
  return [
    {
      id: 'rotor-vibration',
      axis,
      severity: fault ? 'fault' : 'note',
      confidence: lines.some((line) => line.gyroRms !== null) ? 0.9 : 0.8,
      summary: `rotor vibration goes round the ${axis} loop: it shakes the demand by ±${(100 * ripple).toFixed(1)} % of full demand`,
      evidence: [
        `${((100 * own) / Math.max(1e-12, fast)).toFixed(0)} % of the demand's power above ${above.toFixed(0)} Hz stands at ${[...new Set(bands.map((b) => b.name))].join(', ')}`,
        ...bands.slice(0, MOST_WORDS).map((b) => b.words),
        `more than ${(100 * RIPPLE_NOTE).toFixed(0)} % of full demand is worth a look, ${(100 * RIPPLE_FAULT).toFixed(0)} % heats motors and takes authority (common practice)`,
      ],
    },
  ];
}

const countBins = (frequencies: Float64Array, inside: (hz: number) => boolean): number =>
  frequencies.reduce((sum, hz) => sum + (inside(hz) ? 1 : 0), 0);

/** Where a line stands in a log of a slower rate; nothing where that is within the loop's own band. */
function foldedBand(
  line: RotorLine,
  rateHz: number,
  aboveHz: number,
): { name: string; lowHz: number; highHz: number; words: string }[] {
  const centre = (line.lowHz + line.highHz) / 2;
  const half = (line.highHz - line.lowHz) / 2 + BESIDE * centre;
  const folded = Math.abs(centre - rateHz * Math.round(centre / rateHz));
  if (folded - half < aboveHz) return [];
  const seen =
    folded < centre - 1
      ? `, seen at ${folded.toFixed(1)} Hz in the demand's ${rateHz.toFixed(0)} Hz log`
      : '';
  const gyro =
    line.gyroRms === null ? '' : `, ${((line.gyroRms * 180) / Math.PI).toFixed(2)} deg/s RMS in the gyro`;
  return [
    {
      name: line.name,
      lowHz: folded - half,
      highHz: folded + half,
      words: `${line.name} line at ${centre.toFixed(1)} Hz${gyro}${seen}`,
    },
  ];
}

/** Axes whose demand carries rotor vibration, for advice. */
export const shakenAxes = (findings: readonly Finding[]): AxisName[] =>
  AXES.filter((axis) => findings.some((f) => f.id === 'rotor-vibration' && f.axis === axis));
