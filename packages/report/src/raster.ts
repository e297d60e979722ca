/** Charts as SVG and PNG, made without a browser. */

import { Resvg } from '@resvg/resvg-js';
import * as vega from 'vega';
import { type FontFile, fontFiles } from './assets.js';
import type { Chart } from './charts/chart.js';
import { WarningLog, compileChart } from './compile-chart.js';
import { FONT_FAMILY } from './charts/parts.js';
import { measureText } from './text-width.js';

/** Pixels of a PNG per unit of the SVG: sharp on a fine screen. */
const ZOOM = 2;

export interface ChartPicture {
  readonly id: string;
  readonly svg: string;
  readonly png: Uint8Array;
}

/** @returns an SVG document with the chart's words for whoever does not see it */
export async function chartSvg(chart: Chart, log: WarningLog = new WarningLog()): Promise<string> {
  measureText();
  const view = new vega.View(vega.parse(compileChart(chart, log, true)), { renderer: 'none', logger: log });
  view.logLevel(vega.Warn);
  const svg = await view.toSVG();
  view.finalize();
  return svg.replace(/<svg /, `<svg role="img" aria-label="${escapeAttribute(chart.alternative)}" `);
}

export async function drawChart(chart: Chart): Promise<ChartPicture> {
  const svg = await chartSvg(chart);
  return { id: chart.id, svg, png: rasterise(svg, fontFiles()).asPng() };
}

/** @param fonts those the text is drawn with; fonts of the machine are not asked, so that a picture looks alike everywhere */
export function rasterise(svg: string, fonts: readonly FontFile[]): ReturnType<Resvg['render']> {
  return new Resvg(svg, {
    font: {
      loadSystemFonts: false,
      fontFiles: fonts.map(({ path }) => path),
      defaultFontFamily: FONT_FAMILY,
      sansSerifFamily: FONT_FAMILY,
    },
    fitTo: { mode: 'zoom', value: ZOOM },
  }).render();
}

function escapeAttribute(text: string): string {
  return text.replace(/[&<>"]/g, (character) => `&#${String(character.charCodeAt(0))};`);
}
