/** `--gains` and `--write-gains`: the gains that were flown, read strictly and written again with the advice. */

import { promises as fs } from 'node:fs';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { isDeepStrictEqual } from 'node:util';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { Advice, Diagnosis } from '@settle/analysis';
import { ROOT, digestsOf, makeDirectory, settle, type Outcome } from '../support/command-line.js';
import { lightLog } from '../support/hover-log.js';

const DEMO = path.join(ROOT, 'fixtures/samphire-hover-1');
const DEMO_GAINS = path.join(ROOT, 'fixtures/settings/samphire-hover-1-gains.json');

let directory = '';

beforeEach(async () => {
  directory = await makeDirectory();
  await write('hover.csv', lightLog());
});

afterEach(async () => {
  await fs.rm(directory, { recursive: true });
});

const run = (...parameters: string[]): ReturnType<typeof settle> => settle(parameters, { cwd: directory });
const write = (name: string, content: string | Uint8Array): Promise<void> =>
  fs.writeFile(path.join(directory, name), content);
const readBack = (name: string): Promise<string> => fs.readFile(path.join(directory, name), 'utf8');

let demoRun: Promise<{ outcome: Outcome; written: string | null; unchanged: boolean }> | null = null;

/** The demo's first hover with its gains: run once, and looked at by several tests. */
function diagnoseDemo(): NonNullable<typeof demoRun> {
  return (demoRun ??= (async () => {
    const own = await makeDirectory();
    const read = async (): Promise<unknown> => [
      await digestsOf(DEMO),
      await digestsOf(path.dirname(DEMO_GAINS)),
    ];
    const before = await read();
    const written = path.join(own, 'next.json');
    const outcome = await settle([
      'diagnose',
      '--json',
      DEMO,
      '--gains',
      DEMO_GAINS,
      '--write-gains',
      written,
    ]);
    const unchanged = isDeepStrictEqual(await read(), before);
    const text = await fs.readFile(written, 'utf8').catch(() => null);
    await fs.rm(own, { recursive: true });
    return { outcome, written: text, unchanged };
  })());
}

interface WrittenGains {
  readonly gains: Record<'rate' | 'attitude', Record<string, Record<string, number>>>;
}

const GAINS = `{
  "gains": {
    "rate": {
      "roll": {
        "kp": 0.18,
        "ki": 0.45
      },
      "pitch": {},
      "yaw": {}
    },
    "attitude": {
      "roll": {
        "kp": 6
      },
      "pitch": {},
      "yaw": {}
    }
  },
  "filters": {
    "gyroTap": "unknown"
  },
  "configuration": {
    "wingtip": "fitted"
  }
}
`;

const gainAdvice = (parts: Partial<Advice>): Advice => ({
  step: 1,
  kind: 'gain',
  axis: 'roll',
  loop: 'rate',
  term: 'P',
  factor: 0.5,
  basis: 'rule-of-thumb',
  because: [],
  watchFor: 'nothing',
  text: 'Made up for this test.',
  ...parts,
});

/** Runs the command line with an analysis that gives the advice it is told to: what is advised is not the matter here. */
async function runAdvised(advice: readonly Advice[], ...parameters: string[]): ReturnType<typeof settle> {
  const real = pathToFileURL(path.join(ROOT, 'packages/analysis/dist/index.js')).href;
  const made = `import * as real from ${JSON.stringify(real)};
    export * from ${JSON.stringify(real)};
    export const describeStudy = (study) => ({ ...real.describeStudy(study), advice: ${JSON.stringify(advice)} });`;
  const hook = `export const resolve = (name, context, next) => name === '@settle/analysis'
    ? { url: ${JSON.stringify(`data:text/javascript,${encodeURIComponent(made)}`)}, shortCircuit: true } : next(name, context);`;
  const register = `import { register } from 'node:module'; register('data:text/javascript,' + encodeURIComponent(${JSON.stringify(hook)}));`;
  return settle(parameters, {
    cwd: directory,
    nodeParameters: ['--import', `data:text/javascript,${encodeURIComponent(register)}`],
  });
}

