/** `settle record`: the tuning record of one aircraft, kept whole whatever happens to the program or to the file. */

import { promises as fs } from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { loadRecord, readHover } from '../../packages/cli/src/record-input.js';
import { startProgress } from '../../packages/cli/src/terminal.js';
import { ROOT, digestsOf, makeDirectory, settle } from '../support/command-line.js';
import { hoverLog } from '../support/hover-log.js';

const DEMO = path.join(ROOT, 'fixtures/samphire-record.json');

let directory = '';

beforeEach(async () => {
  directory = await makeDirectory();
  for (const part of ['all', 'rates', 'angles'] as const) await write(`${part}.csv`, hoverLog(part));
  await write('gains.json', GAINS);
});

afterEach(async () => {
  await fs.rm(directory, { recursive: true });
});

const run = (...parameters: string[]): ReturnType<typeof settle> => settle(parameters, { cwd: directory });
const write = (name: string, content: string | Uint8Array): Promise<void> =>
  fs.writeFile(path.join(directory, name), content);
const readBack = (name: string): Promise<string> => fs.readFile(path.join(directory, name), 'utf8');

/** A number that JavaScript would shorten, so that copying is seen to be copying. */
const GAINS = `{
  "gains": { "unit": "rad/s", "rate": { "roll": { "kp": 0.180, "ki": 0.45 } }, "attitude": { "roll": { "kp": 6.2 } } },
  "filters": { "gyroLowPassHz": 60, "notches": [{ "centreHz": 56, "bandwidthHz": 12, "depthDb": 30 }] },
  "loopRateHz": 400,
  "configuration": { "massKg": 5.9, "wingtip": "fitted", "props": "17 in two-blade" }
}
`;

/** With fields of its own everywhere, an order of its own, and numbers that would be written otherwise. */
const RECORD = `{
  "comment": "kept by hand",
  "schema": "settle.record/1",
  "hovers": [
    {
      "files": ["all.csv"],
      "pilot": { "10": "first", "2": "second", "hours": 12345678901234567890.10 },
      "name": "first hop",
      "configuration": { "massKg": 5.90, "wingtip": "fitted" },
      "gains": { "tableOf": "the binder", "rate": { "roll": { "kp": 1.80e-1 } } }
    }
  ],
  "aircraft": "Samphire"
}
`;

