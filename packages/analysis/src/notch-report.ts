/** What shakes and where a notch belongs, by itself: the part of a diagnosis that `settle notch` prints. */
import type { Flight } from '@settle/parser';
import { describeStudy } from './diagnose.js';
import type { Diagnosis } from './diagnosis.js';
import { studyFlight, type DiagnoseOptions, type FlightStudy } from './study-flight.js';

export interface NotchReport {
  readonly schema: 'settle.notch/1';
  readonly flight: Diagnosis['flight'];
  readonly phases: Diagnosis['phases'];
  readonly analysed: Diagnosis['analysed'];
  readonly vibration: Diagnosis['vibration'];
  readonly filters: Diagnosis['filters'];
  readonly findings: Diagnosis['findings'];
  readonly advice: Diagnosis['advice'];
  readonly cautions: Diagnosis['cautions'];
}

/** Findings that have to do with vibration and its log. */
const FINDINGS = new Set([
  'rotor-vibration',
  'aliased-vibration',
  'structural-resonance',
  'sensor-clipping',
  'log-too-slow',
  'log-gaps',
  'hover-too-short',
  'upset',
]);
const KINDS = new Set(['filter', 'mechanical', 'do-not-fly']);

/**
 * @throws CannotAnalyse as {@link studyFlight}
 */
export function placeNotches(flight: Flight, options: DiagnoseOptions = {}): NotchReport {
  return describeNotchStudy(studyFlight(flight, { ...options, vibration: true }));
}

/** Puts a study that holds vibration into the form that leaves the analysis. */
export function describeNotchStudy(study: FlightStudy): NotchReport {
  const diagnosis = describeStudy(study);
  return {
    schema: 'settle.notch/1',
    flight: diagnosis.flight,
    phases: diagnosis.phases,
    analysed: diagnosis.analysed,
    vibration: diagnosis.vibration,
    filters: diagnosis.filters,
    // A danger is told whatever was asked.
    findings: diagnosis.findings.filter(({ id, severity }) => severity === 'danger' || FINDINGS.has(id)),
    advice: diagnosis.advice.filter((advice) => KINDS.has(advice.kind)),
    cautions: diagnosis.cautions,
  };
}
