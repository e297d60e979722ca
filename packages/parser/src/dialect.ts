import { classifyCell, isCommaNumber, isPointNumber } from './cells.js';
import type { CellKind } from './cells.js';
import { LogError } from './log-error.js';
import { readRecords } from './records.js';
import type { Delimiter } from './records.js';
import { parseUnit } from './units.js';

/** How a log is laid out. Lines count from 1. */
export interface Dialect {
  readonly delimiter: Delimiter;
  readonly decimal: '.' | ',';
  readonly headerLine: number | null;
  readonly unitsLine: number | null;
  /** First line of the numbers. */
  readonly dataLine: number;
  /** One text per column, trimmed, '' where the header has none; null without a header. */
  readonly header: readonly string[] | null;
  /** One text per column, '' where the units row has none; null without a units row. */
  readonly units: readonly string[] | null;
  /** Number of columns. */
  readonly width: number;
}

interface Line {
  readonly number: number;
  readonly cells: readonly string[];
  readonly kinds: readonly CellKind[];
  readonly comment: boolean;
}

const DELIMITERS: readonly Delimiter[] = [',', ';', '\t', ' '];
/** Records of the sample that are judged. */
const JUDGED = 600;
/** Rows looked at to tell a header from a remark. */
const RUN = 20;
/** Widest row taken for a log. */
const COLUMN_LIMIT = 4096;
const RULE_CELL = /^[\s\-=_*+|:]*$/;

/**
 * Judges delimiter, decimal mark, preamble, header and units row from the beginning of a log.
 *
 * @throws LogError `no-numbers`, `header-only`, `record-too-long` or `too-many-columns`
 */
export function detectDialect(sample: string, sampleIsAll: boolean, file: string): Dialect {
  const judged = DELIMITERS.map((delimiter) => judgeDelimiter(sample, sampleIsAll, delimiter, file));
  const best = judged.reduce((a, b) => (b.score > a.score + 1e-9 ? b : a));
  const { lines, delimiter } = best.score > 0 ? best : (judged[0] ?? best);
  if (lines.length === 0 && !sampleIsAll) refuseLong(sample.length, 1, file);
  const decimal = findDecimal(lines, delimiter);
  const width = best.score > 0 ? best.width : 1;
  if (width > COLUMN_LIMIT)
    throw new LogError(
      'too-many-columns',
      `${String(width)} columns in a row`,
      `a log of at most ${String(COLUMN_LIMIT)} columns is read: write one sample per line`,
      { file },
    );
  try {
    return { delimiter, decimal, ...locateHeader(lines, width, delimiter, file) };
  } catch (error) {
    // No rows because the line after the header never ends?
    const tail = sample.length - Math.max(sample.lastIndexOf('\n'), sample.lastIndexOf('\r'));
    if (error instanceof LogError && !sampleIsAll && tail > sample.length / 4)
      refuseLong(tail, sample.split(/\r\n?|\n/).length, file);
    throw error;
  }
}

/** Cells of a record, with runs of spaces taken as one delimiter. */
export function cellsOf(record: readonly string[], delimiter: Delimiter): readonly string[] {
  if (delimiter !== ' ') return record;
  const cells: string[] = [];
  for (const cell of record)
    for (const part of cell.includes('\t') ? cell.split('\t') : [cell]) if (part !== '') cells.push(part);
  return cells;
}

