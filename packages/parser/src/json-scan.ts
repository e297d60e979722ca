import { LogError, quote } from './log-error.js';

/** A JSON value that knows where it stands. Objects are Maps, so that no key can mean anything to JavaScript. */
export interface JsonNode {
  readonly value: string | number | boolean | null | readonly JsonNode[] | ReadonlyMap<string, JsonNode>;
  /** From 1. */
  readonly line: number;
  /** From 1. */
  readonly column: number;
}

/** Nesting beyond this is no file of ours; it would only exhaust the stack. */
const DEPTH_LIMIT = 32;
const NUMBER = /-?(?:0|[1-9]\d*)(?:\.\d+)?(?:[eE][-+]?\d+)?/y;
// eslint-disable-next-line no-control-regex
const STRING = /"(?:[^"\\\u0000-\u001f]|\\(?:["\\/bfnrt]|u[0-9a-fA-F]{4}))*"/y;

/**
 * Reads JSON (RFC 8259) with the place of every value, which JSON.parse does not tell.
 *
 * @throws LogError `bad-channel-map` with line and character
 */
export function scanJson(text: string, file: string): JsonNode {
  let at = 0;

  const place = (offset: number): { line: number; column: number } => {
    const before = text.slice(0, offset);
    return { line: before.split('\n').length, column: offset - before.lastIndexOf('\n') };
  };
  const refuse = (message: string): never => {
    const { line, column } = place(at);
    throw new LogError('bad-channel-map', `${message} (character ${String(column)})`, 'correct the JSON', {
      file,
      line,
    });
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
    const { line, column } = place(at);
    const char = text[at];
    if (char === '{') {
      at++;
      const entries = new Map<string, JsonNode>();
      readMany('}', () => {
        const key = readString();
        if (entries.has(key)) refuse(`"${quote(key)}" stands here twice`);
        expect(':');
        entries.set(key, readValue(depth + 1));
      });
      return { value: entries, line, column };
    }
    if (char === '[') {
      at++;
      const items: JsonNode[] = [];
      readMany(']', () => items.push(readValue(depth + 1)));
      return { value: items, line, column };
    }
    if (char === '"') return { value: readString(), line, column };
    for (const [word, value] of [
      ['true', true],
      ['false', false],
      ['null', null],
    ] as const)
      if (text.startsWith(word, at)) {
        at += word.length;
        return { value, line, column };
      }
    const number = match(NUMBER);
    if (number !== null) return { value: Number(number), line, column };
    return refuse(
      at < text.length ? `no JSON value: "${quote(text.slice(at, at + 8))}"` : 'the file ends too early',
    );
  };

  const root = readValue(0);
  skip();
  if (at < text.length) refuse('text after the end of the JSON');
  return root;
}
