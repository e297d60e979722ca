/** A report as lines of plain text, for a terminal, a pipe or a file. */

import type { Block, Emphasis, List, ReportDocument, Table, TableColumn, Timeline } from './document.js';
import { formatTime } from './numbers.js';
import { TERMINAL_STYLES } from './palette.js';
import { sketchLines } from './sketch.js';
import { printable } from './words.js';

export interface TextOptions {
  /** Columns to fill; values below 40 count as 40. */
  readonly width: number;
  /** Whether escape sequences for weight and colour may be used. Meaning never rests on them. */
  readonly colour: boolean;
  /** Whether to draw timelines and small plots with characters. Default: no, so that piped text holds sentences and tables only. */
  readonly drawings?: boolean;
}

const LEAST_WIDTH = 40;
/** Lines longer than this are hard to follow; tables may still use the whole width. */
const WIDEST_PROSE = 100;
const INDENT = '  ';
const BETWEEN_COLUMNS = 2;
/** Cells of words are folded no narrower than this before a table is turned into one block per row. */
const NARROWEST_WORDS = 10;

type Paint = (text: string, emphasis: Emphasis | 'title') => string;

function painter(colour: boolean): Paint {
  if (!colour) return (text) => text;
  return (text, emphasis) => {
    const style = TERMINAL_STYLES[emphasis];
    return style === '' || text === '' ? text : `\u001b[${style}m${text}\u001b[0m`;
  };
}

/** Characters as the eye counts them; wide scripts are not handled, so their tables may be ragged. */
function lengthOf(text: string): number {
  return [...text].length;
}

/** As much of an overlong word as ends at a joint of a name (`rate.`, `log_`, `dir/`), or all of it without one. */
function breakableHead(word: string): string {
  const joint = Math.max(...['.', '_', '/', '-'].map((mark) => word.lastIndexOf(mark)));
  return joint > 0 ? word.slice(0, joint + 1) : word;
}

/** Folds at spaces, and inside a word only where the word alone is longer than the line. */
export function wrapText(text: string, width: number): string[] {
  const lines: string[] = [];
  let line = '';
  for (const word of text.split(/ +/)) {
    let rest = word;
    const room = line === '' ? width : width - lengthOf(line) - 1;
    if (lengthOf(rest) <= room) {
      line = line === '' ? rest : `${line} ${rest}`;
      continue;
    }
    if (line !== '') lines.push(line);
    while (lengthOf(rest) > width) {
      const head = breakableHead([...rest].slice(0, width).join(''));
      lines.push(head);
      rest = rest.slice(head.length);
    }
    line = rest;
  }
  if (line !== '' || lines.length === 0) lines.push(line);
  return lines;
}

function hang(text: string, first: string, width: number): string[] {
  const indent = ' '.repeat(lengthOf(first));
  return wrapText(text, Math.max(width - lengthOf(first), 10)).map(
    (line, index) => (index === 0 ? first : indent) + line,
  );
}

function pad(text: string, width: number, align: TableColumn['align']): string {
  const spaces = ' '.repeat(Math.max(width - lengthOf(text), 0));
  return align === 'right' ? spaces + text : text + spaces;
}

function headingLines(columns: readonly TableColumn[]): string[][] {
  const titles = columns.map((column) => column.title);
  const hasUnits = columns.some((column) => column.unit !== null);
  return hasUnits ? [titles, columns.map((column) => column.unit ?? '')] : [titles];
}

function tableWidth(widths: readonly number[]): number {
  return (
    INDENT.length + widths.reduce((sum, width) => sum + width, 0) + BETWEEN_COLUMNS * (widths.length - 1)
  );
}

/** Column widths that fit into `width`, narrowing columns of words only; null when the numbers alone are too wide. */
function fitColumns(table: Table, width: number): number[] | null {
  const rows = [...headingLines(table.columns), ...table.rows.map((row) => row.map(printable))];
  const widths = table.columns.map((_, index) => Math.max(...rows.map((row) => lengthOf(row[index] ?? ''))));
  while (tableWidth(widths) > width) {
    let widest = -1;
    for (const [index, column] of table.columns.entries()) {
      const isFoldable = column.align === 'left' && widths[index]! > NARROWEST_WORDS;
      if (isFoldable && (widest < 0 || widths[index]! > widths[widest]!)) widest = index;
    }
    if (widest < 0) return null;
    widths[widest]! -= 1;
  }
  return widths;
}

function gridLines(table: Table, widths: readonly number[], paint: Paint): string[] {
  const render = (row: readonly string[]): string[] => {
    const cells = row.map((cell, index) => wrapText(printable(cell), widths[index]!));
    const height = Math.max(...cells.map((lines) => lines.length));
    return Array.from({ length: height }, (_, line) =>
      (
        INDENT +
        cells
          .map((lines, index) => pad(lines[line] ?? '', widths[index]!, table.columns[index]!.align))
          .join(' '.repeat(BETWEEN_COLUMNS))
      ).trimEnd(),
    );
  };
  return [
    ...headingLines(table.columns)
      .flatMap(render)
      .map((line) => paint(line, 'strong')),
    ...table.rows.flatMap(render),
  ];
}

