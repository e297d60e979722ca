import { promises as fs } from 'node:fs';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { Inspection } from '@settle/report';
import { digestsOf, makeDirectory, settle } from '../support/command-line.js';
import { SWING_HZ, hoverLog, lightLog } from '../support/hover-log.js';

let directory = '';

beforeEach(async () => {
  directory = await makeDirectory();
});

afterEach(async () => {
  await fs.chmod(directory, 0o755);
  await fs.rm(directory, { recursive: true });
});

const run = (...parameters: string[]): ReturnType<typeof settle> => settle(parameters, { cwd: directory });
const write = (name: string, content: string | Uint8Array): Promise<void> =>
  fs.writeFile(path.join(directory, name), content);

/** Rows of `time,a,b …` at 100 Hz for 10 s. */
function rows(header: string, cells: (index: number) => string): string {
  return `${header}\n${Array.from({ length: 1000 }, (_, index) => `${(index / 100).toFixed(2)},${cells(index)}`).join('\n')}\n`;
}

/** Bytes that no encoding of text holds: every value, zero included, again and again. */
const BINARY = Uint8Array.from({ length: 20_000 }, (_, index) => (index * 197 + (index >> 3)) % 256);

interface BadLog {
  readonly what: string;
  readonly content: string | Uint8Array;
  readonly status: 2 | 3;
  /** What the one line has to say besides the name of the file. */
  readonly says: RegExp;
}

const BAD_LOGS: readonly BadLog[] = [
  { what: 'a binary file', content: BINARY, status: 2, says: /text|binary/i },
  { what: 'an empty file', content: '', status: 2, says: /empty/i },
  { what: 'a file of blank lines', content: '\n\n\n', status: 2, says: /blank/ },
  { what: 'a header only', content: 'time (s),roll rate (deg/s)\n', status: 2, says: /row|data|header/i },
  {
    what: 'prose',
    content: 'Dear diary,\ntoday it wobbled.\nI landed.\n',
    status: 2,
    says: /number|column|table/i,
  },
  {
    what: 'text where numbers belong',
    content: rows('time (s),roll rate (deg/s),pitch rate (deg/s)', () => 'left,right'),
    status: 2,
    says: /number|text|channel|column/i,
  },
  {
    what: 'one column',
    content: `roll rate (deg/s)\n${'1.5\n2.5\n'.repeat(300)}`,
    status: 2,
    says: /time|clock|--rate/i,
  },
  {
    what: 'no time column and no --rate',
    content: rows('row,roll rate (deg/s)', (index) => String(index % 7)).replaceAll(/^[\d.]+,/gm, 'x,'),
    status: 2,
    says: /--rate/,
  },
  {
    what: 'columns that could mean anything',
    content: rows('time (s),Channel 1,Channel 2', (index) => `${Math.sin(index)},${Math.cos(index)}`),
    status: 2,
    says: /map/,
  },
  {
    what: 'nothing that moves with the aircraft',
    content: rows('time (s),battery voltage (V)', (index) => (25 - index / 1000).toFixed(3)),
    status: 3,
    says: /rate|attitude/i,
  },
  {
    what: '10 MB on one line',
    content: 'x,'.repeat(5_000_000),
    status: 2,
    says: /row|line|header|column|number/i,
  },
  {
    what: 'one cell of 10 MB',
    content: 'x'.repeat(10_000_000),
    status: 2,
    says: /row|line|header|column|number/i,
  },
];

describe('a log that cannot be used: one line with the name of the file and what to do, exit status 2 or 3', () => {
  test.each(BAD_LOGS)('$what', async ({ content, status, says }) => {
    await write('bad.csv', content);
    const before = await digestsOf(directory);
    const outcome = await run('diagnose', 'bad.csv');
    expect(outcome).toMatchObject({ status, stdout: '' });
    const [line, ...map] = outcome.stderr.trimEnd().split('\n');
    expect(line).toMatch(/^settle: /);
    expect(line).toMatch(says);
    // A log that was read well enough to be judged is the flight; the message need not repeat the name.
    if (status === 2) expect(line).toContain('bad.csv');
    expect(line).toMatch(/; ./);
    expect(line!.length).toBeLessThan(600);
    // Only a channel map to edit may follow.
    if (map.length > 0) expect(() => JSON.parse(map.join('\n')) as unknown).not.toThrow();
    expect(await digestsOf(directory)).toEqual(before);
  });

  test('columns that could mean anything are followed by a channel map that names them', async () => {
    await write(
      'bad.csv',
      rows('time (s),Channel 1,Channel 2', (index) => `${Math.sin(index)},${index % 3}`),
    );
    const { stderr } = await run('diagnose', 'bad.csv');
    const map = JSON.parse(stderr.slice(stderr.indexOf('\n') + 1)) as { channels: unknown };
    expect(map).toHaveProperty('channels');
    expect(stderr).toContain('Channel 1');
  });
});

