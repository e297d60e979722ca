/**
 * Swings that show in the demand and hardly in the motion. A fast loop that rings on the motors' stops shakes the demand from
 * end to end while the body, which is heavy, turns by a degree per second: too little to stand out of gusts and sensor noise.
 */
import type { Flight, Interval } from '@settle/parser';
import { clippedShare } from '../actuators.js';
import type { Regime } from '../diagnosis.js';
import type { AxisSignals } from './axis-signals.js';
import { detectOscillations } from './detect.js';
import { prepareSignal, type AxisLine, type PreparedSignal } from './find-axis.js';
import { bandAmplitude, measureLine, type LineMeasurement } from './measure.js';
import { decideRegime } from './regime.js';

export interface DemandSwing {
  readonly frequencyHz: number;
  readonly frequencyStdHz: number;
  readonly startS: number;
  readonly endS: number;
  /** Of the demand, share of full authority. */
  readonly demandAmplitude: number;
  /** Of the body rate at that frequency, rad/s. */
  readonly rateAmplitude: number;
  readonly regime: Regime;
  readonly clippedShare: number;
  readonly meanShare: number;
  readonly measured: LineMeasurement;
}

/** Smaller swings of the demand shake nothing (judgement, no source). */
const SMALLEST_DEMAND = 0.15;
/** A self-sustained swing is held by the stops: it meets them for at least this share of the time. */
const STOPS_MET = 0.02;
/** The line must be this much of the demand around it. */
const MAIN_SHARE = 0.7;
/** Overtones of a known line, and how near to a multiple they stand. */
const HIGHEST_OVERTONE = 7;
const OVERTONE_SHARE = 0.03;
/** A line of the rate this near has been found already. */
const SAME_RATIO = 1.15;

/**
 * @param known lines already found in the motion of this axis
 * @param others demands of the other axes: what swings further there at that frequency only comes over from them
 */
export function findDemandSwings(
  flight: Flight,
  signals: AxisSignals,
  interval: Interval,
  search: { readonly lowestHz: number; readonly highestHz: number; readonly falseAlarmRate: number },
  known: readonly Pick<AxisLine, 'frequencyHz' | 'startS' | 'endS'>[],
  others: readonly PreparedSignal[],
): DemandSwing[] {
  const demand = prepareSignal(signals.demand, interval);
  const rate = prepareSignal(signals.rate, interval);
  if (demand === null || rate === null) return [];
  return detectOscillations(demand.values, demand.sampleRateHz, search).flatMap((candidate) => {
    const { frequencyHz, meanShare } = candidate;
    const startS = demand.startS + candidate.startS;
    const endS = demand.startS + candidate.endS;
    if (known.some((line) => isMultiple(frequencyHz, line.frequencyHz))) return [];
    const found = known.some(
      (line) => ratio(line.frequencyHz, frequencyHz) < SAME_RATIO && line.startS < endS && startS < line.endS,
    );
    if (found || meanShare < MAIN_SHARE) return [];
    const amplitudeIn = (of: PreparedSignal): number =>
      bandAmplitude(of.spectrum, frequencyHz, Math.max(0, startS - of.startS), endS - of.startS);
    const demandAmplitude = amplitudeIn(demand);
    if (demandAmplitude < SMALLEST_DEMAND) return [];
    if (others.some((other) => amplitudeIn(other) > demandAmplitude)) return [];
    const clipped = clippedShare(flight, signals.axis, interval, { startS, endS }) ?? 0;
    if (clipped < STOPS_MET) return [];
    const measured = measureLine(demand.spectrum, frequencyHz, candidate.startS, candidate.endS);
    const { regime } = decideRegime(measured, candidate.startS, candidate.endS, clipped);
    if (regime === 'driven' || regime === 'decaying') return [];
    return [
      {
        frequencyHz: measured.frequencyHz,
        frequencyStdHz: measured.frequencyStdHz,
        startS,
        endS,
        demandAmplitude,
        rateAmplitude: amplitudeIn(rate),
        regime,
        clippedShare: clipped,
        meanShare,
        measured,
      },
    ];
  });
}

/** A demand that meets its stops has overtones, which are no swings of their own. */
function isMultiple(frequencyHz: number, of: number): boolean {
  const order = Math.round(frequencyHz / of);
  return order >= 2 && order <= HIGHEST_OVERTONE && Math.abs(frequencyHz / (order * of) - 1) < OVERTONE_SHARE;
}

function ratio(a: number, b: number): number {
  return a > b ? a / b : b / a;
}
