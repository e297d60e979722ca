/** Text to tuning record. Every mistake is refused with its line and column: a record is never mended on the quiet. */

import { scanJson } from '../json-scan.js';
import type { JsonNode } from '../json-scan.js';
import { LogError, quote } from '../log-error.js';
import { HoverReader } from './hover-reader.js';
import { FieldReader } from './field-reader.js';
import { RECORD_SCHEMA } from './record-types.js';
import type { RecordedHover, TuningRecord } from './record-types.js';

/** Longer text is no record of hovers; it would only take long to be refused. */
const MOST_CHARACTERS = 20_000_000;
const SCHEMA = /^settle\.record\/(\d+)$/;

/**
 * Reads a tuning record (JSON): the hovers of one aircraft, each with its files, gains and configuration.
 *
 * ```json
 * { "schema": "settle.record/1", "aircraft": "Samphire", "airframe": "samphire-airframe.json",
 *   "hovers": [{ "name": "hover 1", "date": "2026-04-11", "files": ["hover-1.csv"],
 *                "gains": { "rate": { "roll": { "kp": 0.18 } } }, "filters": { "gyroLowPassHz": 60 }, "loopRateHz": 400,
 *                "configuration": { "massKg": 5.9 }, "changes": ["roll rate P × 0.7"], "note": "…", "weather": "breeze" }] }
 * ```
 *
 * `gains`, `filters`, `loopRateHz` and `configuration` of a hover are those of a gains file; `gains` may instead be the name of one.
 * Fields that are not known are listed in `unknown` and kept.
 *
 * @param name of the file, for messages
 * @throws LogError `bad-record`, or `newer-record` for a later version; with line, character and the path of the field
 */
export function parseRecord(text: string, name: string): TuningRecord {
  const reader = new FieldReader(name);
  const start = { line: 1, column: 1 };
  if (text.length > MOST_CHARACTERS)
    reader.refuse(start, null, 'this is too long for a tuning record', 'give another file');
  const bare = text.replace(/^\uFEFF/, '');
  if (bare.trim() === '')
    reader.refuse(
      start,
      null,
      'the file is empty',
      'put back a copy of the record, or remove the file and begin a new one with settle record add',
    );
  const document = scanJson(bare, name, (message, place) =>
    reader.error(
      place,
      null,
      message,
      'the record is damaged here: correct the JSON, or put back a copy; nothing was written',
    ),
  );
  const top = reader.members(document, 'the record');
  checkSchema(reader, document, top.get('schema'));
  checkNumbers(reader, document);
  const fields = ['schema', 'aircraft', 'airframe', 'hovers'];
  reader.noteUnknown(top, 'the record', fields);
  const aircraft = reader.needed(top, 'aircraft', document, 'the record');
  return {
    name,
    aircraft: reader.text(aircraft, 'aircraft')!,
    airframe: reader.path(top.get('airframe'), 'airframe'),
    hovers: readHovers(reader, reader.needed(top, 'hovers', document, 'the record')),
    unknown: reader.unknown,
    document,
  };
}

/** Goes first: what a later version means by its other fields is not known here. */
function checkSchema(reader: FieldReader, document: JsonNode, node: JsonNode | undefined): void {
  if (node === undefined)
    reader.refuse(
      document,
      null,
      'this is no tuning record: it has no "schema"',
      `give a tuning record, which begins with "schema": "${RECORD_SCHEMA}"`,
    );
  if (node.value === RECORD_SCHEMA) return;
  const version = typeof node.value === 'string' ? SCHEMA.exec(node.value)?.[1] : undefined;
  if (version === undefined || Number(version) < 1)
    reader.refuse(
      node,
      'schema',
      `must be "${RECORD_SCHEMA}"`,
      'give a tuning record, or correct its schema',
    );
  throw new LogError(
    'newer-record',
    `this record is of a later version (${quote(node.value as string)}) than this program reads (${RECORD_SCHEMA})`,
    'use a newer settle for it; the record is left as it is',
    { file: reader.file, line: node.line, character: node.column, column: 'schema' },
  );
}

/** @throws LogError for a number that JavaScript cannot hold, wherever it stands */
function checkNumbers(reader: FieldReader, node: JsonNode): void {
  const { value } = node;
  if (typeof value === 'number' && !Number.isFinite(value))
    reader.refuse(node, null, 'the number is too large', 'correct it, or write it as a text');
  if (value instanceof Map) for (const each of value.values()) checkNumbers(reader, each as JsonNode);
  else if (Array.isArray(value)) for (const each of value as readonly JsonNode[]) checkNumbers(reader, each);
}

function readHovers(reader: FieldReader, node: JsonNode): RecordedHover[] {
  const items = reader.list(node, 'hovers', 'write the hovers in brackets, [ ]');
  const hovers: RecordedHover[] = [];
  for (const [index, item] of items.entries()) {
    const hover = new HoverReader(reader, `hover ${String(index + 1)}`).read(item);
    const earlier = hovers.find((other) => isSameName(other.name, hover.name));
    if (earlier !== undefined)
      reader.refuse(
        hover.place,
        `hover ${String(index + 1)} name`,
        `"${quote(hover.name)}" is the name of hover ${String(hovers.indexOf(earlier) + 1)} too, on line ${String(earlier.place.line)}`,
        'give every hover a name of its own',
      );
    hovers.push(hover);
  }
  return hovers;
}

/** Whether a person would take two names for one: spaces around them and the coding of accents do not tell them apart. */
export function isSameName(one: string, other: string): boolean {
  return one.trim().normalize('NFC') === other.trim().normalize('NFC');
}