describe('files that are not there or cannot be one flight: exit status 2', () => {
  test('a missing file', async () => {
    expect(await run('diagnose', 'missing.csv')).toEqual({
      status: 2,
      stdout: '',
      stderr:
        'settle: cannot read missing.csv: there is no such file or directory; check the name and try again.\n',
    });
  });

  test.skipIf(process.getuid?.() === 0)('a file without permission', async () => {
    await write('secret.csv', lightLog());
    await fs.chmod(path.join(directory, 'secret.csv'), 0);
    const { status, stderr } = await run('diagnose', 'secret.csv');
    expect(status).toBe(2);
    expect(stderr).toContain('cannot read secret.csv: permission denied; make the file readable');
  });

  test('a link that leads back to itself', async () => {
    await fs.symlink('loop.csv', path.join(directory, 'loop.csv'));
    const { status, stderr } = await run('diagnose', 'loop.csv');
    expect(status).toBe(2);
    expect(stderr).toContain('cannot read loop.csv: too many links point at one another');
  });

  test('a directory with nothing usable', async () => {
    await write('notes.md', '# Notes');
    await write('.hidden.csv', lightLog());
    await fs.mkdir(path.join(directory, 'folder.csv'));
    const { status, stderr } = await run('diagnose', '.');
    expect(status).toBe(2);
    expect(stderr).toMatch(
      /^settle: \. holds no log: no file in it ends in \.csv, \.tsv, \.txt; give the directory/,
    );
  });

  test.each(['diagnose', 'inspect'])('%s of an empty directory', async (command) => {
    expect(await run(command, '.')).toMatchObject({ status: 2, stdout: '' });
  });

  test('a directory among files', async () => {
    await write('a.csv', lightLog());
    const { status, stderr } = await run('diagnose', 'a.csv', '.');
    expect(status).toBe(2);
    expect(stderr).toContain('. is a directory among files');
  });

  test('the same file twice, by another path or by a link', async () => {
    await write('a.csv', lightLog());
    await fs.symlink('a.csv', path.join(directory, 'b.csv'));
    expect((await run('diagnose', 'a.csv', 'a.csv')).stderr).toContain('a.csv is given twice');
    expect((await run('diagnose', 'a.csv', './a.csv')).stderr).toContain(
      './a.csv and a.csv are the same file',
    );
    const linked = await run('diagnose', 'a.csv', 'b.csv');
    expect(linked.status).toBe(2);
    expect(linked.stderr).toContain('b.csv and a.csv are the same file');
  });

  test.skipIf(process.platform === 'win32')('a device', async () => {
    const { status, stderr } = await run('diagnose', '/dev/zero');
    expect(status).toBe(2);
    expect(stderr).toContain('/dev/zero is not a regular file');
  });

  test.each([
    ['not JSON', '{ "channels": ', /map\.json/],
    ['not a map', '[1, 2]', /map\.json/],
    [
      'a channel nobody knows',
      '{ "channels": { "rate.roll.speed": { "column": "x" } } }',
      /rate\.roll\.speed/,
    ],
    [
      'a column that is not there',
      '{ "channels": { "gyro.x": { "column": "nowhere", "unit": "rad/s" } } }',
      /nowhere/,
    ],
  ])('a channel map that is %s', async (_, map, says) => {
    await write('a.csv', lightLog());
    await write('map.json', map);
    const outcome = await run('diagnose', 'a.csv', '--map', 'map.json');
    expect(outcome).toMatchObject({ status: 2, stdout: '' });
    expect(outcome.stderr.split('\n')[0]).toMatch(says);
  });
});

describe('notes beside the logs', () => {
  test('in a directory, a text file without a table is left out and named; given by name it is an error', async () => {
    await write('hover.csv', lightLog());
    await write('notes.txt', 'Dear diary,\ntoday it wobbled.\nI landed.\n');
    const outcome = await run('diagnose', '--json', '.');
    expect(outcome.status).toBe(0);
    expect(outcome.stderr).toMatch(/^settle: note: left out notes\.txt, which is no log: .+\n$/);
    expect(outcome.stdout).toBe(
      (await run('diagnose', '--json', 'hover.csv')).stdout.replace(
        '"name": "hover"',
        `"name": "${path.basename(directory)}"`,
      ),
    );
    expect((await run('diagnose', 'hover.csv', 'notes.txt')).status).toBe(2);
  });

  test('a damaged CSV file is never left out', async () => {
    await write('hover.csv', lightLog());
    await write('rates.csv', '');
    const { status, stderr } = await run('diagnose', '.');
    expect(status).toBe(2);
    expect(stderr).toContain('rates.csv');
  });

  test('results and channel maps name files without the directory they lay in', async () => {
    await fs.mkdir(path.join(directory, 'day-1'));
    await write('day-1/angles.csv', hoverLog('angles'));
    await write('day-1/rates.csv', hoverLog('rates'));
    const { stdout } = await run('inspect', '--json', path.join(directory, 'day-1'));
    expect(stdout).not.toContain(directory);
    await run('inspect', 'day-1', '--write-map', 'map.json');
    await fs.rename(path.join(directory, 'day-1'), path.join(directory, 'day-2'));
    expect((await run('diagnose', 'day-2', '--map', 'map.json')).status).toBe(0);
  });
});

