/** From the name of a tuning record to what `compare` needs of each of its hovers. Reads only; nothing here writes. */

import { promises as fs } from 'node:fs';
import path from 'node:path';
import type {
  FlownConfiguration,
  GainsFile,
  RecordedHover,
  RecordedPath,
  TuningRecord,
} from '@settle/parser';
import { Failure, reasonOf } from './failures.js';
import { type FlightFiles, locateFlight } from './flight-input.js';
import { type ReadFlight, readFlightFrom, readSettingsText } from './flight-reading.js';
import type { OptionValues } from './options.js';
import { type RecordFile, openRecordFile } from './record-file.js';
import { loadParser } from './stages.js';
import type { Progress } from './terminal.js';

export interface OpenRecord {
  readonly source: RecordFile;
  /** Null: the file is not there yet. */
  readonly record: TuningRecord | null;
  /** What the names in the record are relative to: a real path, never by way of a link. */
  readonly directory: string;
}

/** One hover of a record with everything that is needed to read its log and judge it. Plain data, fit for a worker. */
export interface HoverInput {
  readonly name: string;
  /** As recorded: date, changes, note and weather stand here. */
  readonly hover: RecordedHover;
  /** The names of its logs, ready to open from where the program was started. */
  readonly operands: readonly string[];
  readonly options: Pick<OptionValues, 'map' | 'rate' | 'segment' | 'from' | 'to'>;
  /** From the record or from the gains file it names; null: nothing tells them. */
  readonly gains: GainsFile | null;
  /** Of the record, over that of the gains file, field by field. */
  readonly configuration: FlownConfiguration;
}

export interface LoadedRecord {
  readonly record: TuningRecord;
  /** In the order of the record. */
  readonly hovers: readonly HoverInput[];
}

/**
 * Reads a record and makes sure that every file it names is there.
 *
 * @throws Failure or LogError: one error, with the line and column of the record where there is one
 */
export async function openRecord(file: string): Promise<OpenRecord & { readonly record: TuningRecord }> {
  const opened = await openRecordOrNew(file, false);
  return { ...opened, record: opened.record! };
}

/** As `openRecord`; a file that is not there is a record to begin. */
export async function openRecordOrNew(file: string, isNewAllowed = true): Promise<OpenRecord> {
  const source = await openRecordFile(file, isNewAllowed);
  const directory = path.dirname(source.realPath);
  if (source.found === null) return { source, record: null, directory };
  const record = (await loadParser()).parseRecord(source.found.text, file);
  await checkNamedFiles(record, directory);
  return { source, record, directory };
}

/**
 * The hovers of a record, their gains files read, none of their logs. `readHover` reads one of those at a time, so that no more
 * than one need be in memory.
 *
 * @throws Failure or LogError: one error, with the line and column of the record where there is one
 */
export async function loadRecord(file: string): Promise<LoadedRecord> {
  const { record, directory } = await openRecord(file);
  const hovers: HoverInput[] = [];
  for (const hover of record.hovers) {
    await locateHover(record, hover, directory);
    hovers.push(await hoverInput(hover, directory));
  }
  return { record, hovers };
}

/** The flight of a hover, named as the record names it. */
export async function readHover(input: HoverInput, progress: Progress): Promise<ReadFlight> {
  return readFlightFrom(input.operands, input.options, progress, input.name);
}

async function hoverInput(hover: RecordedHover, directory: string): Promise<HoverInput> {
  const { map, rateHz, segment, fromS, toS } = hover;
  const gains = await flownGains(hover, directory);
  return {
    name: hover.name,
    hover,
    operands: hover.files.map((each) => resolved(each, directory)),
    options: {
      ...(map === null ? {} : { map: resolved(map, directory) }),
      ...(rateHz === null ? {} : { rate: rateHz }),
      ...(segment === null ? {} : { segment }),
      ...(fromS === null ? {} : { from: fromS }),
      ...(toS === null ? {} : { to: toS }),
    },
    gains,
    configuration: gains?.configuration ?? hover.configuration,
  };
}

async function flownGains(hover: RecordedHover, directory: string): Promise<GainsFile | null> {
  if (hover.gainsFile === null) return hover.gains;
  const file = resolved(hover.gainsFile, directory);
  const gains = (await loadParser()).parseGains(await readSettingsText(file, 'gains file'), file);
  return { ...gains, configuration: { ...gains.configuration, ...hover.configuration } };
}

/** A name of the record as it can be opened from here: short where that is shorter. */
function resolved({ path: name }: RecordedPath, directory: string): string {
  const absolute = path.resolve(directory, name);
  const relative = path.relative(process.cwd(), absolute);
  return relative !== '' && relative.length < absolute.length ? relative : absolute;
}

/**
 * The files behind a hover.
 *
 * @throws LogError at the place of the record that names them
 */
export async function locateHover(
  record: TuningRecord,
  hover: RecordedHover,
  directory: string,
): Promise<FlightFiles> {
  try {
    return await locateFlight(hover.files.map((each) => resolved(each, directory)));
  } catch (error) {
    if (!(error instanceof Failure)) throw error;
    throw await errorAt(record, hover.files[0]!, error.message, `${error.next}; or correct the record here`);
  }
}

/** @throws LogError for the first file that is not there, saying how many more are not */
async function checkNamedFiles(record: TuningRecord, directory: string): Promise<void> {
  const named = [
    record.airframe,
    ...record.hovers.flatMap(({ files, map, gainsFile }) => [...files, map, gainsFile]),
  ].filter((each) => each !== null);
  const inOrder = named.sort((a, b) => a.place.line - b.place.line || a.place.column - b.place.column);
  const missing: { readonly file: RecordedPath; readonly reason: string }[] = [];
  for (const file of inOrder) {
    try {
      await fs.stat(path.resolve(directory, file.path));
    } catch (error) {
      missing.push({ file, reason: reasonOf(error) });
    }
  }
  const [first, ...others] = missing;
  if (first === undefined) return;
  const more = others.length === 0 ? '' : ` (and ${others.length} more that the record names)`;
  throw await errorAt(
    record,
    first.file,
    `cannot find "${first.file.path}": ${first.reason}${more}`,
    'put the file back beside the record, or correct its name here; names are relative to the record',
  );
}

async function errorAt(
  record: TuningRecord,
  { place, field }: RecordedPath,
  message: string,
  next: string,
): Promise<Error> {
  const { LogError } = await loadParser();
  return new LogError('bad-record', message, next, {
    file: record.name,
    line: place.line,
    character: place.column,
    column: field,
  });
}

/** What the person should know about a record that was read, one line each. */
export function recordNotes(record: TuningRecord): string[] {
  return record.unknown.flatMap(({ path: owner, name, place, meant }) =>
    meant === null
      ? []
      : [
          `${record.name}:${place.line}:${place.column}: ${owner}: "${name}" is kept but not used; did you mean "${meant}"?`,
        ],
  );
}