/** Whether a line with this beginning is a remark rather than a row. */
export function isComment(firstCell: string): boolean {
  return /^\s*(?:#|%|\/\/|!)/.test(firstCell);
}

/** Whether a record is a drawn line such as `-----`. */
export function isRule(cells: readonly string[]): boolean {
  return cells.some((cell) => cell.trim().length >= 3) && cells.every((cell) => RULE_CELL.test(cell));
}

function judgeDelimiter(
  sample: string,
  sampleIsAll: boolean,
  delimiter: Delimiter,
  file: string,
): { delimiter: Delimiter; lines: Line[]; score: number; width: number } {
  const lines = sampleLines(sample, sampleIsAll, delimiter, file);
  const rows = lines.filter((line) => !line.comment && line.kinds.some(isNumeric));
  const widths = new Map<number, number>();
  for (const row of rows) widths.set(row.cells.length, (widths.get(row.cells.length) ?? 0) + 1);
  const [width, count] = [...widths].reduce(
    (a, b) => (b[1] > a[1] || (b[1] === a[1] && b[0] > a[0]) ? b : a),
    [0, 0],
  );
  if (width < 2) return { delimiter, lines, score: 0, width };
  let share = 0;
  for (const row of rows) {
    const filled = row.kinds.filter((kind) => kind !== 'empty');
    share += filled.filter((kind) => kind !== 'text').length / Math.max(1, filled.length);
  }
  // Rows of several kinds differ in width, so an even width is a help, not a condition.
  const even = 0.5 + 0.5 * (count / rows.length);
  return { delimiter, lines, score: (share / rows.length) * even * (1 + 0.001 * Math.log2(width)), width };
}

function sampleLines(sample: string, sampleIsAll: boolean, delimiter: Delimiter, file: string): Line[] {
  const lines: Line[] = [];
  try {
    for (const batch of readRecords([sample], delimiter, file))
      batch.records.forEach((record, index) => {
        if (lines.length >= JUDGED || (batch.endsOpen && !sampleIsAll)) return;
        const cells = cellsOf(record, delimiter).map((cell) => cell.trim());
        if (cells.every((cell) => cell === '')) return;
        lines.push({
          number: batch.lines?.[index] ?? batch.firstLine + index,
          cells,
          kinds: cells.map((cell) => classifyCell(cell, true)),
          comment: isComment(cells[0] ?? ''),
        });
      });
  } catch (error) {
    // Quotes that do not fit this delimiter may fit another; the table stage repeats the message for the chosen one.
    if (!(error instanceof LogError)) throw error;
  }
  return lines;
}

function isNumeric(kind: CellKind): boolean {
  return kind === 'number' || kind === 'stamp';
}

function findDecimal(lines: readonly Line[], delimiter: Delimiter): '.' | ',' {
  let commas = 0;
  let points = 0;
  for (const line of lines)
    for (const cell of line.cells) {
      // Inside a comma-separated row a comma can only stand in a quoted cell.
      if (cell.includes(',') && isCommaNumber(cell)) commas++;
      else if (isPointNumber(cell)) points++;
    }
  return commas > points && (delimiter !== ',' || commas > 0) ? ',' : '.';
}

function locateHeader(
  lines: readonly Line[],
  width: number,
  delimiter: Delimiter,
  file: string,
): Pick<Dialect, 'headerLine' | 'unitsLine' | 'dataLine' | 'header' | 'units' | 'width'> {
  const headerIndex = findHeader(lines, width, delimiter);
  if (headerIndex < 0) return headerless(lines, width, file);
  const headerRow = lines[headerIndex]!;
  let next = skipRules(lines, headerIndex + 1);
  let unitsRow: Line | null = null;
  const candidate = lines[next];
  if (candidate && isUnitsRow(candidate)) {
    unitsRow = candidate;
    next = skipRules(lines, next + 1);
  }
  const header = headerCells(headerRow, width);
  const columns = Math.max(width, trimmedLength(header));
  refuseDecimalCommas(
    trimmedLength(header),
    trimmedLength(lines[next]?.cells ?? []),
    delimiter,
    headerRow.number,
    file,
  );
  return {
    headerLine: headerRow.number,
    unitsLine: unitsRow?.number ?? null,
    dataLine: lines[next]?.number ?? headerRow.number + 1,
    header: pad(header, columns),
    units: unitsRow ? pad(headerCells(unitsRow, width), columns) : null,
    width: columns,
  };
}

/** The first header, unless rows such as `Mass,7.4` lie between it and another one: then it was a title. */
function findHeader(lines: readonly Line[], width: number, delimiter: Delimiter): number {
  const isOne = (_: Line, index: number): boolean => isHeader(lines, index, width, delimiter);
  let found = lines.findIndex(isOne);
  while (found >= 0) {
    const run = lines.slice(found + 1, found + 1 + RUN);
    const later = run.findIndex(
      (line, index) => isOne(line, found + 1 + index) && !isUnitsRow(line) && !isRule(line.cells),
    );
    const between = run.slice(0, Math.max(0, later));
    const same = later >= 0 && run[later]!.cells.join('\n') === lines[found]!.cells.join('\n');
    if (later < 0 || same || between.some((line) => !line.comment && !line.kinds.includes('text'))) break;
    found += 1 + later;
  }
  return found;
}

/** A header names columns: it has text where the rows below have numbers. */
function isHeader(lines: readonly Line[], index: number, width: number, delimiter: Delimiter): boolean {
  const line = lines[index]!;
  const cells = headerCells(line, width);
  const filled = cells.filter((cell) => cell !== '').length;
  // Words of a remark or between spaces name columns only if there are as many.
  const exact = line.comment || delimiter === ' ';
  if (exact ? trimmedLength(cells) !== width : filled < Math.max(1, width / 2)) return false;
  const start = skipRules(lines, index + 1);
  const unitsRow = lines[start];
  const dataStart = unitsRow && isUnitsRow(unitsRow) ? skipRules(lines, start + 1) : start;
  if (!isSolid(lines, dataStart, width)) return false;
  const rows = lines.slice(dataStart, dataStart + RUN).filter((row) => !row.comment);
  let named = 0;
  let numbers = 0;
  cells.forEach((cell, column) => {
    if (!rows.some((row) => isNumeric(row.kinds[column] ?? 'empty'))) return;
    const kind = classifyCell(cell, true);
    if (kind === 'text') named++;
    else if (isNumeric(kind)) numbers++;
  });
  return named > 0 && named >= numbers;
}

/** Rows of numbers from here on, apart from the odd broken one. */
function isSolid(lines: readonly Line[], start: number, width: number): boolean {
  const run = lines.slice(start, start + RUN).filter((line) => !line.comment);
  const first = run[0];
  if (!first || !isData(first, width)) return false;
  return run.filter((line) => isData(line, width)).length >= 0.8 * run.length - 1;
}

/** At least one number, and no more text than numbers; a row of another kind may be narrower, a title is not half as wide. */
function isData(line: Line, width: number): boolean {
  if (line.comment || 2 * line.cells.length < width) return false;
  const numbers = line.kinds.filter(isNumeric).length;
  return numbers > 0 && line.kinds.filter((kind) => kind === 'text').length <= numbers + 1;
}

function headerCells(line: Line, width: number): readonly string[] {
  if (!line.comment) return line.cells;
  const cells = line.cells.map((cell, index) =>
    index === 0 ? cell.replace(/^\s*(?:#+|%+|\/\/|!)\s*/, '') : cell,
  );
  // `# time x y` in a space-separated log leaves an empty first cell behind.
  return cells.length > width && cells[0] === '' ? cells.slice(1) : cells;
}

function isUnitsRow(line: Line): boolean {
  const filled = line.cells.filter((cell) => cell !== '' && cell !== '-' && cell !== '1');
  if (filled.length === 0 || line.kinds.some((kind) => kind === 'stamp')) return false;
  const known = filled.filter((cell) => parseUnit(cell) !== null).length;
  return known >= 1 && known >= 0.6 * filled.length;
}

function skipRules(lines: readonly Line[], from: number): number {
  let index = from;
  while (index < lines.length && (isRule(lines[index]!.cells) || lines[index]!.comment)) index++;
  return index;
}

function headerless(
  lines: readonly Line[],
  width: number,
  file: string,
): Pick<Dialect, 'headerLine' | 'unitsLine' | 'dataLine' | 'header' | 'units' | 'width'> {
  const start = lines.findIndex((line, index) => !line.comment && isSolid(lines, index, width));
  const first = lines[start] ?? lines.find((line) => isData(line, width));
  if (!first) refuseTextOnly(lines, file);
  return { headerLine: null, unitsLine: null, dataLine: first.number, header: null, units: null, width };
}

function refuseTextOnly(lines: readonly Line[], file: string): never {
  const rows = lines.filter((line) => !line.comment);
  const line = rows[0]?.number ?? 1;
  if (rows.length <= 1)
    throw new LogError(
      'header-only',
      'a header but no row of numbers below it',
      'check that the logger was armed and wrote samples',
      { file, line },
    );
  throw new LogError(
    'no-numbers',
    'no row holds a number',
    'pass a log with one sample per line and numbers in its columns',
    { file, line },
  );
}

function refuseLong(length: number, line: number, file: string): never {
  throw new LogError(
    'record-too-long',
    `a row of more than ${String(length)} characters`,
    'write one sample per line; if that is so, look for a quote that is never closed',
    { file, line },
  );
}

/** So many times as many cells as headings: every number has fallen apart at its decimal comma. */
const SPLIT_CELLS = 1.5;

function refuseDecimalCommas(
  headings: number,
  cells: number,
  delimiter: string,
  line: number,
  file: string,
): void {
  if (delimiter !== ',' || headings < 2 || cells < SPLIT_CELLS * headings) return;
  throw new LogError(
    'decimal-commas',
    `${String(cells)} cells stand under ${String(headings)} headings: commas seem to stand both between the cells and in the numbers`,
    'export the log again with a decimal point, or with semicolons between the cells',
    { file, line },
  );
}

function trimmedLength(cells: readonly string[]): number {
  let length = cells.length;
  while (length > 0 && cells[length - 1] === '') length--;
  return length;
}

function pad(cells: readonly string[], width: number): readonly string[] {
  return Array.from({ length: width }, (_, index) => cells[index] ?? '');
}
