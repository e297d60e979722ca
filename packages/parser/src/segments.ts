import { COARSE_SHARE, holdNewNumbers } from './coarse-clock.js';
import type { FileClock } from './clock-column.js';
import { LogError } from './log-error.js';
import type { ProblemList } from './problems.js';
import type { Table } from './table.js';
import type { Track } from './tracks.js';

/** A track on its cleaned clock. */
export interface TimedTrack {
  readonly track: Track;
  /** Table rows kept, increasing. */
  readonly rows: Int32Array;
  /** Strictly increasing times of these rows in s, on the file's own zero. */
  readonly timeS: Float64Array;
}

export interface TimedTable {
  readonly tracks: readonly TimedTrack[];
  readonly segments: { readonly count: number; readonly chosen: number };
}

/** Where a clock steps back for good: between the row before and the row itself. */
interface Restart {
  readonly before: number;
  readonly row: number;
}

interface Ordered {
  readonly track: Track;
  readonly rows: Int32Array;
  readonly timeS: Float64Array;
  readonly restarts: readonly Restart[];
}

/**
 * Makes the times of every track increase: a repeated time is dropped, a single sample out of order too, and a clock
 * that steps back for good splits the log into segments.
 *
 * @param asked segment to read, from 1; the longest in time if undefined
 * @throws LogError `no-such-segment` or `no-usable-time`
 */
export function orderTracks(
  table: Table,
  clock: FileClock,
  tracks: readonly Track[],
  asked: number | undefined,
  problems: ProblemList,
): TimedTable {
  const ordered = tracks.map((track) => orderTrack(table, clock, track, problems));
  const starts = [0, ...mergeRestarts(ordered.flatMap((each) => each.restarts))];
  const lengths = starts.map((start, index) =>
    segmentLength(ordered, start, starts[index + 1] ?? table.rows),
  );
  const longest = lengths.reduce((best, length, index) => (length > lengths[best]! ? index : best), 0);
  // A file whose clock never steps back is whole, whatever segment is asked of its neighbours.
  const chosen = starts.length === 1 || asked === undefined ? longest : asked - 1;
  if (chosen < 0 || chosen >= starts.length)
    throw new LogError(
      'no-such-segment',
      `segment ${String(asked)} is asked for, but the clock splits the log into ${String(starts.length)}`,
      `ask for a segment from 1 to ${String(starts.length)}`,
      { file: table.file },
    );
  const from = starts[chosen]!;
  const to = starts[chosen + 1] ?? table.rows;
  if (starts.length > 1) reportRestarts(table, starts, lengths, chosen, clock, problems);
  const timed = ordered.map((each) => cut(each, from, to)).filter((each) => each.timeS.length > 0);
  if (!timed.some((each) => each.timeS.length > 1))
    throw new LogError(
      'no-usable-time',
      'fewer than two rows have a time of their own',
      'check the clock column, or name it in a channel map',
      { file: table.file, column: clock.column?.label ?? null },
    );
  return { tracks: timed, segments: { count: starts.length, chosen: chosen + 1 } };
}

