import { matchesFile } from './channel-map.js';
import type { ChannelMap, ColumnChoice, MapEntry } from './channel-map.js';
import { compareChannels, isEssential } from './channel-names.js';
import type { ChannelName } from './flight.js';
import { CLEAR_MARGIN, channelDimensions, readHeader } from './header-reading.js';
import type { HeaderReadings, Reading } from './header-reading.js';
import { LogError, quote } from './log-error.js';
import { columnName } from './log-data.js';
import type { Assignment, LogData } from './log-data.js';
import type { ProblemList } from './problems.js';
import type { TimedTrack } from './segments.js';
import type { TableColumn } from './table.js';
import { tokenize } from './lexicon.js';
import { splitWords } from './words.js';

/** A column and what it may be, best first. */
interface Claim {
  readonly log: LogData;
  readonly track: TimedTrack;
  readonly column: TableColumn;
  readonly unit: HeaderReadings['unit'];
  readonly unitFrom: string;
  readonly context: string;
  readonly options: readonly {
    readonly channel: ChannelName;
    readonly error: boolean;
    readonly score: number;
  }[];
}

/** Two or more columns that say equally plainly that they are one channel. */
export interface Contest {
  readonly channel: ChannelName;
  readonly claims: readonly Assignment[];
}

export interface Assigned {
  readonly assignments: readonly Assignment[];
  readonly contests: readonly Contest[];
}

/** Rows compared to tell whether two columns hold the same. */
const COMPARED_ROWS = 2000;

/**
 * Gives columns to channels: first those the map names, then the others by their headers.
 *
 * @returns contests only for channels the analysis rests on; other contested columns stay unused with a problem
 * @throws LogError if the map names a column that is not there or not to be told from another
 */
export function assignChannels(
  logs: readonly LogData[],
  map: ChannelMap | undefined,
  problems: ProblemList,
): Assigned {
  const mapped = map
    ? [...map.channels].flatMap(([channel, entries]) =>
        entries.map((entry) => applyEntry(logs, map, channel, entry)),
      )
    : [];
  const seen = new Set<string>();
  for (const each of mapped) {
    const key = each.channel + (each.error ? ' error' : '');
    if (seen.has(key))
      throw new LogError('map-ambiguous', `the map gives ${each.channel} more than one column`, 'leave one', {
        file: map?.name ?? null,
        column: each.channel,
      });
    seen.add(key);
  }
  const taken = new Set(mapped.map((each) => each.column));
  const claims = logs.flatMap((log) =>
    claimsOf(log, (column) => taken.has(column) || isIgnored(column, map)),
  );
  const { won, contests } = settle(claims, new Set(mapped.map((each) => each.channel)));
  for (const contest of contests) if (!isEssential(contest.channel)) reportContest(contest, problems);
  return {
    assignments: [...mapped, ...won].sort((a, b) => compareChannels(a.channel, b.channel)),
    contests: contests
      .filter((contest) => isEssential(contest.channel))
      .sort((a, b) => compareChannels(a.channel, b.channel)),
  };
}

/** Columns of a log that a map's choice may mean. */
export function chosenColumns(columns: readonly TableColumn[], choice: ColumnChoice): readonly TableColumn[] {
  if (typeof choice === 'number') return columns.filter((column) => column.number === choice);
  const text = choice.trim();
  const exact = columns.filter((column) => column.header === text);
  if (exact.length > 0) return exact;
  const folded = columns.filter(
    (column) => column.header.toLowerCase() === text.toLowerCase() && text !== '',
  );
  if (folded.length > 0) return folded;
  const number = /^column\s+(\d+)$/i.exec(text);
  return number ? columns.filter((column) => column.number === Number(number[1])) : [];
}

function isIgnored(column: TableColumn, map: ChannelMap | undefined): boolean {
  return map?.ignore.some((choice) => chosenColumns([column], choice).length > 0) ?? false;
}

