import { describe, expect, test } from 'vitest';
import { parseGains } from '../gains-file.js';
import { LogError } from '../log-error.js';
import { isRecordDate } from './record-date.js';
import { parseRecord } from './read-record.js';
import type { TuningRecord } from './record-types.js';
import { addHover, formatRecord, newRecord, selectHovers, withAirframe } from './write-record.js';

const RECORD = `{
  "schema": "settle.record/1",
  "aircraft": "Samphire",
  "airframe": "samphire-airframe.json",
  "hovers": [
    {
      "name": "hover 1",
      "date": "2026-04-11",
      "files": ["one/rates.csv", "one/angles.csv"],
      "map": "map.json",
      "rateHz": 400,
      "segment": 2,
      "fromS": 1.5,
      "toS": 20,
      "changes": ["roll rate P × 0.7"],
      "note": "shook",
      "weather": "calm",
      "configuration": {
        "massKg": 5.9,
        "wingtip": "fitted"
      },
      "gains": {
        "unit": "rad/s",
        "rate": {
          "roll": {
            "kp": 0.18
          }
        }
      },
      "filters": {
        "gyroLowPassHz": 60,
        "notches": []
      },
      "loopRateHz": 400
    },
    {
      "name": "hover 2",
      "files": ["two"],
      "gains": "gains.json",
      "configuration": {
        "massKg": 6
      }
    }
  ]
}
`;

const read = (text: string): TuningRecord => parseRecord(text, 'samphire.json');

function refusalOf(text: string): string {
  try {
    read(text);
  } catch (error) {
    if (error instanceof LogError) return error.oneLine;
    throw error;
  }
  return 'it was read';
}

describe('reading', () => {
  test('every field, with the place of what is named', () => {
    const { aircraft, airframe, hovers, unknown } = read(RECORD);
    expect({ aircraft, airframe, unknown }).toEqual({
      aircraft: 'Samphire',
      airframe: { path: 'samphire-airframe.json', place: { line: 4, column: 15 }, field: 'airframe' },
      unknown: [],
    });
    const [first, second] = hovers;
    expect({ ...first!, gains: null }).toEqual({
      name: 'hover 1',
      place: { line: 7, column: 15 },
      date: '2026-04-11',
      files: [
        { path: 'one/rates.csv', place: { line: 9, column: 17 }, field: 'hover 1 files 1' },
        { path: 'one/angles.csv', place: { line: 9, column: 34 }, field: 'hover 1 files 2' },
      ],
      map: { path: 'map.json', place: { line: 10, column: 14 }, field: 'hover 1 map' },
      gainsFile: null,
      gains: null,
      rateHz: 400,
      segment: 2,
      fromS: 1.5,
      toS: 20,
      configuration: { massKg: 5.9, wingtip: 'fitted' },
      changes: ['roll rate P × 0.7'],
      note: 'shook',
      weather: 'calm',
    });
    expect(second).toMatchObject({
      gainsFile: { path: 'gains.json' },
      gains: null,
      date: null,
      changes: [],
      note: null,
      configuration: { massKg: 6 },
    });
  });

  test('gains, filters and configuration mean what they mean in a gains file', () => {
    const { name, ...gains } = read(RECORD).hovers[0]!.gains!;
    const {
      gains: written,
      filters,
      loopRateHz,
      configuration,
    } = (JSON.parse(RECORD) as { hovers: Record<string, unknown>[] }).hovers[0]!;
    const file = JSON.stringify({ gains: written, filters, loopRateHz, configuration });
    expect(gains).toEqual({ ...parseGains(file, ''), name: undefined });
    expect(name).toBe('samphire.json, hover 1');
  });

  test('a hover that tells its build but no gain has no gains', () => {
    const text = RECORD.replace('"gains": "gains.json",', '');
    expect(read(text).hovers[1]).toMatchObject({
      gains: null,
      gainsFile: null,
      configuration: { massKg: 6 },
    });
  });

  test('fields that are not known are kept and listed, with what a slip of the pen was meant to be', () => {
    const text = RECORD.replace('"note"', '"pilot": 1, "wether"').replace('"unit"', '"tableOf"');
    expect(read(text).unknown).toEqual([
      { path: 'hover 1', name: 'pilot', place: { line: 16, column: 7 }, meant: null },
      { path: 'hover 1', name: 'wether', place: { line: 16, column: 19 }, meant: 'weather' },
      { path: 'hover 1 gains', name: 'tableOf', place: { line: 23, column: 9 }, meant: null },
    ]);
  });

  test('a gain that is misspelt is refused, not taken for one that is not told', () => {
    expect(refusalOf(RECORD.replace('"kp"', '"kpp"'))).toBe(
      'samphire.json:26:13: hover 1 gains rate roll: "kpp" means nothing here; did you mean kp? (the fields known here are kp, ki, kd, kff)',
    );
  });
});