describe('a gains file that can be read', () => {
  test('the gains of the demo go with its hover, and nothing read is changed', async () => {
    const { outcome, unchanged } = await diagnoseDemo();
    // Nothing but what became of the gains to be written.
    expect(outcome.stderr).toMatch(/^settle: note: [^\n]*next\.json[^\n]*\n$/);
    expect(outcome.status).toBe(0);
    expect((JSON.parse(outcome.stdout) as Diagnosis).schema).toBe('settle.diagnosis/1');
    expect(unchanged).toBe(true);
  });

  test.each([
    ['UTF-8 with a byte order mark', `\uFEFF${GAINS}`],
    ['UTF-16, as some editors save it', Buffer.from(`\uFEFF${GAINS}`, 'utf16le')],
    ['line breaks of two characters', GAINS.replaceAll('\n', '\r\n')],
  ])('%s', async (_, content) => {
    await write('gains.json', content);
    expect(await run('diagnose', 'hover.csv', '--gains', 'gains.json')).toMatchObject({
      status: 0,
      stderr: '',
    });
  });

  test('the example of the user guide is one', async () => {
    const guide = await fs.readFile(path.join(ROOT, 'docs/user-guide.md'), 'utf8');
    const example = /## Telling the gains\n.*?```json\n(.*?)```/s.exec(guide)?.[1];
    await write('gains.json', example ?? 'the guide has no example');
    expect(await run('diagnose', 'hover.csv', '--gains', 'gains.json')).toMatchObject({
      status: 0,
      stderr: '',
    });
  });

  test('a file without a gain is noted', async () => {
    await write('gains.json', '{ "filters": { "gyroLowPassHz": 60 } }');
    const { status, stderr } = await run('diagnose', 'hover.csv', '--gains', 'gains.json');
    expect({ status, stderr }).toEqual({ status: 0, stderr: 'settle: note: gains.json tells no gain\n' });
  });

  test('a unit that cannot be calculated with is noted for each loop that has gains, and not with --quiet', async () => {
    await write('gains.json', '{ "gains": { "unit": "%", "rate": { "roll": { "kp": 40 } } } }');
    const { status, stderr } = await run('diagnose', 'hover.csv', '--gains', 'gains.json');
    expect(status).toBe(0);
    expect(stderr).toBe(
      'settle: note: gains.json: the rate gains are only scaled, never calculated with: their unit "%" is not "rad/s" or "deg/s"\n',
    );
    expect((await run('diagnose', 'hover.csv', '--gains', 'gains.json', '--quiet')).stderr).toBe('');
  });
});