function applyEntry(
  logs: readonly LogData[],
  map: ChannelMap,
  channel: ChannelName,
  entry: MapEntry,
): Assignment {
  const place = { file: map.name, column: channel };
  const files = logs.filter((log) => matchesFile(entry.file, log.name));
  const shown =
    typeof entry.column === 'number' ? `column ${String(entry.column)}` : `"${quote(entry.column)}"`;
  if (files.length === 0)
    throw new LogError(
      'map-file-missing',
      `the map asks for a file "${quote(entry.file ?? '')}" that is not among the logs`,
      'correct "file"',
      place,
    );
  const found = files.flatMap((log) =>
    chosenColumns(log.table.columns, entry.column).flatMap((column) =>
      log.tracks
        .filter(
          ({ track }) =>
            track.columns.includes(column) && (entry.kind === undefined || track.kind === entry.kind),
        )
        .map((track) => ({ log, track, column })),
    ),
  );
  const [first, second] = found;
  if (!first) {
    const headers = files.flatMap((log) => log.table.columns.map((column) => column.label));
    const listed = headers.slice(0, 12).join(', ') + (headers.length > 12 ? ', …' : '');
    throw new LogError('map-column-missing', `the map asks for ${shown}, which holds no values${entry.kind === undefined ? '' : ` in rows of kind "${quote(entry.kind)}"`} or is not there`, `use one of: ${listed}`, place); // prettier-ignore
  }
  if (second) {
    const how =
      first.log !== second.log
        ? '"file"'
        : first.column !== second.column
          ? 'the column by number'
          : '"kind"';
    throw new LogError(
      'map-ambiguous',
      `the map's ${shown} fits more than one column`,
      `add ${how} to the entry`,
      place,
    );
  }
  const { unit } = readHeader(first.column.header, first.column.unitText, '');
  const dimensions = channelDimensions(channel);
  if (entry.unit && !dimensions.includes(entry.unit.dimension))
    throw new LogError(
      'map-unit',
      `${entry.unit.name} cannot be the unit of ${channel}`,
      'correct "unit"',
      place,
    );
  const fromLog = unit && dimensions.includes(unit.dimension) ? unit : null;
  return {
    channel,
    ...first,
    stated: entry.unit
      ? { unit: entry.unit, by: 'map', from: `map says ${entry.unit.name}` }
      : fromLog && { unit: fromLog, by: 'log', from: `header says ${fromLog.name}` },
    entry,
    error: entry.error ?? false,
    decidedBy: [`map ${map.name}`],
  };
}

function claimsOf(log: LogData, isTaken: (column: TableColumn) => boolean): Claim[] {
  const drafts = log.tracks.flatMap((track) =>
    track.track.columns
      .filter((column) => !isTaken(column))
      .map((column) => ({
        track,
        column,
        read: readHeader(column.header, column.unitText, track.track.kind ?? ''),
        context: track.track.kind === null ? '' : `row kind "${quote(track.track.kind)}"`,
      })),
  );
  const inContext = withFileName(log, drafts);
  const lettersAxes = new Set(
    inContext.flatMap(({ read }) => read.readings.filter((each) => each.needsCompany).map(axisOfReading)),
  );
  const zeroBased = { motor: false, rotor: false };
  for (const { read } of inContext)
    for (const { meaning } of read.readings)
      if ('family' in meaning && meaning.index === 0) zeroBased[meaning.family] = true;
  return inContext.map(({ track, column, read, context }) => ({
    log,
    track,
    column,
    unit: read.unit,
    unitFrom: read.unitFrom,
    context,
    options: read.readings
      .filter((each) => !each.needsCompany || lettersAxes.size >= 2)
      .map((each) => ({ ...channelOf(each, zeroBased), score: each.score }))
      .filter((option) => holdsWhat(column, option.channel)),
  }));
}

function axisOfReading(each: Reading): string {
  return 'channel' in each.meaning ? (each.meaning.channel.split('.')[1] ?? '') : '';
}

function channelOf(
  each: Reading,
  zeroBased: { motor: boolean; rotor: boolean },
): { channel: ChannelName; error: boolean } {
  const { meaning } = each;
  if ('channel' in meaning) return meaning;
  const number = meaning.index + (zeroBased[meaning.family] ? 1 : 0);
  return {
    channel: meaning.family === 'motor' ? `motor.${number}.command` : `rotor.${number}.speed`,
    error: false,
  };
}

/** Only a mode may be text; everything else needs numbers. */
function holdsWhat(column: TableColumn, channel: ChannelName): boolean {
  return channel === 'mode' ? !column.stamps : column.finite > column.textCells && !column.stamps;
}

interface Draft {
  readonly track: TimedTrack;
  readonly column: TableColumn;
  readonly read: HeaderReadings;
  readonly context: string;
}

