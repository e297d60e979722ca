/** `settle record add`: one more hover in the tuning record of an aircraft. */

import { promises as fs } from 'node:fs';
import path from 'node:path';
import type { FlownConfiguration, HoverDraft, TuningRecord } from '@settle/parser';
import { Failure, reasonOf } from '../failures.js';
import { locateFlight } from '../flight-input.js';
import { checkInterval, printNotes, readSettingsText } from '../flight-reading.js';
import { gainsNotes } from '../gains-input.js';
import type { OptionValues } from '../options.js';
import { type OpenRecord, openRecordOrNew, recordNotes } from '../record-input.js';
import { replaceRecordFile } from '../record-file.js';
import { checkNotRecorded } from '../record-overlap.js';
import { loadParser } from '../stages.js';
import type { Progress } from '../terminal.js';
import { printHover } from './record-show.js';

const TEXT_OPTIONS = ['name', 'aircraft', 'note', 'weather', 'props', 'battery', 'change', 'parts'] as const;

export async function recordAdd(
  operands: readonly string[],
  options: OptionValues,
  progress: Progress,
): Promise<void> {
  const [file, ...flightNames] = operands;
  const name = await checkOptions(flightNames, options);
  const opened = await openRecordOrNew(file!);
  const { record: before, notes } = await recordToExtend(opened, options);
  await checkNameIsFree(before, name);
  progress.show('looking at the logs …');
  const flight = await locateFlight(flightNames);
  const part = { segment: options.segment ?? null, fromS: options.from ?? null, toS: options.to ?? null };
  await checkNotRecorded(flight, part, before, opened.directory);
  const { addHover, formatRecord } = await loadParser();
  const after = addHover(before, await draftOf(name, flightNames, options, opened.directory));
  await replaceRecordFile(opened.source, formatRecord(after));
  progress.clear();

  const hover = after.hovers.at(-1)!;
  await printNotes(
    [
      ...recordNotes(before),
      ...notes,
      ...orderNote(after),
      ...(options.gains === undefined || hover.gains === null
        ? []
        : gainsNotes({ ...hover.gains, name: options.gains })),
      `recorded "${name}" as hover ${after.hovers.length} in ${file!}`,
    ],
    options.quiet === true,
  );
  await printHover(after, hover.name, options);
}

/** @returns the name of the hover */
async function checkOptions(flightNames: readonly string[], options: OptionValues): Promise<string> {
  if (flightNames.length === 0)
    throw new Failure(
      'no flight is given to add to the record',
      'name the record first, then a CSV file, a directory, or the files of one flight',
    );
  if (options.name === undefined)
    throw new Failure('the hover has no name', 'give it one, such as --name "hover 3"');
  for (const key of TEXT_OPTIONS) {
    const texts = [options[key] ?? []].flat();
    if (texts.some((text) => text.trim() === ''))
      throw new Failure(`--${key} is empty`, 'write something into it, or leave it out');
  }
  if (options.date !== undefined && !(await loadParser()).isRecordDate(options.date))
    throw new Failure(
      `--date wants a date, not "${options.date}"`,
      'write it as 2026-04-11, or with time and offset as 2026-04-11T09:20:00+01:00',
    );
  checkInterval(options);
  return options.name.trim();
}

async function checkNameIsFree(record: TuningRecord, name: string): Promise<void> {
  const { isSameName } = await loadParser();
  const taken = record.hovers.find((hover) => isSameName(hover.name, name));
  if (taken === undefined) return;
  const { line, column } = taken.place;
  throw new Failure(
    `a hover "${taken.name}" is recorded already, in ${record.name}:${line}:${column}`,
    'give another --name; to correct that hover, edit the record there',
  );
}