describe('adding a hover', () => {
  test('begins a record that holds what was told, the gains copied digit by digit', async () => {
    const { status, stdout, stderr } = await run(
      ...['record', 'add', 'samphire.json', 'all.csv', '--name', 'first hop', '--gains', 'gains.json'],
      ...['--aircraft', 'Samphire', '--date', '2026-04-11T09:20:00+01:00', '--note', 'shook at once'],
      ...['--weather', 'light breeze', '--change', 'roll P × 0.7', '--change', 'one notch', '--mass', '6.1'],
      ...[
        '--parts',
        'outer panels fitted',
        '--parts',
        'camera left off',
        '--battery',
        '6 cells',
        '--rate',
        '100',
      ],
    );
    expect({ status, stderr }).toEqual({
      status: 0,
      stderr:
        'settle: note: began samphire.json for the aircraft "Samphire"\n' +
        'settle: note: recorded "first hop" as hover 1 in samphire.json\n',
    });
    expect(stdout).toContain('Samphire: first hop');
    const text = await readBack('samphire.json');
    expect(text).toContain('"kp": 0.180,');
    expect(JSON.parse(text)).toEqual({
      schema: 'settle.record/1',
      aircraft: 'Samphire',
      hovers: [
        {
          name: 'first hop',
          date: '2026-04-11T09:20:00+01:00',
          files: ['all.csv'],
          rateHz: 100,
          changes: ['roll P × 0.7', 'one notch'],
          note: 'shook at once',
          weather: 'light breeze',
          ...(JSON.parse(GAINS) as object),
          configuration: {
            wingtip: 'fitted',
            props: '17 in two-blade',
            massKg: 6.1,
            parts: ['outer panels fitted', 'camera left off'],
            battery: '6 cells',
          },
        },
      ],
    });
  });

  test('the record stays true when the gains file is edited later', async () => {
    await run('record', 'add', 'samphire.json', 'all.csv', '--name', 'first hop', '--gains', 'gains.json');
    await write('gains.json', GAINS.replace('0.180', '0.9'));
    const { hovers } = await loadRecord(path.join(directory, 'samphire.json'));
    expect(hovers[0]!.gains!.rate.axes.roll.kp).toBe(0.18);
  });

  test('keeps everything that stood in the record: order, unknown fields, digits, file mode', async () => {
    await write('samphire.json', RECORD);
    await fs.chmod(path.join(directory, 'samphire.json'), 0o640);
    const outcome = await run(
      'record',
      'add',
      'samphire.json',
      'rates.csv',
      '--name',
      'second hop',
      '--quiet',
    );
    expect(outcome).toMatchObject({ status: 0, stderr: '' });
    const text = await readBack('samphire.json');
    const { hovers, ...top } = JSON.parse(text) as { hovers: object[] };
    const before = JSON.parse(RECORD) as { hovers: object[] };
    expect({ ...top, hovers: hovers.slice(0, 1) }).toEqual(before);
    expect(hovers[1]).toEqual({ name: 'second hop', files: ['rates.csv'] });
    const keysOf = (json: string): string[] => [...json.matchAll(/"(\w+)":/g)].map(([, key]) => key!);
    const added = ['name', 'files'];
    expect(keysOf(text)).toEqual([...keysOf(RECORD).slice(0, -1), ...added, 'aircraft']);
    for (const digits of ['12345678901234567890.10', '5.90', '1.80e-1']) expect(text).toContain(digits);
    expect((await fs.stat(path.join(directory, 'samphire.json'))).mode & 0o777).toBe(0o640);
  });

  test('a record saved with other line breaks, a byte order mark or as UTF-16 stays so', async () => {
    const crlf = RECORD.replaceAll('\n', '\r\n');
    for (const content of [Buffer.from(`\uFEFF${crlf}`), Buffer.from(`\uFEFF${crlf}`, 'utf16le')]) {
      await write('samphire.json', content);
      expect((await run('record', 'add', 'samphire.json', 'rates.csv', '--name', 'é')).status).toBe(0);
      const written = await fs.readFile(path.join(directory, 'samphire.json'));
      const encoding = content[0] === 0xff ? 'utf16le' : 'utf8';
      const text = written.toString(encoding);
      expect(text.startsWith('\uFEFF{\r\n')).toBe(true);
      expect(text.replaceAll('\r\n', '')).not.toContain('\n');
      expect(text).toContain('"name": "é"');
    }
  });

  test('files are named from the record, wherever the program was started, and a link to it stays a link', async () => {
    await fs.mkdir(path.join(directory, 'kept'));
    await fs.mkdir(path.join(directory, 'flight'));
    await write('flight/all.csv', hoverLog());
    await fs.symlink('kept/samphire.json', path.join(directory, 'link.json'));
    await write('kept/samphire.json', RECORD.replace('all.csv', '../all.csv'));
    const outcome = await run(
      ...[
        'record',
        'add',
        'link.json',
        'rates.csv',
        'angles.csv',
        '--name',
        'second hop',
        '--map',
        'map.json',
      ],
    );
    expect(outcome.stderr).toContain('cannot read the channel map map.json');
    await write('map.json', '{ "ignore": [] }');
    expect(
      (
        await run(
          ...['record', 'add', 'link.json', 'rates.csv', 'angles.csv', '--name', 'second hop'],
          ...['--map', 'map.json'],
        )
      ).status,
    ).toBe(0);
    expect((await fs.lstat(path.join(directory, 'link.json'))).isSymbolicLink()).toBe(true);
    const { hovers } = JSON.parse(await readBack('kept/samphire.json')) as {
      hovers: { files: string[]; map: string }[];
    };
    expect(hovers[1]).toEqual({
      name: 'second hop',
      files: ['../rates.csv', '../angles.csv'],
      map: '../map.json',
    });
  });

  test('a log may hold several hovers when it is said which part each of them is', async () => {
    const add = (name: string, ...part: string[]): ReturnType<typeof settle> =>
      run('record', 'add', 'samphire.json', 'all.csv', '--name', name, ...part);
    expect((await add('one', '--to', '9')).status).toBe(0);
    expect((await add('two', '--from', '8')).stderr).toContain('all.csv is recorded already as "one"');
    expect((await add('two', '--from', '9')).status).toBe(0);
    const { hovers } = await loadRecord(path.join(directory, 'samphire.json'));
    expect(hovers.map(({ options }) => options)).toEqual([{ to: 9 }, { from: 9 }]);
  });

  test('a hover dated before the one above it is recorded, and said to be', async () => {
    const add = (log: string, date: string): ReturnType<typeof settle> =>
      run('record', 'add', 'samphire.json', log, '--name', log, '--date', date);
    await add('all.csv', '2026-04-11T23:30:00-01:00');
    expect((await add('rates.csv', '2026-04-12')).stderr).not.toContain('dated before');
    expect((await add('angles.csv', '2026-04-09')).stderr).toContain('is dated before "all.csv"');
  });
});

