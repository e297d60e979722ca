import { LogError } from './log-error.js';
import type { Table, TableColumn } from './table.js';
import { parseUnit, unitNamed, unitSuffixes } from './units.js';
import type { Unit } from './units.js';
import { splitHeader } from './words.js';

/** The clock of a file: which column, in what unit, and why. */
export interface FileClock {
  /** Null where a rate was given instead. */
  readonly column: TableColumn | null;
  readonly unit: Unit;
  readonly decidedBy: string;
  /** Seconds to add to `seconds` for time since the log's own zero (1970 for dated stamps). */
  readonly baseS: number;
  /** Time of a row in s, NaN where the cell holds none. */
  readonly seconds: (row: number) => number;
}

/** Units a clock is read in when nothing names one. */
const CLOCK_UNITS: readonly Unit[] = [unitNamed('s'), unitNamed('ms'), unitNamed('us'), unitNamed('ns')];
/** What a log of a flight, or a piece of one, can be (common practice, no source): samples per second, and length. */
const PLAUSIBLE_RATE_HZ = { least: 1, most: 40_000 };
const PLAUSIBLE_LENGTH_S = { least: 1, leastPiece: 0.05, most: 3 * 3600 };
/** Seconds since 1970 at the beginning of 2001 and of 2061: where a clock that counts from 1970 stands today. */
const EPOCH_S = { least: 978_307_200, most: 2_871_763_200 };

const TIME_WORDS = new Set(['time', 't', 'timestamp', 'timestamps', 'stamp', 'clock', 'elapsed', 'epoch', 'date', 'datetime', 'unixtime', 'utc']); // prettier-ignore
const NEUTRAL_WORDS = new Set(['log', 'since', 'start', 'boot', 'sample', 'sampling', 'system', 'sys', 'host', 'unix', 'local', 'absolute', 'relative', 'rel', 'abs', 'of', 'the', 'in', 'from', 'flight', 'sensor', 'iso', 'i', 'k']); // prettier-ignore
/** Times that are no clock: durations, intervals, and clocks of another device. */
const FOREIGN_WORDS = new Set(['dt', 'delta', 'diff', 'step', 'period', 'interval', 'loop', 'cpu', 'execution', 'remaining', 'constant', 'rise', 'settling', 'delay', 'latency', 'age', 'exposure', 'on', 'gps', 'gnss', 'last', 'next', 'up']); // prettier-ignore

/** What a header says about being a clock: 1 says so plainly, 0 not at all. */
export function scoreClockHeader(header: string): number {
  const { words, bracketed } = splitHeader(header);
  const bracketUnit = bracketed.some((text) => parseUnit(text)?.dimension === 'time');
  if (words.length === 0) return 0;
  if (words.some((word) => FOREIGN_WORDS.has(word))) return 0;
  const time = words.filter((word) => TIME_WORDS.has(word)).length;
  const units = words.filter((word) => word.length > 1 && parseUnit(word)?.dimension === 'time').length;
  const neutral = words.filter((word) => NEUTRAL_WORDS.has(word) || /^\d+$/.test(word)).length;
  const rest = words.length - time - units - neutral - (words.at(-1) === 's' && words.length > 1 ? 1 : 0);
  if (time === 0) return units === words.length ? 0.8 : 0;
  return Math.max(0, 1 - 0.3 * Math.max(0, rest) - 0.05 * neutral) + (bracketUnit ? 0.02 : 0);
}

/**
 * Finds the clock of a table by its header, else as the only column that rises steadily.
 *
 * @returns null if there is none
 * @throws LogError `ambiguous-clock`
 */
