import { promises as fs } from 'node:fs';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { Diagnosis } from '@settle/analysis';
import type { Inspection } from '@settle/report';
import { digestsOf, makeDirectory, settle, type Outcome } from '../support/command-line.js';
import { DIAGNOSIS_SCHEMA, INSPECTION_SCHEMA, schemaErrors } from '../support/contract-schema.js';
import {
  DURATION_S,
  SAMPLE_RATE_HZ,
  SWING_DEG,
  SWING_DEG_S,
  SWING_HZ,
  hoverLog,
} from '../support/hover-log.js';

let directory = '';

beforeEach(async () => {
  directory = await makeDirectory();
  await fs.writeFile(path.join(directory, 'hover.csv'), hoverLog());
});

afterEach(async () => {
  await fs.rm(directory, { recursive: true });
});

const run = (...parameters: string[]): ReturnType<typeof settle> => settle(parameters, { cwd: directory });

async function diagnosisOf(...parameters: string[]): Promise<Diagnosis> {
  const outcome = await run('diagnose', '--json', ...parameters);
  expect(outcome).toMatchObject({ status: 0, stderr: '' });
  return JSON.parse(outcome.stdout) as Diagnosis;
}

const once = new Map<string, Promise<Outcome>>();

/** `hover.csv` is the same in every test: what is told of it is asked for once. */
function plain(command: 'diagnose' | 'inspect'): Promise<Outcome> {
  const known = once.get(command) ?? run(command, '--json', 'hover.csv');
  once.set(command, known);
  return known;
}

async function plainDiagnosis(): Promise<Diagnosis> {
  const outcome = await plain('diagnose');
  expect(outcome).toMatchObject({ status: 0, stderr: '' });
  return JSON.parse(outcome.stdout) as Diagnosis;
}

describe('settle diagnose', () => {
  test('--json prints one result that keeps the contract, and nothing on standard error', async () => {
    expect(schemaErrors(DIAGNOSIS_SCHEMA, await plainDiagnosis())).toEqual([]);
  });

  test('the swing that was written into the log comes out, on its axis only', async () => {
    const { axes, flight } = await plainDiagnosis();
    expect(flight.name).toBe('hover');
    expect(flight.durationS).toBeCloseTo(DURATION_S - 1 / SAMPLE_RATE_HZ, 6);
    expect(axes.roll.oscillations).toHaveLength(1);
    const [swing] = axes.roll.oscillations;
    expect(Math.abs(swing!.frequencyHz / SWING_HZ - 1)).toBeLessThan(0.02);
    expect(Math.abs(swing!.rateAmplitudeDegS / SWING_DEG_S - 1)).toBeLessThan(0.05);
    expect(Math.abs(swing!.attitudeAmplitudeDeg! / SWING_DEG - 1)).toBeLessThan(0.05);
    expect(axes.pitch.oscillations).toEqual([]);
    expect(axes.yaw.oscillations).toEqual([]);
  });

  test('two files of one flight, a directory of both and the one wide file say the same', async () => {
    await fs.mkdir(path.join(directory, 'flight'));
    await fs.writeFile(path.join(directory, 'flight/angles.csv'), hoverLog('angles'));
    await fs.writeFile(path.join(directory, 'flight/rates.TSV'), hoverLog('rates').replaceAll(',', '\t'));
    const wide = await plainDiagnosis();
    const listed = await diagnosisOf('flight/angles.csv', 'flight/rates.TSV');
    const whole = await diagnosisOf('flight');
    expect(whole.flight.name).toBe('flight');
    expect(listed.axes).toEqual(wide.axes);
    expect(whole.axes).toEqual(wide.axes);
  });

  test('the page gives verdict, units, uncertainty and cautions in plain text', async () => {
    const { status, stdout, stderr } = await run('diagnose', 'hover.csv');
    expect({ status, stderr }).toEqual({ status: 0, stderr: '' });
    expect(stdout).toMatch(/Verdict\n {2}Roll wobbles at 1\.\d+ Hz/);
    expect(stdout).toMatch(/frequency +body rate/);
    expect(stdout).toMatch(/ ± /);
    expect(stdout).toMatch(/Cautions\n {2}- /);
    expect(stdout).not.toContain('\u001b');
  });

  test('irregular motion alone yields a quiet answer with its limits', async () => {
    await fs.writeFile(path.join(directory, 'calm.csv'), hoverLog('all', false));
    const { status, stdout } = await run('diagnose', 'calm.csv');
    expect(status).toBe(0);
    expect(stdout).toContain('Nothing stands out');
    expect(stdout).toContain('good answer with limits');
    expect(stdout).toMatch(/Cautions\n {2}- /);
  });

  test('--from and --to bound what is analysed', async () => {
    const { axes } = await diagnosisOf('hover.csv', '--from', '5', '--to', '12');
    const [swing] = axes.roll.oscillations;
    expect(swing!.startS).toBeGreaterThanOrEqual(5 - 1 / SAMPLE_RATE_HZ);
    expect(swing!.endS).toBeLessThanOrEqual(12 + 1 / SAMPLE_RATE_HZ);
  });

  test('a narrow COLUMNS is kept to', async () => {
    const { stdout } = await settle(['diagnose', 'hover.csv'], {
      cwd: directory,
      environment: { COLUMNS: '50' },
    });
    expect(Math.max(...stdout.split('\n').map((line) => [...line].length))).toBeLessThanOrEqual(50);
  });

  test('the result does not depend on the time zone or the language of the machine', async () => {
    const here = await plain('diagnose');
    const there = await settle(['diagnose', '--json', 'hover.csv'], {
      cwd: directory,
      environment: { TZ: 'Asia/Kathmandu', LANG: 'de_DE.UTF-8', LC_ALL: 'de_DE.UTF-8' },
    });
    expect(there.stdout).toBe(here.stdout);
  });
});

