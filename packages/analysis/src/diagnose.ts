import { type AxisName, type Flight, type Interval } from '@settle/parser';
import { adviseNext } from './advice.js';
import type { AxisStudy } from './axis-study.js';
import { CAUTIONS } from './cautions.js';
import type { AxisDiagnosis, Diagnosis } from './diagnosis.js';
import { findFindings } from './findings.js';
import { describeModel } from './identification/describe-axis.js';
import { FALSE_ALARM_RATES } from './oscillation/study-axis.js';
import { describeNotches } from './notch/plan-notches.js';
import { firstSignal } from './signals.js';
import { studyFlight, type DiagnoseOptions, type FlightStudy } from './study-flight.js';
import { trackingOf } from './tracking.js';
import { isUnavailable } from './unavailable.js';
import { describeVibration } from './vibration/describe-vibration.js';

/**
 * The main job: what oscillates in this flight's hover, per axis, and what that means.
 *
 * @throws CannotAnalyse when the flight has no hover or no body motion to look at
 */
export function diagnose(flight: Flight, options: DiagnoseOptions = {}): Diagnosis {
  return describeStudy(studyFlight(flight, options));
}

/** Puts a study into the form that leaves the analysis. */
export function describeStudy(study: FlightStudy): Diagnosis {
  const { flight, phases, hover, band, axes: studies, decisions, actuators, battery } = study;
  const axes = Object.fromEntries(studies.map((one) => [one.axis, describeAxis(one, hover)])) as Record<
    AxisName,
    AxisDiagnosis
  >;
  const { vibration, filters } = study;
  const vibrationLines = isUnavailable(vibration) ? undefined : vibration.lines;
  const findings = findFindings({
    flight,
    phases,
    hover,
    studies,
    decisions,
    actuators,
    battery,
    band,
    vibration,
    vibrationLines,
  });
  return {
    schema: 'settle.diagnosis/1',
    flight: { name: flight.name, durationS: flight.durationS, sampleRatesHz: sampleRates(flight) },
    phases,
    phasesFrom: study.phasesFrom,
    analysed: { startS: hover.startS, endS: hover.endS },
    searchedHz: { lowest: band.lowestHz, highest: band.highestHz, why: band.why },
    falseAlarmRate: FALSE_ALARM_RATES,
    axes,
    vibration: describeVibration(vibration, isUnavailable(filters) ? [] : describeNotches(filters)),
    filters,
    actuators,
    battery,
    findings,
    advice: adviseNext({ flight, studies, decisions, findings, phases, hover, filters }),
    cautions: CAUTIONS,
  };
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
