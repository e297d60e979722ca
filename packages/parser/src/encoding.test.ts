import { describe, expect, test } from 'vitest';
import { decodeLog } from './encoding.js';
import { LogError } from './log-error.js';

const decode = (bytes: Uint8Array): { encoding: string; text: string; nuls: number } => {
  const log = decodeLog({ name: 'log.csv', bytes });
  return { encoding: log.encoding, text: [...log.chunks()].join(''), nuls: log.trailingNuls };
};
const utf16 = (text: string, bigEndian: boolean, mark: boolean): Uint8Array => {
  const units = [...(mark ? '\uFEFF' : ''), ...text].map((char) => char.charCodeAt(0));
  return Uint8Array.from(
    units.flatMap((unit) => (bigEndian ? [unit >> 8, unit & 255] : [unit & 255, unit >> 8])),
  );
};
const utf8 = (text: string): Uint8Array => new TextEncoder().encode(text);
const code = (bytes: Uint8Array): string => {
  try {
    decodeLog({ name: 'log.csv', bytes });
  } catch (error) {
    if (error instanceof LogError) return error.code;
    throw error;
  }
  return 'read';
};

describe('encodings', () => {
  const text = 't,φ °\n0,1\n';
  test('UTF-8 is read with and without a byte order mark, which is no part of the text', () => {
    expect(decode(utf8(text))).toEqual({ encoding: 'utf-8', text, nuls: 0 });
    expect(decode(utf8('\uFEFF' + text))).toEqual({ encoding: 'utf-8', text, nuls: 0 });
  });
  test('UTF-16 is read in both byte orders with a mark', () => {
    expect(decode(utf16(text, false, true))).toEqual({ encoding: 'utf-16le', text, nuls: 0 });
    expect(decode(utf16(text, true, true))).toEqual({ encoding: 'utf-16be', text, nuls: 0 });
  });
  test('UTF-16 without a mark is told by its zero bytes, and its last zero byte belongs to the text', () => {
    const plain = 'time,roll\n0.01,1\n';
    expect(decode(utf16(plain, false, false))).toEqual({ encoding: 'utf-16le', text: plain, nuls: 0 });
    expect(decode(utf16(plain, true, false))).toEqual({ encoding: 'utf-16be', text: plain, nuls: 0 });
  });
  test('bytes that are no UTF-8 are read as latin1', () => {
    const bytes = Uint8Array.from([...utf8('gyro ['), 0xb0, ...utf8('/s]\n1\n')]);
    expect(decode(bytes)).toEqual({ encoding: 'latin1', text: 'gyro [°/s]\n1\n', nuls: 0 });
  });
  test('a character split between two chunks is whole in the text', () => {
    const long = 'é'.repeat(700_000);
    expect(decode(utf8('x' + long)).text).toBe('x' + long);
  });
});

describe('what is no text is refused with its reason', () => {
  test('an empty file, blank lines only, and zero bytes only are empty', () => {
    expect(code(new Uint8Array(0))).toBe('empty-file');
    expect(code(utf8(' \n\n'))).toBe('empty-file');
    expect(code(new Uint8Array(64))).toBe('empty-file');
  });
  test('a zero byte or many control characters mean a binary file', () => {
    expect(code(Uint8Array.from([80, 75, 3, 4, 0, 0, 8, 1]))).toBe('binary-file');
    expect(code(Uint8Array.from({ length: 256 }, (_, i) => 1 + (i % 8)))).toBe('binary-file');
  });
  test('zero bytes after the text, as a lost power supply leaves them, are counted and left out', () => {
    expect(decode(Uint8Array.from([...utf8('a,b\n1,2\n'), 0, 0, 0]))).toEqual({
      encoding: 'utf-8',
      text: 'a,b\n1,2\n',
      nuls: 3,
    });
  });
});
