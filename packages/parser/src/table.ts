import { classifyCell, parseNumber, parseStamp } from './cells.js';
import { cellsOf, isComment, isRule } from './dialect.js';
import type { Dialect } from './dialect.js';
import type { DecodedLog } from './encoding.js';
import { LogError, quote } from './log-error.js';
import type { ProblemList } from './problems.js';
import { readRecords } from './records.js';

/** One column of a file: numbers, with texts and time stamps told apart. */
export interface TableColumn {
  /** From 1. */
  readonly number: number;
  /** Header text, '' where there is none. */
  readonly header: string;
  /** How messages and decisions name it: the header, or `column N` where that is missing or repeated. */
  readonly label: string;
  /** Text of the units row, '' where there is none. */
  readonly unitText: string;
  /** One per row; NaN where the cell holds no number. Time stamps: seconds since `stamps.baseS`. */
  readonly values: Float64Array;
  readonly finite: number;
  /** Time stamps instead of numbers. */
  readonly stamps: { readonly baseS: number; readonly dated: boolean } | null;
  /** Texts, if any cell holds one: index into `texts` plus one for each row, 0 for none. */
  readonly codes: Int32Array | null;
  readonly texts: readonly string[];
  readonly textCells: number;
  readonly firstText: { readonly row: number; readonly text: string } | null;
  /** Cells that say NaN, inf or the like. */
  readonly notFinite: { readonly count: number; readonly row: number } | null;
}

export interface Table {
  readonly file: string;
  readonly rows: number;
  readonly columns: readonly TableColumn[];
  /** Line of a row, both from the file: the row counts from 0, the line from 1. */
  readonly lineOf: (row: number) => number;
  /** Rows with fewer cells than columns: how many, the first one and its number of cells. */
  readonly short: { readonly count: number; readonly row: number; readonly cells: number } | null;
}

/** Distinct texts kept per column; above, a column is prose, not labels. */
const TEXT_LIMIT = 4096;

/**
 * Reads the rows of a log into typed columns. Only one batch of cells stands in memory beside the columns.
 *
 * @throws LogError `header-only`, `record-too-long` or `unclosed-quote`
 */
export function readTable(log: DecodedLog, dialect: Dialect, file: string, problems: ProblemList): Table {
  const builder = new TableBuilder(dialect, file, problems);
  for (const batch of readRecords(log.chunks(), dialect.delimiter, file)) {
    const last = batch.records.length - 1;
    batch.records.forEach((record, index) => {
      const line = batch.lines?.[index] ?? batch.firstLine + index;
      if (line >= dialect.dataLine)
        builder.add(cellsOf(record, dialect.delimiter), line, batch.endsOpen && index === last);
    });
  }
  if (log.trailingNuls > 0)
    problems.add(file, 'nuls', `the file ends in ${String(log.trailingNuls)} zero bytes, left out`);
  return builder.finish();
}

class TableBuilder {
  readonly #dialect: Dialect;
  readonly #file: string;
  readonly #problems: ProblemList;
  readonly #columns: ColumnBuilder[];
  readonly #comma: boolean;
  #rows = 0;
  #short: { count: number; row: number; cells: number } | null = null;
  #capacity = 1024;
  /** Rows after which the line number jumps, and the line there. */
  readonly #jumps: { row: number; line: number }[] = [];
  #expectedLine = -1;

  constructor(dialect: Dialect, file: string, problems: ProblemList) {
    this.#dialect = dialect;
    this.#file = file;
    this.#problems = problems;
    this.#comma = dialect.decimal === ',';
    this.#columns = columnNames(dialect).map(
      (names, index) => new ColumnBuilder(index + 1, names, this.#capacity),
    );
  }

