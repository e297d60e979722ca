/** Tuning record to text, and a record with one more hover. What is not understood is carried along. */

import { parseGains } from '../gains-file.js';
import { scanJson } from '../json-scan.js';
import type { JsonNode } from '../json-scan.js';
import { toNode, writeJson } from '../json-write.js';
import { HOVER_FIELDS } from './hover-reader.js';
import { parseRecord } from './read-record.js';
import { RECORD_SCHEMA } from './record-types.js';
import type { HoverDraft, TuningRecord } from './record-types.js';

/**
 * The text of a record, ending in a line break: two spaces of indent, every field in the order it was read, numbers as they were
 * written, unknown fields included. `parseRecord` gives the same record back.
 */
export function formatRecord(record: TuningRecord): string {
  return `${writeJson(record.document)}\n`;
}

/** A record without a hover. */
export function newRecord(name: string, aircraft: string, airframe?: string): TuningRecord {
  const document = toNode({ schema: RECORD_SCHEMA, aircraft, airframe, hovers: [] });
  return parseRecord(writeJson(document), name);
}

/**
 * The record with one more hover at its end.
 *
 * @throws LogError for a gains file or a hover that cannot be read back, such as one whose name is taken
 */
export function addHover(record: TuningRecord, draft: HoverDraft): TuningRecord {
  const hovers = membersOf(record.document).get('hovers')!;
  const grown: JsonNode = {
    ...hovers,
    value: [...(hovers.value as readonly JsonNode[]), hoverNode(draft)],
  };
  return replaceMember(record, 'hovers', grown);
}

/** The record with the airframe file named, in place of none. */
export function withAirframe(record: TuningRecord, airframe: string): TuningRecord {
  return replaceMember(record, 'airframe', toNode(airframe));
}

/** The same record reduced to some of its hovers, everything else as it was. */
export function selectHovers(record: TuningRecord, names: readonly string[]): TuningRecord {
  const hovers = membersOf(record.document).get('hovers')!;
  const items = hovers.value as readonly JsonNode[];
  const chosen = items.filter((_, index) => names.includes(record.hovers[index]!.name));
  return replaceMember(record, 'hovers', { ...hovers, value: chosen });
}

function membersOf(node: JsonNode): ReadonlyMap<string, JsonNode> {
  return node.value as ReadonlyMap<string, JsonNode>;
}

/** Read again from its text, so that nothing can be written that will not be read. */
function replaceMember(record: TuningRecord, field: string, value: JsonNode): TuningRecord {
  const document = { ...record.document, value: new Map(membersOf(record.document)).set(field, value) };
  return parseRecord(writeJson(document), record.name);
}

function hoverNode(draft: HoverDraft): JsonNode {
  const { gains, configuration, ...plain } = draft;
  const copied = gains === undefined ? new Map<string, JsonNode>() : gainsNodes(gains);
  const built = new Map([
    ...(copied.get('configuration') === undefined ? [] : membersOf(copied.get('configuration')!)),
    ...membersOf(toNode(configuration ?? {})),
  ]);
  const members = new Map([...membersOf(toNode(plain)), ...copied]);
  members.delete('configuration');
  if (built.size > 0) members.set('configuration', { ...toNode(null), value: built });
  const ordered = HOVER_FIELDS.flatMap((field) => {
    const node = members.get(field);
    return node === undefined ? [] : [[field, node] as const];
  });
  return { ...toNode(null), value: new Map(ordered) };
}

/** The fields of a gains file as they stand in it, once the file has passed its own checks. */
function gainsNodes({ text, name }: { text: string; name: string }): ReadonlyMap<string, JsonNode> {
  parseGains(text, name);
  return membersOf(scanJson(text.replace(/^\uFEFF/, ''), name));
}