describe('settle inspect', () => {
  test('--json prints one result that keeps the contract, and nothing on standard error', async () => {
    const outcome = await plain('inspect');
    expect(outcome).toMatchObject({ status: 0, stderr: '' });
    expect(schemaErrors(INSPECTION_SCHEMA, JSON.parse(outcome.stdout))).toEqual([]);
  });

  test('every column of the log is accounted for, with its unit and rate', async () => {
    const { stdout } = await plain('inspect');
    const { channels } = JSON.parse(stdout) as Inspection;
    expect(channels.map(({ id, column, unit }) => [id, column, unit]).sort()).toEqual([
      ['attitude.pitch.measured', 'pitch angle (deg)', 'deg'],
      ['attitude.roll.measured', 'roll angle (deg)', 'deg'],
      ['attitude.yaw.measured', 'yaw angle (deg)', 'deg'],
      ['rate.pitch.measured', 'pitch rate (deg/s)', 'deg/s'],
      ['rate.roll.measured', 'roll rate (deg/s)', 'deg/s'],
      ['rate.yaw.measured', 'yaw rate (deg/s)', 'deg/s'],
    ]);
    for (const { sampleRateHz } of channels) expect(sampleRateHz).toBeCloseTo(SAMPLE_RATE_HZ, 6);
  });

  test('the text names files, channels, phases, problems and what is missing', async () => {
    const { status, stdout } = await run('inspect', 'hover.csv');
    expect(status).toBe(0);
    for (const title of [
      'In short',
      'Files',
      'Channels',
      'Phases of flight',
      'Problems',
      'What is missing',
    ]) {
      expect(stdout).toMatch(new RegExp(`^${title}$`, 'm'));
    }
  });

  test('--write-map writes a channel map that reads the same log the same way', async () => {
    expect((await run('inspect', 'hover.csv', '--write-map', 'map.json')).status).toBe(0);
    const mapped = await diagnosisOf('hover.csv', '--map', 'map.json');
    expect(mapped.axes).toEqual((await plainDiagnosis()).axes);
  });
});

describe('files the program writes', () => {
  test('no command changes an input or leaves anything behind', async () => {
    const before = await digestsOf(directory);
    await run('inspect', 'hover.csv');
    await run('diagnose', '--json', '.');
    expect(await digestsOf(directory)).toEqual(before);
  });

  test('--markdown writes the report beside the text, and leaves no temporary file', async () => {
    const { status, stdout, stderr } = await run('diagnose', 'hover.csv', '--markdown', 'report.md');
    expect(status).toBe(0);
    expect(stdout).toContain('Verdict');
    expect(stderr).toBe('settle: note: wrote report.md\n');
    expect(await fs.readFile(path.join(directory, 'report.md'), 'utf8')).toMatch(
      /^# Hover diagnosis: hover\n/,
    );
    expect((await fs.readdir(directory)).sort()).toEqual(['hover.csv', 'report.md']);
  });

  test('a file that is there is kept, exit status 2; --force replaces it', async () => {
    const report = path.join(directory, 'report.md');
    await fs.writeFile(report, 'mine');
    const refused = await run('diagnose', 'hover.csv', '--markdown', 'report.md');
    expect(refused).toEqual({
      status: 2,
      stdout: '',
      stderr: 'settle: report.md is already there; give another name, or --force to overwrite it.\n',
    });
    expect(await fs.readFile(report, 'utf8')).toBe('mine');

    expect((await run('diagnose', 'hover.csv', '--markdown', 'report.md', '--force', '--quiet')).stderr).toBe(
      '',
    );
    expect(await fs.readFile(report, 'utf8')).toMatch(/^# Hover diagnosis/);
    expect((await fs.readdir(directory)).sort()).toEqual(['hover.csv', 'report.md']);
  });

  test('a link that points nowhere counts as a file that is there', async () => {
    await fs.symlink('nowhere', path.join(directory, 'report.md'));
    expect((await run('inspect', 'hover.csv', '--markdown', 'report.md')).status).toBe(2);
    expect(await fs.readlink(path.join(directory, 'report.md'))).toBe('nowhere');
  });

  test.each([
    ['hover.csv', 'hover.csv is one of the logs, and logs are never changed'],
    ['./link.csv', './link.csv is one of the logs, and logs are never changed'],
    ['.', '. is a directory'],
    [
      'missing/report.md',
      'cannot write missing/report.md: there is no such file or directory; create the directory',
    ],
  ])('even --force does not write to %s', async (target, message) => {
    await fs.symlink('hover.csv', path.join(directory, 'link.csv'));
    const before = await digestsOf(directory);
    const outcome = await run('diagnose', 'hover.csv', '--force', '--markdown', target);
    expect(outcome).toMatchObject({ status: 2, stdout: '' });
    expect(outcome.stderr).toContain(message);
    expect(await digestsOf(directory)).toEqual(before);
  });

  test('a report that the next run would read as a log is refused', async () => {
    const outcome = await run('diagnose', '.', '--markdown', 'report.txt');
    expect(outcome.status).toBe(2);
    expect(outcome.stderr).toContain('report.txt would be taken for a log of that flight next time');
  });

  test('two outputs cannot share one file', async () => {
    const outcome = await run('inspect', 'hover.csv', '--markdown', 'out', '--write-map', './out', '--force');
    expect(outcome.status).toBe(2);
    expect(outcome.stderr).toContain('./out is named for two outputs');
    expect(await fs.readdir(directory)).toEqual(['hover.csv']);
  });
});
