import { spawn } from 'node:child_process';
import { promises as fs } from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { COMMANDS, OPTIONS, optionsAsMarkdown } from '../../packages/cli/src/options.js';
import { ROOT, makeDirectory, settle } from '../support/command-line.js';
import { hoverLog } from '../support/hover-log.js';

let directory = '';
let log = '';

beforeAll(async () => {
  directory = await makeDirectory();
  log = path.join(directory, 'hover.csv');
  await fs.writeFile(log, hoverLog());
});

afterAll(async () => {
  await fs.rm(directory, { recursive: true });
});

describe('help and version', () => {
  test('--version prints the version of the package and nothing else', async () => {
    const manifest = JSON.parse(await fs.readFile(path.join(ROOT, 'packages/cli/package.json'), 'utf8')) as {
      version: string;
    };
    expect(await settle(['--version'])).toEqual({ status: 0, stdout: `${manifest.version}\n`, stderr: '' });
  });

  test('--version loads neither the parser, the analysis nor the report', async () => {
    // A loader that refuses the heavy packages: they are loaded when a command needs them, which keeps the answer quick.
    const hook =
      'export const resolve = (name, context, next) => { if (name.startsWith("@settle/")) throw new Error("loaded " + name); return next(name, context); };';
    const register = `import { register } from 'node:module'; register('data:text/javascript,' + encodeURIComponent(${JSON.stringify(hook)}));`;
    const nodeParameters = ['--import', `data:text/javascript,${encodeURIComponent(register)}`];
    expect(await settle(['--version'], { nodeParameters })).toMatchObject({ status: 0, stderr: '' });
    // The hook does bite where they are loaded.
    expect(await settle(['diagnose', log], { nodeParameters })).toMatchObject({ status: 1 });
  });

  test('--help lists every command there is, the exit statuses and the caution on props', async () => {
    const { status, stdout, stderr } = await settle(['--help']);
    expect({ status, stderr }).toEqual({ status: 0, stderr: '' });
    for (const { name } of COMMANDS) expect(stdout).toMatch(new RegExp(`^ {2}${name.split(' ')[0]!} `, 'm'));
    expect(stdout).toContain('0 analysed; 2 bad usage or unreadable input; 3 the log cannot support');
    expect(stdout).toContain('props injure');
  });

  test.each(COMMANDS)('$name --help lists its options and no others', async ({ name, options }) => {
    const { status, stdout } = await settle([...name.split(' '), '--help']);
    expect(status).toBe(0);
    const listed = [...stdout.matchAll(/^ {2}(--[-a-z]+(?: [A-Z]+)?) {2}/gm)].map(([, flags]) => flags);
    expect(listed).toEqual([...options.map((key) => OPTIONS[key].flags), '--help']);
  });

  test('settle record --help lists its commands', async () => {
    const { status, stdout } = await settle(['record', '--help']);
    expect(status).toBe(0);
    for (const name of ['add', 'list', 'show']) expect(stdout).toMatch(new RegExp(`^ {2}${name} `, 'm'));
  });

  test('the option table of the user guide is the one the program is built from', async () => {
    const guide = await fs.readFile(path.join(ROOT, 'docs/user-guide.md'), 'utf8');
    expect(guide).toContain(optionsAsMarkdown());
  });
});