describe('what cannot be added: exit status 2, one line, and nothing is written', () => {
  test.each<[string, string[], string]>([
    [
      'a name that is taken',
      ['rates.csv', '--name', 'first hop'],
      'a hover "first hop" is recorded already, in samphire.json:8:15; give another --name; to correct that hover, edit the record there.',
    ],
    ['a name that differs by spaces', ['rates.csv', '--name', ' first hop '], 'is recorded already'],
    [
      'a log that is not there',
      ['none.csv', '--name', 'x'],
      'cannot read none.csv: there is no such file or directory',
    ],
    [
      'a log that is recorded',
      ['all.csv', '--name', 'x'],
      'all.csv is recorded already as "first hop", in samphire.json:8:15',
    ],
    [
      'a log among others that is recorded',
      ['rates.csv', './all.csv', '--name', 'x'],
      'is recorded already as "first hop"',
    ],
    [
      'a copy of a log that is recorded',
      ['copy.csv', '--name', 'x'],
      'copy.csv is a copy, byte for byte, of all.csv',
    ],
    ['no name', ['rates.csv'], 'the hover has no name; give it one, such as --name "hover 3".'],
    ['an empty name', ['rates.csv', '--name', ' '], '--name is empty'],
    ['no log', ['--name', 'x'], 'no flight is given to add to the record'],
    [
      'a date of no calendar',
      ['rates.csv', '--name', 'x', '--date', '2026-02-29'],
      '--date wants a date, not "2026-02-29"',
    ],
    ['a mass of nothing', ['rates.csv', '--name', 'x', '--mass', '0'], '--mass wants kilograms, not "0"'],
    ['an empty change', ['rates.csv', '--name', 'x', '--change', 'a', '--change', ''], '--change is empty'],
    [
      'an interval the wrong way round',
      ['rates.csv', '--name', 'x', '--from', '9', '--to', '4'],
      '--from 9 is not before --to 4',
    ],
    [
      'another aircraft',
      ['rates.csv', '--name', 'x', '--aircraft', 'Dunlin'],
      'is the record of "Samphire", not of "Dunlin"',
    ],
    [
      'a gains file that is wrong',
      ['rates.csv', '--name', 'x', '--gains', 'bad.json'],
      'bad.json:1:12: gains: "rat" means nothing here',
    ],
    ['a channel map that is wrong', ['rates.csv', '--name', 'x', '--map', 'bad.json'], 'bad.json:1'],
    [
      'an airframe file that is not there',
      ['rates.csv', '--name', 'x', '--airframe', 'none.json'],
      'cannot read the airframe none.json',
    ],
    ['one file twice', ['rates.csv', './rates.csv', '--name', 'x'], 'are the same file'],
  ])('%s', async (_, parameters, says) => {
    await write('samphire.json', RECORD);
    await write('bad.json', '{"gains": {"rat": {}}}');
    await write('copy.csv', hoverLog());
    const before = await digestsOf(directory);
    const outcome = await run('record', 'add', 'samphire.json', ...parameters);
    expect(outcome).toMatchObject({ status: 2, stdout: '' });
    expect(outcome.stderr).toContain(says);
    expect(outcome.stderr.trimEnd().split('\n')).toHaveLength(1);
    expect(await digestsOf(directory)).toEqual(before);
  });

  test.each<[string, string[], string]>([
    ['a record by the name of a log', ['new.csv', 'all.csv'], 'a new one would be taken for a log'],
    ['a log in place of the record', ['all.csv', 'new.json'], 'all.csv:1:1: no JSON value'],
    ['a directory in place of the record', ['.', 'all.csv'], '. is a directory'],
    ['a record in a directory that is not there', ['none/new.json', 'all.csv'], 'create the directory first'],
  ])('%s', async (_, operands, says) => {
    const before = await digestsOf(directory);
    const outcome = await run('record', 'add', ...operands, '--name', 'x');
    expect(outcome).toMatchObject({ status: 2, stdout: '' });
    expect(outcome.stderr).toContain(says);
    expect(await digestsOf(directory)).toEqual(before);
  });

  test('a record that its owner has made read-only', async () => {
    await write('samphire.json', RECORD);
    await fs.chmod(path.join(directory, 'samphire.json'), 0o444);
    const outcome = await run('record', 'add', 'samphire.json', 'rates.csv', '--name', 'x');
    expect(outcome.stderr).toContain('samphire.json is read-only; make it writable');
    expect(await readBack('samphire.json')).toBe(RECORD);
  });
});

