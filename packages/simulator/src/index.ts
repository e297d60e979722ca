export * from './config.js';
export { makeRandom, makeStream, type Random } from './random.js';
export { simulateFlight, type SimulatedFlight } from './simulate.js';
export type { LoggedColumns, LoggedGroup } from './record.js';
export type { AxisTruth, FlightTruth, TruePhase } from './truth.js';
export type { MarginTruth } from './margins.js';
export { toFlight, type FlightSelection } from './to-flight.js';
export { toCsvFiles, type CsvFile, type CsvOptions } from './csv.js';
export { toGainsFile, type GainsFile } from './gains-file.js';
export { samphireHovers, type DemoHover } from './samphire.js';
export { samphireRecord } from './samphire-record.js';
export {
  randomFlight,
  simulateRandom,
  type Expected,
  type LabelledFlight,
  type RandomFlight,
  type RandomKind,
  type ShownLine,
} from './random-flight.js';
export { trueLine, trueRate, trueSpan, type TrueLine } from './true-line.js';
export { tuneAxis, tuneFlight, scaleGain, dominantOf, type GuiltyTerm, type TuneTarget } from './tune.js';
export {
  bestLoop,
  judgeAxis,
  unsafeChanges,
  type AxisQuality,
  type BestLoop,
  type LoopName,
  type LoopQuality,
  type UnsafeChange,
} from './loop-quality.js';
export {
  isUpset,
  planTrialFlight,
  trialAircraft,
  type PlannedFlight,
  type TrialAircraft,
} from './trial-aircraft.js';
export type { TrueSensor, TrueVibrationLine, VibrationSpan, VibrationTruth } from './vibration-truth.js';
export { foldFrequency } from './vibration-truth.js';
export {
  flyVibration,
  NEAR_CENTRE,
  OFF_CENTRE,
  vibrationFlight,
  type Throttle,
  type VibrationFlight,
} from './vibration-flight.js';
