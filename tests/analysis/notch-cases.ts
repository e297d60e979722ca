/** Made-up vibration whose truth is known, for the tests of filters: lines on a background, as a study would hand them on. */
import type { BodyAxis } from '@settle/parser';
import type {
  SensorSpectrum,
  StudiedLine,
  VibrationStudy,
} from '../../packages/analysis/src/vibration/vibration-study.js';

export interface MadeLine {
  readonly hz: number;
  readonly rms: number;
  readonly axis?: BodyAxis;
  readonly kind?: StudiedLine['kind'];
  readonly order?: number | null;
  readonly rotor?: number | null;
  /** Half the range over which it wanders, as a share. */
  readonly wander?: number;
  readonly trueHz?: number | null;
}

export interface MadeStudy {
  readonly lines: readonly MadeLine[];
  /** (rad/s)²/Hz on every axis. */
  readonly density?: number;
  readonly sampleRateHz?: number;
  readonly lowestHz?: number;
  readonly rotorHz?: number | null;
  /** Rotor speed over the hover, for tracks; default constant. */
  readonly track?: (timeS: number) => number;
  readonly from?: 'speed-channel' | 'spectrum';
  readonly durationS?: number;
}

export function madeStudy(made: MadeStudy): VibrationStudy {
  const sampleRateHz = made.sampleRateHz ?? 400;
  const durationS = made.durationS ?? 20;
  const lines = made.lines.map(studiedLine);
  const rotorHz = made.rotorHz ?? null;
  const track = made.track ?? ((): number => rotorHz ?? 0);
  const timeS = Float64Array.from({ length: 10 * durationS }, (_, i) => i / 10);
  const hz = timeS.map(track);
  const sorted = Float64Array.from(hz).sort();
  return {
    interval: { startS: 0, endS: durationS },
    lowestHz: made.lowestHz ?? 20,
    spectra: (['x', 'y', 'z'] as const).map((axis) =>
      madeSpectrum(axis, sampleRateHz, made.density ?? 0, lines),
    ),
    elsewhere: [],
    lines,
    rotor:
      rotorHz === null
        ? { unavailable: 'no rotor lines' }
        : {
            from: made.from ?? 'speed-channel',
            tracks: [{ rotor: null, timeS, hz }],
            hoverHz: rotorHz,
            hoverStdHz: 0.05,
            unseen: 0,
            lowHz: sorted[Math.floor(0.05 * sorted.length)]!,
            highHz: sorted[Math.floor(0.95 * sorted.length)]!,
            throttleExponent: null,
            throttleExponentStd: null,
            hoverThrottle: 0.5,
            evidence: [],
          },
    sensors: [],
    campbell: [],
    falseAlarmRate: 0.01,
  };
}

function studiedLine(line: MadeLine): StudiedLine {
  const wander = line.wander ?? 0.005;
  const order = line.order ?? null;
  return {
    sensor: 'gyro',
    axis: line.axis ?? 'x',
    frequencyHz: line.hz,
    frequencyStdHz: 0.02,
    lowHz: line.hz * (1 - wander),
    highHz: line.hz * (1 + wander),
    rms: line.rms,
    aboveFloorDb: 20,
    kind: line.kind ?? (order === null ? 'structure' : order === 1 ? 'rotor' : 'blade-pass'),
    order,
    rotor: line.rotor ?? null,
    trueFrequencyHz: line.trueHz ?? null,
    confidence: 0.9,
    evidence: [],
  };
}

/** The background everywhere, and each line's power in the bins around it. */
function madeSpectrum(
  axis: BodyAxis,
  sampleRateHz: number,
  density: number,
  lines: readonly StudiedLine[],
): SensorSpectrum {
  const bins = Math.round(sampleRateHz / 2) + 1;
  const frequencyHz = Float64Array.from({ length: bins }, (_, k) => k);
  const floor = new Float64Array(bins).fill(density);
  const all = Float64Array.from(floor);
  for (const line of lines) {
    if (line.axis !== axis) continue;
    const at = Math.round(line.frequencyHz);
    for (const [k, share] of [
      [at - 1, 0.25],
      [at, 0.5],
      [at + 1, 0.25],
    ] as const)
      if (k > 0 && k < bins) all[k] = all[k]! + share * line.rms ** 2;
  }
  return { sensor: 'gyro', axis, sampleRateHz, averages: 30, frequencyHz, density: all, floor };
}
