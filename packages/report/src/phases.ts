/** Phases of flight, as one sentence and as a labelled strip. */

import type { Phase, PhaseKind } from '@settle/analysis';
import type { TimelinePart } from './document.js';
import { formatTime } from './numbers.js';
import { PHASE_WORDS } from './words.js';

const PHASE_MARKS: Readonly<Record<PhaseKind, string>> = {
  ground: '.',
  takeoff: '/',
  hover: '=',
  manoeuvre: '~',
  landing: '\\',
  upset: '!',
};

export function phaseSentence(phases: readonly Phase[]): string {
  if (phases.length === 0) return 'No phase of flight could be told from this log.';
  const parts = phases.map(
    ({ kind, startS, endS }) => `${PHASE_WORDS[kind]} ${formatTime(startS)}–${formatTime(endS)} s`,
  );
  return `Phases: ${parts.join(', ')}.`;
}

export function phaseTimelineRow(phases: readonly Phase[]): { label: string; parts: TimelinePart[] } {
  return {
    label: 'phase',
    parts: phases.map(({ kind, startS, endS }) => ({
      startS,
      endS,
      label: PHASE_WORDS[kind],
      mark: PHASE_MARKS[kind],
    })),
  };
}