describe('a gains file that cannot be read: exit status 2, one line with file, line, character and what to do', () => {
  test.each([
    ['truncated', GAINS.slice(0, GAINS.indexOf('0.45')), 'gains.json:6:15: the file ends too early; correct'],
    ['empty', '', 'gains.json:1:1: the file is empty; write the gains into it'],
    ['not JSON at all', lightLog(), 'gains.json:1:1: no JSON value: "time (s)"; correct the JSON, or give'],
    ['binary', Uint8Array.from({ length: 4000 }, (_, index) => (index * 197) % 256), 'gains.json:1:1: '],
    [
      'a text where a number belongs',
      GAINS.replace('0.18', '"0.18"'),
      'gains.json:5:15: gains rate roll kp: must be a number, not a text; write it without quotes',
    ],
    [
      'a list where an object belongs',
      GAINS.replace('"pitch": {}', '"pitch": []'),
      'gains.json:8:16: gains rate pitch: must be a JSON object; write it in braces',
    ],
    [
      'a negative gain',
      GAINS.replace('0.45', '-0.45'),
      'gains.json:6:15: gains rate roll ki: a gain must not be negative; give its size',
    ],
    [
      'an unknown field',
      GAINS.replace('"ki"', '"kI "'),
      'gains.json:6:9: gains rate roll: "kI" means nothing here; did you mean ki?',
    ],
    [
      'a known field in the wrong place',
      GAINS.replace('"gyroTap": "unknown"', '"loopRateHz": 400'),
      'gains.json:20:5: filters: "loopRateHz" means nothing here; it belongs in the top of the file',
    ],
    ['a duplicate field', GAINS.replace('"ki"', '"kp"'), 'gains.json:6:9: "kp" stands here twice; correct'],
    [
      'a channel map',
      '{ "channels": { "gyro.x": "wx" } }',
      'gains.json:1:3: the gains file: "channels" means nothing here; did you mean gains?',
    ],
  ])('%s', async (_, content, message) => {
    await write('gains.json', content);
    const before = await digestsOf(directory);
    const outcome = await run('diagnose', 'hover.csv', '--gains', 'gains.json', '--write-gains', 'next.json');
    expect(outcome).toMatchObject({ status: 2, stdout: '' });
    expect(outcome.stderr).toContain(`settle: ${message}`);
    expect(outcome.stderr.trimEnd().split('\n')).toHaveLength(1);
    expect(outcome.stderr).toMatch(/; ./);
    // eslint-disable-next-line no-control-regex
    expect(outcome.stderr).not.toMatch(/[\u0000-\u0009\u000b-\u001f]/);
    expect(await digestsOf(directory)).toEqual(before);
  });

  test.each([
    [
      'no-such.json',
      'cannot read the gains file no-such.json: there is no such file or directory; check its name.',
    ],
    ['.', 'cannot read the gains file .: it is a directory; check its name.'],
  ])('%s', async (name, message) => {
    const outcome = await run('diagnose', 'hover.csv', '--gains', name);
    expect(outcome).toEqual({ status: 2, stdout: '', stderr: `settle: ${message}\n` });
  });

  test('it is found before the log is read', async () => {
    await write('gains.json', '{');
    const { stderr } = await run('diagnose', 'no-such.csv', '--gains', 'gains.json');
    expect(stderr).toContain('gains.json:1:2: ');
  });
});

