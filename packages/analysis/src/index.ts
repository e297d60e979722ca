export * from './diagnosis.js';
export { CannotAnalyse } from './cannot-analyse.js';
export { diagnose, FALSE_ALARM_RATE, type DiagnoseOptions } from './diagnose.js';
export { analysisLacks, type AnalysisLacks } from './lacks.js';
export { findPhases, longestHover, type PhaseReport } from './phases/find-phases.js';