/** Runs `record add` with a piece of code put in place of a step of writing. */
async function addWith(code: string): ReturnType<typeof settle> {
  const module = `import { promises as fs, writeFileSync, readFileSync } from 'node:fs'; ${code}`;
  return settle(['record', 'add', 'samphire.json', 'rates.csv', '--name', 'second hop'], {
    cwd: directory,
    nodeParameters: ['--import', `data:text/javascript,${encodeURIComponent(module)}`],
  });
}

const runAgain = (): ReturnType<typeof settle> =>
  run('record', 'add', 'samphire.json', 'rates.csv', '--name', 'second hop');

describe('writing that is interrupted', () => {
  const kill = "process.kill(process.pid, 'SIGKILL'); await new Promise(() => {});";

  test.each([
    ['before anything is on the disk', `fs.open = async () => { ${kill} };`],
    ['between the new text and its name', `fs.rename = async () => { ${kill} };`],
  ])('killed %s: the record is as it was, and what is left behind hurts nobody', async (_, code) => {
    await write('samphire.json', RECORD);
    // A process ended by a signal has no exit status: the runner reports that as an error of its own.
    await expect(addWith(code)).rejects.toThrow();
    expect(await readBack('samphire.json')).toBe(RECORD);
    expect((await runAgain()).status).toBe(0);
    expect(await readBack('samphire.json')).toContain('second hop');
  });

  test('killed right after the new text has its name: the record is the new one', async () => {
    await write('samphire.json', RECORD);
    await expect(
      addWith(`const real = fs.rename; fs.rename = async (...names) => { await real(...names); ${kill} };`),
    ).rejects.toThrow();
    const { hovers } = JSON.parse(await readBack('samphire.json')) as { hovers: object[] };
    expect(hovers).toHaveLength(2);
    expect((await run('record', 'list', 'samphire.json')).status).toBe(0);
  });

  test.each([
    ['rename', 'EIO', 'the device reports an error'],
    ['open', 'ENOSPC', 'no space is left'],
  ])('%s fails: said in one line, the record as it was, nothing left behind', async (step, code, says) => {
    await write('samphire.json', RECORD);
    const before = await digestsOf(directory);
    const outcome = await addWith(
      `fs.${step} = async () => { throw Object.assign(new Error('made to fail'), { code: '${code}' }); };`,
    );
    expect(outcome).toMatchObject({ status: 2, stdout: '' });
    expect(outcome.stderr).toBe(
      `settle: cannot write samphire.json: ${says}; the record is as it was; mend that and run the command again.\n`,
    );
    expect(await digestsOf(directory)).toEqual(before);
  });
});