describe('writing the advised gains', () => {
  const next = ['diagnose', 'hover.csv', '--gains', 'gains.json', '--write-gains', 'next.json'];

  beforeEach(async () => {
    await write('gains.json', GAINS);
  });

  test('step-1 gain advice is applied, all else is kept, and one line says what was written', async () => {
    const before = await digestsOf(directory);
    const { status, stderr } = await runAdvised(
      [
        gainAdvice({}),
        gainAdvice({ loop: 'attitude', factor: 0.75 }),
        gainAdvice({ term: 'I', step: 2, factor: 0.1 }),
      ],
      ...next,
    );
    expect({ status, stderr }).toEqual({
      status: 0,
      stderr: 'settle: note: wrote next.json: roll rate P × 0.5, roll attitude P × 0.75\n',
    });
    expect(await readBack('next.json')).toBe(
      GAINS.replace('"kp": 0.18', '"kp": 0.09').replace('"kp": 6', '"kp": 4.5'),
    );
    expect(await digestsOf(directory)).toMatchObject(before);
    // What was written is a gains file.
    expect((await run('diagnose', 'hover.csv', '--gains', 'next.json')).status).toBe(0);
  });

  test('what the file cannot say is named: gains not in it, filters, a reason not to fly', async () => {
    const { stderr } = await runAdvised(
      [
        gainAdvice({}),
        gainAdvice({ axis: 'yaw', term: 'D' }),
        gainAdvice({ loop: 'position' }),
        { ...gainAdvice({}), kind: 'filter' },
        { ...gainAdvice({}), kind: 'do-not-fly' },
      ],
      ...next,
    );
    expect(stderr).toBe(
      'settle: note: wrote next.json: roll rate P × 0.5; not in gains.json, so not in it: yaw rate D × 0.5, ' +
        'roll position P × 0.5; its filters are as they were: set those of the report yourself; the report says not to fly yet\n',
    );
    expect(await readBack('next.json')).toBe(GAINS.replace('"kp": 0.18', '"kp": 0.09'));
  });

  test('without gain advice it says so and writes nothing', async () => {
    const before = await digestsOf(directory);
    const { status, stderr } = await runAdvised([gainAdvice({ step: 2 })], ...next);
    expect({ status, stderr }).toEqual({
      status: 0,
      stderr: 'settle: note: no gain is advised to change before the next hover; next.json was not written\n',
    });
    expect(await digestsOf(directory)).toEqual(before);
  });

  test('with advice on gains the file does not tell it says so and writes nothing', async () => {
    const before = await digestsOf(directory);
    const { status, stderr } = await runAdvised([gainAdvice({ axis: 'pitch' })], ...next);
    expect({ status, stderr }).toEqual({
      status: 0,
      stderr:
        'settle: note: gains.json tells none of the gains to change (pitch rate P × 0.5); next.json was not written\n',
    });
    expect(await digestsOf(directory)).toEqual(before);
  });

  test('the gains written are those of the diagnosis printed with them', async () => {
    const { outcome, written } = await diagnoseDemo();
    const { status, stdout } = outcome;
    expect(status).toBe(0);
    const { advice } = JSON.parse(stdout) as Diagnosis;
    const expected = JSON.parse(await fs.readFile(DEMO_GAINS, 'utf8')) as WrittenGains;
    const changes = advice.filter(
      ({ step, kind, loop }) => step === 1 && kind === 'gain' && loop !== 'position',
    );
    for (const { loop, axis, term, factor } of changes) {
      const gains = expected.gains[loop as 'rate' | 'attitude'][axis!]!;
      const field = { P: 'kp', I: 'ki', D: 'kd', FF: 'kff' }[term!];
      gains[field] = Number((gains[field]! * factor!).toPrecision(12));
    }
    expect(written === null ? null : JSON.parse(written)).toEqual(changes.length === 0 ? null : expected);
  });

  test('--write-gains without --gains is bad usage', async () => {
    expect(await run('diagnose', 'hover.csv', '--write-gains', 'next.json')).toEqual({
      status: 2,
      stdout: '',
      stderr:
        'settle: --write-gains needs the gains that were flown; give them with --gains FILE; the user guide shows how to write that file.\n',
    });
  });

  test('a file that is there is kept without --force and replaced with it', async () => {
    await write('next.json', 'mine');
    const kept = await runAdvised([gainAdvice({})], ...next);
    expect(kept).toMatchObject({ status: 2, stdout: '' });
    expect(kept.stderr).toContain('next.json is already there; give another name, or --force');
    expect(await readBack('next.json')).toBe('mine');
    expect((await runAdvised([gainAdvice({})], ...next, '--force')).status).toBe(0);
    expect(await readBack('next.json')).toContain('"kp": 0.09');
  });

  test.each([
    ['the gains flown', '--write-gains', 'gains.json', 'was read for this flight'],
    ['the gains flown, by another name', '--write-gains', './link.json', 'was read for this flight'],
    ['the gains flown, as a report', '--markdown', 'gains.json', 'was read for this flight'],
    ['the channel map', '--write-gains', 'map.json', 'was read for this flight'],
    ['the log', '--write-gains', 'hover.csv', 'is one of the logs'],
    ['a name given twice', '--markdown', 'next.json', 'is named for two outputs'],
  ])('not even --force writes over %s', async (_, flag, file, says) => {
    await fs.symlink('gains.json', path.join(directory, 'link.json'));
    await write('map.json', '{ "ignore": [] }');
    const before = await digestsOf(directory);
    const others = flag === '--markdown' ? ['--write-gains', 'next.json'] : [];
    const outcome = await runAdvised(
      [gainAdvice({})],
      ...['diagnose', 'hover.csv', '--map', 'map.json', '--gains', 'gains.json', '--force'],
      ...[flag, file, ...others],
    );
    expect(outcome).toMatchObject({ status: 2, stdout: '' });
    expect(outcome.stderr).toContain(says);
    expect(await digestsOf(directory)).toEqual(before);
  });
});
