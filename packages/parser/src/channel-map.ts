import { isChannelName } from './channel-names.js';
import type { ChannelName } from './flight.js';
import { scanJson } from './json-scan.js';
import type { JsonNode } from './json-scan.js';
import { LogError, quote } from './log-error.js';
import { parseUnit, unitsOf } from './units.js';
import type { Unit } from './units.js';

/** Which column a map entry means: header text, or number from 1. */
export type ColumnChoice = string | number;

export interface MapEntry {
  readonly column: ColumnChoice;
  /** File name the entry holds for, with `*` for any text; every file if absent. */
  readonly file?: string;
  /** Text in the kind column, for rows of several kinds. */
  readonly kind?: string;
  readonly unit?: Unit;
  readonly sign?: 1 | -1;
  /** Logged values for 0 and 1 (or for −1 and 1 where the channel is signed). */
  readonly range?: readonly [number, number];
  /** Multiplies the logged value before the unit applies, for raw counts. */
  readonly scale?: number;
  /** The column holds reference minus measured value. Only for a `reference` channel. */
  readonly error?: true;
}

/** What the user says about a log; it overrides every decision made from headers or physics. */
export interface ChannelMap {
  /** File the map came from, for messages. */
  readonly name: string;
  readonly time: readonly { readonly column: ColumnChoice; readonly unit?: Unit; readonly file?: string }[];
  readonly channels: ReadonlyMap<ChannelName, readonly MapEntry[]>;
  /** Columns to leave alone. */
  readonly ignore: readonly ColumnChoice[];
  /** Body frame of the log. */
  readonly frame?: 'z-down' | 'z-up';
}

const ENTRY_KEYS = ['column', 'file', 'kind', 'unit', 'sign', 'range', 'scale', 'error'];
const FIX = 'correct the channel map';

/**
 * Reads a channel map (JSON).
 *
 * ```json
 * { "time": { "column": "t", "unit": "us" },
 *   "channels": { "rate.roll.measured": { "column": "wx", "unit": "rad/s", "sign": -1, "file": "rates*.csv" } },
 *   "ignore": ["spare"], "frame": "z-down" }
 * ```
 *
 * @param name of the file, for messages
 * @throws LogError `bad-channel-map`, with line and place in the map
 */
export function parseChannelMap(text: string, name: string): ChannelMap {
  const root = scanJson(text.replace(/^\uFEFF/, ''), name);
  const reader: MapReader = new MapReader(name);
  const top = reader.object(root, 'the channel map', ['time', 'channels', 'ignore', 'frame']);
  const channels = new Map<ChannelName, readonly MapEntry[]>();
  const listed = top.get('channels');
  if (listed)
    for (const [key, node] of reader.object(listed, 'channels')) {
      if (!isChannelName(key))
        reader.refuse(
          node,
          key,
          `"${quote(key)}" is no channel`,
          'use a channel name such as rate.roll.measured, gyro.x or motor.1.command',
        );
      channels.set(
        key,
        reader.list(node).map((each) => reader.entry(each, key)),
      );
    }
  const time = reader.list(top.get('time')).map((node) => {
    const entry = reader.entry(node, 'time');
    if (entry.unit && entry.unit.dimension !== 'time')
      reader.refuse(
        node,
        'time',
        `${entry.unit.name} is no unit of time`,
        `use ${unitsOf('time').join(', ')}`,
      );
    return entry;
  });
  const ignore = reader.list(top.get('ignore')).map((node) => reader.column(node, 'ignore'));
  const frameNode = top.get('frame');
  const frame = frameNode?.value;
  if (frame !== undefined && frame !== 'z-down' && frame !== 'z-up')
    return reader.refuse(frameNode!, 'frame', 'frame must be "z-down" or "z-up"', FIX);
  return { name, time, channels, ignore, ...(frame === undefined ? {} : { frame }) };
}

/** Whether a file name fits a map's pattern, in which `*` stands for any text. A pattern without a slash looks at the base name. */
export function matchesFile(pattern: string | undefined, file: string): boolean {
  if (pattern === undefined) return true;
  const name = pattern.includes('/') ? file : (file.split('/').at(-1) ?? file);
  const parts = pattern.split('*');
  const first = parts[0]!;
  if (parts.length === 1) return name === first;
  const last = parts.at(-1)!;
  if (!name.startsWith(first) || name.length < first.length + last.length || !name.endsWith(last))
    return false;
  let from = first.length;
  for (const part of parts.slice(1, -1)) {
    const at = name.indexOf(part, from);
    if (at < 0) return false;
    from = at + part.length;
  }
  return from <= name.length - last.length;
}

