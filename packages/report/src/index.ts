/**
 * Results to text. Stages: a result (`Diagnosis`, `Inspection`) is assembled into a `ReportDocument`, which is
 * rendered as terminal text or Markdown. All of it is pure.
 */

import type { Diagnosis, NotchReport } from '@settle/analysis';
import { assembleDiagnosisDocument } from './diagnosis-document.js';
import type { Inspection } from './inspection.js';
import { assembleInspectionDocument } from './inspection-document.js';
import { renderMarkdown } from './markdown.js';
import { assembleNotchDocument } from './notch-document.js';
import { type TextOptions, renderText } from './text.js';

export type { ReportDocument, Section, Block } from './document.js';
export type { InspectedChannel, Inspection } from './inspection.js';
export type { TextOptions } from './text.js';
export { assembleDiagnosisDocument } from './diagnosis-document.js';
export { assembleInspection } from './inspection.js';
export { assembleInspectionDocument, problemText } from './inspection-document.js';
export { renderMarkdown } from './markdown.js';
export { renderText } from './text.js';
export { printable } from './words.js';

/** The page for the field. */
export function diagnosisText(diagnosis: Diagnosis, options: TextOptions): string {
  return renderText(assembleDiagnosisDocument(diagnosis), options);
}

export function diagnosisMarkdown(diagnosis: Diagnosis): string {
  return renderMarkdown(assembleDiagnosisDocument(diagnosis));
}

export function notchText(report: NotchReport, options: TextOptions): string {
  return renderText(assembleNotchDocument(report), options);
}

export function notchMarkdown(report: NotchReport): string {
  return renderMarkdown(assembleNotchDocument(report));
}

export function inspectionText(inspection: Inspection, options: TextOptions): string {
  return renderText(assembleInspectionDocument(inspection), options);
}

export function inspectionMarkdown(inspection: Inspection): string {
  return renderMarkdown(assembleInspectionDocument(inspection));
}
