import { LogError, quote } from './log-error.js';

/** Where in the text something stands, both from 1. */
export interface JsonPlace {
  readonly line: number;
  readonly column: number;
}

/** A JSON value that knows where it stands. Objects are Maps, so that no key can mean anything to JavaScript. */
export interface JsonNode extends JsonPlace {
  readonly value: string | number | boolean | null | readonly JsonNode[] | ReadonlyMap<string, JsonNode>;
  /** Where its name stands, for a member of an object. */
  readonly name?: JsonPlace;
  /** A number as it was written: more digits than JavaScript keeps, 1.0 instead of 1. */
  readonly written?: string;
}

/** Makes the error for text that is no JSON, so that each kind of file can word its own. */
export type JsonRefusal = (message: string, place: JsonPlace) => LogError;

/** Nesting beyond this is no file of ours; it would only exhaust the stack. */
const DEPTH_LIMIT = 32;
const NUMBER = /-?(?:0|[1-9]\d*)(?:\.\d+)?(?:[eE][-+]?\d+)?/y;
// eslint-disable-next-line no-control-regex
const STRING = /"(?:[^"\\\u0000-\u001f]|\\(?:["\\/bfnrt]|u[0-9a-fA-F]{4}))*"/y;

/**
 * Reads JSON (RFC 8259) with the place of every value, which JSON.parse does not tell.
 *
 * @param refusal what to throw; without it LogError `bad-channel-map` with line and character
 */
export function scanJson(text: string, file: string, refusal: JsonRefusal = mapRefusal(file)): JsonNode {
  let at = 0;
  // Places are asked for from front to back, so no line is counted twice.
  let line = 1;
  let lineStart = 0;
  let lineEnd = text.indexOf('\n');

  const place = (offset: number): JsonPlace => {
    while (lineEnd >= 0 && lineEnd < offset) {
      line++;
      lineStart = lineEnd + 1;
      lineEnd = text.indexOf('\n', lineStart);
    }
    return { line, column: offset - lineStart + 1 };
  };
  const refuse = (message: string, where = place(at)): never => {
    throw refusal(message, where);
  };
  const skip = (): void => {
    while (at < text.length && ' \t\r\n'.includes(text[at]!)) at++;
  };
  const expect = (token: string): void => {
    skip();
    if (!text.startsWith(token, at)) {
      const found = at < text.length ? `"${quote(text.slice(at, at + 8))}"` : 'the end of the file';
      refuse(`expected ${token} but found ${found}`);
    }
    at += token.length;
  };
  const match = (pattern: RegExp): string | null => {
    pattern.lastIndex = at;
    const found = pattern.exec(text)?.[0] ?? null;
    if (found !== null) at += found.length;
    return found;
  };
  const readString = (): string => {
    skip();
    const found = match(STRING);
    return found === null ? refuse('expected a text in double quotes') : (JSON.parse(found) as string);
  };
  const readMany = (close: string, readOne: () => void): void => {
    skip();
    if (text.startsWith(close, at)) {
      at++;
      return;
    }
    for (;;) {
      readOne();
      skip();
      if (text.startsWith(',', at)) at++;
      else {
        expect(close);
        return;
      }
    }
  };
  const readValue = (depth: number): JsonNode => {
    skip();
    if (depth > DEPTH_LIMIT) refuse('nested too deeply');
    const here = place(at);
    const char = text[at];
    if (char === '{') {
      at++;
      const entries = new Map<string, JsonNode>();
      readMany('}', () => {
        skip();
        const name = place(at);
        const key = readString();
        if (entries.has(key)) refuse(`"${quote(key)}" stands here twice`, name);
        expect(':');
        entries.set(key, { ...readValue(depth + 1), name });
      });
      return { value: entries, ...here };
    }
    if (char === '[') {
      at++;
      const items: JsonNode[] = [];
      readMany(']', () => items.push(readValue(depth + 1)));
      return { value: items, ...here };
    }
    if (char === '"') return { value: readString(), ...here };
    for (const [word, value] of [
      ['true', true],
      ['false', false],
      ['null', null],
    ] as const)
      if (text.startsWith(word, at)) {
        at += word.length;
        return { value, ...here };
      }
    const number = match(NUMBER);
    if (number !== null) return { value: Number(number), written: number, ...here };
    return refuse(
      at < text.length ? `no JSON value: "${quote(text.slice(at, at + 8))}"` : 'the file ends too early',
    );
  };

  const root = readValue(0);
  skip();
  if (at < text.length) refuse('text after the end of the JSON');
  return root;
}

function mapRefusal(file: string): JsonRefusal {
  return (message, { line, column }) =>
    new LogError('bad-channel-map', `${message} (character ${String(column)})`, 'correct the JSON', {
      file,
      line,
    });
}
