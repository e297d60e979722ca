/**
 * Results to something a person reads. Stages: a result (`Diagnosis`, `NotchReport`, `Inspection`), with its pictures where there
 * are any, is assembled into one `ReportDocument`; that is rendered as terminal text, Markdown, HTML, SVG or PNG.
 */

import { allPictures, type ReportDocument } from './document.js';

export type { ReportDocument, Section, Block } from './document.js';
export type { Chart } from './charts/chart.js';
export { NO_CHARTS, allCharts, assembleCharts, type Charts } from './charts/assemble-charts.js';
export { assembleComparisonDocument } from './comparison-document.js';
export { assembleDiagnosisDocument } from './diagnosis-document.js';
export { assembleNotchDocument } from './notch-document.js';
export { assembleInspection, type InspectedChannel, type Inspection } from './inspection.js';
export { assembleInspectionDocument, problemText } from './inspection-document.js';
export { assembleHoverDocument, assembleRecordDocument } from './record-document.js';
export { renderMarkdown, type MarkdownOptions } from './markdown.js';
export { renderText, type TextOptions } from './text.js';
export { printable } from './words.js';

/** One self-contained HTML file. Loads the drawing program, which text does without. */
export async function renderHtml(document: ReportDocument): Promise<string> {
  return (await import('./html/render-html.js')).renderHtml(document);
}

export interface PictureFile {
  readonly name: string;
  readonly content: string | Uint8Array;
}

/** Names of all the files that {@link renderPictures} makes of the same document. */
export function pictureFileNames(document: ReportDocument): string[] {
  return allPictures(document).flatMap(({ id }) => [`${id}.svg`, `${id}.png`]);
}

/** Every picture of a report as SVG and as PNG, one at a time: a long report need not be held in memory twice. */
export async function* renderPictures(document: ReportDocument): AsyncGenerator<PictureFile> {
  const { drawChart } = await import('./raster.js');
  for (const chart of allPictures(document)) {
    const { id, svg, png } = await drawChart(chart);
    yield { name: `${id}.svg`, content: svg };
    yield { name: `${id}.png`, content: png };
  }
}
