/** Clocks too coarse for the rows they are to tell apart: many rows share a time and hold new numbers all the same. */
import type { Table, TableColumn } from './table.js';

/** Share of the rows that hold new numbers at the time of the row before, from which a clock cannot say when they were. */
export const COARSE_SHARE = 0.4;

/** Whether two rows differ in anything but their time; a repeated row does not. */
export function holdNewNumbers(
  table: Table,
  clock: TableColumn | null,
  row: number,
  before: number,
): boolean {
  return table.columns.some(({ number, values }) => {
    if (number === clock?.number) return false;
    const [a, b] = [values[row]!, values[before]!];
    return a !== b && (a - a === 0 || b - b === 0);
  });
}

/** Rows of several kinds may share a time by right: with texts in the table nothing is called too coarse here. */
export function isTooCoarse(table: Table, clock: TableColumn): boolean {
  const { values, stamps } = clock;
  if (stamps !== null || table.columns.some(({ textCells }) => textCells > 0)) return false;
  let shared = 0;
  for (let row = 1; row < values.length; row++)
    if (values[row] === values[row - 1] && holdNewNumbers(table, clock, row, row - 1)) shared++;
  return shared > COARSE_SHARE * values.length;
}
