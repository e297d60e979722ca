import { LogError } from './log-error.js';
import type { LogFile } from './flight.js';

/** One file, already in memory: the parser never touches the disk. */
export interface LogSource {
  readonly name: string;
  readonly bytes: Uint8Array;
}

export type Encoding = LogFile['encoding'];

/** Text of a log, decoded piece by piece so that a large file never stands in memory twice. */
export interface DecodedLog {
  readonly encoding: Encoding;
  /** Beginning of the text, for judging the dialect. */
  readonly sample: string;
  /** Whether the sample is the whole text. */
  readonly sampleIsAll: boolean;
  /** The whole text from its start, without a byte order mark. Each call starts over. */
  chunks(): Generator<string, void>;
  /** NUL bytes at the end, as a logger that lost power leaves them; not part of the text. */
  readonly trailingNuls: number;
}

const CHUNK_BYTES = 1 << 20;
const SAMPLE_BYTES = 1 << 18;
/** Share of control characters above which bytes are taken for something other than text. */
const CONTROL_SHARE = 0.02;
const EXPORT_FIRST = 'export the log as CSV text and pass that file';

/**
 * Finds the encoding of a log: byte order mark, else UTF-16 by its zero bytes, else UTF-8 if it is valid, else latin1.
 *
 * @throws LogError `empty-file` or `binary-file`
 */
export function decodeLog(source: LogSource): DecodedLog {
  const place = { file: source.name };
  let trailingNuls = countTrailingNuls(source.bytes);
  let bytes = source.bytes.subarray(0, source.bytes.length - trailingNuls);
  if (bytes.length === 0)
    throw new LogError('empty-file', 'the file is empty', 'check that the logger finished writing it', place);
  const encoding = findEncoding(bytes);
  // A UTF-16 text may end in a character whose high byte is zero: give that byte back.
  if (encoding === 'utf-16le' && bytes.length % 2 === 1 && trailingNuls > 0) {
    bytes = source.bytes.subarray(0, bytes.length + 1);
    trailingNuls--;
  }
  if (encoding === 'utf-8' || encoding === 'latin1') refuseBinary(bytes, source.name);
  const label = encoding === 'latin1' ? 'windows-1252' : encoding;

  function* chunks(size = CHUNK_BYTES): Generator<string, void> {
    const decoder = new TextDecoder(label);
    for (let start = 0; start < bytes.length; start += size) {
      const last = start + size >= bytes.length;
      const text = decoder.decode(bytes.subarray(start, start + size), { stream: !last });
      if (text !== '') yield text;
    }
  }

  const sample = chunks(SAMPLE_BYTES).next().value ?? '';
  if (sample.trim() === '' && bytes.length <= SAMPLE_BYTES)
    throw new LogError(
      'empty-file',
      'the file holds only blank lines',
      'check that the logger finished writing it',
      place,
    );
  return {
    encoding,
    sample,
    sampleIsAll: bytes.length <= SAMPLE_BYTES,
    chunks: () => chunks(),
    trailingNuls,
  };
}

function countTrailingNuls(bytes: Uint8Array): number {
  let end = bytes.length;
  while (end > 0 && bytes[end - 1] === 0) end--;
  return bytes.length - end;
}

function findEncoding(bytes: Uint8Array): Encoding {
  if (bytes[0] === 0xff && bytes[1] === 0xfe) return 'utf-16le';
  if (bytes[0] === 0xfe && bytes[1] === 0xff) return 'utf-16be';
  const wide = findZeroHalf(bytes);
  if (wide) return wide;
  return isUtf8(bytes) ? 'utf-8' : 'latin1';
}

/** UTF-16 text in a western script without a mark has a zero in every other byte and none between. */
function findZeroHalf(bytes: Uint8Array): 'utf-16le' | 'utf-16be' | null {
  const length = Math.min(bytes.length, SAMPLE_BYTES) & ~1;
  let even = 0;
  let odd = 0;
  for (let i = 0; i < length; i += 2) {
    if (bytes[i] === 0) even++;
    if (bytes[i + 1] === 0) odd++;
  }
  const half = length / 2;
  if (half >= 2 && odd > 0.9 * half && even === 0) return 'utf-16le';
  if (half >= 2 && even > 0.9 * half && odd === 0) return 'utf-16be';
  return null;
}

function isUtf8(bytes: Uint8Array): boolean {
  const decoder = new TextDecoder('utf-8', { fatal: true });
  try {
    for (let start = 0; start < bytes.length; start += CHUNK_BYTES)
      decoder.decode(bytes.subarray(start, start + CHUNK_BYTES), { stream: true });
    return true;
  } catch {
    return false;
  }
  // A character cut off by a truncated file is not checked: the rest is still UTF-8.
}

function refuseBinary(bytes: Uint8Array, name: string): void {
  const length = Math.min(bytes.length, SAMPLE_BYTES);
  let control = 0;
  for (let i = 0; i < length; i++) {
    const byte = bytes[i]!;
    if (byte === 0)
      throw new LogError('binary-file', `this is not text: byte ${String(i + 1)} is zero`, EXPORT_FIRST, {
        file: name,
      });
    if (byte < 32 && byte !== 9 && byte !== 10 && byte !== 13 && byte !== 12) control++;
  }
  if (control > CONTROL_SHARE * length)
    throw new LogError(
      'binary-file',
      `this is not text: ${String(control)} of the first ${String(length)} bytes are control characters`,
      EXPORT_FIRST,
      { file: name },
    );
}