describe('two who write at once', () => {
  const change = (to: string): string =>
    `const real = fs.open; let done = false; fs.open = async (name, ...rest) => {
       if (!done && String(name).endsWith('.part')) { done = true; ${to} } return real(name, ...rest); };`;

  test.each([
    ['changed', "writeFileSync('samphire.json', readFileSync('samphire.json', 'utf8') + ' ');", `${RECORD} `],
    ['gone', "await fs.rm('samphire.json');", null],
  ])('a record that has %s since it was read is left as it is', async (word, code, expected) => {
    await write('samphire.json', RECORD);
    const outcome = await addWith(change(code));
    expect(outcome).toMatchObject({ status: 2, stdout: '' });
    expect(outcome.stderr).toContain(`samphire.json has ${word} since it was read, so nothing was written`);
    expect(await readBack('samphire.json').catch(() => null)).toBe(expected);
  });

  test('a record that appears while a new one is made is left as it is', async () => {
    const outcome = await addWith(change(`writeFileSync('samphire.json', ${JSON.stringify(RECORD)});`));
    expect(outcome.stderr).toContain('samphire.json has appeared since it was read');
    expect(await readBack('samphire.json')).toBe(RECORD);
  });

  test.each<[string, () => string]>([
    // No process has a number that large: the largest Linux gives is 2^22 (proc(5)).
    ['of a run that was ended', () => `${os.hostname()} 99999999\n`],
    ['that has been there for longer than any run takes', () => 'elsewhere 1\n'],
  ])('a lock %s is no hindrance', async (_, content) => {
    await write('samphire.json', RECORD);
    await write('.samphire.json.lock', content());
    const old = new Date(Date.now() - 3_600_000);
    if (content().startsWith('elsewhere'))
      await fs.utimes(path.join(directory, '.samphire.json.lock'), old, old);
    expect((await runAgain()).status).toBe(0);
    expect((await fs.readdir(directory)).filter((name) => name.startsWith('.'))).toEqual([]);
  });

  test('a lock that another run holds is respected', async () => {
    await write('samphire.json', RECORD);
    await write('.samphire.json.lock', `${os.hostname()} ${process.pid}\n`);
    expect((await runAgain()).stderr).toContain(
      'another run of settle is writing samphire.json, so nothing was written',
    );
    expect(await readBack('samphire.json')).toBe(RECORD);
    expect((await fs.readdir(directory)).filter((name) => name.endsWith('.part'))).toEqual([]);
  });

  test('of several adding together, the record holds those that were told they succeeded, and no other', async () => {
    await write('samphire.json', RECORD);
    const names = ['a', 'b', 'c', 'd', 'e', 'f'];
    for (const name of names)
      await write(`${name}.csv`, hoverLog('all', false).replace('\n', `\n# ${name}\n`));
    const outcomes = await Promise.all(
      names.map((name) => run('record', 'add', 'samphire.json', `${name}.csv`, '--name', name)),
    );
    const succeeded = names.filter((_, index) => outcomes[index]!.status === 0);
    const { hovers } = JSON.parse(await readBack('samphire.json')) as { hovers: { name: string }[] };
    expect(succeeded.length).toBeGreaterThan(0);
    expect(hovers.map(({ name }) => name).sort()).toEqual(['first hop', ...succeeded].sort());
    for (const { status, stderr } of outcomes)
      if (status !== 0) expect(stderr).toMatch(/has changed since it was read|another run of settle/);
    expect((await fs.readdir(directory)).filter((name) => name.startsWith('.'))).toEqual([]);
  });
});

