export * from './flight.js';
export { describeClock } from './clock.js';
export { LogError } from './log-error.js';
export type { Place } from './log-error.js';
export type { LogSource } from './encoding.js';
export { readFlight } from './read-flight.js';
export type { ReadOptions } from './read-flight.js';
export { parseChannelMap } from './channel-map.js';
export type { ChannelMap, MapEntry } from './channel-map.js';
export { attitudeGainInSi, parseGains, rateGainsInSi } from './gains-file.js';
export type {
  AttitudeGains,
  FlownConfiguration,
  GainUnit,
  GainsFile,
  GyroNotch,
  JsonValue,
  LoopGains,
  RateGains,
  UnknownField,
} from './gains-file.js';
export { applyGainAdvice, formatGains, gainToChange } from './gains-change.js';
export type { GainChange } from './gains-change.js';
export { suggestMap } from './suggest-map.js';
export { parseRecord, isSameName } from './tuning-record/read-record.js';
export {
  addHover,
  formatRecord,
  newRecord,
  selectHovers,
  withAirframe,
} from './tuning-record/write-record.js';
export { RECORD_SCHEMA } from './tuning-record/record-types.js';
export type { HoverDraft, RecordedHover, RecordedPath, TuningRecord } from './tuning-record/record-types.js';
export { isRecordDate } from './tuning-record/record-date.js';