describe('bad usage: exit status 2, one line that says what to do, nothing on standard output', () => {
  test.each([
    [[], 'no command is given; settle --help lists them.'],
    [['diagnos', 'x'], "unknown command 'diagnos' (did you mean diagnose?)"],
    [['diagnose'], 'no flight is given; name a CSV file'],
    [['inspect'], 'no flight is given; name a CSV file'],
    [
      ['inspect', 'a.csv', 'b.csv'],
      'inspect takes one FLIGHT, not 2; put the files of the flight into one directory',
    ],
    [['compare'], 'compare takes two flights or more, in the order they were flown'],
    [['compare', 'LOG'], 'compare takes two flights or more, in the order they were flown'],
    [
      ['compare', 'LOG', 'b.csv', 'c.csv', '--gains', 'x', '--gains', 'y'],
      '--gains is given 2 times for 3 flights; give one per flight in their order',
    ],
    [['compare', 'LOG', 'no-such.csv'], 'cannot read no-such.csv: there is no such file'],
    [['diagnose', '--frm', '2', 'LOG'], "unknown option '--frm' (did you mean --from?)"],
    [
      ['diagnose', 'LOG', '--rate', '4oo'],
      '--rate wants samples per second, not "4oo"; give a number above zero',
    ],
    [['diagnose', 'LOG', '--rate', '0'], '--rate wants samples per second, not "0"'],
    [['diagnose', 'LOG', '--rate', '-5'], '--rate wants samples per second, not "-5"'],
    [['diagnose', 'LOG', '--rate', 'Infinity'], '--rate wants samples per second, not "Infinity"'],
    [['diagnose', 'LOG', '--rate', '1,5'], 'with a decimal point, such as 400'],
    [['diagnose', 'LOG', '--rate', ''], '--rate wants samples per second, not ""'],
    [['diagnose', 'LOG', '--rate'], "option '--rate HZ' argument missing"],
    [['diagnose', 'LOG', '--from', 'two'], '--from wants seconds from the first sample, not "two"'],
    [['diagnose', 'LOG', '--to', '-1'], '--to wants seconds from the first sample, not "-1"'],
    [['diagnose', 'LOG', '--from', '9', '--to', '4'], '--from 9 is not before --to 4; give an earlier start'],
    [['diagnose', 'LOG', '--from', '4', '--to', '4'], '--from 4 is not before --to 4'],
    [
      ['diagnose', 'LOG', '--from', '4000'],
      '--from 4000 is after the end of the flight; the log lasts 20.0 s',
    ],
    [
      ['diagnose', 'LOG', '--segment', '0'],
      '--segment wants the number of a piece, not "0"; count the pieces from 1',
    ],
    [['diagnose', 'LOG', '--segment', '1.5'], '--segment wants the number of a piece, not "1.5"'],
    [
      ['diagnose', 'LOG', '--map', 'no-such-map.json'],
      'cannot read the channel map no-such-map.json: there is no such file',
    ],
    [['diagnose', 'LOG', '--write-map', 'x'], "unknown option '--write-map'"],
  ])('settle %j', async (parameters, message) => {
    const outcome = await settle(
      parameters.map((parameter) => (parameter === 'LOG' ? log : parameter)),
      { cwd: directory },
    );
    expect(outcome).toMatchObject({ status: 2, stdout: '' });
    expect(outcome.stderr).toContain(`settle: ${message.startsWith('with ') ? '' : message}`);
    expect(outcome.stderr).toContain(message);
    expect(outcome.stderr.trimEnd().split('\n')).toHaveLength(1);
  });
});

describe('a defect', () => {
  test('is called one, names the fault and exits with 1', async () => {
    const broken = 'JSON.stringify = () => { throw new RangeError("made to fail"); };';
    const outcome = await settle(['diagnose', '--json', log], {
      nodeParameters: ['--import', `data:text/javascript,${encodeURIComponent(broken)}`],
    });
    expect(outcome).toMatchObject({ status: 1, stdout: '' });
    expect(outcome.stderr).toMatch(
      /^settle: defect: RangeError: made to fail; the fault is in settle, not in your log/,
    );
    expect(outcome.stderr.trimEnd().split('\n')).toHaveLength(1);
  });
});

describe('standard output that ends early', () => {
  test('a reader that closes the pipe at once is no error', async () => {
    const child = spawn(
      process.execPath,
      [path.join(ROOT, 'packages/cli/dist/main.js'), 'diagnose', '--json', log],
      {
        stdio: ['ignore', 'pipe', 'pipe'],
      },
    );
    let stderr = '';
    child.stderr.on('data', (chunk: Buffer) => (stderr += chunk.toString()));
    child.stdout.destroy();
    const status = await new Promise((resolve) => child.on('close', resolve));
    expect({ status, stderr }).toEqual({ status: 0, stderr: '' });
  });

  test.skipIf(process.platform !== 'linux')(
    'a full device is reported in one line, exit status 2',
    async () => {
      const full = await fs.open('/dev/full', 'w');
      try {
        const child = spawn(
          process.execPath,
          [path.join(ROOT, 'packages/cli/dist/main.js'), 'diagnose', log],
          {
            stdio: ['ignore', full.fd, 'pipe'],
          },
        );
        let stderr = '';
        child.stderr!.on('data', (chunk: Buffer) => (stderr += chunk.toString()));
        const status = await new Promise((resolve) => child.on('close', resolve));
        expect(status).toBe(2);
        expect(stderr).toBe(
          'settle: cannot write to standard output: no space is left; free it and run again.\n',
        );
      } finally {
        await full.close();
      }
    },
  );
});
