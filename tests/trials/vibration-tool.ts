import type { Flight } from '@settle/parser';
import { findPhases, longestHover } from '../../packages/analysis/src/phases/find-phases.js';
import type { Unavailable } from '../../packages/analysis/src/unavailable.js';
import { studyVibration } from '../../packages/analysis/src/vibration/study.js';
import type { VibrationStudy } from '../../packages/analysis/src/vibration/vibration-study.js';

/** What the tool makes of a log of which it is told nothing: phases, the hover, its vibration. */
export function toolStudy(flight: Flight): VibrationStudy | Unavailable {
  const { phases } = findPhases(flight);
  const hover = longestHover(phases);
  return hover === null ? { unavailable: 'no hover found' } : studyVibration(flight, hover, phases);
}
