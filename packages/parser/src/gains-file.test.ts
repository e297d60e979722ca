import { describe, expect, test } from 'vitest';
import { attitudeGainInSi, parseGains, rateGainsInSi } from './gains-file.js';
import type { GainsFile } from './gains-file.js';
import { LogError } from './log-error.js';
import { randomBy } from './made-log.fixture.js';

const read = (value: unknown): GainsFile => parseGains(JSON.stringify(value), 'gains.json');

const refusal = (text: string): LogError => {
  try {
    parseGains(text, 'gains.json');
  } catch (error) {
    if (error instanceof LogError) return error;
    throw error;
  }
  throw new Error('expected a LogError');
};

/** The example of the contract, with one of the three words for the tap. */
const EXAMPLE = `{ "gains": { "rate":     { "roll": { "kp": 0.18, "ki": 0.45, "kd": 0.004, "kff": 0 }, "pitch": {}, "yaw": {} },
             "attitude": { "roll": { "kp": 6.2 } } },
  "filters": { "gyroLowPassHz": 60, "derivativeLowPassHz": 20, "notches": [], "gyroTap": "after" },
  "loopRateHz": 400,
  "configuration": { "parts": ["outer panels fitted"], "massKg": 7.4, "props": "18 in two-blade", "battery": "6 cells" } }`;

const UNTOLD = { kp: null, ki: null, kd: null, kff: null };

describe('what a gains file says', () => {
  test('the example of the contract is read whole', () => {
    const { rate, attitude, ...rest } = parseGains(EXAMPLE, 'gains.json');
    expect(rate.axes).toEqual({
      roll: { kp: 0.18, ki: 0.45, kd: 0.004, kff: 0 },
      pitch: UNTOLD,
      yaw: UNTOLD,
    });
    expect(attitude.axes).toEqual({ roll: { kp: 6.2 }, pitch: { kp: null }, yaw: { kp: null } });
    expect(rest).toEqual({
      name: 'gains.json',
      writtenUnit: null,
      filters: { gyroLowPassHz: 60, derivativeLowPassHz: 20, notches: [], gyroTap: 'after' },
      loopRateHz: 400,
      configuration: {
        parts: ['outer panels fitted'],
        massKg: 7.4,
        props: '18 in two-blade',
        battery: '6 cells',
      },
    });
  });

  test('every part may be missing, and a missing part is null, never zero', () => {
    expect(parseGains('{}', 'gains.json')).toEqual({
      name: 'gains.json',
      writtenUnit: null,
      rate: {
        unit: { declared: false, calculable: false, unit: null, toSi: null },
        writtenUnit: null,
        axes: { roll: UNTOLD, pitch: UNTOLD, yaw: UNTOLD },
      },
      attitude: {
        unit: { declared: false, calculable: false, unit: null, toSi: null },
        writtenUnit: null,
        axes: { roll: { kp: null }, pitch: { kp: null }, yaw: { kp: null } },
      },
      filters: { gyroLowPassHz: null, derivativeLowPassHz: null, notches: null, gyroTap: 'unknown' },
      loopRateHz: null,
      configuration: {},
    });
  });

  test('null for a number says that it is not known', () => {
    const gains = read({
      gains: { rate: { yaw: { kp: null, ki: 1 } } },
      filters: { gyroLowPassHz: null, notches: null },
      loopRateHz: null,
    });
    expect(gains.rate.axes.yaw).toEqual({ ...UNTOLD, ki: 1 });
    expect(gains.filters).toMatchObject({ gyroLowPassHz: null, notches: null });
    expect(gains.loopRateHz).toBeNull();
  });

  test('notches keep their order', () => {
    const notches = [
      { centreHz: 56, bandwidthHz: 12, depthDb: 30 },
      { centreHz: 28, bandwidthHz: 6, depthDb: 20 },
    ];
    expect(read({ filters: { notches } }).filters.notches).toEqual(notches);
  });

  test('fields of the user’s own are kept inside configuration, whatever they are called', () => {
    const text =
      '{"configuration": {"wingtip": {"angleDeg": 3, "on": true}, "__proto__": {"kp": 1}, "notes": [null, 1]}}';
    const { configuration } = parseGains(text, 'gains.json');
    expect(JSON.stringify(configuration)).toBe(
      '{"wingtip":{"angleDeg":3,"on":true},"__proto__":{"kp":1},"notes":[null,1]}',
    );
    expect(Object.getPrototypeOf(configuration)).toBe(Object.prototype);
  });

  test('a byte order mark and line breaks of two characters change nothing', () => {
    expect(parseGains(`\uFEFF${EXAMPLE.replaceAll('\n', '\r\n')}`, 'gains.json')).toEqual(
      parseGains(EXAMPLE, 'gains.json'),
    );
  });
});