describe('what is wrong is refused with line, character, field and what to do', () => {
  test.each<[string, string | RegExp, string, string]>([
    [
      'no schema',
      '"schema"',
      '"scheme"',
      '1:1: this is no tuning record: it has no "schema"; give a tuning record',
    ],
    ['another schema', 'settle.record/1', 'settle.diagnosis/1', '2:13: schema: must be "settle.record/1"'],
    ['version 0', 'record/1', 'record/0', '2:13: schema: must be "settle.record/1"'],
    [
      'a later version',
      'record/1',
      'record/12',
      '2:13: schema: this record is of a later version (settle.record/12) than this program reads (settle.record/1); use a newer settle for it; the record is left as it is',
    ],
    [
      'no aircraft',
      '"aircraft"',
      '"aircaft"',
      '3:3: the record lacks "aircraft"; did you mean that by "aircaft"?',
    ],
    ['an aircraft without a name', '"Samphire"', '" "', '3:15: aircraft: is empty'],
    ['an airframe of two', '"samphire-airframe.json"', '[]', '4:15: airframe: must be a text'],
    ['hovers that are no list', /"hovers": \[[^]*\]/, '"hovers": {}', '5:13: hovers: must be a list'],
    ['a hover that is no object', '"hovers": [', '"hovers": [7,', '5:14: hover 1: must be a JSON object'],
    ['a hover without a name', '"name": "hover 2",', '', '36:5: hover 2 lacks "name"; add "name"'],
    ['a name that is a number', '"hover 2"', '2', '37:15: hover 2 name: must be a text'],
    [
      'a name that is taken',
      '"hover 2"',
      '"hover 1 "',
      '37:15: hover 2 name: "hover 1" is the name of hover 1 too, on line 7; give every hover a name of its own',
    ],
    [
      'no files',
      '"files": ["two"]',
      '"file": ["two"]',
      '38:7: hover 2 lacks "files"; did you mean that by "file"?',
    ],
    [
      'files that are no list',
      '["two"]',
      '"two"',
      '38:16: hover 2 files: must be a list; write it in brackets, ["hover-1.csv"]',
    ],
    ['files that are none', '["two"]', '[]', '38:16: hover 2 files: is empty'],
    ['a file that is a number', '["two"]', '["two", 3]', '38:24: hover 2 files 2: must be a text'],
    ['a file twice', '["two"]', '["two", "two"]', '38:24: hover 2 files 2: "two" stands here twice'],
    ['a file no system has', '["two"]', '["t\\u0000wo"]', '38:17: hover 2 files 1: no file has such a name'],
    [
      'a date of no calendar',
      '2026-04-11',
      '2026-04-31',
      '8:15: hover 1 date: "2026-04-31" is no date; write it as 2026-04-11',
    ],
    ['a rate of nothing', '"rateHz": 400', '"rateHz": 0', '11:17: hover 1 rateHz: must be above 0'],
    ['a rate in quotes', '"rateHz": 400', '"rateHz": "400"', '11:17: hover 1 rateHz: must be a number'],
    ['half a piece', '"segment": 2', '"segment": 1.5', '12:18: hover 1 segment: must be a whole number'],
    ['a start below nothing', '"fromS": 1.5', '"fromS": -1', '13:16: hover 1 fromS: must be at least 0'],
    [
      'an end before the start',
      '"toS": 20',
      '"toS": 1',
      '14:14: hover 1 toS: must be after fromS, which is 1.5',
    ],
    ['changes in one text', /\["roll.*\]/, '"roll P"', '15:18: hover 1 changes: must be a list'],
    ['a note that is a list', '"shook"', '[]', '16:15: hover 1 note: must be a text'],
    ['a mass in quotes', '5.9', '"5.9"', '19:19: hover 1 configuration massKg: must be a number'],
    [
      'a gain below nothing',
      '0.18',
      '-0.18',
      '26:19: hover 1 gains rate roll kp: a gain must not be negative',
    ],
    ['gains that are a list', '"gains.json"', '[]', '39:16: hover 2 gains: must be a JSON object'],
    [
      'filters beside a gains file',
      '"gains.json",',
      '"gains.json", "filters": {},',
      '39:30: hover 2 filters: stands beside gains that are in a file',
    ],
    ['a number beyond all bounds', '"calm"', '1e999', '17:18: the number is too large'],
    ['a comma too many', '["two"]', '["two",]', '38:23: no JSON value: "],'],
    ['a list at the top', RECORD, '[]', '1:1: the record: must be a JSON object'],
  ])('%s', (_, what, by, says) => {
    const line = refusalOf(RECORD.replace(what, () => by));
    expect(line.slice(0, `samphire.json:${says}`.length)).toBe(`samphire.json:${says}`);
    expect(line).toMatch(/; .+/);
  });

  test('wherever the text is cut, it is refused on one line', () => {
    // Without its last brace and line break there is no complete value left.
    for (let length = 0; length < RECORD.length - 2; length++) {
      const line = refusalOf(RECORD.slice(0, length));
      expect(line).toMatch(/^samphire\.json:\d+:\d+: .+; .+/);
      expect(line).not.toContain('\n');
    }
  });
});

describe('writing', () => {
  test('a record in the order and form of the writer is written back letter by letter', () => {
    expect(formatRecord(read(RECORD))).toBe(RECORD);
  });

  test('order, digits, unknown fields and names with a meaning to JavaScript survive', () => {
    const odd = `{
  "2": "second",
  "1": [1.0, 1e2, 12345678901234567890],
  "__proto__": {
    "polluted": true
  },
  "hovers": [],
  "aircraft": "\\"é\\"\\n",
  "schema": "settle.record/1"
}
`;
    expect(formatRecord(read(odd))).toBe(odd);
    expect(({} as { polluted?: boolean }).polluted).toBeUndefined();
  });

  test('lists longer than a line stand one entry to a line', () => {
    const changes = Array.from({ length: 12 }, (_, index) => `changed thing number ${String(index)}`);
    const text = formatRecord(addHover(newRecord('r', 'a'), { name: 'n', files: ['f'], changes }));
    expect(text).toContain('      "changes": [\n        "changed thing number 0",\n');
    expect(text).toContain('"files": ["f"]');
  });

  test('adding changes nothing that was there', () => {
    const grown = addHover(read(RECORD), { name: 'hover 3', files: ['three'] });
    const [before, after] = [RECORD, formatRecord(grown)].map(
      (text) => JSON.parse(text) as { hovers: object[] },
    );
    expect(after).toEqual({ ...before!, hovers: [...before!.hovers, { name: 'hover 3', files: ['three'] }] });
    expect(after!.hovers).toHaveLength(3);
  });

  test('gains are copied as they stand; the build told beside them goes before theirs', () => {
    const text =
      '{"configuration": {"massKg": 5.90, "wingtip": "off"}, "gains": {"rate": {"yaw": {"kp": 1.50}}}}';
    const { hovers } = addHover(newRecord('r', 'a'), {
      name: 'n',
      files: ['f'],
      gains: { text, name: 'gains.json' },
      configuration: { massKg: 6.1, parts: ['wings'] },
    });
    expect(hovers[0]!.configuration).toEqual({ massKg: 6.1, wingtip: 'off', parts: ['wings'] });
    expect(hovers[0]!.gains!.rate.axes.yaw.kp).toBe(1.5);
  });

  test('what could not be read back is not added', () => {
    expect(() => addHover(read(RECORD), { name: 'hover 2', files: ['x'] })).toThrow(
      /is the name of hover 2 too/,
    );
    expect(() => addHover(read(RECORD), { name: 'x', files: [] })).toThrow(/is empty/);
    expect(() =>
      addHover(read(RECORD), {
        name: 'x',
        files: ['x'],
        gains: { text: '{"gains": 7}', name: 'gains.json' },
      }),
    ).toThrow(/must be a JSON object/);
  });

  test('the record given is left as it was', () => {
    const record = read(RECORD);
    addHover(record, { name: 'hover 3', files: ['three'] });
    selectHovers(record, ['hover 2']);
    expect(formatRecord(record)).toBe(RECORD);
  });

  test('some hovers of a record are a record', () => {
    const { hovers, airframe } = selectHovers(read(RECORD), ['hover 2']);
    expect(hovers.map(({ name }) => name)).toEqual(['hover 2']);
    expect(airframe?.path).toBe('samphire-airframe.json');
  });

  test('an airframe is named once', () => {
    expect(withAirframe(newRecord('r', 'a'), 'frame.json').airframe?.path).toBe('frame.json');
    expect(newRecord('r', 'a').airframe).toBeNull();
  });
});

describe('dates are those of RFC 3339', () => {
  // The last five date-times are the examples of section 5.8 of the RFC.
  test.each([
    '2026-04-11',
    '2024-02-29',
    '2000-02-29',
    '2026-04-11t09:20:00z',
    '1985-04-12T23:20:50.52Z',
    '1996-12-19T16:39:57-08:00',
    '1990-12-31T23:59:60Z',
    '1990-12-31T15:59:60-08:00',
    '1937-01-01T12:00:27.87+00:20',
  ])('%s is one', (date) => {
    expect(isRecordDate(date)).toBe(true);
  });

  test.each([
    ['2026-4-11'],
    ['11.04.2026'],
    ['2026-00-10'],
    ['2026-13-10'],
    ['2026-04-00'],
    ['2026-04-31'],
    ['2026-02-29'],
    ['1900-02-29'],
    ['2026-04-11T09:20'],
    ['2026-04-11T09:20:00'],
    ['2026-04-11T24:00:00Z'],
    ['2026-04-11T09:60:00Z'],
    ['2026-04-11T09:20:61Z'],
    ['2026-04-11T09:20:00+24:00'],
    ['2026-04-11 '],
    ['yesterday'],
  ])('"%s" is none', (date) => {
    expect(isRecordDate(date)).toBe(false);
  });
});
