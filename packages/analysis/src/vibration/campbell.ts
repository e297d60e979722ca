/** Lines against rotor speed, from short stretches of the hover: data of a Campbell diagram. */
import type { LineSpectrum } from './line-spectrum.js';
import { lineSpectrum } from './line-spectrum.js';
import type { SensorRecord } from './sensor-records.js';
import { isUnavailable, type Unavailable } from '../unavailable.js';
import type { CampbellPoint, RotorStudy, StudiedLine } from './vibration-study.js';
import { foldedHz } from './rotor-lines.js';

const STRETCH_S = 2.5;
const MOST_STRETCHES = 24;
/** Lines per sensor axis that are followed. */
const MOST_LINES = 6;
/** Either side of a line's place, Hz. */
const REACH_HZ = 1.2;

export function campbellPoints(
  records: readonly SensorRecord[],
  rotor: RotorStudy | Unavailable,
  lines: readonly StudiedLine[],
): CampbellPoint[] {
  if (isUnavailable(rotor)) return [];
  const out: CampbellPoint[] = [];
  for (const record of records) {
    const own = lines
      .filter((line) => line.sensor === record.sensor && line.axis === record.axis)
      .slice(0, MOST_LINES);
    if (own.length === 0) continue;
    const length = Math.round(STRETCH_S * record.sampleRateHz);
    const count = Math.floor(record.values.length / length);
    const every = Math.max(1, Math.ceil(count / MOST_STRETCHES));
    for (let i = 0; i < count; i += every) {
      const spectrum = lineSpectrum(
        record.values.subarray(i * length, (i + 1) * length),
        record.sampleRateHz,
        STRETCH_S,
      );
      const startS = record.startS + i * STRETCH_S;
      for (const line of own) {
        const rotorHz = speedDuring(rotor, line.rotor, startS, startS + STRETCH_S);
        if (rotorHz === null) continue;
        const frequencyHz =
          line.order === null ? line.frequencyHz : foldedHz(line.order * rotorHz, record.sampleRateHz);
        const rms = levelAt(spectrum, frequencyHz);
        if (rms === null) continue;
        out.push({
          rotorHz,
          frequencyHz,
          sensor: line.sensor,
          axis: line.axis,
          rms,
          kind: line.kind,
          order: line.order,
        });
      }
    }
  }
  return out;
}

/** Of one rotor, or of all. */
function speedDuring(rotor: RotorStudy, number: number | null, startS: number, endS: number): number | null {
  const tracks = number === null ? rotor.tracks : rotor.tracks.filter((track) => track.rotor === number);
  let sum = 0;
  let count = 0;
  for (const track of tracks)
    for (let i = 0; i < track.timeS.length; i++)
      if (track.timeS[i]! >= startS && track.timeS[i]! < endS) {
        sum += track.hz[i]!;
        count++;
      }
  return count === 0 ? null : sum / count;
}

/** null where it does not stand out of the background. */
function levelAt({ density, floor, binHz }: LineSpectrum, frequencyHz: number): number | null {
  const low = Math.max(1, Math.round((frequencyHz - REACH_HZ) / binHz));
  const high = Math.min(density.length - 1, Math.round((frequencyHz + REACH_HZ) / binHz));
  let area = 0;
  for (let k = low; k <= high; k++) area += (density[k]! - floor[k]!) * binHz;
  return area > 0 ? Math.sqrt(area) : null;
}