/** One block per row, one line per column: for windows too narrow for the grid. */
function stackedLines(table: Table, width: number): string[] {
  const labels = table.columns.map(({ title, unit }) =>
    unit === null || unit === '' ? title : `${title}, ${unit}`,
  );
  const labelWidth = Math.max(...labels.map(lengthOf));
  return table.rows.flatMap((row, index) => [
    ...(index === 0 ? [] : ['']),
    ...labels.flatMap((label, position) => {
      const cell = row[position] ?? '';
      return cell === '' ? [] : hang(printable(cell), `${INDENT}${pad(label, labelWidth, 'left')}  `, width);
    }),
  ]);
}

function tableLines(table: Table, width: number, paint: Paint): string[] {
  if (table.rows.length === 0) return [];
  const widths = fitColumns(table, width);
  return widths === null ? stackedLines(table, width) : gridLines(table, widths, paint);
}

function listLines(list: List, width: number, paint: Paint): string[] {
  return list.items.flatMap((entry) => [
    ...hang(printable(entry.text), `${INDENT}- `, width).map((line) => paint(line, entry.emphasis)),
    ...entry.children.flatMap((child) => hang(printable(child), `${INDENT}    `, width)),
  ]);
}

/** Writes each label under the start of its part where it does not run into the next one. */
function labelLine(parts: Timeline['rows'][number]['parts'], columnOf: (timeS: number) => number): string {
  let line = '';
  for (const part of parts) {
    const start = columnOf(part.startS);
    const isFree = start >= line.length + (line === '' ? 0 : 1);
    const next = parts.find((other) => other.startS > part.startS);
    const room = next === undefined ? Infinity : columnOf(next.startS) - start;
    if (part.label !== '' && isFree && part.label.length < room) line = line.padEnd(start) + part.label;
  }
  return line;
}

function timelineLines(timeline: Timeline, width: number): string[] {
  const spanS = timeline.endS - timeline.startS;
  if (!(spanS > 0)) return [];
  const labelWidth = Math.max(...timeline.rows.map((row) => lengthOf(row.label)));
  const room = Math.min(width, WIDEST_PROSE) - INDENT.length - labelWidth - BETWEEN_COLUMNS;
  if (room < 20) return [];
  const columnOf = (timeS: number): number =>
    Math.min(Math.max(Math.round(((timeS - timeline.startS) / spanS) * room), 0), room);
  const lead = (label: string): string =>
    INDENT + pad(label, labelWidth, 'left') + ' '.repeat(BETWEEN_COLUMNS);

  const lines = timeline.rows.flatMap((row) => {
    const cells = Array.from({ length: room }, () => ' ');
    for (const part of row.parts) {
      const start = Math.min(columnOf(part.startS), room - 1);
      // A part too short for the scale still shows: what is not drawn would look as if it had not happened.
      const end = Math.max(columnOf(part.endS), start + 1);
      cells.fill(part.mark, start, end);
    }
    const labels = labelLine(row.parts, columnOf);
    return [
      (lead(printable(row.label)) + cells.join('')).trimEnd(),
      ...(labels === '' ? [] : [(lead('') + labels).slice(0, width)]),
    ];
  });
  const end = `${formatTime(timeline.endS)} s`;
  const scale = `${formatTime(timeline.startS)} s`.padEnd(Math.max(room - end.length, 0)) + end;
  return [...lines, lead('') + scale];
}

function blockLines(block: Block, options: TextOptions, paint: Paint): string[] {
  const prose = Math.min(options.width, WIDEST_PROSE);
  switch (block.kind) {
    case 'sentence':
      return hang(printable(block.text), INDENT, prose).map((line) => paint(line, block.emphasis));
    case 'list':
      return listLines(block, prose, paint);
    case 'table':
      return tableLines(block, options.width, paint);
    case 'timeline':
      return options.drawings === true ? timelineLines(block, options.width) : [];
    case 'chart':
      return options.drawings === true && block.chart.sketch !== null
        ? sketchLines(block.chart.sketch, prose)
        : [];
  }
}

/** @returns the report as text ending in one line break; no line is wider than the width, save unbreakable drawings */
export function renderText(document: ReportDocument, options: TextOptions): string {
  const width = Math.max(
    Number.isFinite(options.width) ? Math.floor(options.width) : LEAST_WIDTH,
    LEAST_WIDTH,
  );
  const fitted = { ...options, width };
  const paint = painter(options.colour);
  const lines = [
    ...wrapText(printable(document.title), width).map((line) => paint(line, 'title')),
    ...wrapText(printable(document.subtitle), width),
  ];
  for (const section of document.sections) {
    // A section of pictures has nothing to say where none are drawn.
    if (section.blocks.every((block) => blockLines(block, fitted, paint).length === 0)) continue;
    lines.push('', paint(printable(section.title), 'title'));
    let previous: Block | null = null;
    for (const block of section.blocks) {
      const rendered = blockLines(block, fitted, paint);
      if (rendered.length === 0) continue;
      // Sentences follow one another; a table or a drawing needs air around it.
      const isFlowing = (kind: Block['kind']): boolean => kind === 'sentence' || kind === 'list';
      if (previous !== null && !(isFlowing(previous.kind) && isFlowing(block.kind))) lines.push('');
      lines.push(...rendered);
      previous = block;
    }
  }
  return `${lines.join('\n')}\n`;
}