describe('a damaged record: one line with its place, exit status 2, and never rewritten', () => {
  const cases: [string, string | Uint8Array, RegExp][] = [
    [
      'cut short',
      RECORD.slice(0, -30),
      /^settle: samphire\.json:12:\d+: expected .*the record is damaged here/,
    ],
    ['empty', '', /^settle: samphire\.json:1:1: the file is empty/],
    [
      'no text',
      Buffer.concat([
        Buffer.from(RECORD.slice(0, 30)),
        Buffer.from([0xff, 0xfe]),
        Buffer.from(RECORD.slice(30)),
      ]),
      /^settle: samphire\.json:2:29: these bytes are no text/,
    ],
    ['of zeros, as after a loss of power', Buffer.alloc(400), /^settle: samphire\.json:1:1: no JSON value/],
    [
      'of a later version',
      RECORD.replace('record/1', 'record/2'),
      /^settle: samphire\.json:3:13: schema: this record is of a later version \(settle\.record\/2\)/,
    ],
    [
      'with a name twice',
      RECORD.replace('  ],', '    , { "name": "first hop", "files": ["rates.csv"] }\n  ],'),
      /^settle: samphire\.json:12:17: hover 2 name: "first hop" is the name of hover 1 too, on line 8/,
    ],
    [
      'with a field twice',
      RECORD.replace('"comment"', '"schema"'),
      /^settle: samphire\.json:3:3: "schema" stands here twice/,
    ],
    [
      'with a wrong type',
      RECORD.replace('5.90', '"5.9"'),
      /^settle: samphire\.json:9:36: hover 1 configuration massKg: /,
    ],
    [
      'with a gain that is wrong',
      RECORD.replace('1.80e-1', '-1'),
      /^settle: samphire\.json:10:\d+: hover 1 gains rate roll kp: /,
    ],
    [
      'that names a missing file',
      RECORD.replace('all.csv', 'gone.csv'),
      /^settle: samphire\.json:6:17: hover 1 files 1: cannot find "gone\.csv": there is no such file/,
    ],
  ];

  test.each(cases)('%s', async (_, content, says) => {
    await write('samphire.json', content);
    const before = await digestsOf(directory);
    for (const parameters of [
      ['add', 'samphire.json', 'rates.csv', '--name', 'x'],
      ['list', 'samphire.json'],
      ['show', 'samphire.json', 'first hop'],
    ]) {
      const outcome = await run('record', ...parameters);
      expect(outcome).toMatchObject({ status: 2, stdout: '' });
      expect(outcome.stderr).toMatch(says);
      expect(outcome.stderr).toMatch(/; .+\n$/);
      expect(outcome.stderr.trimEnd().split('\n')).toHaveLength(1);
    }
    expect(await digestsOf(directory)).toEqual(before);
  });
});

