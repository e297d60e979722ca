/** Diagnoses and flights written by hand, so that a reader can check every printed figure against its input. */

import { describeClock, type ChannelName, type Flight, type Signal } from '@settle/parser';
import type { AxisDiagnosis, Diagnosis, Oscillation } from '@settle/analysis';

export const NO_GAINS = 'the gains are not known; give a gains file.';

export function makeOscillation(changes: Partial<Oscillation> = {}): Oscillation {
  return {
    frequencyHz: 2.4313,
    frequencyStdHz: 0.0121,
    rateAmplitudeDegS: 47.36,
    rateAmplitudeStdDegS: 2.18,
    attitudeAmplitudeDeg: 3.1042,
    startS: 4.21,
    endS: 12.04,
    envelopeGrowthPerS: 0.3466,
    envelopeGrowthStdPerS: 0.041,
    regime: 'growing',
    clippedShare: 0.02,
    follows: null,
    dampingRatio: -0.0227,
    dampingRatioStd: 0.0031,
    origin: 'unknown',
    confidence: 0.62,
    evidence: ['The demand swings at the same frequency and does not clip.'],
    ...changes,
  };
}

export function makeAxis(changes: Partial<AxisDiagnosis> = {}): AxisDiagnosis {
  return {
    oscillations: [],
    notSearched: null,
    tracking: { rateErrorRmsDegS: 4.27, attitudeErrorRmsDeg: 0.81 },
    response: { unavailable: 'the reference is not in the log.' },
    margins: { rate: { unavailable: NO_GAINS }, attitude: { unavailable: NO_GAINS } },
    plant: { unavailable: 'the demand is not in the log.' },
    ...changes,
  };
}

export function makeDiagnosis(changes: Partial<Diagnosis> = {}): Diagnosis {
  return {
    schema: 'settle.diagnosis/1',
    flight: { name: 'samphire-hover-1', durationS: 24, sampleRatesHz: { rate: 400, attitude: 100 } },
    phases: [
      { kind: 'ground', startS: 0, endS: 2 },
      { kind: 'takeoff', startS: 2, endS: 4 },
      { kind: 'hover', startS: 4, endS: 20 },
      { kind: 'landing', startS: 20, endS: 24 },
    ],
    phasesFrom: 'motor commands',
    analysed: { startS: 4, endS: 20 },
    searchedHz: { lowest: 0.1, highest: 30, why: 'up to 30 Hz, well below the rotors' },
    falseAlarmRate: { small: 0.0001, medium: 0.001, large: 0.01 },
    axes: { roll: makeAxis(), pitch: makeAxis(), yaw: makeAxis() },
    vibration: { unavailable: 'vibration is not analysed here.' },
    filters: { unavailable: 'vibration is not analysed here.' },
    actuators: { unavailable: 'the log holds no motor command.' },
    battery: { unavailable: 'the log holds no battery voltage.' },
    findings: [],
    advice: [],
    cautions: ['Turning props injure: stand clear.'],
    ...changes,
  };
}

/** Pitch grows, roll is driven: the two kinds of wobble a first hover usually shows together. */
export function makeWobblyDiagnosis(changes: Partial<Diagnosis> = {}): Diagnosis {
  return makeDiagnosis({
    axes: {
      roll: makeAxis({
        oscillations: [
          makeOscillation({
            frequencyHz: 0.4662,
            frequencyStdHz: 0.0008,
            rateAmplitudeDegS: 84.23,
            rateAmplitudeStdDegS: 12.6,
            attitudeAmplitudeDeg: null,
            regime: 'driven',
            dampingRatio: null,
            dampingRatioStd: null,
            origin: 'outer-loop',
            confidence: 0.4,
            envelopeGrowthPerS: -0.02,
            envelopeGrowthStdPerS: 0.05,
            evidence: ['The reference itself swings at this frequency and leads by 31 deg.'],
          }),
        ],
      }),
      pitch: makeAxis({ oscillations: [makeOscillation()] }),
      yaw: makeAxis(),
    },
    ...changes,
  });
}

/** A flight of the given channels on one regular clock; values count 0, 1, 2 … in SI. */
export function makeFlight(
  channels: readonly ChannelName[],
  changes: Partial<Flight> = {},
  sampleRateHz = 100,
  samples = 200,
): Flight {
  const clock = describeClock(Float64Array.from({ length: samples }, (_, index) => index / sampleRateHz));
  const signals = new Map<ChannelName, Signal>(
    channels.map((channel) => [
      channel,
      {
        channel,
        clock,
        values: Float64Array.from({ length: samples }, (_, index) => index),
        decision: {
          channel,
          file: 'hover.csv',
          column: `col ${channel}`,
          unit: 'deg/s',
          scale: 1,
          offset: 0,
          decidedBy: ['header words'],
          clipped: 0,
          nonFinite: 0,
        },
      },
    ]),
  );
  return {
    name: 'hover',
    files: [
      {
        name: 'hover.csv',
        bytes: 4096,
        encoding: 'utf-8',
        delimiter: ';',
        decimal: ',',
        headerLine: 1,
        unitsLine: null,
        rows: samples,
        unusedColumns: [],
        clock: { column: 'time', unit: 's', decidedBy: 'steps of 0.01' },
        segments: { count: 1, chosen: 1 },
      },
    ],
    signals,
    frame: { logged: 'z-down', decidedBy: 'the accelerometer at rest' },
    problems: [],
    durationS: (samples - 1) / sampleRateHz,
    ...changes,
  };
}
