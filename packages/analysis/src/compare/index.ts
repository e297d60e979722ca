export type * from './comparison.js';
export type {
  HoverIdentity,
  HoverNotes,
  HoverSummary,
  AxisSummary,
  LineSummary,
  Measured,
} from './hover-summary.js';
export { compareHovers } from './compare-hovers.js';
export { summariseHover } from './summarise-hover.js';
export type { FoundChange } from './effectiveness.js';
export type { GainFit } from './gain-fit.js';
export type { LineOrigin } from './line-origins.js';
