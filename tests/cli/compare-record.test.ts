/** `settle compare --record`: the hovers of a tuning record side by side. */
import { promises as fs } from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { Comparison } from '@settle/analysis';
import { digestsOf, makeDirectory, ROOT, settle } from '../support/command-line.js';

const RECORD = path.join(ROOT, 'fixtures/samphire-record.json');

let directory = '';
let comparison: Comparison;
let stderr = '';

beforeAll(async () => {
  directory = await makeDirectory();
  const before = await digestsOf(path.join(ROOT, 'fixtures'));
  const outcome = await settle(
    ['compare', '--record', RECORD, '--json', '--html', 'all.html', '--charts', 'pictures'],
    { cwd: directory },
  );
  expect(outcome.status).toBe(0);
  comparison = JSON.parse(outcome.stdout) as Comparison;
  stderr = outcome.stderr;
  expect(await digestsOf(path.join(ROOT, 'fixtures'))).toEqual(before);
});

afterAll(async () => {
  await fs.rm(directory, { recursive: true });
});

const row = (metric: string, axis: string | null): Comparison['rows'][number] =>
  comparison.rows.find((each) => each.metric === metric && each.axis === axis)!;

describe('the demo record', () => {
  test('hover 2: pitch is mended by less P; how windy the first hover was, its swing does not let tell', () => {
    expect(comparison.steps[0]).toMatchObject({ verdict: 'better', configurationChanged: false });
    expect(comparison.steps[0]!.changes).toContainEqual(expect.stringMatching(/^pitch rate P × 0\.13/));
    expect(row('rate loop gain margin', 'pitch').verdict[1]).toBe('better');
    expect(row('rate loop gain margin', 'roll').verdict[1]).toBe('same');
    expect(comparison.steps[0]!.wind).toBeNull();
    // Pitch was quick because it nearly swung: to lose that is neither better nor worse, and the reason is given.
    const bandwidth = row('bandwidth', 'pitch');
    expect(bandwidth.verdict[1] ?? 'unclear').toBe('unclear');
    expect(bandwidth.why[1]).toContain('nearly swings by itself');
  });

  test('hover 3: roll answers faster and turns gusts away, with a notch', () => {
    expect(comparison.steps[1]!.verdict).toBe('better');
    // A gusty breeze, then a light one; what was noted comes along.
    expect(comparison.steps[1]!.wind).toMatch(/^calmer/);
    expect(comparison.steps[1]!.told?.weather).toBe('light breeze');
    expect(row('bandwidth', 'roll').verdict[2]).toBe('better');
    expect(row('angle per gust', 'roll').verdict[2]).toBe('better');
    expect(comparison.steps[1]!.changes).toContainEqual(expect.stringMatching(/^notches: none → 56 Hz/));
  });

  test('hover 4: the chipped prop, and nothing of the loops', () => {
    expect(comparison.steps[2]!.verdict).toBe('worse');
    expect(row('gyro rotor line, 1 × rotor speed', null).verdict[3]).toBe('worse');
    for (const { group, verdict } of comparison.rows)
      if (group === 'loops') expect(['same', 'unclear', null]).toContain(verdict[3]);
  });

  test('hover 5: the boom’s line has fallen by a fifth: danger, and do not fly, whatever else got better', () => {
    const [first] = comparison.findings;
    expect(first).toMatchObject({ id: 'mode-falling', severity: 'danger' });
    // The settings of the demo: 27 Hz, and 21.5 Hz once the joint is cracked.
    const [from, to] = /from ([\d.]+) to ([\d.]+) Hz/.exec(first!.summary)!.slice(1).map(Number);
    expect(Math.abs(from! / 27 - 1)).toBeLessThan(0.02);
    expect(Math.abs(to! / 21.5 - 1)).toBeLessThan(0.02);
    expect(comparison.steps[3]!.verdict).toBe('worse');
    expect(comparison.advice[0]).toMatchObject({ step: 1, kind: 'do-not-fly' });
    expect(comparison.done.ready).toBe(false);
  });

  test('the report is written with its pictures, and says so', async () => {
    expect(stderr).toMatch(/wrote \d+ pictures to pictures/);
    expect(stderr).toContain('wrote all.html');
    const names = await fs.readdir(path.join(directory, 'pictures'));
    for (const picture of ['roll-over-hovers', 'roll-spectra', 'roll-steps', 'aircraft-over-hovers'])
      expect(names).toEqual(expect.arrayContaining([`${picture}.svg`, `${picture}.png`]));
    expect(await fs.readFile(path.join(directory, 'all.html'), 'utf8')).toContain('suspect a cracked');
  });
});

describe('choosing from a record', () => {
  test('names choose hovers, in the order flown', async () => {
    const { status, stdout } = await settle(['compare', 'hover 3', 'hover 1', '--record', RECORD, '--json']);
    expect(status).toBe(0);
    const chosen = JSON.parse(stdout) as Comparison;
    expect(chosen.flights.map(({ flight }) => flight.name)).toEqual(['hover 1', 'hover 3']);
  });

  test.each([
    [['hover 9', 'hover 3'], 'has no hover "hover 9"; settle record list shows their names'],
    [['hover 3'], 'compare takes two flights or more'],
    [['--gains', 'g.json'], '--gains cannot be given with --record; the record tells it for each'],
    [['--rate', '100'], '--rate cannot be given with --record'],
  ])('%j is refused in one line', async (more, message) => {
    const { status, stdout, stderr: said } = await settle(['compare', '--record', RECORD, ...more]);
    expect({ status, stdout }).toEqual({ status: 2, stdout: '' });
    expect(said).toContain(message);
    expect(said.trim().split('\n')).toHaveLength(1);
  });

  test('a damaged record is told with its place and never rewritten', async () => {
    const file = path.join(directory, 'damaged.json');
    await fs.writeFile(file, (await fs.readFile(RECORD, 'utf8')).slice(0, 900));
    const before = await digestsOf(directory);
    const { status, stderr: said } = await settle(['compare', '--record', file]);
    expect(status).toBe(2);
    expect(said).toMatch(/damaged\.json:\d+:\d+: /);
    expect(await digestsOf(directory)).toEqual(before);
  });

  test('a report never lands on the record', async () => {
    const { status, stderr: said } = await settle(
      ['compare', '--record', RECORD, '--html', RECORD, '--force'],
      { cwd: directory },
    );
    expect(status).toBe(2);
    expect(said).toContain('what is read is never changed');
  });
});
