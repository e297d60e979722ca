import { describe, expect, test } from 'vitest';
import { classifyCell, parseNumber, parseStamp } from './cells.js';

const seconds = (text: string): number => {
  const stamp = parseStamp(text);
  if (!stamp) throw new Error(`${text} is no stamp`);
  return stamp.wholeS + stamp.fractionS;
};

// RFC 3339 (G. Klyne, C. Newman, July 2002) section 5.8, as listed in reference-values.md section 12.
describe('RFC 3339 section 5.8 examples', () => {
  test('1985-04-12T23:20:50.52Z is 20 minutes and 50.52 seconds after the 23rd hour of that day', () => {
    expect(seconds('1985-04-12T23:20:50.52Z')).toBe(Date.UTC(1985, 3, 12, 23, 20, 50) / 1000 + 0.52);
  });
  test('1996-12-19T16:39:57-08:00 is 1996-12-20T00:39:57Z', () => {
    expect(seconds('1996-12-19T16:39:57-08:00')).toBe(seconds('1996-12-20T00:39:57Z'));
    expect(seconds('1996-12-20T00:39:57Z')).toBe(Date.UTC(1996, 11, 20, 0, 39, 57) / 1000);
  });
  test('the leap second 1990-12-31T23:59:60Z is 1990-12-31T15:59:60-08:00', () => {
    expect(seconds('1990-12-31T23:59:60Z')).toBe(seconds('1990-12-31T15:59:60-08:00'));
  });
  test('1937-01-01T12:00:27.87+00:20 is 0.87 s after -1041337173 in Unix time', () => {
    const stamp = parseStamp('1937-01-01T12:00:27.87+00:20');
    expect(stamp?.wholeS).toBe(-1041337173);
    expect(stamp?.fractionS).toBeCloseTo(0.87, 12);
  });
});

describe('other ISO 8601 stamps', () => {
  test.each([
    ['2026-03-04 10:20:30', Date.UTC(2026, 2, 4, 10, 20, 30) / 1000],
    ['20260304T102030Z', Date.UTC(2026, 2, 4, 10, 20, 30) / 1000],
    ['2026/03/04 10:20:30,25', Date.UTC(2026, 2, 4, 10, 20, 30) / 1000 + 0.25],
    ['2026-03-04T10:20:30+0130', Date.UTC(2026, 2, 4, 8, 50, 30) / 1000],
    ['10:20:30.5', 10 * 3600 + 20 * 60 + 30.5],
  ])('%s is read', (text, expected) => {
    expect(seconds(text)).toBe(expected);
  });
  test.each([
    '2026-02-30T00:00:00Z',
    '2026-13-01T00:00:00Z',
    '2026-03-04T24:61:00Z',
    '12:60:00',
    '2026-03-04',
    '1234567890',
  ])('%s is no time stamp', (text) => {
    expect(parseStamp(text)).toBeNull();
  });
});

describe('numbers', () => {
  test.each([
    ['1', 1],
    [' -2.5 ', -2.5],
    ['+.5', 0.5],
    ['5.', 5],
    ['4.023174345E-1', 0.4023174345],
    ['1.5D+02', 150],
    ['\u22123', -3],
    ['inf', Infinity],
    ['-Infinity', -Infinity],
  ])('"%s" is %d', (text, expected) => {
    expect(parseNumber(text, false)).toBe(expected);
  });
  test('a decimal comma counts only where the log uses it', () => {
    expect(parseNumber('1,5', true)).toBe(1.5);
    expect(parseNumber('1,5', false)).toBeNaN();
  });
  test.each([
    ['', 'empty'],
    ['  ', 'empty'],
    ['NaN', 'not-finite'],
    ['-nan', 'not-finite'],
    ['n/a', 'not-finite'],
    ['inf', 'not-finite'],
    ['0x1F', 'text'],
    ['0b11', 'text'],
    ['1 2', 'text'],
    ['hover', 'text'],
    ['1,5', 'text'],
    ['1e3', 'number'],
    ['2026-03-04T10:20:30Z', 'stamp'],
  ])('"%s" holds: %s', (text, kind) => {
    expect(classifyCell(text, false)).toBe(kind);
  });
});
