import { compareChannels, isEssential } from './channel-names.js';
import type { ChannelDecision, ChannelName, Flight } from './flight.js';
import type { Assignment, LogData, RawSignal } from './log-data.js';
import type { Contest } from './assignment.js';
import { readHeader } from './header-reading.js';
import { parseUnit } from './units.js';

/** A map of more columns is no help to edit. */
const DRAFTED_COLUMNS = 64;

type Entry = Record<string, string | number | readonly number[] | boolean>;

/**
 * Channel map (JSON text) that describes how a flight was read, for the user to edit. Reading the log again with it
 * gives the same flight.
 */
export function suggestMap(flight: Flight): string {
  const several = flight.files.length > 1;
  const channels: [string, Entry][] = [];
  for (const { channel, decision } of flight.signals.values()) {
    const entry: Entry = { column: decision.column };
    if (decision.kind !== undefined) entry['kind'] = decision.kind;
    Object.assign(entry, unitEntry(channel, decision));
    if (decision.scale < 0 || isEssential(channel)) entry['sign'] = decision.scale < 0 ? -1 : 1;
    if (decision.decidedBy.some((reason) => reason.startsWith('reference = error'))) entry['error'] = true;
    if (several) entry['file'] = decision.file;
    channels.push([channel, entry]);
  }
  const time = flight.files
    .filter((file) => file.clock.column !== null)
    .map((file): Entry => ({
      column: file.clock.column!,
      ...(file.clock.unit === '' ? {} : { unit: file.clock.unit }),
      ...(several ? { file: file.name } : {}),
    }));
  const frame = flight.frame.logged === 'unknown' ? undefined : flight.frame.logged;
  return writeMap(time, channels, frame);
}

/**
 * Channel map for a log that could not be read without one: what was decided, and places to fill in for the rest. Left
 * unedited it does not parse, so that no guess slips through.
 *
 * @param unclear signals whose unit the user must choose, with the units to choose from
 */
export function draftMap(
  logs: readonly LogData[],
  assignments: readonly Assignment[],
  contests: readonly Contest[],
  unclear: ReadonlyMap<RawSignal, string> = new Map(),
): string {
  const several = logs.length > 1;
  const unclearUnits = new Map(
    [...unclear].map(([signal, units]) => [`${signal.channel} ${String(signal.error)}`, units]),
  );
  const entryOf = (each: Assignment, unit: string | undefined): Entry => ({
    column:
      each.column.header !== '' && each.column.label === each.column.header
        ? each.column.header
        : each.column.number,
    ...(each.track.track.kind === null ? {} : { kind: each.track.track.kind }),
    ...(unit === undefined ? {} : { unit }),
    ...(each.error ? { error: true } : {}),
    ...(several ? { file: each.log.name } : {}),
  });
  const channels: [string, Entry][] = assignments
    .filter(
      (each) => !each.error || !assignments.some((other) => other.channel === each.channel && !other.error),
    )
    .sort((a, b) => compareChannels(a.channel, b.channel))
    .map((each) => [
      each.channel,
      entryOf(each, unclearUnits.get(`${each.channel} ${String(each.error)}`) ?? each.stated?.unit.name),
    ]);
  for (const contest of contests)
    contest.claims.forEach((claim, index) => {
      channels.push([
        `${contest.channel} CHOOSE ${String(index + 1)}`,
        entryOf(claim, claim.stated?.unit.name),
      ]);
    });
  if (assignments.length === 0 && contests.length === 0)
    for (const log of logs)
      for (const column of log.table.columns)
        if (column !== log.clock.column && column !== log.kindColumn && column.finite > 0)
          channels.push([
            `CHOOSE CHANNEL ${String(channels.length + 1)}`,
            {
              column: column.label === column.header ? column.header : column.number,
              unit: 'CHOOSE UNIT',
              ...(several ? { file: log.name } : {}),
            },
          ]);
  const time = logs
    .filter((log) => log.clock.column !== null)
    .map((log): Entry => ({
      column: log.clock.column!.label,
      unit: log.clock.unit.name,
      ...(several ? { file: log.name } : {}),
    }));
  return writeMap(time, channels, undefined);
}

/** Channel map for a file of which only the headers are known, with places to fill in for what they do not say. */
export function draftFromColumns(
  columns: readonly {
    readonly header: string;
    readonly label: string;
    readonly number: number;
    readonly unitText: string;
  }[],
): string {
  const channels = columns.slice(0, DRAFTED_COLUMNS).map((column, index): [string, Entry] => {
    const { readings, unit } = readHeader(column.header, column.unitText, '');
    const meaning = readings[0]?.meaning;
    const name = meaning && 'channel' in meaning ? meaning.channel : `CHOOSE CHANNEL ${String(index + 1)}`;
    const named = column.header !== '' && column.label === column.header;
    return [name, { column: named ? column.header : column.number, unit: unit?.name ?? 'CHOOSE UNIT' }];
  });
  return writeMap([], channels, undefined);
}

/** Unit, scale or range that lead back to the decided conversion. */
function unitEntry(channel: ChannelName, { unit, scale, offset }: ChannelDecision): Entry {
  const known = parseUnit(unit);
  const size = Math.abs(scale);
  if (unit === '' || (unit === 'us' && offset !== 0)) return unit === '' ? {} : { unit };
  if (!known || unit.includes('…')) {
    const low = channel.startsWith('stick.') || channel.startsWith('rate.') ? -1 : 0;
    const shift = Math.sign(scale) * offset;
    return { range: [round((low - shift) / size), round((1 - shift) / size)] };
  }
  const perUnit = known.dimension === 'angular-rate' && channel.startsWith('rotor.') ? known.scale / (2 * Math.PI) : known.scale; // prettier-ignore
  const factor = round(size / perUnit);
  return factor === 1 ? { unit } : { unit, scale: factor };
}

/** Takes off the rounding of a division. */
function round(value: number): number {
  return Number(value.toPrecision(12));
}

/** One channel per line, so that the map is easy to edit by hand. */
function writeMap(
  time: readonly Entry[],
  channels: readonly [string, Entry][],
  frame: string | undefined,
): string {
  const lines = [];
  if (time.length === 1) lines.push(`  "time": ${line(time[0]!)}`);
  else if (time.length > 1)
    lines.push(`  "time": [\n${time.map((each) => `    ${line(each)}`).join(',\n')}\n  ]`);
  lines.push(
    `  "channels": {\n${channels.map(([name, entry]) => `    ${JSON.stringify(name)}: ${line(entry)}`).join(',\n')}\n  }`,
  );
  if (frame !== undefined) lines.push(`  "frame": ${JSON.stringify(frame)}`);
  return `{\n${lines.join(',\n')}\n}\n`;
}

function line(entry: Entry): string {
  const parts = Object.entries(entry).map(
    ([key, value]) => `${JSON.stringify(key)}: ${JSON.stringify(value)}`,
  );
  return `{ ${parts.join(', ')} }`;
}