describe('names and cells that could do harm', () => {
  test.each(['__proto__.csv', 'constructor.csv', 'a b\'"$(x).csv', '-dash.csv'])(
    'a file named %s',
    async (name) => {
      await write(name, lightLog());
      const { status, stdout, stderr } = await run('diagnose', '--json', `./${name}`);
      expect({ status, stderr }).toEqual({ status: 0, stderr: '' });
      expect((JSON.parse(stdout) as { flight: { name: string } }).flight.name).toBe(name.replace('.csv', ''));
    },
  );

  test.each(['__proto__', 'constructor', 'toString'])(
    'a column named %s is a column like any other',
    async (column) => {
      const log = lightLog()
        .split('\n')
        .map((line, index) => (line === '' ? '' : `${line},${index === 0 ? column : '1'}`))
        .join('\n');
      await write('a.csv', log);
      const { status, stdout } = await run('inspect', '--json', 'a.csv');
      expect(status).toBe(0);
      expect((JSON.parse(stdout) as Inspection).files[0]!.unusedColumns).toContain(column);
    },
  );

  test('escape sequences in a header or a file name do not reach the terminal', async () => {
    const name = 'a\u001b[2J.csv';
    await write(
      name,
      lightLog()
        .replace('\n', ',evil\u001b[31m column\n')
        .replaceAll(/(?<=\d)\n/g, ',1\n'),
    );
    for (const command of ['inspect', 'diagnose']) {
      const { status, stdout, stderr } = await run(command, name);
      expect(status).toBe(0);
      expect(stdout + stderr).not.toContain('\u001b');
    }
    expect((await run('diagnose', 'b\u001b[2J.csv')).stderr).not.toContain('\u001b');
  });
});

describe('imperfect logs that can still be used', () => {
  const damaged = (change: (line: string, index: number) => string): string =>
    hoverLog()
      .split('\n')
      .map((line, index) => (index === 0 || line === '' ? line : change(line, index)))
      .join('\n');

  test('NaN, Inf and empty cells are counted, named with file, line and column, and bridged', async () => {
    const bad = new Map([
      [300, 'NaN'],
      [700, 'inf'],
      [1100, ''],
    ]);
    await write(
      'a.csv',
      damaged((line, index) => (bad.has(index) ? line.replace(/,[^,]*$/, `,${bad.get(index)!}`) : line)),
    );
    const inspected = await run('inspect', '--json', 'a.csv');
    expect(inspected.status).toBe(0);
    const { channels, problems } = JSON.parse(inspected.stdout) as Inspection;
    const yaw = channels.find(({ id }) => id === 'rate.yaw.measured')!;
    expect(yaw.nonFinite).toBeGreaterThanOrEqual(2);
    // Line 301 of the file is row 300 below the header.
    expect(problems.map(({ file, line, column }) => [file, line, column])).toContainEqual([
      'a.csv',
      301,
      'yaw rate (deg/s)',
    ]);
    expect((await run('diagnose', 'a.csv')).status).toBe(0);
  });

  test('what was wrong with the log is noted on standard error by diagnose, and not with --quiet', async () => {
    await write(
      'a.csv',
      damaged((line, index) => (index === 300 ? line.replace(/,[^,]*$/, ',oops') : line)),
    );
    const noted = await run('diagnose', 'a.csv');
    expect(noted.status).toBe(0);
    expect(noted.stderr).toMatch(/^settle: note: a\.csv:301: yaw rate \(deg\/s\): /m);
    expect((await run('diagnose', 'a.csv', '--quiet')).stderr).toBe('');
  });

  test('a channel that never changes does not stop the others', async () => {
    await write(
      'a.csv',
      damaged((line) => line.replace(/,[^,]*$/, ',0.0000')),
    );
    const { status, stdout } = await run('diagnose', '--json', 'a.csv');
    expect(status).toBe(0);
    const { axes } = JSON.parse(stdout) as {
      axes: Record<string, { oscillations: { frequencyHz: number }[] }>;
    };
    expect(axes['yaw']!.oscillations).toEqual([]);
    expect(Math.abs(axes['roll']!.oscillations[0]!.frequencyHz / SWING_HZ - 1)).toBeLessThan(0.02);
  });

  test('a log without a clock is read at the --rate given', async () => {
    const log = hoverLog('rates').replaceAll(/^[^,]*,/gm, '');
    await write('a.csv', log);
    expect((await run('diagnose', 'a.csv')).status).toBe(2);
    const { status, stdout } = await run('diagnose', '--json', 'a.csv', '--rate', '50');
    expect(status).toBe(0);
    const { axes } = JSON.parse(stdout) as { axes: { roll: { oscillations: { frequencyHz: number }[] } } };
    // Half the true rate: everything takes twice as long.
    expect(Math.abs(axes.roll.oscillations[0]!.frequencyHz / (SWING_HZ / 2) - 1)).toBeLessThan(0.02);
  });
});