describe('units', () => {
  const gainsOf = (all: string | null, rate: string | null, attitude: string | null): GainsFile => {
    const said = (unit: string | null): object => (unit === null ? {} : { unit });
    return read({
      gains: {
        ...said(all),
        rate: { ...said(rate), roll: { kp: 0.2, ki: 0.4, kd: 0.01, kff: 0.1 } },
        attitude: { ...said(attitude), roll: { kp: 5 } },
      },
    });
  };

  test.each([
    // all, rate, attitude: rate unit, attitude unit
    [null, null, null, null, null],
    [null, 'rad/s', null, 'rad/s', null],
    [null, null, '1/s', null, '1/s'],
    [null, 'deg/s', '1/s', 'deg/s', '1/s'],
    // Angle and rate in the same unit: the attitude gain is 1/s in either.
    ['rad/s', null, null, 'rad/s', '1/s'],
    ['deg/s', null, null, 'deg/s', '1/s'],
    ['rad/s', 'deg/s', null, 'deg/s', '1/s'],
    ['1/s', null, null, 'other', '1/s'],
    ['1/s', 'rad/s', null, 'rad/s', '1/s'],
    ['%', null, null, 'other', 'other'],
    ['%', 'rad/s', '1/s', 'rad/s', '1/s'],
    ['rad/s', '%', '%', 'other', 'other'],
    // An attitude gain turns an angle into a rate; these are units of something else.
    [null, null, 'rad/s', null, 'other'],
    [null, null, 'deg/s', null, 'other'],
    // To the letter: a near miss is not taken for the unit it resembles.
    [null, 'Rad/s', '1/S', 'other', 'other'],
    [null, 'rad/s ', null, 'other', null],
  ])('gains %s, rate %s, attitude %s: rate %s, attitude %s', (all, rate, attitude, ofRate, ofAttitude) => {
    const gains = gainsOf(all, rate, attitude);
    expect([gains.rate.unit.unit, gains.attitude.unit.unit]).toEqual([ofRate, ofAttitude]);
    for (const { unit } of [gains.rate, gains.attitude]) {
      expect(unit.declared).toBe(unit.unit !== null);
      expect(unit.calculable).toBe(unit.unit !== null && unit.unit !== 'other');
    }
    expect([gains.writtenUnit, gains.rate.writtenUnit, gains.attitude.writtenUnit]).toEqual([
      all,
      rate,
      attitude,
    ]);
    expect(rateGainsInSi(gains, 'roll') === null).toBe(!gains.rate.unit.calculable);
    expect(attitudeGainInSi(gains, 'roll')).toBe(gains.attitude.unit.calculable ? 5 : null);
  });

  test('gains per deg/s are 180/π times as large per rad/s, all four of them', () => {
    const perRadian = rateGainsInSi(gainsOf(null, 'deg/s', null), 'roll')!;
    // 0.2 of full demand at 1 deg/s is 0.2 · 57.29578 at 1 rad/s.
    expect(perRadian.kp).toBeCloseTo(11.459156, 5);
    expect(perRadian.ki).toBeCloseTo(22.918312, 5);
    expect(perRadian.kd).toBeCloseTo(0.5729578, 6);
    expect(perRadian.kff).toBeCloseTo(5.729578, 6);
  });

  test('gains per rad/s are taken as they stand, and what is not told stays so', () => {
    const gains = gainsOf('rad/s', null, null);
    expect(rateGainsInSi(gains, 'roll')).toEqual({ kp: 0.2, ki: 0.4, kd: 0.01, kff: 0.1 });
    expect(rateGainsInSi(gains, 'yaw')).toEqual(UNTOLD);
    expect(attitudeGainInSi(gains, 'yaw')).toBeNull();
  });
});