/** `rates.csv` with the columns roll, pitch, yaw: where no header names a quantity, the file's name may. */
function withFileName(log: LogData, drafts: readonly Draft[]): readonly Draft[] {
  const stem = (log.name.split('/').at(-1) ?? '').replace(/\.[^.]*$/, '');
  const words = splitWords(stem).filter((word) => !/^\d+$/.test(word));
  const last = tokenize(words.slice(-1)).find((token) => token.is === 'quantity');
  const plain = drafts.every(({ read }) => read.readings.every((each) => each.impliedQuantity));
  if (!last || !plain) return drafts;
  return drafts.map((draft) => {
    const read = readHeader(
      draft.column.header,
      draft.column.unitText,
      `${draft.track.track.kind ?? ''} ${words.at(-1)!}`,
    );
    const best = read.readings[0];
    const unitFits =
      !read.unit ||
      !best ||
      !('channel' in best.meaning) ||
      channelDimensions(best.meaning.channel).includes(read.unit.dimension);
    return best && unitFits ? { ...draft, read, context: `file name says ${words.at(-1)!}` } : draft;
  });
}

function settle(
  claims: readonly Claim[],
  closed: Set<ChannelName>,
): { won: Assignment[]; contests: Contest[] } {
  const won: Assignment[] = [];
  const contests: Contest[] = [];
  const winners = new Map<string, Claim>();
  // Best readings first, so that a column falls back on its second meaning only after a clearer one took the first.
  const bids = claims
    .flatMap((claim) => claim.options.map((option) => ({ claim, ...option })))
    .filter((bid) => !closed.has(bid.channel))
    .sort((a, b) => b.score - a.score);
  const done = new Set<Claim>();
  const decided = new Set<string>();
  for (const bid of bids) {
    const key = bid.channel + (bid.error ? ' error' : '');
    if (done.has(bid.claim) || decided.has(key)) continue;
    const rivals = bids.filter(
      (other) =>
        other.channel === bid.channel &&
        other.error === bid.error &&
        !done.has(other.claim) &&
        bid.score - other.score < CLEAR_MARGIN &&
        other.claim !== bid.claim &&
        !(
          other.claim.options[0]!.channel !== bid.channel &&
          other.claim.options[0]!.score > other.score + CLEAR_MARGIN
        ),
    );
    decided.add(key);
    const different = rivals.filter((rival) => !holdTheSame(bid.claim, rival.claim));
    if (different.length === 0) {
      done.add(bid.claim);
      for (const rival of rivals) done.add(rival.claim);
      winners.set(key, bid.claim);
      won.push(assignmentOf(bid.claim, bid.channel, bid.error));
    } else {
      const all = [bid, ...rivals];
      for (const each of all) done.add(each.claim);
      contests.push({
        channel: bid.channel,
        claims: all.map((each) => assignmentOf(each.claim, each.channel, each.error)),
      });
    }
  }
  return { won, contests };
}

function assignmentOf(claim: Claim, channel: ChannelName, error: boolean): Assignment {
  const { unit } = claim;
  const usable = unit !== null && channelDimensions(channel).includes(unit.dimension);
  const decidedBy = [
    `header "${quote(claim.column.header)}"`,
    ...(claim.context === '' ? [] : [claim.context]),
  ];
  return {
    channel,
    log: claim.log,
    track: claim.track,
    column: claim.column,
    stated: usable ? { unit, by: 'log', from: claim.unitFrom } : null,
    entry: null,
    error,
    decidedBy,
  };
}

/** Whether two columns are one signal, logged twice: equal, or in two units. */
function holdTheSame(a: Claim, b: Claim): boolean {
  if (a.log !== b.log || a.track !== b.track) return false;
  const [left, right] = [a.column.values, b.column.values];
  const rows = a.track.rows;
  const step = Math.max(1, Math.floor(rows.length / COMPARED_ROWS));
  let [ab, aa, bb] = [0, 0, 0];
  for (let i = 0; i < rows.length; i += step) {
    const [x, y] = [left[rows[i]!]!, right[rows[i]!]!];
    if (!(x - x === 0) || !(y - y === 0)) continue;
    ab += x * y;
    aa += x * x;
    bb += y * y;
  }
  if (aa === 0 || bb === 0) return aa === bb;
  return ab > 0 && 1 - (ab * ab) / (aa * bb) < 1e-9;
}

function reportContest(contest: Contest, problems: ProblemList): void {
  const names = contest.claims.map((claim) => `"${columnName(claim.column, claim.track)}"`).join(', ');
  problems.add(
    contest.claims[0]!.log.name,
    `contest ${contest.channel}`,
    `${names} may each be ${contest.channel}, so none is used; name one in a channel map`,
    { column: contest.claims[0]!.column.label },
  );
}
