/** What one axis does in the hover: every oscillation found, measured and described. */
import { AXES, type AxisName, type Flight, type Interval } from '@settle/parser';
import { clippedShare } from '../actuators.js';
import type { AxisStudy } from '../axis-study.js';
import type { Oscillation } from '../diagnosis.js';
import { firstSignal, rotorSignals } from '../signals.js';
import { axisSignals, BODY_AXIS_OF, type AxisSignals } from './axis-signals.js';
import type { SearchBand } from './band.js';
import { findDemandSwings, type DemandSwing } from './demand-swing.js';
import {
  amplitudesAt,
  findAxisLines,
  prepareSignal,
  type AxisLine,
  type PreparedSignal,
  type SwingSize,
} from './find-axis.js';
import { findFolding, type Folded } from './folding.js';
import { decideOrigin, type OriginDecision } from './origin.js';
import { decideRegime } from './regime.js';
import { relate, type Relation } from './relations.js';

/** Chance that a well-damped motion is called an oscillation, per axis and channel searched, by the size of the swing. */
export const FALSE_ALARM_RATES: Readonly<Record<SwingSize, number>> = {
  small: 0.0001,
  medium: 0.001,
  large: 0.01,
};
/** An axis that swings this much more, this coherently, is the one to look at. */
const LEADER_GAIN = 1.5;
const LEADER_COHERENCE = 0.85;
/** How sure it is that something bends where the attitude does not move with a rate that the loop answers; judgement. */
const BENDS_SURE = 0.75;
const DEG = 180 / Math.PI;

/** @returns the axis without identification, which looks at all axes together */
export function studyAxis(flight: Flight, axis: AxisName, hover: Interval, band: SearchBand): AxisStudy {
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
  const demand = prepareSignal(signals.demand, hover);
  const doubted = lines.flatMap((line) => {
    const why = findFolding(line, gyro, otherRates(), demand);
    return why === null ? [] : [{ line, why }];
  });
  const folded = doubted.filter(({ why }) => why.kind === 'folded');
  const real = lines.filter((line) => folded.every((f) => f.line !== line));
  const bends = (line: AxisLine): Folded | null => doubted.find((each) => each.line === line)?.why ?? null;
  const otherDemands = AXES.filter((other) => other !== axis)
    .map((other) => prepareSignal(axisSignals(flight, other).demand, hover))
    .filter((prepared) => prepared !== null);
  const search = { ...band, falseAlarmRate: FALSE_ALARM_RATES.small };
  const unseen = findDemandSwings(flight, signals, hover, search, lines, otherDemands);
  return {
    axis,
    signals,
    folded,
    identification: null,
    oscillations: [
      ...real.map((line) => describeOscillation(flight, signals, line, hover, bends(line))),
      ...unseen.map(describeDemandSwing),
    ],
  };
}

/** The motion is small and mostly noise: how it goes on is read from the demand. */
function describeDemandSwing(swing: DemandSwing): Oscillation {
  const { measured } = swing;
  return {
    frequencyHz: swing.frequencyHz,
    frequencyStdHz: swing.frequencyStdHz,
    rateAmplitudeDegS: swing.rateAmplitude * DEG,
    rateAmplitudeStdDegS:
      swing.rateAmplitude * DEG * (measured.amplitudeStd / Math.max(1e-12, measured.amplitude)),
    attitudeAmplitudeDeg: null,
    startS: swing.startS,
    endS: swing.endS,
    envelopeGrowthPerS: measured.growthPerS,
    envelopeGrowthStdPerS: measured.growthStdPerS,
    regime: swing.regime,
    follows: null,
    clippedShare: swing.clippedShare,
    dampingRatio: swing.regime === 'growing' ? null : 0,
    dampingRatioStd: null,
    origin: 'unknown',
    confidence: 0,
    evidence: [
      `the demand swings by ±${(100 * swing.demandAmplitude).toFixed(0)} % of full authority at that frequency, though the body hardly follows; ${(100 * swing.meanShare).toFixed(0)} % of the demand's motion within an octave either side is this one line`,
      ...clippingEvidence(swing.clippedShare),
    ],
  };
}

function describeOscillation(
  flight: Flight,
  signals: AxisSignals,
  line: AxisLine,
  hover: Interval,
  bends: Folded | null,
): Oscillation {
  const clipped = clippedShare(flight, signals.axis, hover, line);
  const own = line.prepared;
  const regime = decideRegime(line.measured, line.startS - own.startS, line.endS - own.startS, clipped);
  const origin: OriginDecision =
    bends === null
      ? decideOrigin(flight, signals, line)
      : { origin: 'structure', confidence: BENDS_SURE, evidence: bends.evidence };
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
