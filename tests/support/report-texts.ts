/** The texts of a report, as a reader meets them, and entries of a diagnosis for reports about them. */

import type { Advice, Finding, Margins } from '@settle/analysis';
import type { Block, ReportDocument } from '../../packages/report/src/document.js';

function textsOf(block: Block): string[] {
  switch (block.kind) {
    case 'sentence':
      return [block.text];
    case 'list':
      return block.items.flatMap(({ text, children }) => [text, ...children]);
    case 'table':
      return block.rows.flat();
    case 'timeline':
    case 'chart':
      return [];
  }
}

export function sectionTexts(document: ReportDocument, title: string): string {
  const found = document.sections.find((candidate) => candidate.title === title);
  return found === undefined ? '(no such section)' : found.blocks.flatMap(textsOf).join('\n');
}

/** A fact that is no wobble. */
export const UPSET: Finding = {
  id: 'upset',
  axis: 'pitch',
  severity: 'danger',
  confidence: 0.9,
  summary: 'The aircraft tipped past 60 deg.',
  evidence: ['Pitch reached 74 deg at 18.2 s.'],
};

export const LOWER_P: Advice = {
  step: 1,
  kind: 'gain',
  axis: 'pitch',
  loop: 'rate',
  term: 'P',
  factor: 0.7,
  from: 0.18,
  to: 0.126,
  basis: 'ultimate-cycle',
  because: ['The loop cycles by itself.'],
  watchFor: 'a slower answer to the sticks',
  text: 'Lower the proportional gain of the pitch rate loop.',
  expect: [{ axis: 'pitch', gainMarginDb: 6.04, phaseMarginDeg: 41.3, oscillationHz: null }],
};

export const STABLE: Margins = {
  stable: true,
  gainMarginDb: 6.31,
  gainReductionMarginDb: null,
  phaseMarginDeg: 38.4,
  crossoverHz: 3.02,
  phaseCrossoverHz: 7.11,
  sensitivityPeak: 1.93,
  gainMarginStdDb: 0.44,
  phaseMarginStdDeg: 3.1,
  from: 'demand to measured rate',
};
