import { describe, expect, test } from 'vitest';
import { parseChannelMap } from './channel-map.js';
import { LogError } from './log-error.js';
import { csv, makeHover, plainColumns, randomBy, sourceOf } from './made-log.fixture.js';
import { readFlight } from './read-flight.js';
import type { ReadOptions } from './read-flight.js';

type Outcome = 'flight' | 'refused';

/** Reads and checks the promise: a flight whose numbers hold together, or a LogError on one line. */
function outcome(bytes: Uint8Array, options: ReadOptions = {}): Outcome {
  try {
    const flight = readFlight([sourceOf(bytes, 'fuzz.csv')], options);
    if (flight.signals.size === 0) throw new Error('a flight without signals');
    if (!Number.isFinite(flight.durationS) || flight.durationS < 0)
      throw new Error(`duration ${String(flight.durationS)}`);
    for (const signal of flight.signals.values()) {
      if (signal.values.length !== signal.clock.timeS.length)
        throw new Error('values and times differ in number');
      if (signal.values.some((value) => value === Infinity || value === -Infinity))
        throw new Error('infinite value');
      if (!signal.clock.timeS.every((time, i) => i === 0 || time > signal.clock.timeS[i - 1]!))
        throw new Error('time does not increase');
    }
    return 'flight';
  } catch (error) {
    if (!(error instanceof LogError)) throw error;
    if (/[\r\n]/.test(error.oneLine) || error.next === '')
      throw new Error(`not one clear line: ${error.oneLine}`, { cause: error });
    return 'refused';
  }
}

const encoder = new TextEncoder();
const plain = csv(plainColumns(makeHover({ seconds: 2, rateHz: 50 })));

describe('whatever the bytes, reading gives a flight or a LogError', () => {
  test('random bytes', () => {
    const random = randomBy(11);
    for (let run = 0; run < 300; run++) {
      const bytes = Uint8Array.from({ length: Math.floor(random() * 400) }, () => Math.floor(random() * 256));
      expect(outcome(bytes, run % 2 === 0 ? {} : { rateHz: 100 })).toBe('refused');
    }
  });
  test('random text of the characters of a log', () => {
    const random = randomBy(12);
    const alphabet = '0123456789.,;\t -+eE"\'#\n\n\r\nxyzpqrtroll[]()/°µ';
    const seen = { flight: 0, refused: 0 };
    for (let run = 0; run < 1500; run++) {
      const length = Math.floor(random() * 300);
      const body = Array.from({ length }, () => alphabet[Math.floor(random() * alphabet.length)]).join('');
      const head = run % 3 === 0 ? '' : run % 3 === 1 ? 'time,gyro_x [rad/s],roll [deg]\n' : 't p q r\n';
      seen[outcome(encoder.encode(head + body), run % 2 === 0 ? {} : { rateHz: 50 })]++;
    }
    expect(seen.refused).toBeGreaterThan(0);
  });
  test('a valid log with bytes changed, cut, doubled or swapped', () => {
    const random = randomBy(13);
    const valid = encoder.encode(plain);
    const seen = { flight: 0, refused: 0 };
    for (let run = 0; run < 400; run++) {
      const bytes = [...valid];
      const edits = 1 + Math.floor(random() * 8);
      for (let edit = 0; edit < edits; edit++) {
        const at = Math.floor(random() ** (run % 2 === 0 ? 1 : 3) * bytes.length);
        const span = Math.floor(random() * 40);
        const kind = Math.floor(random() * 4);
        if (kind === 0) bytes[at] = Math.floor(random() * 256);
        else if (kind === 1) bytes.splice(at, span);
        else if (kind === 2) bytes.splice(at, 0, ...bytes.slice(at, at + span));
        else
          bytes.splice(
            at,
            0,
            ...encoder.encode(['"', ',', '\n', ';', 'NaN', '\r', '1e400', '-'][Math.floor(random() * 8)]!),
          );
      }
      seen[outcome(Uint8Array.from(bytes))]++;
    }
    // Small damage must not cost the log: most of these still read.
    expect(seen.flight).toBeGreaterThan(seen.refused);
  });
  test('a valid log with cells replaced by anything', () => {
    const random = randomBy(14);
    const odd = [
      '',
      'NaN',
      '-inf',
      '1e308',
      '-1e308',
      '1e-320',
      '9007199254740993',
      'text',
      '__proto__',
      '2026-03-04T10:20:30Z',
      '12:00:00',
      '"',
      '""',
      '0x10',
      '1,5',
      '  ',
    ];
    const seen = { flight: 0, refused: 0 };
    for (let run = 0; run < 300; run++) {
      const lines = plain
        .trimEnd()
        .split('\n')
        .map((line) => line.split(','));
      const share = random() ** 4;
      const cells = lines.map((line, row) =>
        line.map((cell) => (row > 0 && random() < share ? odd[Math.floor(random() * odd.length)]! : cell)),
      );
      const text = cells.map((line) => line.join(',')).join('\n');
      seen[outcome(encoder.encode(text), run % 2 === 0 ? {} : { segment: 1 })]++;
    }
    expect(seen.flight).toBeGreaterThan(30);
  });
  test('headers of any words over a valid log', () => {
    const random = randomBy(15);
    const words = [
      'roll',
      'pitch',
      'yaw',
      'rate',
      'gyro',
      'x',
      'y',
      'z',
      'p',
      'q',
      'r',
      'ref',
      'measured',
      'error',
      'time',
      't',
      '1',
      '2',
      'motor',
      'rotor',
      'speed',
      'stick',
      'throttle',
      'accel',
      '[deg/s]',
      '[rad]',
      '(g)',
      '__proto__',
      'constructor',
      'mode',
      'battery',
      'i',
      'd',
      '%',
      'rpm',
      '_',
      '0',
    ];
    const body = plain.slice(plain.indexOf('\n'));
    const seen = { flight: 0, refused: 0 };
    for (let run = 0; run < 600; run++) {
      const name = (): string =>
        Array.from(
          { length: 1 + Math.floor(random() * 3) },
          () => words[Math.floor(random() * words.length)],
        ).join(' ');
      const header = ['time', ...Array.from({ length: 9 }, name)].join(',');
      seen[outcome(encoder.encode(header + body))]++;
    }
    expect(Math.min(seen.flight, seen.refused)).toBeGreaterThan(0);
  });
});

test('whatever the text, a channel map is read or refused with a LogError', () => {
  const random = randomBy(16);
  const valid =
    '{"time": {"column": "t", "unit": "us"}, "channels": {"gyro.x": {"column": 3, "unit": "rad/s", "sign": -1, "range": [0, 1]}}, "ignore": [1]}';
  const alphabet = '{}[]":,0123456789.-eE\\u truefalsenull\n';
  const seen = { read: 0, refused: 0 };
  for (let run = 0; run < 3000; run++) {
    const text = [...valid];
    for (let edit = 0; edit < 1 + (run % 3); edit++) {
      const at = Math.floor(random() * text.length);
      text.splice(at, Math.floor(random() * 3), alphabet[Math.floor(random() * alphabet.length)]!);
    }
    try {
      parseChannelMap(text.join(''), 'map.json');
      seen.read++;
    } catch (error) {
      if (!(error instanceof LogError)) throw error;
      seen.refused++;
    }
  }
  expect(Math.min(seen.read, seen.refused)).toBeGreaterThan(10);
});
