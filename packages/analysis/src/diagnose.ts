import { AXES, type AxisName, type Flight, type GainsFile, type Interval } from '@settle/parser';
import { clippedShare, describeActuators } from './actuators.js';
import { adviseNext } from './advice.js';
import { describeBattery } from './battery.js';
import { CannotAnalyse } from './cannot-analyse.js';
import { CAUTIONS } from './cautions.js';
import type { AxisStudy } from './axis-study.js';
import type { AxisDiagnosis, Diagnosis, Oscillation } from './diagnosis.js';
import { findFindings } from './findings.js';
import { axisSignals, BODY_AXIS_OF, type AxisSignals } from './oscillation/axis-signals.js';
import { searchBand, type SearchBand } from './oscillation/band.js';
import {
  amplitudesAt,
  findAxisLines,
  prepareSignal,
  type AxisLine,
  type PreparedSignal,
  type SwingSize,
} from './oscillation/find-axis.js';
import { findFolding } from './oscillation/folding.js';
import { decideOrigin } from './oscillation/origin.js';
import { decideRegime } from './oscillation/regime.js';
import { relate, type Relation } from './oscillation/relations.js';
import type { DeclaredController } from './identification/controller.js';
import { declaredController } from './identification/declared.js';
import { describeModel } from './identification/describe-axis.js';
import { explainOscillation } from './identification/explain.js';
import { decideAll } from './identification/gain-advice.js';
import { identifyAxes, type AxisIdentification, type KnownOscillation } from './identification/identify.js';
import { findPhases, longestHover } from './phases/find-phases.js';
import { firstSignal, rotorSignals } from './signals.js';
import { trackingOf } from './tracking.js';

export interface DiagnoseOptions {
  /** Declares this part of the flight, in s on its clock, to be the hover. */
  readonly fromS?: number;
  readonly toS?: number;
  /** Gains and filters the flight was flown with. */
  readonly gains?: GainsFile;
}

/** Chance that a well-damped motion is called an oscillation, per axis and channel searched, by the size of the swing. */
export const FALSE_ALARM_RATES: Readonly<Record<SwingSize, number>> = {
  small: 0.0001,
  medium: 0.001,
  large: 0.01,
};
/** An axis that swings this much more, this coherently, is the one to look at. */
const LEADER_GAIN = 1.5;
const LEADER_COHERENCE = 0.85;
const DEG = 180 / Math.PI;

/**
 * The main job: what oscillates in this flight's hover, per axis, and what that means.
 *
 * @throws CannotAnalyse when the flight has no hover or no body motion to look at
 */
export function diagnose(flight: Flight, options: DiagnoseOptions = {}): Diagnosis {
  const { phases, decidedBy } = findPhases(flight, askedInterval(flight, options));
  const hover = longestHover(phases);
  if (hover === null)
    throw new CannotAnalyse(
      'no hover found in the log',
      'give its start and end with --from and --to, or log motor commands, throttle or height',
    );
  const fastestHz = fastestMotionLog(flight);
  if (fastestHz === null)
    throw new CannotAnalyse(
      'the log has neither body rates nor attitude',
      'log the gyro or body rates at 100 Hz or more, and the attitude',
    );
  const band = searchBand(flight, hover, fastestHz);
  const found = AXES.map((axis) => findOscillations(flight, axis, hover, band));
  const identified = identifyAxes(flight, hover, found.flatMap(knownOscillations), declaredBy(options));
  const studies = found.map((study) => explainStudy(study, identified));
  const decisions = identified === null ? [] : decideAll(identified);
  const axes = Object.fromEntries(studies.map((study) => [study.axis, describeAxis(study, hover)])) as Record<
    AxisName,
    AxisDiagnosis
  >;
  const actuators = describeActuators(flight, hover);
  const battery = describeBattery(flight, hover);
  const findings = findFindings({ flight, phases, hover, studies, decisions, actuators, battery, band });
  return {
    schema: 'settle.diagnosis/1',
    flight: { name: flight.name, durationS: flight.durationS, sampleRatesHz: sampleRates(flight) },
    phases,
    phasesFrom: decidedBy,
    analysed: { startS: hover.startS, endS: hover.endS },
    searchedHz: { lowest: band.lowestHz, highest: band.highestHz, why: band.why },
    falseAlarmRate: FALSE_ALARM_RATES,
    axes,
    vibration: { unavailable: 'vibration lines are not analysed by this version' },
    actuators,
    battery,
    findings,
    advice: adviseNext({ flight, studies, decisions, findings, hover }),
    cautions: CAUTIONS,
  };
}

