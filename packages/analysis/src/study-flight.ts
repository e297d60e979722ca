/** Everything the analysis learns of a flight, before any of it is put into words. */
import { AXES, type AxisName, type Flight, type GainsFile, type Interval } from '@settle/parser';
import { describeActuators } from './actuators.js';
import type { AxisStudy } from './axis-study.js';
import { describeBattery } from './battery.js';
import { CannotAnalyse } from './cannot-analyse.js';
import { noHover } from './causes/no-hover.js';
import type { Actuators, Battery, Origin, Phase, Unavailable } from './diagnosis.js';
import type { DeclaredController } from './identification/controller.js';
import { declaredController } from './identification/declared.js';
import { explainOscillation } from './identification/explain.js';
import type { AxisDecision } from './identification/gain-advice.js';
import type { KnownOscillation } from './identification/gather-evidence.js';
import { identifyAxes, type AxisIdentification } from './identification/identify.js';
import { axisSignals } from './oscillation/axis-signals.js';
import { searchBand, type SearchBand } from './oscillation/band.js';
import { decideNextHover } from './next-hover.js';
import type { GyroSpectra, NotchPlan } from './notch/plan-types.js';
import { studyAxis } from './oscillation/study-axis.js';
import { findPhases, longestHover } from './phases/find-phases.js';
import type { LoopLine } from './vibration/plain-lines.js';
import { studyVibration } from './vibration/study.js';
import type { VibrationStudy } from './vibration/vibration-study.js';

export interface DiagnoseOptions {
  /** Declares this part of the flight, in s on its clock, to be the hover. */
  readonly fromS?: number;
  readonly toS?: number;
  /** Gains and filters the flight was flown with. */
  readonly gains?: GainsFile;
  /** false leaves out vibration and filters, which take as long as all the rest. Default true. */
  readonly vibration?: boolean;
}

export interface FlightStudy {
  readonly flight: Flight;
  readonly phases: readonly Phase[];
  /** Which channels told the phases apart. */
  readonly phasesFrom: string;
  /** The hover that everything below is about. */
  readonly hover: Interval;
  readonly band: SearchBand;
  /** Roll, pitch, yaw. */
  readonly axes: readonly AxisStudy[];
  readonly decisions: readonly AxisDecision[];
  readonly actuators: Actuators | Unavailable;
  readonly battery: Battery | Unavailable;
  readonly vibration: VibrationStudy | Unavailable;
  /** Filters for the next hover, placed for the gains advised for it. */
  readonly filters: NotchPlan | Unavailable;
  /** The gyro through today's filters and through those of `filters`; empty where there are none. */
  readonly gyroSpectra: readonly GyroSpectra[];
}

/** An upset later than this after the hover is another story, s. */
const LANDING_S = 3;

/**
 * @throws CannotAnalyse when the flight has no hover or no body motion to look at
 */
export function studyFlight(flight: Flight, options: DiagnoseOptions = {}): FlightStudy {
  const { phases, decidedBy } = findPhases(flight, askedInterval(flight, options));
  const hover = longestHover(phases);
  if (hover === null) throw noHover(flight, phases);
  const fastestHz = fastestMotionLog(flight);
  if (fastestHz === null)
    throw new CannotAnalyse(
      'the log has neither body rates nor attitude',
      'log the gyro or body rates at 100 Hz or more, and the attitude',
    );
  const band = searchBand(flight, hover, fastestHz);
  const found = AXES.map((axis) => studyAxis(flight, axis, hover, band));
  const identified = identifyAxes(
    flight,
    hover,
    untilUpset(phases, hover),
    found.flatMap(knownOscillations),
    declaredBy(options),
  );
  const axes = found.map((study) => explainStudy(study, identified));
  const vibration =
    options.vibration === false
      ? { unavailable: 'vibration was not asked for' }
      : studyVibration(flight, hover, phases, axes.flatMap(ownOscillations));
  const { decisions, planned } = decideNextHover(flight, hover, identified, vibration, options.gains ?? null);
  return {
    flight,
    phases,
    phasesFrom: decidedBy,
    hover,
    band,
    axes,
    decisions,
    actuators: describeActuators(flight, hover),
    battery: describeBattery(flight, hover),
    vibration,
    filters: planned?.plan ?? (vibration as Unavailable),
    gyroSpectra: planned?.spectra ?? [],
  };
}

/** Swings of the aircraft itself that the gyro shows among its vibration. */
function ownOscillations(study: AxisStudy): LoopLine[] {
  return study.oscillations
    .filter((line) => line.origin !== 'structure')
    .map(({ frequencyHz, frequencyStdHz, rateAmplitudeDegS, regime }) => ({
      axis: study.axis,
      frequencyHz,
      frequencyStdHz,
      rms: (rateAmplitudeDegS * Math.PI) / 180 / Math.SQRT2,
      sustained: regime === 'limit-cycle' || regime === 'growing',
    }));
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

/** A hover shorter than this began to go wrong before it, s. */
const SHORT_HOVER_S = 1.5;

/** The hover and what followed it up to where the aircraft tipped over, with what led to a short one; null when it did not. */
function untilUpset(phases: readonly Phase[], hover: Interval): Interval | null {
  const upset = phases.find((phase) => phase.kind === 'upset' && phase.startS >= hover.endS);
  if (upset === undefined || upset.startS - hover.endS > LANDING_S) return null;
  const takeoff = phases.find((phase) => phase.kind === 'takeoff' && phase.endS === hover.startS);
  const before =
    takeoff === undefined || hover.endS - hover.startS > SHORT_HOVER_S
      ? hover.startS
      : Math.max(takeoff.startS, hover.startS - SHORT_HOVER_S);
  return { startS: before, endS: upset.startS };
}

function declaredBy(options: DiagnoseOptions): DeclaredController | null {
  return options.gains === undefined ? null : declaredController(options.gains);
}

/** Arising outside the attitude and rate loops. */
const OUTSIDE: ReadonlySet<Origin> = new Set<Origin>(['pilot', 'position-loop', 'outer-loop']);

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
      bends: o.origin === 'structure',
      asked: OUTSIDE.has(o.origin),
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