function orderTrack(table: Table, clock: FileClock, track: Track, problems: ProblemList): Ordered {
  const total = track.rows ? track.rows.length : table.rows;
  const rows = new Int32Array(total);
  const timeS = new Float64Array(total);
  const restarts: Restart[] = [];
  let kept = 0;
  // First kept sample since the last restart: nothing before it may be dropped on account of what follows.
  let floor = 0;
  const timeAt = (index: number): number =>
    index < total ? clock.seconds(track.rows ? track.rows[index]! : index) : NaN;
  let differing = 0;
  const report = (key: string, message: string, row: number): void => {
    problems.add(table.file, key, message, { line: table.lineOf(row), column: clock.column?.label ?? null });
  };
  for (let i = 0; i < total; i++) {
    const row = track.rows ? track.rows[i]! : i;
    const time = clock.seconds(row);
    if (!(time - time === 0)) {
      report('no-time', 'a row without a time is left out', row);
      continue;
    }
    if (kept > floor) {
      const last = timeS[kept - 1]!;
      if (time === last) {
        if (holdNewNumbers(table, clock.column, row, rows[kept - 1]!)) differing++;
        report('same-time', 'a row repeats the time of the row before and is left out', row);
        continue;
      }
      if (time < last) {
        if (kept - 1 > floor && time > timeS[kept - 2]!) {
          report('time-ahead', 'a row is out of order in time and is left out', rows[kept - 1]!);
          kept--;
        } else if (timeAt(i + 1) > last) {
          report('time-behind', 'a row is out of order in time and is left out', row);
          continue;
        } else {
          restarts.push({ before: rows[kept - 1]!, row });
          floor = kept;
        }
      }
    }
    rows[kept] = row;
    timeS[kept] = time;
    kept++;
  }
  if (differing > COARSE_SHARE * total)
    refuseCoarseClock(table, clock, differing, total, timeS.subarray(0, kept));
  return { track, rows: rows.subarray(0, kept), timeS: timeS.subarray(0, kept), restarts };
}

function refuseCoarseClock(
  table: Table,
  clock: FileClock,
  differing: number,
  total: number,
  timeS: Float64Array,
): never {
  const stepS = (timeS.at(-1)! - timeS[0]!) / Math.max(1, timeS.length - 1);
  const each = total / Math.max(1, timeS.length);
  throw new LogError(
    'clock-too-coarse',
    `${String(differing)} of ${String(total)} rows hold new numbers at the time of the row before: the clock moves in steps of ${stepS.toPrecision(3)} s, and about ${each.toPrecision(2)} rows share each`,
    `log the time more finely; if the rows are evenly spaced, give their rate instead: --rate ${String(Number((each / stepS).toPrecision(3)))}`,
    { file: table.file, column: clock.column?.label ?? null },
  );
}

/** Tracks notice one restart at different rows: those whose row before lies ahead of a known restart mean the same. */
function mergeRestarts(restarts: readonly Restart[]): number[] {
  const starts: number[] = [];
  for (const { before, row } of [...restarts].sort((a, b) => a.row - b.row)) {
    const last = starts.at(-1);
    if (last === undefined || before >= last) starts.push(row);
  }
  return starts;
}

function segmentLength(ordered: readonly Ordered[], from: number, to: number): number {
  let [first, last] = [Infinity, -Infinity];
  for (const each of ordered) {
    const { timeS } = cut(each, from, to);
    if (timeS.length === 0) continue;
    first = Math.min(first, timeS[0]!);
    last = Math.max(last, timeS.at(-1)!);
  }
  return Math.max(0, last - first);
}

function cut(ordered: Ordered, from: number, to: number): TimedTrack {
  const start = lowerBound(ordered.rows, from);
  const end = lowerBound(ordered.rows, to);
  const times = ordered.timeS.subarray(start, end);
  // A track that restarts a few rows after the others still has old times at the head of the segment.
  let skip = 0;
  for (let i = 1; i < times.length; i++) if (times[i]! <= times[i - 1]!) skip = i;
  return {
    track: ordered.track,
    rows: ordered.rows.subarray(start + skip, end),
    timeS: times.subarray(skip),
  };
}

function lowerBound(values: Int32Array, bound: number): number {
  let low = 0;
  let high = values.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (values[middle]! < bound) low = middle + 1;
    else high = middle;
  }
  return low;
}

function reportRestarts(
  table: Table,
  starts: readonly number[],
  lengths: readonly number[],
  chosen: number,
  clock: FileClock,
  problems: ProblemList,
): void {
  const listed = lengths.slice(0, 6).map((length) => `${length.toPrecision(3)} s`);
  if (lengths.length > listed.length) listed.push('…');
  problems.add(
    table.file,
    'restart',
    `the clock steps back: ${String(starts.length)} segments (${listed.join(', ')}); segment ${String(chosen + 1)} is read`,
    { line: table.lineOf(starts[1]!), column: clock.column?.label ?? null },
    starts.length - 1,
  );
}