function fastestMotionLog(flight: Flight): number | null {
  const rates = AXES.flatMap((axis) => {
    const { rate, attitude } = axisSignals(flight, axis);
    return [rate, attitude].flatMap((signal) => (signal === null ? [] : [signal.clock.sampleRateHz]));
  });
  return rates.length === 0 ? null : Math.max(...rates);
}

function askedInterval(flight: Flight, options: DiagnoseOptions): Interval | undefined {
  if (options.fromS === undefined && options.toS === undefined) return undefined;
  const interval = { startS: options.fromS ?? 0, endS: options.toS ?? flight.durationS };
  if (!(interval.endS > interval.startS) || interval.startS >= flight.durationS || interval.endS <= 0)
    throw new CannotAnalyse(
      `the log has nothing from ${String(interval.startS)} s to ${String(interval.endS)} s`,
      `the flight lasts from 0 to ${flight.durationS.toFixed(1)} s`,
    );
  return interval;
}

function declaredBy(options: DiagnoseOptions): DeclaredController | null {
  return options.gains === undefined ? null : declaredController(options.gains);
}

/** Oscillations of the axis itself, which a loop may be read from. */
function knownOscillations(study: AxisStudy): KnownOscillation[] {
  return study.oscillations
    .filter((o) => o.follows === null)
    .map((o) => ({
      axis: study.axis,
      frequencyHz: o.frequencyHz,
      startS: o.startS,
      endS: o.endS,
      selfSustained: o.regime !== 'driven',
      dampingRatio: o.dampingRatio,
    }));
}

/** Adds what the identified loops say: plant, margins, and which loop an oscillation of unknown origin arises in. */
function explainStudy(
  study: AxisStudy,
  identified: Readonly<Record<AxisName, AxisIdentification>> | null,
): AxisStudy {
  const identification = identified?.[study.axis] ?? null;
  if (identification === null) return study;
  const oscillations = study.oscillations.map((line) => {
    if (line.origin !== 'unknown') return line;
    const explained = explainOscillation(identification, line);
    return explained === null
      ? line
      : {
          ...line,
          origin: explained.origin,
          confidence: explained.confidence,
          evidence: [...line.evidence, ...explained.evidence],
        };
  });
  return { ...study, identification, oscillations };
}

function findOscillations(flight: Flight, axis: AxisName, hover: Interval, band: SearchBand): AxisStudy {
  const signals = axisSignals(flight, axis);
  const lines = findAxisLines(signals, hover, {
    lowestHz: band.lowestHz,
    highestHz: band.highestHz,
    falseAlarmRate: FALSE_ALARM_RATES,
  });
  const gyro = prepareSignal(firstSignal(flight, `gyro.${BODY_AXIS_OF[axis]}`), hover);
  const otherRates = (): PreparedSignal[] =>
    AXES.filter((other) => other !== axis)
      .map((other) => prepareSignal(axisSignals(flight, other).rate, hover))
      .filter((prepared) => prepared !== null);
  const folded = lines.flatMap((line) => {
    const why = findFolding(line, gyro, otherRates());
    return why === null ? [] : [{ line, why }];
  });
  const real = lines.filter((line) => folded.every((f) => f.line !== line));
  return {
    axis,
    signals,
    folded,
    identification: null,
    oscillations: real.map((line) => describeOscillation(flight, signals, line, hover)),
  };
}

