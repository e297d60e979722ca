/** Typed reading of the fields of a tuning record; whatever is wrong is refused at its place. */

import type { UnknownField } from '../gains-file.js';
import type { JsonNode, JsonPlace } from '../json-scan.js';
import { LogError, quote } from '../log-error.js';
import { looksMistyped, nearestName } from '../nearest-name.js';
import type { RecordedPath } from './record-types.js';

export type Members = ReadonlyMap<string, JsonNode>;

/** No rate, time or mass of a hover is larger. */
const LARGEST = 1e9;
const LEAVE_OUT = 'leave the field out if it is not known';

export class FieldReader {
  readonly file: string;
  readonly unknown: UnknownField[] = [];

  constructor(file: string) {
    this.file = file;
  }

  readonly error = (
    { line, column }: JsonPlace,
    path: string | null,
    message: string,
    next: string,
  ): LogError =>
    new LogError('bad-record', message, next, { file: this.file, line, character: column, column: path });

  refuse(place: JsonPlace, path: string | null, message: string, next: string): never {
    throw this.error(place, path, message, next);
  }

  members(node: JsonNode, path: string): Members {
    if (node.value instanceof Map) return node.value;
    return this.refuse(node, path, 'must be a JSON object', 'write it in braces, { }');
  }

  noteUnknown(members: Members, path: string, fields: readonly string[]): void {
    for (const [name, node] of members)
      if (!fields.includes(name)) {
        const meant = looksMistyped(name, fields) ? nearestName(name, fields) : null;
        this.unknown.push({ path, name, place: node.name ?? node, meant });
      }
  }

  /** A field that must be there, and not null. */
  needed(members: Members, field: string, owner: JsonPlace, path: string): JsonNode {
    const node = members.get(field);
    if (node !== undefined && node.value !== null) return node;
    const others = [...members.keys()].filter((name) => looksMistyped(name, [field]) && name !== field);
    const slip = others.length > 0 ? nearestName(field, others) : null;
    const place = (slip === null ? node : members.get(slip)!.name) ?? owner;
    return this.refuse(
      place,
      null,
      `${path} lacks "${field}"`,
      slip === null ? `add "${field}"` : `did you mean that by "${quote(slip)}"?`,
    );
  }

  list(node: JsonNode, path: string, next: string): readonly JsonNode[] {
    if (Array.isArray(node.value)) return node.value as readonly JsonNode[];
    return this.refuse(node, path, 'must be a list', next);
  }

  text(node: JsonNode | undefined, path: string): string | null {
    if (node === undefined || node.value === null) return null;
    if (typeof node.value !== 'string')
      this.refuse(node, path, 'must be a text', `write it in double quotes, or ${LEAVE_OUT}`);
    if (node.value.trim() !== '') return node.value;
    return this.refuse(node, path, 'is empty', `write something into it, or ${LEAVE_OUT}`);
  }

  texts(node: JsonNode | undefined, path: string): readonly string[] {
    if (node === undefined || node.value === null) return [];
    return this.list(node, path, 'write it in brackets, [ ], each entry in double quotes').map(
      (item, index) => {
        const at = `${path} ${String(index + 1)}`;
        return this.text(item, at) ?? this.refuse(item, at, 'must be a text', 'write it in double quotes');
      },
    );
  }

  path(node: JsonNode | undefined, path: string): RecordedPath | null {
    const text = this.text(node, path);
    if (text === null) return null;
    if (text.includes('\0')) this.refuse(node!, path, 'no file has such a name', 'correct the name');
    return { path: text, place: { line: node!.line, column: node!.column }, field: path };
  }

  /**
   * @param least smallest value that is allowed
   * @param isBelow whether that value itself is too small
   */
  number(
    node: JsonNode | undefined,
    path: string,
    { least, isBelow = false }: { least: number; isBelow?: boolean },
  ): number | null {
    if (node === undefined || node.value === null) return null;
    const { value } = node;
    if (typeof value !== 'number')
      this.refuse(node, path, 'must be a number', `write it without quotes, or ${LEAVE_OUT}`);
    if (value < least || (isBelow && value === least))
      this.refuse(
        node,
        path,
        `must be ${isBelow ? 'above' : 'at least'} ${String(least)}`,
        `correct it, or ${LEAVE_OUT}`,
      );
    if (value > LARGEST) this.refuse(node, path, 'the number is too large', `correct it, or ${LEAVE_OUT}`);
    return value;
  }
}
