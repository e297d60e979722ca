import { isTooCoarse } from './coarse-clock.js';
import { assembleFlight } from './assemble.js';
import { assignChannels, chosenColumns } from './assignment.js';
import { matchesFile } from './channel-map.js';
import type { ChannelMap } from './channel-map.js';
import { clockOfColumn, clockOfRate, decideClockUnit, findClockColumn } from './clock-column.js';
import type { FileClock } from './clock-column.js';
import { decideConversions } from './conversions.js';
import { detectDialect } from './dialect.js';
import type { Dialect } from './dialect.js';
import { decodeLog } from './encoding.js';
import type { LogSource } from './encoding.js';
import type { Flight } from './flight.js';
import { readHeader } from './header-reading.js';
import type { Assignment, LogData, RawSignal } from './log-data.js';
import { LogError, quote } from './log-error.js';
import { ProblemList } from './problems.js';
import { clockUnitByMotion } from './clock-by-motion.js';
import { orderTracks } from './segments.js';
import { draftFromColumns, draftMap } from './suggest-map.js';
import { readTable } from './table.js';
import type { Table, TableColumn } from './table.js';
import { splitTracks } from './tracks.js';
import type { Track } from './tracks.js';
import type { Unit } from './units.js';

export interface ReadOptions {
  /** What the user says about the log; overrides every decision. */
  readonly map?: ChannelMap | undefined;
  /** Samples per second of logs without a clock. */
  readonly rateHz?: number | undefined;
  /** Which segment of a log whose clock steps back, from 1; the longest in time if absent. */
  readonly segment?: number | undefined;
  /** Name of the flight; that of the first file if absent. */
  readonly name?: string | undefined;
}

/**
 * Reads the CSV files of one flight.
 *
 * @param sources files already in memory; their clocks count from the same moment
 * @returns channels in SI on their own clocks, with a record of every decision and problem
 * @throws LogError if the logs cannot be read, or if something that matters is ambiguous
 */
export function readFlight(sources: readonly LogSource[], options: ReadOptions = {}): Flight {
  checkOptions(sources, options);
  const problems = new ProblemList();
  const logs = sources.map((source) => readLog(source, options, problems));
  reportSegments(logs, options, problems);
  const assigned = assignChannels(logs, options.map, problems);
  if (assigned.contests.length > 0) refuseContests(logs, assigned, sources.length);
  if (assigned.assignments.length === 0) refuseNothing(logs);
  const signals = assigned.assignments.map(gatherValues);
  reportCells(logs, signals, problems);
  const decided = decideConversions(
    signals,
    options.map,
    (unclear) => draftMap(logs, assigned.assignments, [], unclear),
    problems,
  );
  if (decided.signals.length === 0) refuseNothing(logs);
  const flight = assembleFlight(options.name ?? flightName(sources), logs, decided, problems);
  // Errors without their measured values make no channel.
  if (flight.signals.size === 0) refuseNothing(logs);
  return flight;
}

function checkOptions(sources: readonly LogSource[], { rateHz, segment }: ReadOptions): void {
  if (sources.length === 0)
    throw new LogError('no-logs', 'no log is given', 'pass one CSV file or several of one flight');
  if (rateHz !== undefined && !(rateHz > 0 && Number.isFinite(rateHz)))
    throw new LogError('bad-rate', 'the sample rate must be a number above 0', 'pass --rate HZ');
  if (segment !== undefined && !(Number.isInteger(segment) && segment >= 1))
    throw new LogError('no-such-segment', 'segments count from 1', 'ask for segment 1, 2, …');
}

function flightName(sources: readonly LogSource[]): string {
  const base = sources[0]!.name.split('/').at(-1) ?? '';
  return base.replace(/\.[^.]+$/, '') || base;
}

/** Bytes to columns on a cleaned clock, for one file. */
function readLog(source: LogSource, options: ReadOptions, problems: ProblemList): LogData {
  const decoded = decodeLog(source);
  const dialect = detectDialect(decoded.sample, decoded.sampleIsAll, source.name);
  if (dialect.header === null && !options.map) refuseHeaderless(source.name, dialect);
  const table = readTable(decoded, dialect, source.name, problems);
  const clockChoice = chooseClockColumn(table, options, problems);
  const split = splitTracks(table, new Set(clockChoice ? [clockChoice.column] : []));
  if (!split.kindColumn && table.short)
    problems.add(
      source.name,
      'short-row',
      `a row has ${String(table.short.cells)} cells instead of ${String(table.columns.length)}`,
      { line: table.lineOf(table.short.row) },
      table.short.count,
    );
  if (split.tracks.length === 0) refuseOneColumn(source.name, dialect);
  const build = (clock: FileClock, heard: ProblemList): LogData => ({
    name: source.name,
    bytes: source.bytes.length,
    encoding: decoded.encoding,
    dialect,
    table,
    clock,
    kindColumn: split.kindColumn,
    ...orderTracks(table, clock, split.tracks, options.segment, heard),
  });
  // Trial readings of a clock report nothing; only the decided one does.
  const clock = decideClock(table, clockChoice, split.tracks, options, (trial) =>
    build(trial, new ProblemList()),
  );
  return build(clock, problems);
}