describe('list and show', () => {
  test('the example of the user guide is a record', async () => {
    const guide = await fs.readFile(path.join(ROOT, 'docs/user-guide.md'), 'utf8');
    const example = /## The tuning record.*?```json\n(.*?)```/s.exec(guide)?.[1];
    await fs.mkdir(path.join(directory, 'hover-3'));
    await write('samphire.json', example ?? 'the guide has no example');
    expect(await run('record', 'list', 'samphire.json')).toMatchObject({ status: 0, stderr: '' });
  });

  test('the demo: five hovers in a table, each with its page, gains included', async () => {
    const list = await run('record', 'list', DEMO);
    expect(list).toMatchObject({ status: 0, stderr: '' });
    expect(list.stdout).toContain('Tuning record: Samphire');
    for (const number of [1, 2, 3, 4, 5]) expect(list.stdout).toContain(`hover ${number} `);
    const show = await run('record', 'show', DEMO, 'hover 3');
    expect(show).toMatchObject({ status: 0, stderr: '' });
    const { hovers } = JSON.parse(await fs.readFile(DEMO, 'utf8')) as {
      hovers: { gains: { rate: { roll: { kp: number } } } }[];
    };
    expect(show.stdout).toContain(String(Number(hovers[2]!.gains.rate.roll.kp.toPrecision(6))));
    expect(show.stdout).toContain('Notch at 56 Hz');
  });

  test('--json prints the record, and a record of one hover, both as records that can be read', async () => {
    await write('samphire.json', RECORD);
    await run('record', 'add', 'samphire.json', 'rates.csv', '--name', 'second hop');
    const list = await run('record', 'list', 'samphire.json', '--json');
    expect(list.stdout).toBe(await readBack('samphire.json'));
    const show = await run('record', 'show', 'samphire.json', 'second hop', '--json');
    const { hovers, ...top } = JSON.parse(list.stdout) as { hovers: object[] };
    expect(JSON.parse(show.stdout)).toEqual({ ...top, hovers: hovers.slice(1) });
    await write('one.json', show.stdout);
    expect((await run('record', 'list', 'one.json')).status).toBe(0);
  });

  test('a name that is not there: the names that are', async () => {
    await write('samphire.json', RECORD);
    expect(await run('record', 'show', 'samphire.json', 'last hop')).toEqual({
      status: 2,
      stdout: '',
      stderr: 'settle: samphire.json has no hover "last hop"; it has "first hop".\n',
    });
  });

  test('text of the record cannot write over the terminal', async () => {
    await write(
      'samphire.json',
      RECORD.replace('"first hop"', '"\\u001b[2Jhop\\u202e", "note": "a\\u0007b"'),
    );
    const list = await run('record', 'list', 'samphire.json');
    // eslint-disable-next-line no-control-regex -- finding control characters is the purpose
    expect(list.stdout).not.toMatch(/[\u0000-\u0009\u000b-\u001f\u202e]/);
    expect(list.stdout).toContain('\\u{1b}[2Jhop');
  });

  test('a field that looks like a slip of the pen is kept, and said to be unused', async () => {
    await write('samphire.json', RECORD.replace('"pilot"', '"wether"'));
    expect((await run('record', 'list', 'samphire.json')).stderr).toBe(
      'settle: note: samphire.json:7:7: hover 1: "wether" is kept but not used; did you mean "weather"?\n',
    );
  });

  test.each<[string[], string]>([
    [['list'], 'no tuning record is given; name its file, such as samphire.json.'],
    [['list', 'none.json'], 'cannot read the tuning record none.json: there is no such file'],
    [['list', 'a.json', 'b.json'], 'record list takes one tuning record, not 2 names'],
    [['show', 'a.json'], 'record show takes a tuning record and the name of one hover'],
    [['shew', 'a.json'], 'record shew is no command (did you mean record show?)'],
    [[], 'which command of record is not said; settle record --help lists them.'],
  ])('settle record %j', async (parameters, says) => {
    const outcome = await run('record', ...parameters);
    expect(outcome).toMatchObject({ status: 2, stdout: '' });
    expect(outcome.stderr).toContain(`settle: ${says}`);
  });
});

describe('the hovers of a record, ready to compare', () => {
  test('every hover of the demo is read from anywhere, with its gains and its build, under its own name', async () => {
    const { record, hovers } = await loadRecord(DEMO);
    expect(record.aircraft).toBe('Samphire');
    expect(hovers.map(({ name }) => name)).toEqual([1, 2, 3, 4, 5].map((number) => `hover ${number}`));
    for (const input of hovers) {
      expect(input.gains!.rate.axes.roll.kp).toBeGreaterThan(0);
      expect(input.configuration.massKg).toBe(5.9);
    }
    const { flight } = await readHover(hovers[0]!, startProgress(true));
    expect(flight.name).toBe('hover 1');
    expect(flight.durationS).toBeGreaterThan(5);
    // One worker reads one flight: what it is given has to survive the way there.
    expect(structuredClone(hovers)).toEqual(hovers);
  });

  test('gains may be named instead of copied; the build told in the record goes before theirs', async () => {
    await write(
      'samphire.json',
      RECORD.replace(/"gains": \{.*\} \} \}/, '"gains": "gains.json"').replace('5.90', '6.4'),
    );
    const { hovers } = await loadRecord(path.join(directory, 'samphire.json'));
    expect(hovers[0]!.gains!.attitude.axes.roll.kp).toBe(6.2);
    expect(hovers[0]!.configuration).toEqual({ massKg: 6.4, wingtip: 'fitted', props: '17 in two-blade' });
  });

  test('a directory without a log is refused at its place in the record', async () => {
    await fs.mkdir(path.join(directory, 'empty'));
    await write('samphire.json', RECORD.replace('all.csv', 'empty'));
    await expect(loadRecord(path.join(directory, 'samphire.json'))).rejects.toMatchObject({
      name: 'LogError',
      line: 6,
      character: 17,
      column: 'hover 1 files 1',
    });
  });
});