class MapReader {
  readonly #name: string;

  constructor(name: string) {
    this.#name = name;
  }

  refuse(node: JsonNode, path: string, message: string, next: string): never {
    throw new LogError('bad-channel-map', `${message} (character ${String(node.column)})`, next, {
      file: this.#name,
      line: node.line,
      column: path,
    });
  }

  object(node: JsonNode, path: string, keys?: readonly string[]): ReadonlyMap<string, JsonNode> {
    if (!(node.value instanceof Map)) this.refuse(node, path, 'must be a JSON object', FIX);
    if (keys)
      for (const [key, value] of node.value)
        if (!keys.includes(key))
          this.refuse(value, key, `"${quote(key)}" means nothing here`, `use ${keys.join(', ')}`);
    return node.value;
  }

  list(node: JsonNode | undefined): readonly JsonNode[] {
    if (node === undefined) return [];
    return Array.isArray(node.value) ? (node.value as readonly JsonNode[]) : [node];
  }

  column(node: JsonNode, path: string): ColumnChoice {
    const { value } = node;
    if (typeof value === 'string' && value.trim() !== '') return value;
    if (typeof value === 'number' && Number.isInteger(value) && value >= 1) return value;
    return this.refuse(node, path, 'a column is named by its header text or its number from 1', FIX);
  }

  entry(node: JsonNode, path: string): MapEntry {
    // `"gyro.x": "wx"` is short for `{ "column": "wx" }`.
    if (typeof node.value === 'string' || typeof node.value === 'number')
      return { column: this.column(node, path) };
    const fields = this.object(node, path, ENTRY_KEYS);
    const column = fields.get('column');
    if (!column)
      this.refuse(node, path, 'the entry names no column', 'add "column": header text or number from 1');
    const file = this.#text(fields.get('file'), `${path} file`);
    const kind = this.#text(fields.get('kind'), `${path} kind`);
    const unit = this.#unit(fields.get('unit'), `${path} unit`);
    const sign = this.#sign(fields.get('sign'), `${path} sign`);
    const range = this.#range(fields.get('range'), `${path} range`);
    const scale = this.#scale(fields.get('scale'), `${path} scale`);
    const error = fields.get('error');
    if (error && (error.value !== true || !path.endsWith('.reference')))
      this.refuse(error, path, '"error" must be true and belongs to a reference channel', FIX);
    return {
      column: this.column(column, path),
      ...(file === undefined ? {} : { file }),
      ...(kind === undefined ? {} : { kind }),
      ...(unit === undefined ? {} : { unit }),
      ...(sign === undefined ? {} : { sign }),
      ...(range === undefined ? {} : { range }),
      ...(scale === undefined ? {} : { scale }),
      ...(error ? { error: true as const } : {}),
    };
  }

  #text(node: JsonNode | undefined, path: string): string | undefined {
    if (node === undefined) return undefined;
    return typeof node.value === 'string' ? node.value : this.refuse(node, path, 'must be a text', FIX);
  }

  #unit(node: JsonNode | undefined, path: string): Unit | undefined {
    const text = this.#text(node, path);
    if (text === undefined) return undefined;
    const unit = parseUnit(text);
    return (
      unit ??
      this.refuse(
        node!,
        path,
        `"${quote(text)}" is no unit known here`,
        'use one unit such as rad/s, deg/s, mrad/s, deg, m/s², g, %, rpm, V or A',
      )
    );
  }

  #sign(node: JsonNode | undefined, path: string): 1 | -1 | undefined {
    if (node === undefined) return undefined;
    return node.value === 1 || node.value === -1
      ? node.value
      : this.refuse(node, path, 'sign must be 1 or -1', FIX);
  }

  #range(node: JsonNode | undefined, path: string): readonly [number, number] | undefined {
    if (node === undefined) return undefined;
    const [low, high, ...rest] = this.list(node).map((each) => each.value);
    if (typeof low === 'number' && typeof high === 'number' && low !== high && rest.length === 0)
      return [low, high];
    return this.refuse(node, path, 'range must be two different numbers, [low, high]', FIX);
  }

  #scale(node: JsonNode | undefined, path: string): number | undefined {
    if (node === undefined) return undefined;
    const { value } = node;
    return typeof value === 'number' && value > 0
      ? value
      : this.refuse(node, path, 'scale must be a number above 0; use sign to turn it', FIX);
  }
}
