/** The study of vibration and the placing of notches, in the form that leaves the analysis. */
import type { Notch, Vibration } from '../diagnosis.js';
import { isUnavailable, type Unavailable } from '../unavailable.js';
import type { Sensor, StudiedLine, VibrationStudy } from './vibration-study.js';

const DEG = 180 / Math.PI;

/** Factor from the study's units to those of the results: deg/s for the gyro, m/s² for the accelerometer. */
export function unitOf(sensor: Sensor): number {
  return sensor === 'gyro' ? DEG : 1;
}

/** @param notches those that are proposed; empty where none is needed or nothing can be said */
export function describeVibration(
  study: VibrationStudy | Unavailable,
  notches: readonly Notch[],
): Vibration | Unavailable {
  if (isUnavailable(study)) return study;
  const { rotor, sensors, lines } = study;
  return {
    sensorRateHz: Math.max(0, ...sensors.map((sensor) => sensor.sampleRateHz)),
    rotor: isUnavailable(rotor)
      ? rotor
      : {
          hoverHz: rotor.hoverHz,
          hoverStdHz: rotor.hoverStdHz,
          lowHz: rotor.lowHz,
          highHz: rotor.highHz,
          from: rotor.from,
          unseenRotors: rotor.unseen,
        },
    lines: lines.map(describeLine),
    levels: sensors.map(({ sensor, axis, rms, overRange }) => ({
      sensor,
      axis,
      rms: rms * unitOf(sensor),
      overRange,
    })),
    notches,
  };
}

function describeLine(line: StudiedLine): Vibration['lines'][number] {
  return {
    sensor: line.sensor,
    axis: line.axis,
    frequencyHz: line.frequencyHz,
    frequencyStdHz: line.frequencyStdHz,
    rms: line.rms * unitOf(line.sensor),
    aboveFloorDb: line.aboveFloorDb,
    order: line.order,
    rotor: line.rotor,
    trueFrequencyHz: line.trueFrequencyHz,
    kind: line.kind,
    confidence: line.confidence,
    evidence: line.evidence,
  };
}
