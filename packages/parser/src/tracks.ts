import type { Table, TableColumn } from './table.js';
import { splitWords } from './words.js';

/** Columns of one file that were sampled together, and the rows where they were. */
export interface Track {
  /** Text of the kind column these rows carry, null where rows are of one kind. */
  readonly kind: string | null;
  /** Increasing row numbers, null for all rows of the table. */
  readonly rows: Int32Array | null;
  readonly columns: readonly TableColumn[];
}

export interface TrackSplit {
  readonly kindColumn: TableColumn | null;
  readonly tracks: readonly Track[];
}

/** Headers of a column that says what a row holds. */
const KIND_WORDS = new Set([
  'kind', 'type', 'message', 'msg', 'record', 'sensor', 'source', 'topic', 'signal', 'name', 'group', 'channel', 'quantity', 'variable', 'measurement', 'tag',
]); // prettier-ignore
/** Words of a kind column's texts that name a sensor or a quantity. */
const QUANTITY_WORDS = new Set([
  'gyro', 'gyr', 'gyroscope', 'accel', 'acc', 'accelerometer', 'imu', 'attitude', 'att', 'angle', 'angles', 'euler', 'rate', 'rates', 'motor', 'motors', 'rotor', 'rotors', 'battery', 'stick', 'sticks', 'height', 'altitude', 'throttle', 'roll', 'pitch', 'yaw',
]); // prettier-ignore
const MODE_WORDS = new Set(['mode', 'state', 'phase', 'status']);
const MOST_KINDS = 64;
/** Share of a group's rows in which a column of that group must have a value. */
const SAME_PRESENCE = 0.9;

/**
 * Tells apart rows of several kinds and, within a kind, columns that have values in different rows.
 *
 * @param keep columns that belong to no track: the clock
 */
export function splitTracks(table: Table, keep: ReadonlySet<TableColumn>): TrackSplit {
  const kindColumn = findKindColumn(table, keep);
  const columns = table.columns.filter((column) => column !== kindColumn && !keep.has(column));
  if (!kindColumn?.codes)
    return { kindColumn: null, tracks: groupByPresence(table.rows, null, columns, null) };
  const tracks: Track[] = [];
  kindColumn.texts.forEach((kind, index) => {
    const rows = rowsWithCode(kindColumn.codes!, index + 1);
    tracks.push(...groupByPresence(table.rows, rows, columns, kind));
  });
  return { kindColumn, tracks };
}

function findKindColumn(table: Table, keep: ReadonlySet<TableColumn>): TableColumn | null {
  const found = table.columns.filter((column) => {
    if (keep.has(column) || !column.codes || column.textCells < 0.9 * table.rows) return false;
    if (column.texts.length > MOST_KINDS || column.texts.length * 2 > table.rows) return false;
    const words = splitWords(column.header);
    if (words.some((word) => MODE_WORDS.has(word))) return false;
    const naming = column.texts.filter((text) =>
      splitWords(text).some((word) => QUANTITY_WORDS.has(word)),
    ).length;
    return naming >= 1 && (words.some((word) => KIND_WORDS.has(word)) || naming >= column.texts.length / 2);
  });
  return found[0] ?? null;
}

function rowsWithCode(codes: Int32Array, code: number): Int32Array {
  let count = 0;
  for (const each of codes) if (each === code) count++;
  const rows = new Int32Array(count);
  let next = 0;
  for (let row = 0; row < codes.length; row++) if (codes[row] === code) rows[next++] = row;
  return rows;
}

interface Group {
  readonly columns: TableColumn[];
  /** Rows in which the group's columns have values. */
  readonly rows: Int32Array;
  /** One per row of the table: whether the group has a value there. */
  readonly present: Uint8Array;
}

function groupByPresence(
  tableRows: number,
  rows: Int32Array | null,
  columns: readonly TableColumn[],
  kind: string | null,
): Track[] {
  const total = rows ? rows.length : tableRows;
  const full: TableColumn[] = [];
  const sparse: { column: TableColumn; rows: Int32Array }[] = [];
  for (const column of columns) {
    if (!rows && filled(column) >= SAME_PRESENCE * total) full.push(column);
    else {
      const own = rowsWithValue(column, rows, tableRows);
      if (own.length >= SAME_PRESENCE * total) full.push(column);
      else if (own.length > 0) sparse.push({ column, rows: own });
    }
  }
  const tracks: Track[] = full.length > 0 ? [{ kind, rows, columns: full }] : [];
  const groups: Group[] = [];
  // The column with most values leads its group, so that one with a few cells missing joins instead of founding one.
  for (const { column, rows: own } of sparse.sort((a, b) => b.rows.length - a.rows.length)) {
    const home = groups.find((group) => {
      if (own.length < SAME_PRESENCE * group.rows.length) return false;
      let shared = 0;
      for (const row of own) shared += group.present[row]!;
      return shared >= SAME_PRESENCE * group.rows.length;
    });
    if (home) home.columns.push(column);
    else {
      const present = new Uint8Array(tableRows);
      for (const row of own) present[row] = 1;
      groups.push({ columns: [column], rows: own, present });
    }
  }
  for (const group of groups)
    tracks.push({ kind, rows: group.rows, columns: group.columns.sort((a, b) => a.number - b.number) });
  return tracks;
}

function filled(column: TableColumn): number {
  return column.codes && column.textCells > column.finite ? column.textCells : column.finite;
}

function rowsWithValue(column: TableColumn, rows: Int32Array | null, tableRows: number): Int32Array {
  const codes = column.codes && column.textCells > column.finite ? column.codes : null;
  const found = new Int32Array(rows ? rows.length : tableRows);
  let count = 0;
  for (let i = 0; i < found.length; i++) {
    const row = rows ? rows[i]! : i;
    const value = column.values[row]!;
    if (codes ? codes[row] !== 0 : value - value === 0) found[count++] = row;
  }
  return found.slice(0, count);
}