export function findClockColumn(table: Table): { column: TableColumn; why: string } | null {
  const named = table.columns
    .map((column) => ({ column, score: scoreClockHeader(column.header) + (column.stamps ? 0.25 : 0) }))
    .filter(({ column, score }) => score >= 0.4 && isClockLike(column, table.rows))
    .sort((a, b) => b.score - a.score);
  const best = named[0];
  if (best) {
    const rivals = named.filter((other) => best.score - other.score < 0.09 && other !== best);
    const rival = rivals.find((other) => !runTogether(best.column, other.column));
    if (rival)
      throw new LogError(
        'ambiguous-clock',
        `both "${best.column.label}" and "${rival.column.label}" look like the clock and disagree`,
        'name one in a channel map as "time": {"column": …} and pass it with --map',
        { file: table.file, column: best.column.label },
      );
    const stamped = best.column.stamps ? ', time stamps' : '';
    return { column: best.column, why: `header "${best.column.label}"${stamped}` };
  }
  const steady = table.columns.filter((column) => isSteady(column, table.rows));
  const [only] = steady;
  if (!only || steady.length > 1) return null;
  return { column: only, why: `the only column that rises steadily is "${only.label}"` };
}

function isClockLike(column: TableColumn, rows: number): boolean {
  if (column.finite < 0.5 * rows || column.finite < 2) return false;
  const { up, down } = countSteps(column.values);
  return up > 0 && down <= 0.05 * (up + down);
}

/** Rises at almost every row by much the same step, and is no plain counter. */
function isSteady(column: TableColumn, rows: number): boolean {
  if (column.header === '' || column.finite < rows || rows < 10) return false;
  const { up, down, same } = countSteps(column.values);
  if (down > 0.01 * rows || same > 0.01 * rows || up === 0) return false;
  const step = medianStep(column.values);
  let near = 0;
  let ones = 0;
  for (let i = 1; i < rows; i++) {
    const each = column.values[i]! - column.values[i - 1]!;
    if (each > 0.5 * step && each < 1.5 * step) near++;
    if (each === 1) ones++;
  }
  return near >= 0.95 * (rows - 1) && ones < 0.9 * (rows - 1);
}

function countSteps(values: Float64Array): { up: number; down: number; same: number } {
  let [up, down, same, previous] = [0, 0, 0, NaN];
  for (const value of values) {
    if (!(value - value === 0)) continue;
    if (value > previous) up++;
    else if (value < previous) down++;
    else if (value === previous) same++;
    previous = value;
  }
  return { up, down, same };
}

/** Median of the rises between neighbouring finite values; NaN if there is none. */
export function medianStep(values: Float64Array): number {
  const most = 200_001;
  const steps: number[] = [];
  let previous = NaN;
  for (const value of values) {
    if (!(value - value === 0)) continue;
    if (value > previous) steps.push(value - previous);
    previous = value;
    if (steps.length >= most) break;
  }
  return steps.length === 0 ? NaN : Float64Array.from(steps).sort()[steps.length >> 1]!;
}

/** Whether two columns are one clock in other units or from another zero. */
function runTogether(a: TableColumn, b: TableColumn): boolean {
  const n = Math.min(a.values.length, b.values.length);
  const [a0, a1, b0, b1] = [a.values[0]!, a.values[n - 1]!, b.values[0]!, b.values[n - 1]!];
  if (!(a1 > a0) || !(b1 > b0)) return false;
  const slope = (b1 - b0) / (a1 - a0);
  const tolerance = 2 * medianStep(b.values);
  for (let i = 0; i < n; i += Math.max(1, n >> 10)) {
    const expected = b0 + slope * (a.values[i]! - a0);
    if (Math.abs(b.values[i]! - expected) > tolerance) return false;
  }
  return true;
}

/**
 * Decides the unit of a clock: declared in header, units row or map; time stamps; counting from 1970; else the only
 * unit in which rate and length are those of a flight.
 *
 * @param steps the clock's values where one group of columns was sampled
 * @returns more than one unit if several fit equally
 * @throws LogError `clock-unit-contradiction` if the declared unit makes no flight and another does
 */
