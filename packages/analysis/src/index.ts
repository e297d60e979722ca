export * from './diagnosis.js';
export { CannotAnalyse } from './cannot-analyse.js';
export { describeStudy, diagnose } from './diagnose.js';
export { studyFlight, type DiagnoseOptions, type FlightStudy } from './study-flight.js';
export { FALSE_ALARM_RATES } from './oscillation/study-axis.js';
export { analysisLacks, type AnalysisLacks } from './lacks.js';
export { findPhases, longestHover, type PhaseReport } from './phases/find-phases.js';