interface ClockChoice {
  readonly column: TableColumn;
  readonly why: string;
  readonly unit: Unit | null;
}

function chooseClockColumn(table: Table, options: ReadOptions, problems: ProblemList): ClockChoice | null {
  const mapped = mappedClock(table, options.map);
  if (mapped) return mapped;
  const named = new Set([...(options.map?.channels.values() ?? [])].flat().flatMap((entry) => chosenColumns(table.columns, entry.column))); // prettier-ignore
  const found = findClockColumn({ ...table, columns: table.columns.filter((column) => !named.has(column)) });
  if (!found) return null;
  // A clock that most rows share with the row before cannot say when they were.
  if (options.rateHz !== undefined && isTooCoarse(table, found.column)) return null;
  if (options.rateHz !== undefined)
    problems.add(table.file, 'rate-unused', 'the log has a clock, so the given sample rate is not used', {
      column: found.column.label,
    });
  return { ...found, unit: null };
}

function mappedClock(table: Table, map: ChannelMap | undefined): ClockChoice | null {
  for (const entry of map?.time ?? []) {
    if (!matchesFile(entry.file, table.file)) continue;
    const [column, second] = chosenColumns(table.columns, entry.column);
    const place = { file: map!.name, column: 'time' };
    if (second)
      throw new LogError(
        'map-ambiguous',
        `several columns of ${table.file} are "${String(entry.column)}"`,
        'name the clock by its column number',
        place,
      );
    if (column && column.finite > 1) return { column, why: `map ${map!.name}`, unit: entry.unit ?? null };
    // An entry for every file may miss in one of several that has a clock of its own.
    if (entry.file !== undefined || map!.time.length === 1)
      throw new LogError(
        'map-column-missing',
        `the map's clock "${quote(String(entry.column))}" is not a column of numbers in ${table.file}`,
        'correct "time"',
        place,
      );
  }
  return null;
}

function decideClock(
  table: Table,
  choice: ClockChoice | null,
  tracks: readonly Track[],
  options: ReadOptions,
  build: (clock: FileClock) => LogData,
): FileClock {
  if (!choice) {
    if (options.rateHz === undefined) refuseClockless(table);
    return clockOfRate(options.rateHz);
  }
  const { column, why } = choice;
  if (choice.unit) return clockOfColumn(column, choice.unit, `${why}; unit ${choice.unit.name} from the map`);
  const { units, why: unitWhy } = decideClockUnit(column, clockValues(column, tracks), table.file);
  if (units.length === 1) return clockOfColumn(column, units[0]!, `${why}; ${unitWhy}`);
  const byMotion = clockUnitByMotion(units, (unit) => build(clockOfColumn(column, unit, '')), options.map);
  if (byMotion)
    return clockOfColumn(
      column,
      byMotion,
      `${why}; only in ${byMotion.name} does the rate of attitude fit the body rate`,
    );
  const named = units.map((unit) => unit.name).join(' or ');
  throw new LogError(
    'clock-unit-ambiguous',
    units.length === 0
      ? 'in no unit does the clock make a flight of 1 s to 3 h at 1 Hz to 40 kHz'
      : `the clock may be in ${named}: each makes a plausible flight`,
    `state it in a channel map, "time": {"column": ${JSON.stringify(column.label)}, "unit": "${units[0]?.name ?? 's'}"}, and pass it with --map`,
    { file: table.file, line: null, column: column.label },
  );
}

/** Clock values where the columns sampled most often have rows. */
function clockValues(column: TableColumn, tracks: readonly Track[]): Float64Array {
  const sizes = tracks.map((track) => track.rows?.length ?? column.values.length);
  const rows = tracks[sizes.indexOf(Math.max(...sizes))]?.rows;
  return rows ? Float64Array.from(rows, (row) => column.values[row]!) : column.values;
}

/** Files that were restarted together have their segments in the same order; the longest of each may not match. */
function reportSegments(logs: readonly LogData[], options: ReadOptions, problems: ProblemList): void {
  const split = logs.filter((log) => log.segments.count > 1);
  const [first] = split;
  if (!first || options.segment !== undefined) return;
  const other = split.find((log) => log.segments.chosen !== first.segments.chosen);
  if (other)
    problems.add(
      other.name,
      'segments-differ',
      `segment ${String(other.segments.chosen)} is read here but segment ${String(first.segments.chosen)} of ${first.name}, each the longest; ask for one by number`,
    );
}