function describeOscillation(
  flight: Flight,
  signals: AxisSignals,
  line: AxisLine,
  hover: Interval,
): Oscillation {
  const clipped = clippedShare(flight, signals.axis, hover, line);
  const own = line.prepared;
  const regime = decideRegime(line.measured, line.startS - own.startS, line.endS - own.startS, clipped);
  const origin = decideOrigin(flight, signals, line);
  const companions = companionsOf(flight, signals.axis, line, hover);
  const leader = companions.find(
    ({ relation }) => relation.gain > LEADER_GAIN && relation.coherence > LEADER_COHERENCE,
  );
  const frequencyHz = regime.frequency?.hz ?? line.frequencyHz;
  const amplitudes = amplitudesAt(line, frequencyHz);
  return {
    frequencyHz,
    frequencyStdHz: regime.frequency?.stdHz ?? line.frequencyStdHz,
    rateAmplitudeDegS: amplitudes.rateAmplitude * DEG,
    rateAmplitudeStdDegS: amplitudes.rateAmplitudeStd * DEG,
    attitudeAmplitudeDeg: amplitudes.attitudeAmplitude === null ? null : amplitudes.attitudeAmplitude * DEG,
    startS: line.startS,
    endS: line.endS,
    envelopeGrowthPerS: line.measured.growthPerS,
    envelopeGrowthStdPerS: line.measured.growthStdPerS,
    regime: regime.regime,
    follows: leader?.axis ?? null,
    clippedShare: clipped,
    dampingRatio: regime.dampingRatio,
    dampingRatioStd: regime.dampingRatioStd,
    origin: origin.origin,
    confidence: origin.confidence,
    evidence: [
      `${((line.endS - line.startS) * line.frequencyHz).toFixed(0)} cycles; ${(100 * line.meanShare).toFixed(0)} % of the motion within an octave either side is this one line`,
      `called ${regime.regime === 'limit-cycle' ? 'a limit cycle' : regime.regime} because ${regime.because}`,
      ...clippingEvidence(clipped),
      ...companions.map(describeCompanion),
      ...origin.evidence,
      ...rotorDoubt(flight, frequencyHz),
    ],
  };
}

/** Lines this fast may be a large rotor, where no rotor speed is logged to tell. */
const SLOW_ROTOR_HZ = 15;

function rotorDoubt(flight: Flight, frequencyHz: number): string[] {
  if (frequencyHz < SLOW_ROTOR_HZ || rotorSignals(flight).length > 0) return [];
  return [
    `a rotor turning at ${(60 * frequencyHz).toFixed(0)} revolutions per minute would look the same; log rotor speeds to tell`,
  ];
}

function clippingEvidence(share: number | null): string[] {
  if (share === null)
    return ['neither demand nor motor commands are logged, so whether they met their stops is unknown'];
  if (share < 0.005) return ['the demand and the motors stayed off their stops meanwhile'];
  return [`the demand or a motor stood on a stop for ${(100 * share).toFixed(0)} % of that time`];
}

/** Another axis that swings with a line. */
interface Companion {
  readonly axis: AxisName;
  readonly relation: Relation;
}

/** Axes that move at the line's frequency with steady phase and at least 15 % of its size. */
function companionsOf(flight: Flight, axis: AxisName, line: AxisLine, hover: Interval): Companion[] {
  return AXES.filter((other) => other !== axis).flatMap((other) => {
    const signals = axisSignals(flight, other);
    const prepared = prepareSignal(line.from === 'rate' ? signals.rate : signals.attitude, hover);
    const relation = prepared === null ? null : relate(line, prepared);
    if (relation === null || relation.gain < 0.15) return [];
    return relation.coherence < Math.max(0.7, relation.coherenceByChance) ? [] : [{ axis: other, relation }];
  });
}

function describeCompanion({ axis, relation }: Companion): string {
  return (
    `${axis} moves with it: ${(100 * relation.gain).toFixed(0)} % of its size, ` +
    `${Math.abs(relation.leadDeg).toFixed(0)}° ${relation.leadDeg >= 0 ? 'ahead' : 'behind'}, coherence ${relation.coherence.toFixed(2)}`
  );
}

function describeAxis(study: AxisStudy, hover: Interval): AxisDiagnosis {
  const model = describeModel(study.identification, study.oscillations);
  return {
    oscillations: study.oscillations,
    notSearched:
      study.signals.rate === null && study.signals.attitude === null
        ? `neither body rate nor attitude of ${study.axis} is in the log`
        : null,
    tracking: trackingOf(study.signals, hover),
    response: model.response,
    margins: { rate: model.rate, attitude: model.attitude },
    plant: model.plant,
  };
}

function sampleRates(flight: Flight): Diagnosis['flight']['sampleRatesHz'] {
  const rate = (...names: Parameters<typeof firstSignal>[1][]): number | undefined =>
    firstSignal(flight, ...names)?.clock.sampleRateHz;
  const entries = Object.entries({
    attitude: rate('attitude.roll.measured', 'attitude.pitch.measured', 'attitude.yaw.measured'),
    rate: rate('rate.roll.measured', 'rate.pitch.measured', 'rate.yaw.measured'),
    imu: rate('gyro.x', 'gyro.y', 'gyro.z', 'accel.x', 'accel.y', 'accel.z'),
    motor: rate('motor.1.command'),
  });
  return Object.fromEntries(entries.filter((entry): entry is [string, number] => entry[1] !== undefined));
}
