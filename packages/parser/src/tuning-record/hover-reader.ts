/** One entry of `hovers` in a tuning record. */

import { GAINS_FIELDS, readGainsMembers } from '../gains-file.js';
import type { FlownConfiguration, GainsFile, UnknownField } from '../gains-file.js';
import type { JsonNode } from '../json-scan.js';
import { quote } from '../log-error.js';
import type { FieldReader, Members } from './field-reader.js';
import { isRecordDate } from './record-date.js';
import type { RecordedHover, RecordedPath } from './record-types.js';

/** In the order in which a new hover is written. */
export const HOVER_FIELDS = [
  'name',
  'date',
  'files',
  'map',
  'rateHz',
  'segment',
  'fromS',
  'toS',
  'changes',
  'note',
  'weather',
  'configuration',
  'gains',
  'filters',
  'loopRateHz',
] as const;

export class HoverReader {
  readonly #reader: FieldReader;
  /** How the hover is called in messages. */
  readonly #path: string;

  constructor(reader: FieldReader, path: string) {
    this.#reader = reader;
    this.#path = path;
  }

  read(node: JsonNode): RecordedHover {
    const reader = this.#reader;
    const members = reader.members(node, this.#path);
    reader.noteUnknown(members, this.#path, HOVER_FIELDS);
    const name = reader.needed(members, 'name', node, this.#path);
    const files = this.#files(reader.needed(members, 'files', node, this.#path));
    const text = (field: string): string | null => reader.text(members.get(field), this.#at(field));
    const gainsFile = this.#gainsFile(members);
    const told = this.#gains(members, gainsFile);
    return {
      name: reader.text(name, this.#at('name'))!,
      place: { line: name.line, column: name.column },
      date: this.#date(members.get('date')),
      files,
      map: reader.path(members.get('map'), this.#at('map')),
      gainsFile,
      ...told,
      rateHz: this.#number(members, 'rateHz', { least: 0, isBelow: true }),
      segment: this.#segment(members),
      ...this.#interval(members),
      changes: reader.texts(members.get('changes'), this.#at('changes')),
      note: text('note'),
      weather: text('weather'),
    };
  }

  #at(field: string): string {
    return `${this.#path} ${field}`;
  }

  #number(members: Members, field: string, limits: { least: number; isBelow?: boolean }): number | null {
    return this.#reader.number(members.get(field), this.#at(field), limits);
  }

  #segment(members: Members): number | null {
    const segment = this.#number(members, 'segment', { least: 1 });
    if (segment === null || Number.isSafeInteger(segment)) return segment;
    return this.#reader.refuse(
      members.get('segment')!,
      this.#at('segment'),
      'must be a whole number',
      'count the pieces from 1',
    );
  }

  #interval(members: Members): { fromS: number | null; toS: number | null } {
    const fromS = this.#number(members, 'fromS', { least: 0 });
    const toS = this.#number(members, 'toS', { least: 0, isBelow: true });
    if (fromS !== null && toS !== null && fromS >= toS)
      this.#reader.refuse(
        members.get('toS')!,
        this.#at('toS'),
        `must be after fromS, which is ${String(fromS)}`,
        'correct one of the two',
      );
    return { fromS, toS };
  }

  #files(node: JsonNode): readonly RecordedPath[] {
    const reader: FieldReader = this.#reader;
    const items = reader.list(node, this.#at('files'), 'write it in brackets, ["hover-1.csv"]');
    if (items.length === 0)
      reader.refuse(node, this.#at('files'), 'is empty', 'name the files of the flight, or its directory');
    const paths: RecordedPath[] = [];
    for (const [index, item] of items.entries()) {
      const at = this.#at(`files ${String(index + 1)}`);
      const path = reader.path(item, at);
      if (path === null)
        reader.refuse(item, at, 'must be a text', 'write the name of a file in double quotes');
      if (paths.some((other) => other.path === path.path))
        reader.refuse(
          item,
          at,
          `"${quote(path.path)}" stands here twice`,
          'name every file of the flight once',
        );
      paths.push(path);
    }
    return paths;
  }

  #date(node: JsonNode | undefined): string | null {
    const date = this.#reader.text(node, this.#at('date'));
    if (date === null || isRecordDate(date)) return date;
    return this.#reader.refuse(
      node!,
      this.#at('date'),
      `"${quote(date)}" is no date`,
      'write it as 2026-04-11, or with time and offset as 2026-04-11T09:20:00+01:00',
    );
  }

  #gainsFile(members: Members): RecordedPath | null {
    const node = members.get('gains');
    if (typeof node?.value !== 'string') return null;
    for (const field of ['filters', 'loopRateHz']) {
      const other = members.get(field);
      if (other !== undefined)
        this.#reader.refuse(
          other.name ?? other,
          this.#at(field),
          'stands beside gains that are in a file, which tells it too',
          'say it in that file, or write the gains into the record instead of their file',
        );
    }
    return this.#reader.path(node, this.#at('gains'));
  }

  /** `gains`, `filters`, `loopRateHz` and `configuration` are checked as in a gains file. */
  #gains(
    members: Members,
    gainsFile: RecordedPath | null,
  ): { gains: GainsFile | null; configuration: FlownConfiguration } {
    const told = [...members].filter(
      ([field, { value }]) =>
        GAINS_FIELDS.some((known) => known === field) &&
        value !== null &&
        !(field === 'gains' && gainsFile !== null),
    );
    const kept: UnknownField[] = [];
    const gains = readGainsMembers(
      new Map(told),
      `${this.#reader.file}, ${this.#path}`,
      (place, path, message, next) =>
        this.#reader.error(place, path === null ? this.#path : this.#at(path), message, next),
      kept,
    );
    for (const field of kept) this.#reader.unknown.push({ ...field, path: this.#at(field.path) });
    const isTold = told.some(([field]) => field !== 'configuration');
    return { gains: isTold ? gains : null, configuration: gains.configuration };
  }
}
