/** Small line plots for a terminal, drawn with braille characters: two dots across and four up in each. */

import type { Sketch } from './charts/chart.js';
import { formatSignificant } from './numbers.js';

const INDENT = '  ';
const ROWS = 7;
const WIDEST = 72;
const NARROWEST = 24;
const DOTS_ACROSS = 2;
const DOTS_UP = 4;
/** First of the braille patterns of Unicode; the dots of a cell by column and row, from the top. */
const BRAILLE = 0x2800;
const DOT_BITS = [
  [0x01, 0x02, 0x04, 0x40],
  [0x08, 0x10, 0x20, 0x80],
] as const;

/**
 * @param width columns that may be used
 * @returns no line where there are fewer than two points or too few columns
 */
export function sketchLines(sketch: Sketch, width: number): string[] {
  const { logarithmic } = sketch;
  const place = (value: number, isLog: boolean): number => (isLog ? Math.log(value) : value);
  const points = sketch.points
    .filter(([x, y]) => (!logarithmic.x || x > 0) && (!logarithmic.y || y > 0))
    .map(([x, y]) => [place(x, logarithmic.x), place(y, logarithmic.y)] as const);
  const xs = points.map(([x]) => x);
  const ys = points.map(([, y]) => y);
  const [left, right, bottom, top] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
  const back = (value: number, isLog: boolean): string =>
    formatSignificant(isLog ? Math.exp(value) : value, 2);
  const labels = [back(top, logarithmic.y), back(bottom, logarithmic.y)];
  const gutter = Math.max(...labels.map((label) => label.length));
  const columns = Math.min(WIDEST, width - INDENT.length - gutter - 1);
  if (points.length < 2 || !(right > left) || !(top > bottom) || columns < NARROWEST) return [];

  const cells = Array.from({ length: ROWS }, () => new Uint8Array(columns));
  const across = (x: number): number => ((x - left) / (right - left)) * (columns * DOTS_ACROSS - 1);
  const up = (y: number): number => ((top - y) / (top - bottom)) * (ROWS * DOTS_UP - 1);
  for (let i = 1; i < points.length; i++) {
    const [x0, y0] = [across(points[i - 1]![0]), up(points[i - 1]![1])];
    const [x1, y1] = [across(points[i]![0]), up(points[i]![1])];
    const steps = Math.max(1, Math.ceil(Math.max(Math.abs(x1 - x0), Math.abs(y1 - y0))));
    for (let s = 0; s <= steps; s++) {
      const column = Math.round(x0 + ((x1 - x0) * s) / steps);
      const row = Math.round(y0 + ((y1 - y0) * s) / steps);
      const cell = cells[Math.floor(row / DOTS_UP)]!;
      const at = Math.floor(column / DOTS_ACROSS);
      cell[at]! |= DOT_BITS[column % DOTS_ACROSS]![row % DOTS_UP]!;
    }
  }
  const lines = cells.map((cell, row) => {
    const label = row === 0 ? labels[0]! : row === ROWS - 1 ? labels[1]! : '';
    const drawn = Array.from(cell, (bits) => (bits === 0 ? ' ' : String.fromCharCode(BRAILLE + bits))).join(
      '',
    );
    return `${INDENT}${label.padStart(gutter)} ${drawn}`.trimEnd();
  });
  const [start, end] = [back(left, logarithmic.x), back(right, logarithmic.x)];
  const room = columns - start.length - end.length;
  const middle = sketch.x.length + 2 > room ? '' : sketch.x;
  const before = Math.floor((room - middle.length) / 2);
  const scale = start + (' '.repeat(Math.max(0, before)) + middle).padEnd(Math.max(1, room)) + end;
  return [`${INDENT}${sketch.y}`, ...lines, `${INDENT}${' '.repeat(gutter)} ${scale}`];
}