describe('what is wrong is named with line, character and field', () => {
  const roll = (terms: string): string => `{ "gains": { "rate": { "roll": {\n ${terms} } } } }`;
  test.each([
    ['', 1, 1, null, 'the file is empty'],
    [' \n\n', 1, 1, null, 'the file is empty'],
    ['time,roll', 1, 1, null, 'no JSON value: "time,rol"'],
    ['{ "gains": {\n  "rate": ', 2, 11, null, 'the file ends too early'],
    ['{ "gains": {} } x', 1, 17, null, 'text after the end'],
    ['{ "gains": {},\n  "gains": {} }', 2, 3, null, '"gains" stands here twice'],
    [roll('"kp": 1, "kp": 1'), 2, 11, null, '"kp" stands here twice'],
    ['[]', 1, 1, 'the gains file', 'must be a JSON object'],
    ['{ "gains": null }', 1, 12, 'gains', 'must be a JSON object'],
    ['{ "gains": { "rate": [] } }', 1, 22, 'gains rate', 'must be a JSON object'],
    ['{ "gains": { "rate": { "roll": 0.2 } } }', 1, 32, 'gains rate roll', 'must be a JSON object'],
    [roll('"kp": "0.2"'), 2, 8, 'gains rate roll kp', 'must be a number, not a text'],
    [roll('"kd": true'), 2, 8, 'gains rate roll kd', 'must be a number'],
    [roll('"ki": [1]'), 2, 8, 'gains rate roll ki', 'must be a number'],
    [roll('"kp": -0.2'), 2, 8, 'gains rate roll kp', 'a gain must not be negative'],
    [roll('"kff": 1e999'), 2, 9, 'gains rate roll kff', 'must not be larger'],
    ['{ "gains": { "attitude": { "yaw": { "kp": -1 } } } }', 1, 43, 'gains attitude yaw kp', 'negative'],
    ['{ "gains": { "unit": 1 } }', 1, 22, 'gains unit', 'must be a text'],
    ['{ "gains": { "rate": { "unit": "" } } }', 1, 32, 'gains rate unit', 'must be a text'],
    ['{ "loopRateHz": 0 }', 1, 17, 'loopRateHz', 'must be above 0'],
    ['{ "loopRateHz": -400 }', 1, 17, 'loopRateHz', 'must be above 0'],
    ['{ "filters": { "gyroLowPassHz": 0 } }', 1, 33, 'filters gyroLowPassHz', 'must be above 0'],
    ['{ "filters": { "derivativeLowPassHz": "20" } }', 1, 39, 'filters derivativeLowPassHz', 'not a text'],
    ['{ "filters": { "gyroTap": "before | after" } }', 1, 27, 'filters gyroTap', '"before", "after" or'],
    ['{ "filters": { "notches": {} } }', 1, 27, 'filters notches', 'must be a list'],
    ['{ "filters": { "notches": [56] } }', 1, 28, 'filters notches 1', 'must be a JSON object'],
    [
      '{ "filters": { "notches": [{ "centreHz": 9, "bandwidthHz": 3 }] } }',
      1,
      28,
      'filters notches 1',
      'lacks depthDb',
    ],
    [
      '{ "filters": { "notches": [{ "centreHz": 9, "bandwidthHz": 3, "depthDb": -9 }] } }',
      1,
      74,
      'filters notches 1 depthDb',
      'must be above 0',
    ],
    ['{ "configuration": [] }', 1, 20, 'configuration', 'must be a JSON object'],
    ['{ "configuration": { "massKg": 0 } }', 1, 32, 'configuration massKg', 'must be above 0'],
    ['{ "configuration": { "massKg": null } }', 1, 32, 'configuration massKg', 'must not be null'],
    ['{ "configuration": { "props": 18 } }', 1, 31, 'configuration props', 'must be a text'],
    ['{ "configuration": { "parts": ["a", 1] } }', 1, 31, 'configuration parts', 'must be a list of texts'],
    ['{ "configuration": { "x": [1e999] } }', 1, 28, 'configuration x', 'too large'],
  ])('%j', (text, line, character, column, message) => {
    const error = refusal(text);
    expect([error.code, error.file, error.line, error.character, error.column]).toEqual([
      'bad-gains-file',
      'gains.json',
      line,
      character,
      column,
    ]);
    expect(error.message).toContain(message);
    expect(error.oneLine).toMatch(/^gains\.json:\d+:\d+: .+; .+/);
    expect(error.oneLine).not.toContain('\n');
  });

  test.each([
    ['{ "gain": {} }', 'did you mean gains?'],
    ['{ "looprateHz": 400 }', 'did you mean loopRateHz?'],
    ['{ "gains": { "rates": {} } }', 'did you mean rate?'],
    ['{ "gains": { "rate": { "rol": {} } } }', 'did you mean roll?'],
    ['{ "gains": { "rate": { "roll": { "KP": 1 } } } }', 'did you mean kp?'],
    ['{ "gains": { "rate": { "roll": { "kdd": 1 } } } }', 'did you mean kd?'],
    ['{ "filters": { "derivativeLowpass": 20 } }', 'did you mean derivativeLowPassHz?'],
    ['{ "filters": { "notches": [{ "centerHz": 9 }] } }', 'did you mean centreHz?'],
    ['{ "rate": {} }', 'it belongs in gains '],
    ['{ "gains": { "attitude": { "roll": { "ki": 1 } } } }', 'it belongs in gains.rate.roll,'],
    ['{ "gyroLowPassHz": 60 }', 'it belongs in filters '],
    ['{ "massKg": 5.9 }', 'it belongs in configuration '],
    ['{ "__proto__": {} }', 'did you mean '],
    ['{ "constructor": {} }', 'did you mean '],
  ])('an unknown field names the nearest known one, or where it belongs: %s', (text, next) => {
    const error = refusal(text);
    expect(error.code).toBe('bad-gains-file');
    expect(error.message).toMatch(/^"\w+" means nothing here$/);
    expect(error.next).toContain(next);
    expect(error.next).toContain('the fields known here are ');
  });

  test('an unknown field is pointed at by its name, wherever its value stands', () => {
    expect(refusal('{\n  "gains": {},\n    "gian":\n {} }')).toMatchObject({ line: 3, character: 5 });
  });

  test('a long text is refused before it is read', () => {
    expect(refusal(' '.repeat(1_000_001)).message).toBe('this is too long for a gains file');
  });

  test('whatever is changed in a valid file, reading gives finite gains or a LogError on one line', () => {
    const random = randomBy(31);
    const pieces = [
      '{',
      '}',
      '"',
      ',',
      '-',
      '1e999',
      'null',
      '[',
      ' ',
      'e',
      '\n',
      '0',
      '\u0000',
      '__proto__',
    ];
    const seen = { gains: 0, refused: 0 };
    for (let run = 0; run < 2000; run++) {
      const from = Math.floor(random() * EXAMPLE.length);
      const to = from + Math.floor(random() * 3);
      const text = EXAMPLE.slice(0, from) + pieces[Math.floor(random() * pieces.length)]! + EXAMPLE.slice(to);
      try {
        const { rate, attitude } = parseGains(text, 'gains.json');
        for (const axis of [...Object.values(rate.axes), ...Object.values(attitude.axes)])
          for (const gain of Object.values(axis) as (number | null)[])
            if (gain !== null && !(gain >= 0 && Number.isFinite(gain))) throw new Error(`gain ${gain}`);
        seen.gains++;
      } catch (error) {
        if (!(error instanceof LogError)) throw error;
        if (!/^gains\.json:\d+:\d+: [^\r\n]+; [^\r\n]+$/.test(error.oneLine)) throw error;
        seen.refused++;
      }
    }
    // Blanks and digits do no harm; most of the rest does.
    expect(seen.gains).toBeGreaterThan(100);
    expect(seen.refused).toBeGreaterThan(1000);
  });
});
