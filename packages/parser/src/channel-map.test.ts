import { describe, expect, test } from 'vitest';
import { matchesFile, parseChannelMap } from './channel-map.js';
import { LogError } from './log-error.js';
import { csv, makeHover, plainColumns, read, refusal, worstError } from './made-log.fixture.js';

const mapError = (text: string): LogError => {
  try {
    parseChannelMap(text, 'map.json');
  } catch (error) {
    if (error instanceof LogError) return error;
    throw error;
  }
  throw new Error('expected a LogError');
};

test('the example of the contract is read', () => {
  const map = parseChannelMap(
    `{ "time": { "column": "t", "unit": "us" },
       "channels": { "rate.roll.measured": { "column": "wx", "unit": "rad/s", "sign": -1, "file": "rates*.csv" } } }`,
    'map.json',
  );
  expect(map.time).toMatchObject([{ column: 't', unit: { name: 'us', scale: 1e-6 } }]);
  expect(map.channels.get('rate.roll.measured')).toMatchObject([
    { column: 'wx', unit: { name: 'rad/s' }, sign: -1, file: 'rates*.csv' },
  ]);
});

describe('what is wrong in a map is named with line and place', () => {
  test.each([
    ['', 1, null, 'the file ends too early'],
    ['{\n  "channels": {\n    "gyro.x": }\n}', 3, null, 'no JSON value'],
    ['{ "channels": {} } x', 1, null, 'text after the end'],
    ['[]', 1, 'the channel map', 'must be a JSON object'],
    ['{\n "chanels": {} }', 2, 'chanels', '"chanels" means nothing here'],
    ['{ "channels": {\n "gyro.w": "a" } }', 2, 'gyro.w', '"gyro.w" is no channel'],
    ['{ "channels": {\n "__proto__": "a" } }', 2, '__proto__', '"__proto__" is no channel'],
    ['{ "channels": { "gyro.x": { "unit": "rad/s" } } }', 1, 'gyro.x', 'names no column'],
    ['{ "channels": { "gyro.x": { "column": 0 } } }', 1, 'gyro.x', 'header text or its number'],
    [
      '{ "channels": { "gyro.x": { "column": 1,\n "unit": "furlong" } } }',
      2,
      'gyro.x unit',
      '"furlong" is no unit',
    ],
    ['{ "channels": { "gyro.x": { "column": 1, "sign": 2 } } }', 1, 'gyro.x sign', 'sign must be 1 or -1'],
    [
      '{ "channels": { "motor.1.command": { "column": 1, "range": [1, 1] } } }',
      1,
      'motor.1.command range',
      'two different',
    ],
    ['{ "time": { "column": 1, "unit": "V" } }', 1, 'time', 'no unit of time'],
    ['{ "frame": "up" }', 1, 'frame', '"z-down" or "z-up"'],
    ['{ "channels": { "gyro.x": 1, "gyro.x": 2 } }', 1, null, 'stands here twice'],
  ])('%s', (text, line, column, message) => {
    const error = mapError(text);
    expect([error.code, error.file, error.line, error.column]).toEqual([
      'bad-channel-map',
      'map.json',
      line,
      column,
    ]);
    expect(error.message).toContain(message);
    expect(error.message).toMatch(/\(character \d+\)$/);
  });
});

describe('file patterns', () => {
  test.each([
    [undefined, 'any.csv', true],
    ['rates*.csv', 'rates-1.csv', true],
    ['rates*.csv', 'hover/rates.csv', true],
    ['rates*.csv', 'rates.txt', false],
    ['*', 'x', true],
    ['a*b*c', 'aXbYc', true],
    ['a*b*c', 'aXcYb', false],
    ['ab*ba', 'aba', false],
    ['rates.csv', 'Rates.csv', false],
    ['a.c*', 'abc', false],
  ])('%s on %s: %s', (pattern, file, expected) => {
    expect(matchesFile(pattern, file)).toBe(expected);
  });
});

describe('a map on a log', () => {
  const hover = makeHover();
  const text = csv(plainColumns(hover));
  const withMap = (map: string): ReturnType<typeof read> =>
    read(text, { map: parseChannelMap(map, 'map.json') });
  test('overrides what a header says', () => {
    const flight = withMap(
      '{"channels": {"gyro.y": {"column": "gyro_x", "unit": "deg/s", "sign": 1}}, "ignore": ["gyro_y"]}',
    );
    expect(worstError(flight, 'gyro.y', hover.p)).toBeLessThan(1e-6);
    expect(flight.signals.has('gyro.x')).toBe(false);
    expect(flight.files[0]?.unusedColumns).toEqual(['gyro_y']);
  });
  test('names columns by number, by text in any case, and by "column N"', () => {
    for (const column of ['5', '"GYRO_X"', '"column 5"'])
      expect(
        worstError(withMap(`{"channels": {"gyro.x": {"column": ${column}}}}`), 'gyro.x', hover.p),
      ).toBeLessThan(1e-6);
  });
  test('reads a log without a header', () => {
    const bare = text.split('\n').slice(1).join('\n');
    const error = refusal(() => read(bare));
    expect(error.code).toBe('no-header');
    expect(error.candidateMap).toContain('"CHOOSE CHANNEL 1": { "column": 1, "unit": "CHOOSE UNIT" }');
    const map =
      '{"time": {"column": 1, "unit": "s"}, "channels": {"gyro.x": {"column": 5, "unit": "deg/s"}}}';
    expect(worstError(read(bare, { map: parseChannelMap(map, 'm.json') }), 'gyro.x', hover.p)).toBeLessThan(
      1e-6,
    );
  });
  test.each([
    ['{"channels": {"gyro.x": "spare"}}', 'map-column-missing'],
    ['{"channels": {"gyro.x": {"column": "gyro_x", "file": "other*.csv"}}}', 'map-file-missing'],
    ['{"channels": {"gyro.x": {"column": "gyro_x", "unit": "V"}}}', 'map-unit'],
    ['{"channels": {"gyro.x": ["gyro_x", "gyro_y"]}}', 'map-ambiguous'],
    ['{"time": "clock"}', 'map-column-missing'],
  ])('%s is refused: %s', (map, code) => {
    const error = refusal(() => withMap(map));
    expect([error.code, error.file]).toEqual([code, 'map.json']);
  });
});
