export * from './diagnosis.js';
export { CannotAnalyse } from './cannot-analyse.js';
export { diagnose, FALSE_ALARM_RATES, type DiagnoseOptions } from './diagnose.js';
export { analysisLacks, type AnalysisLacks } from './lacks.js';
export { findPhases, longestHover, type PhaseReport } from './phases/find-phases.js';