  add(cells: readonly string[], line: number, endsOpen: boolean): void {
    const first = cells[0] ?? '';
    if (cells.length <= 1 && first.trim() === '') return;
    // Only a first cell that starts like no number can make the row a comment, a rule or a header again.
    if (!/^[-+]?[\d.]/.test(first) && this.#isNoRow(cells, first, line)) return;
    const width = this.#columns.length;
    if (cells.length < width && endsOpen) {
      this.#problems.add(this.#file, 'truncated', 'the last line is cut off and left out', { line });
      return;
    }
    if (cells.length > width) this.#checkExtra(cells, line);
    if (this.#rows === this.#capacity) this.#grow(2 * this.#capacity);
    if (line !== this.#expectedLine) this.#jumps.push({ row: this.#rows, line });
    this.#expectedLine = line + 1;
    const row = this.#rows++;
    const columns = this.#columns;
    const count = Math.min(width, cells.length);
    for (let i = 0; i < count; i++) columns[i]!.set(row, cells[i]!, this.#comma);
    for (let i = count; i < width; i++) columns[i]!.values[row] = NaN;
    if (count === width) return;
    if (this.#short) this.#short.count++;
    else this.#short = { count: 1, row, cells: count };
  }

  finish(): Table {
    if (this.#rows === 0)
      throw new LogError(
        'header-only',
        'a header but no row of numbers below it',
        'check that the logger was armed and wrote samples',
        { file: this.#file, line: this.#dialect.headerLine },
      );
    const columns = this.#columns.map((column) => column.finish(this.#rows));
    const jumps = this.#jumps;
    const lineOf = (row: number): number => {
      let low = 0;
      let high = jumps.length - 1;
      while (low < high) {
        const middle = (low + high + 1) >> 1;
        if (jumps[middle]!.row <= row) low = middle;
        else high = middle - 1;
      }
      return jumps[low]!.line + row - jumps[low]!.row;
    };
    return { file: this.#file, rows: this.#rows, columns, lineOf, short: this.#short };
  }

  #isNoRow(cells: readonly string[], first: string, line: number): boolean {
    if (cells.every((cell) => cell.trim() === '')) return true;
    if (isComment(first) || isRule(cells)) return true;
    const header = this.#dialect.header;
    if (header === null || first.trim() === '' || first.trim() !== header[0]) return false;
    if (!cells.every((cell, index) => cell.trim() === (header[index] ?? ''))) return false;
    this.#problems.add(this.#file, 'repeated-header', 'the header is repeated among the rows; left out', {
      line,
    });
    return true;
  }

  #checkExtra(cells: readonly string[], line: number): void {
    for (let i = this.#columns.length; i < cells.length; i++)
      if (cells[i]!.trim() !== '') {
        const message = `a row has ${String(cells.length)} cells instead of ${String(this.#columns.length)}; the rest is left out`;
        this.#problems.add(this.#file, 'long-row', message, { line });
        return;
      }
  }

  #grow(capacity: number): void {
    this.#capacity = capacity;
    for (const column of this.#columns) column.grow(capacity);
  }
}

interface ColumnNames {
  readonly header: string;
  readonly label: string;
  readonly unitText: string;
}

function columnNames(dialect: Dialect): ColumnNames[] {
  const counts = new Map<string, number>();
  for (const header of dialect.header ?? []) counts.set(header, (counts.get(header) ?? 0) + 1);
  return Array.from({ length: dialect.width }, (_, index) => {
    const header = dialect.header?.[index] ?? '';
    const named = header !== '' && counts.get(header) === 1;
    return {
      header,
      label: named ? header : `column ${String(index + 1)}`,
      unitText: dialect.units?.[index] ?? '',
    };
  });
}

/** Letters other than the exponent's e, as in 0x1f, 0b11, 0o17. */
function isPrefix(code: number): boolean {
  return code > 64 && code !== 69 && code !== 101;
}

class ColumnBuilder {
  values: Float64Array;
  readonly #number: number;
  readonly #names: ColumnNames;
  #finite = 0;
  #codes: Int32Array | null = null;
  readonly #texts = new Map<string, number>();
  #textCells = 0;
  #firstText: { row: number; text: string } | null = null;
  #notFinite: { count: number; row: number } | null = null;
  #stamps: { baseS: number; dated: boolean; lastS: number; days: number } | null = null;

  constructor(number: number, names: ColumnNames, capacity: number) {
    this.#number = number;
    this.#names = names;
    this.values = new Float64Array(capacity);
  }

  set(row: number, cell: string, comma: boolean): void {
    const value = +cell;
    // JavaScript reads '' and ' ' as 0 and '0x1f' as 31: those take the slow way.
    if (value - value === 0 && cell.charCodeAt(0) > 32 && !isPrefix(cell.charCodeAt(1))) {
      this.values[row] = value;
      this.#finite++;
    } else this.#setOther(row, cell, comma);
  }

  #setOther(row: number, cell: string, comma: boolean): void {
    this.values[row] = NaN;
    switch (classifyCell(cell, comma)) {
      case 'empty':
        return;
      case 'number':
        this.values[row] = parseNumber(cell, comma);
        this.#finite++;
        return;
      case 'not-finite':
        if (this.#notFinite) this.#notFinite.count++;
        else this.#notFinite = { count: 1, row };
        return;
      case 'stamp':
        if (this.#setStamp(row, cell)) return;
        break;
      case 'text':
    }
    this.#setText(row, cell.trim());
  }

  /** Seconds since the first stamp's whole second keep nanoseconds exact, which seconds since 1970 would not. */
  #setStamp(row: number, cell: string): boolean {
    const stamp = parseStamp(cell);
    if (!stamp || (this.#finite > 0 && !this.#stamps)) return false;
    this.#stamps ??= { baseS: stamp.wholeS, dated: stamp.dated, lastS: 0, days: 0 };
    if (stamp.dated !== this.#stamps.dated) return false;
    const sinceS = stamp.wholeS - this.#stamps.baseS;
    // A bare time of day starts over at midnight.
    if (!stamp.dated && sinceS + 86400 * this.#stamps.days < this.#stamps.lastS - 43200) this.#stamps.days++;
    const value = sinceS + 86400 * this.#stamps.days + stamp.fractionS;
    this.#stamps.lastS = value;
    this.values[row] = value;
    this.#finite++;
    return true;
  }

  #setText(row: number, text: string): void {
    this.#textCells++;
    this.#firstText ??= { row, text: quote(text) };
    let code = this.#texts.get(text);
    if (code === undefined) {
      if (this.#texts.size >= TEXT_LIMIT) return;
      code = this.#texts.size + 1;
      this.#texts.set(text, code);
    }
    this.#codes ??= new Int32Array(this.values.length);
    this.#codes[row] = code;
  }

  grow(capacity: number): void {
    const values = new Float64Array(capacity);
    values.set(this.values);
    this.values = values;
    if (!this.#codes) return;
    const codes = new Int32Array(capacity);
    codes.set(this.#codes);
    this.#codes = codes;
  }

  finish(rows: number): TableColumn {
    return {
      number: this.#number,
      ...this.#names,
      values: this.values.subarray(0, rows),
      finite: this.#finite,
      stamps: this.#stamps ? { baseS: this.#stamps.baseS, dated: this.#stamps.dated } : null,
      codes: this.#codes?.subarray(0, rows) ?? null,
      texts: [...this.#texts.keys()],
      textCells: this.#textCells,
      firstText: this.#firstText,
      notFinite: this.#notFinite,
    };
  }
}
