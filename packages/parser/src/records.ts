import Papa from 'papaparse';
import { LogError } from './log-error.js';

export type Delimiter = ',' | ';' | '\t' | ' ';
type Newline = '\n' | '\r' | '\r\n';

/** Some complete records of a log in order, as papaparse splits them (RFC 4180). */
export interface RecordBatch {
  readonly records: readonly (readonly string[])[];
  /** Line of the first record, from 1. */
  readonly firstLine: number;
  /** Line of each record where quoted cells contain line breaks; else null and lines count up by one. */
  readonly lines: readonly number[] | null;
  /** Whether the batch's last record ends the file without a line break. */
  readonly endsOpen: boolean;
}

/** Longest record in characters. A row of a log is far below; above, the line breaks or quotes are broken. */
const RECORD_LIMIT = 1 << 20;

/**
 * Splits text into records, holding back the incomplete end of each chunk. Blank records are kept (they count lines).
 *
 * @throws LogError `record-too-long`
 */
export function* readRecords(
  chunks: Iterable<string>,
  delimiter: Delimiter,
  file: string,
): Generator<RecordBatch, void> {
  let held = '';
  let line = 1;
  let known: Newline | null = null;
  const parseBatch = (text: string, last: boolean): RecordBatch => {
    known ??= findNewline(text, delimiter);
    const newline = known ?? (last && text.endsWith('\r') ? '\r' : '\n');
    const uniform = unifyNewlines(text, newline, last);
    const { data, cursor, unclosed } = splitRecords(uniform, delimiter, newline, last);
    if (unclosed) refuseUnclosed(file, locate(data, line, newline, uniform), line);
    held = last ? '' : uniform.slice(cursor);
    if (held.length > RECORD_LIMIT) refuseLong(held, file, line + data.length);
    const batch = locate(data, line, newline, uniform);
    line = batch.nextLine;
    return { ...batch, endsOpen: last && !uniform.endsWith(newline) };
  };
  for (const chunk of chunks) {
    const batch = parseBatch(held + chunk, false);
    if (batch.records.length > 0) yield batch;
  }
  if (held !== '') yield parseBatch(held, true);
}

function splitRecords(
  text: string,
  delimiter: Delimiter,
  newline: Newline,
  last: boolean,
): { data: string[][]; cursor: number; unclosed: boolean } {
  const parser = new Papa.Parser({ delimiter, newline });
  const result = parser.parse(text, 0, !last) as {
    data: string[][];
    errors: { code: string }[];
    meta: { cursor: number };
  };
  // A file that ends in a line break has no record after it.
  const unclosed = last && result.errors.some((error) => error.code === 'MissingQuotes');
  if (last && !unclosed && text.endsWith(newline)) result.data.pop();
  return { data: result.data, cursor: result.meta.cursor, unclosed };
}

/** First line break outside quoted cells; null if there is none yet. */
function findNewline(text: string, delimiter: Delimiter): Newline | null {
  let quoted = false;
  for (let i = 0; i < text.length; i++) {
    const char = text[i];
    if (quoted) quoted = char !== '"';
    else if (char === '"') quoted = i === 0 || text[i - 1] === delimiter || text[i - 1] === '"';
    else if (char === '\n') return '\n';
    else if (char === '\r') return i + 1 === text.length ? null : text[i + 1] === '\n' ? '\r\n' : '\r';
  }
  return null;
}

/** Rewrites line breaks of another kind (outside quotes), which files glued together from two systems have. */
function unifyNewlines(text: string, newline: string, last: boolean): string {
  const returns = text.includes('\r');
  if (newline === '\n' && !returns) return text;
  // The line feed that belongs to a final carriage return may be in the next chunk; it is put right then.
  const foreign = newline === '\r\n' ? /(?:^|[^\r])\n|\r(?!\n|$)/ : newline === '\n' ? /\r/ : /\n/;
  if (!foreign.test(text)) return text;
  return text.replace(/"[^"]*"|\r\n|\n|\r(?!$)|\r$/g, (token) =>
    token.startsWith('"') || (token === '\r' && !last && text.endsWith('\r') && newline !== '\r')
      ? token
      : newline,
  );
}

function locate(
  records: readonly string[][],
  firstLine: number,
  newline: string,
  text: string,
): Omit<RecordBatch, 'endsOpen'> & { nextLine: number } {
  if (!text.includes('"')) return { records, firstLine, lines: null, nextLine: firstLine + records.length };
  const lines: number[] = [];
  let line = firstLine;
  for (const record of records) {
    lines.push(line);
    line++;
    for (const cell of record) if (cell.includes(newline)) line += cell.split(newline).length - 1;
  }
  return { records, firstLine, lines, nextLine: line };
}

function refuseUnclosed(file: string, located: Pick<RecordBatch, 'lines'>, firstLine: number): never {
  throw new LogError('unclosed-quote', 'a quote is opened here and never closed', 'close it or remove it', {
    file,
    line: located.lines?.at(-1) ?? firstLine,
  });
}

function refuseLong(held: string, file: string, line: number): never {
  const quoted = held.includes('"');
  throw new LogError(
    'record-too-long',
    `a row of more than ${String(RECORD_LIMIT)} characters`,
    quoted ? 'look for a quote that is opened and never closed' : 'write one sample per line',
    { file, line },
  );
}
