/** Vibration of a hover by kind of line, with the standard error that rotors beating against each other leave. */
import type { Flight, Interval } from '@settle/parser';
import { transformReal } from '../spectrum/fft.js';
import { sensorRecords, type SensorRecord } from '../vibration/sensor-records.js';
import type { SensorSpectrum, StudiedLine, VibrationStudy } from '../vibration/vibration-study.js';
import { unitOf } from '../vibration/describe-vibration.js';
import type { HoverSummary, LineSummary, Measured } from './hover-summary.js';
import { withBootstrap } from './measured-motion.js';

/** Stretches whose power is resampled, s. */
const STRETCH_S = 0.5;
/** Either side of the frequencies a line ranges over, Hz: what a stretch so short smears. */
const REACH_HZ = 3;
const FEWEST_STRETCHES = 12;

export function summariseLines(
  flight: Flight,
  hover: Interval,
  study: VibrationStudy,
): Pick<HoverSummary, 'lines' | 'levels' | 'bands'> {
  const records = sensorRecords(flight, hover);
  const powers = new Map(records.map((record) => [record, new PowerTrack(record)]));
  const groups = new Map<string, StudiedLine[]>();
  for (const line of study.lines) {
    const key = groupOf(line);
    groups.set(key, [...(groups.get(key) ?? []), line]);
  }
  const lines = [...groups.values()].flatMap((own) => summariseGroup(own, [...powers.values()]));
  const levels = (['gyro', 'accel'] as const).flatMap((sensor) => {
    const own = study.sensors.filter((s) => s.sensor === sensor);
    const tracks = [...powers.values()].filter(({ record }) => record.sensor === sensor);
    if (own.length === 0 || tracks.length === 0) return [];
    const power = addUp(tracks.map((track) => track.between([[study.lowestHz, Infinity]])));
    const value = unitOf(sensor) * Math.hypot(...own.map((s) => s.rms));
    return [{ sensor, sampleRateHz: own[0]!.sampleRateHz, rms: withRelativeStd(value, power) }];
  });
  return { lines, levels, bands: study.spectra.map(bandsOf) };
}

const LOWEST_BAND_HZ = 5;
const HIGHEST_BAND_HZ = 150;

/** Bands of 1 Hz, to four digits: enough to see later whether a line was there. */
function bandsOf({ sensor, axis, frequencyHz, density }: SensorSpectrum): HoverSummary['bands'][number] {
  const top = Math.min(HIGHEST_BAND_HZ, Math.floor(frequencyHz.at(-1) ?? 0));
  const power = new Array<number>(Math.max(0, top - LOWEST_BAND_HZ)).fill(0);
  for (let k = 1; k < frequencyHz.length; k++) {
    const band = Math.floor(frequencyHz[k]!) - LOWEST_BAND_HZ;
    if (band >= 0 && band < power.length)
      power[band] = power[band]! + density[k]! * (frequencyHz[k]! - frequencyHz[k - 1]!);
  }
  const rms = power.map((p) => Number((unitOf(sensor) * Math.sqrt(p)).toPrecision(4)));
  return { sensor, axis, fromHz: LOWEST_BAND_HZ, rms };
}

/** Rotors' lines by order, others by kind; structure, electrical and unknown lines stand for themselves. */
function groupOf(line: StudiedLine): string {
  return line.order !== null
    ? `${line.sensor} ${line.kind} ${line.order.toFixed(2)}`
    : `${line.sensor} ${line.kind} ${Math.round(24 * Math.log2(line.frequencyHz)).toFixed(0)}`;
}

function summariseGroup(lines: readonly StudiedLine[], tracks: readonly PowerTrack[]): LineSummary[] {
  const { sensor, kind, order } = lines[0]!;
  const strongest = lines.reduce((a, b) => (b.rms > a.rms ? b : a));
  const own = tracks.filter(({ record }) => record.sensor === sensor);
  const power = addUp(
    own.flatMap((track) => {
      const bands = lines
        .filter((line) => line.axis === track.record.axis)
        .map((line): [number, number] => [line.lowHz - REACH_HZ, line.highHz + REACH_HZ]);
      return bands.length === 0 ? [] : [track.between(bands)];
    }),
  );
  const value = unitOf(sensor) * Math.hypot(...lines.map((line) => line.rms));
  return [
    {
      sensor,
      kind,
      order,
      frequencyHz: strongest.frequencyHz,
      frequencyStdHz: strongest.frequencyStdHz,
      rms: withRelativeStd(value, power),
      axis: strongest.axis,
    },
  ];
}

/** Half the relative error of the power is that of its root. */
function withRelativeStd(value: number, power: Float64Array): Measured {
  const from = 'lines of the spectrum, standard error by block bootstrap over stretches of 0.5 s';
  if (power.length < FEWEST_STRETCHES) return { value, std: null, from };
  const { value: mean, std } = withBootstrap([power], ([m]) => m!, from);
  return { value, std: std === null || !(mean > 0) ? null : (0.5 * value * std) / mean, from };
}

function addUp(series: readonly Float64Array[]): Float64Array {
  const first = series[0];
  if (first === undefined) return new Float64Array(0);
  const count = Math.min(...series.map((s) => s.length));
  return Float64Array.from({ length: count }, (_, i) => series.reduce((sum, s) => sum + s[i]!, 0));
}

/** Spectra of short stretches of one sensor axis. */
class PowerTrack {
  readonly record: SensorRecord;
  readonly #spectra: Float64Array[] = [];
  readonly #binHz: number;

  constructor(record: SensorRecord) {
    this.record = record;
    const length = Math.max(8, 2 * Math.round((STRETCH_S * record.sampleRateHz) / 2));
    this.#binHz = record.sampleRateHz / length;
    for (let start = 0; start + length <= record.values.length; start += length) {
      const x = transformReal(
        Float64Array.from(
          { length },
          (_, i) => record.values[start + i]! * (0.5 - 0.5 * Math.cos((2 * Math.PI * i) / length)),
        ),
      );
      this.#spectra.push(
        Float64Array.from(
          { length: (length >> 1) + 1 },
          (_, k) => (x[2 * k] ?? 0) ** 2 + (x[2 * k + 1] ?? 0) ** 2,
        ),
      );
    }
  }

  /** Power within any of the bands, by stretch; arbitrary unit. */
  between(bands: readonly (readonly [number, number])[]): Float64Array {
    return Float64Array.from(this.#spectra, (spectrum) => {
      let sum = 0;
      for (let k = 1; k < spectrum.length; k++) {
        const hz = k * this.#binHz;
        if (bands.some(([low, high]) => hz >= low && hz <= high)) sum += spectrum[k]!;
      }
      return sum;
    });
  }
}