export function decideClockUnit(
  column: TableColumn,
  steps: Float64Array,
  file: string,
): { readonly units: readonly Unit[]; readonly why: string } {
  if (column.stamps) return { units: [unitNamed('s')], why: 'ISO 8601 time stamps' };
  const step = medianStep(steps);
  const [first, last] = ends(steps);
  const fitsLength = (leastS: number): readonly Unit[] =>
    CLOCK_UNITS.filter((unit) => isPlausible(step * unit.scale, (last - first) * unit.scale, leastS));
  const flights = fitsLength(PLAUSIBLE_LENGTH_S.least);
  const fits = flights.length > 0 ? flights : fitsLength(PLAUSIBLE_LENGTH_S.leastPiece);
  const declared = declaredClockUnit(column);
  if (declared) {
    const rateHz = 1 / (step * declared.unit.scale);
    const absurd = rateHz > 10 * PLAUSIBLE_RATE_HZ.most || rateHz < 0.01 * PLAUSIBLE_RATE_HZ.least;
    if (absurd && fits.length === 1)
      throw new LogError(
        'clock-unit-contradiction',
        `the clock is declared in ${declared.unit.name} (${declared.why}), which makes ${rateHz.toPrecision(3)} samples per second; ${fits[0]!.name} would fit a flight`,
        'state the unit in a channel map as "time": {"column": …, "unit": …} and pass it with --map',
        { file, column: column.label },
      );
    return { units: [declared.unit], why: declared.why };
  }
  const since1970 = fits.filter((u) => first * u.scale >= EPOCH_S.least && last * u.scale <= EPOCH_S.most);
  if (fits.length > 1 && since1970.length === 1)
    return { units: since1970, why: `values count ${since1970[0]!.name} since 1970` };
  return {
    units: fits,
    why: `steps of ${step.toPrecision(4)} make a flight only in ${fits[0]?.name ?? 'no unit'}`,
  };
}

function declaredClockUnit(column: TableColumn): { unit: Unit; why: string } | null {
  const { words, bracketed } = splitHeader(column.header);
  for (const text of bracketed) {
    const unit = parseUnit(text);
    if (unit?.dimension === 'time') return { unit, why: `header says ${unit.name}` };
  }
  const row = parseUnit(column.unitText);
  if (row?.dimension === 'time') return { unit: row, why: `units row says ${row.name}` };
  const suffix = unitSuffixes(words).find(({ unit }) => unit.dimension === 'time');
  if (suffix) return { unit: suffix.unit, why: `header ends in ${suffix.unit.name}` };
  const word = words.find((each) => each.length > 1 && parseUnit(each)?.dimension === 'time');
  const unit = word === undefined ? null : parseUnit(word);
  return unit ? { unit, why: `header says ${unit.name}` } : null;
}

function isPlausible(stepS: number, lengthS: number, leastS: number): boolean {
  const rateHz = 1 / stepS;
  return (
    rateHz >= 0.999 * PLAUSIBLE_RATE_HZ.least &&
    rateHz <= 1.001 * PLAUSIBLE_RATE_HZ.most &&
    lengthS >= leastS &&
    lengthS <= PLAUSIBLE_LENGTH_S.most
  );
}

/** Lowest and highest finite value. */
function ends(values: Float64Array): [number, number] {
  let [low, high] = [Infinity, -Infinity];
  for (const value of values)
    if (value - value === 0) {
      if (value < low) low = value;
      if (value > high) high = value;
    }
  return [low, high];
}

/** The clock of a column in a decided unit. */
export function clockOfColumn(column: TableColumn, unit: Unit, decidedBy: string): FileClock {
  const scale = unit.scale;
  const values = column.values;
  return {
    column,
    unit,
    decidedBy,
    baseS: column.stamps?.baseS ?? 0,
    seconds: (row) => values[row]! * scale,
  };
}

/** The clock of a log without one, from its sample rate. */
export function clockOfRate(rateHz: number): FileClock {
  return {
    column: null,
    unit: unitNamed('s'),
    decidedBy: `no clock in the file; ${String(rateHz)} samples per second as given`,
    baseS: 0,
    seconds: (row) => row / rateHz,
  };
}