function gatherValues(assignment: Assignment): RawSignal {
  const { values } = assignment.column;
  const { rows } = assignment.track;
  const gathered = new Float64Array(rows.length);
  for (let i = 0; i < rows.length; i++) gathered[i] = values[rows[i]!]!;
  return { ...assignment, values: gathered };
}

/** Tells of cells that hold no number where numbers belong. */
function reportCells(logs: readonly LogData[], signals: readonly RawSignal[], problems: ProblemList): void {
  const used = new Set(signals.filter((signal) => signal.channel !== 'mode').map((signal) => signal.column));
  for (const log of logs)
    for (const column of log.table.columns) {
      const isClock = column === log.clock.column;
      if (used.has(column) || isClock) {
        if (column.firstText)
          problems.add(log.name, 'text', `"${column.firstText.text}" where a number belongs`, { line: log.table.lineOf(column.firstText.row), column: column.label }, column.textCells); // prettier-ignore
        if (column.notFinite)
          problems.add(log.name, 'not-finite', 'a value that is no finite number', { line: log.table.lineOf(column.notFinite.row), column: column.label }, column.notFinite.count); // prettier-ignore
      } else if (column.firstText && column !== log.kindColumn && column.textCells >= column.finite) {
        const best = readHeader(column.header, column.unitText, '').readings[0];
        if (best && 'channel' in best.meaning && best.meaning.channel !== 'mode')
          problems.add(log.name, 'text-column', `looks like ${best.meaning.channel} but holds text such as "${column.firstText.text}"; unused`, { line: log.table.lineOf(column.firstText.row), column: column.label }, column.textCells); // prettier-ignore
      }
    }
}

function refuseHeaderless(file: string, dialect: Dialect): never {
  const columns = Array.from({ length: dialect.width }, (_, index) => ({ header: '', label: '', unitText: '', number: index + 1 })); // prettier-ignore
  throw new LogError(
    'no-header',
    'the log has no header: the first row holds numbers',
    'name its columns by number in a channel map ("column": 3) and pass it with --map',
    { file, line: dialect.dataLine },
    draftFromColumns(columns),
  );
}

function refuseOneColumn(file: string, dialect: Dialect): never {
  throw new LogError(
    'one-column',
    dialect.width === 1
      ? 'only one column is found, between no commas, semicolons, tabs or spaces'
      : 'no column beside the clock holds values',
    'pass a log with a clock and at least one measured column',
    { file, line: dialect.headerLine ?? dialect.dataLine },
  );
}

function refuseClockless(table: Table): never {
  const columns = table.columns.filter((column) => column.finite > 0);
  if (columns.length <= 1)
    throw new LogError(
      'one-column',
      'only one column holds numbers, and it is no clock',
      'pass a log with a clock, or pass --rate HZ if the samples are evenly spaced',
      { file: table.file, line: table.lineOf(0), column: columns[0]?.label ?? null },
    );
  throw new LogError(
    'no-clock',
    'no column is a clock that rises from row to row',
    'pass --rate HZ if the samples are evenly spaced, or name the clock in a channel map',
    { file: table.file, line: table.lineOf(0) },
    draftFromColumns(columns),
  );
}

function refuseContests(
  logs: readonly LogData[],
  assigned: ReturnType<typeof assignChannels>,
  files: number,
): never {
  const contest = assigned.contests[0]!;
  const names = contest.claims.map((claim) =>
    files > 1 ? `"${claim.column.label}" of ${claim.log.name}` : `"${claim.column.label}"`,
  );
  const others = assigned.contests.length - 1;
  const more = others === 0 ? '' : ` (and ${String(others)} more channel${others === 1 ? '' : 's'} alike)`;
  const apart = new Set(contest.claims.map((claim) => claim.log)).size > 1;
  throw new LogError(
    'channel-ambiguous',
    `${names.join(' and ')} may each be ${contest.channel}${more}`,
    apart
      ? 'pass the files of one flight only, or choose in a channel map and pass it with --map'
      : 'choose in a channel map and pass it with --map',
    {
      file: contest.claims[0]!.log.name,
      line: contest.claims[0]!.log.dialect.headerLine,
      column: contest.claims[0]!.column.label,
    },
    draftMap(logs, assigned.assignments, assigned.contests),
  );
}

function refuseNothing(logs: readonly LogData[]): never {
  const log = logs[0]!;
  const headers = log.table.columns.map((column) => column.label);
  const listed =
    headers
      .slice(0, 8)
      .map((header) => `"${quote(header)}"`)
      .join(', ') + (headers.length > 8 ? ', …' : '');
  throw new LogError(
    'no-channels',
    `no column name says what it holds: ${listed}`,
    'name the columns in a channel map and pass it with --map',
    { file: log.name, line: log.dialect.headerLine },
    draftMap(logs, [], []),
  );
}