/** The record as it is, or a new one; with the airframe named. */
async function recordToExtend(
  { source, record, directory }: OpenRecord,
  options: OptionValues,
): Promise<{ readonly record: TuningRecord; readonly notes: readonly string[] }> {
  const { newRecord, withAirframe } = await loadParser();
  const { airframe, aircraft } = options;
  const airframeName = airframe === undefined ? undefined : await nameFrom(directory, airframe, 'airframe');
  if (record === null) {
    const name = aircraft?.trim() ?? path.parse(source.realPath).name;
    const note = `began ${source.file} for the aircraft "${name}"`;
    const hint =
      aircraft === undefined ? `${note}, after the name of the file; --aircraft tells another` : note;
    return { record: newRecord(source.file, name, airframeName), notes: [hint] };
  }
  if (aircraft !== undefined && aircraft.trim() !== record.aircraft)
    throw new Failure(
      `${record.name} is the record of "${record.aircraft}", not of "${aircraft}"`,
      'give the record of that aircraft, or leave --aircraft out',
    );
  if (airframeName === undefined || airframeName === record.airframe?.path) return { record, notes: [] };
  if (record.airframe === null) return { record: withAirframe(record, airframeName), notes: [] };
  const { line, column } = record.airframe.place;
  throw new Failure(
    `${record.name} names another airframe file: ${record.airframe.path}`,
    `leave --airframe out, or edit the record in line ${line}, column ${column}`,
  );
}

async function draftOf(
  name: string,
  flightNames: readonly string[],
  options: OptionValues,
  directory: string,
): Promise<HoverDraft> {
  const { parseChannelMap, parseGains } = await loadParser();
  const { map, gains, date, rate, segment, from, to, change, note, weather } = options;
  const files: string[] = [];
  for (const each of flightNames) files.push(await nameFrom(directory, each, 'log'));
  const gainsText = gains === undefined ? null : await readSettingsText(gains, 'gains file');
  if (gains !== undefined) parseGains(gainsText!, gains);
  if (map !== undefined) parseChannelMap(await readSettingsText(map, 'channel map'), map);
  const configuration = configurationFrom(options);
  return {
    name,
    files,
    ...(date === undefined ? {} : { date }),
    ...(map === undefined ? {} : { map: await nameFrom(directory, map, 'channel map') }),
    ...(gains === undefined ? {} : { gains: { text: gainsText!, name: gains } }),
    ...(rate === undefined ? {} : { rateHz: rate }),
    ...(segment === undefined ? {} : { segment }),
    ...(from === undefined ? {} : { fromS: from }),
    ...(to === undefined ? {} : { toS: to }),
    ...(change === undefined ? {} : { changes: change }),
    ...(note === undefined ? {} : { note }),
    ...(weather === undefined ? {} : { weather }),
    ...(Object.keys(configuration).length === 0 ? {} : { configuration }),
  };
}

function configurationFrom({ parts, mass, props, battery }: OptionValues): FlownConfiguration {
  return {
    ...(parts === undefined ? {} : { parts }),
    ...(mass === undefined ? {} : { massKg: mass }),
    ...(props === undefined ? {} : { props }),
    ...(battery === undefined ? {} : { battery }),
  };
}

/** A file as the record names it: from its own directory, so that both can be moved together. */
async function nameFrom(directory: string, file: string, what: string): Promise<string> {
  try {
    await fs.stat(file);
    // The file's own name stays, link or not; only the way to it is made plain, for the record's is too.
    const real = path.join(
      await fs.realpath(path.dirname(path.resolve(file))),
      path.basename(path.resolve(file)),
    );
    const name = path.relative(directory, real).split(path.sep).join('/');
    return name === '' ? '.' : name;
  } catch (error) {
    throw new Failure(`cannot read the ${what} ${file}: ${reasonOf(error)}`, 'check its name');
  }
}

/** A date alone may be any moment of that day, wherever on earth it was; offsets reach from −12 h to +14 h. */
function momentsOf(date: string): { readonly first: number; readonly last: number } {
  const moment = Date.parse(date);
  const hour = 3_600_000;
  return date.length > 10
    ? { first: moment, last: moment }
    : { first: moment - 14 * hour, last: moment + 36 * hour };
}

/** Hovers are compared in the order in which they stand. */
function orderNote({ hovers, name }: TuningRecord): string[] {
  const date = hovers.at(-1)!.date;
  const later = hovers.find(
    (hover) => hover.date !== null && date !== null && momentsOf(hover.date).first > momentsOf(date).last,
  );
  return later === undefined
    ? []
    : [
        `this hover is dated before "${later.name}", which stands above it; hovers are compared in the order of ${name}: move it there if that is wrong`,
      ];
}
