/** JSON text of values whose order and writing must be kept: the counterpart of `scanJson`. */

import type { JsonNode } from './json-scan.js';

/** A list of plain values stays on one line up to this width, where a person reads it best. */
const LINE_WIDTH = 110;
const INDENT = '  ';

/** JSON with two spaces of indent; members in their order, numbers as they were written. No line break at the end. */
export function writeJson(node: JsonNode): string {
  return write(node, '', 0);
}

/**
 * @param indent of the line the value begins on
 * @param before characters in that line before the value
 */
function write(node: JsonNode, indent: string, before: number): string {
  const { value } = node;
  const deeper = indent + INDENT;
  if (value instanceof Map) {
    const members = [...(value as ReadonlyMap<string, JsonNode>)].map(([key, member]) => {
      const name = `${JSON.stringify(key)}: `;
      return `${name}${write(member, deeper, deeper.length + name.length)}`;
    });
    return members.length === 0 ? '{}' : block('{', members, '}', indent);
  }
  if (Array.isArray(value)) {
    const items = value as readonly JsonNode[];
    const isPlain = items.every((item) => item.value === null || typeof item.value !== 'object');
    const line = isPlain ? `[${items.map((item) => write(item, '', 0)).join(', ')}]` : null;
    if (line !== null && before + line.length < LINE_WIDTH) return line;
    return block(
      '[',
      items.map((item) => write(item, deeper, deeper.length)),
      ']',
      indent,
    );
  }
  return node.written ?? JSON.stringify(value);
}

function block(open: string, lines: readonly string[], close: string, indent: string): string {
  const inner = lines.map((line) => `${indent}${INDENT}${line}`).join(',\n');
  return `${open}\n${inner}\n${indent}${close}`;
}

/** A plain value as a node. It stands nowhere: its place is 0. */
export function toNode(value: unknown): JsonNode {
  const here = { line: 0, column: 0 };
  if (Array.isArray(value)) return { value: value.map(toNode), ...here };
  if (typeof value === 'object' && value !== null) {
    const told = Object.entries(value).filter(([, member]) => member !== undefined);
    return { value: new Map(told.map(([key, member]) => [key, toNode(member)])), ...here };
  }
  return { value: value as string | number | boolean | null, ...here };
}
