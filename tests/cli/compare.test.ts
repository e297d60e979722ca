import { promises as fs } from 'node:fs';
import path from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { Comparison } from '@settle/analysis';
import { makeDirectory, ROOT, settle } from '../support/command-line.js';
import { COMPARISON_SCHEMA, schemaErrors } from '../support/contract-schema.js';

const hover = (n: number): string => path.join(ROOT, `fixtures/samphire-hover-${String(n)}`);
const gainsOf = (n: number): string =>
  path.join(ROOT, `fixtures/settings/samphire-hover-${String(n)}-gains.json`);
const all = [1, 2, 3, 4, 5];

let directory = '';
let comparison: Comparison;

beforeAll(async () => {
  directory = await makeDirectory();
  const outcome = await settle([
    'compare',
    '--json',
    ...all.map(hover),
    ...all.flatMap((n) => ['--gains', gainsOf(n)]),
  ]);
  expect(outcome).toMatchObject({ status: 0 });
  comparison = JSON.parse(outcome.stdout) as Comparison;
});

afterAll(async () => {
  await fs.rm(directory, { recursive: true });
});

describe('the demo record of five hovers', () => {
  test('--json prints one result that keeps the contract, flights in the order given', () => {
    expect(schemaErrors(COMPARISON_SCHEMA, comparison)).toEqual([]);
    expect(comparison.flights.map(({ flight }) => flight.name)).toEqual(
      all.map((n) => `samphire-hover-${String(n)}`),
    );
    for (const row of comparison.rows)
      expect([row.values.length, row.std.length, row.verdict.length, row.verdict[0]]).toEqual([
        5,
        5,
        5,
        null,
      ]);
  });

  const verdicts = (metric: string, axis: string | null): unknown =>
    comparison.rows.find((row) => row.metric === metric && row.axis === axis)?.verdict.slice(1);

  test('hover 2: the pitch loop, far too tight, is mended', () => {
    expect(comparison.steps[0]).toMatchObject({ verdict: 'better' });
    expect(comparison.steps[0]!.changes).toEqual([expect.stringMatching(/^pitch rate P × 0\.1/)]);
    expect((verdicts('rate loop gain margin', 'pitch') as string[])[0]).toBe('better');
  });

  test('hover 3: gusts move roll less, whatever the plant, and what notch was put in is told', () => {
    expect((verdicts('angle per gust', 'roll') as string[])[1]).toBe('better');
    expect(comparison.steps[1]!.changes).toContainEqual(expect.stringMatching(/^notches: none → \d+ Hz/));
  });

  test('hover 4: the chipped prop shows as rotor vibration, three times as strong', () => {
    const row = comparison.rows.find(({ metric }) => metric === 'gyro rotor line, 1 × rotor speed')!;
    expect(row.verdict.slice(3)).toEqual(['worse', 'better']);
    expect(row.values[3]! / row.values[2]!).toBeGreaterThan(2.5);
  });

  test('hover 5: a structural line has appeared near 21.5 Hz, and nobody flies before it is inspected', () => {
    const finding = comparison.findings.find(
      ({ id }) => id === 'structural-resonance' || id === 'mode-falling',
    )!;
    expect(finding.summary).toMatch(/2[12]\.\d Hz/);
    expect(comparison.advice[0]!.text).toMatch(/inspect/);
    expect(comparison.done.ready).toBe(false);
  });

  test('raw motion is never called better or worse', () => {
    for (const row of comparison.rows)
      if (row.metric.endsWith('RMS') && row.group === 'motion')
        expect(row.verdict).toEqual([null, null, null, null, null]);
  });
});

/** A hover with its rates alone, which takes a fraction of the time: what is compared does not matter here. */
async function ratesOf(n: number): Promise<string> {
  const light = path.join(directory, `samphire-hover-${String(n)}`);
  await fs.mkdir(light, { recursive: true });
  await fs.copyFile(path.join(hover(n), 'rate.csv'), path.join(light, 'rate.csv'));
  return light;
}

describe('settle compare', () => {
  test('one flight that cannot be read: one line that names it, exit status 2, and nothing else', async () => {
    const broken = path.join(directory, 'broken.csv');
    await fs.writeFile(broken, 'not,a\nlog,at all\n');
    const { status, stdout, stderr } = await settle(['compare', await ratesOf(3), broken, await ratesOf(4)]);
    expect({ status, stdout }).toEqual({ status: 2, stdout: '' });
    expect(stderr).toMatch(/^settle: broken: /);
  });

  test('one that never left the ground is left out and said so, as long as two others can be compared', async () => {
    const parked = path.join(directory, 'parked');
    await fs.mkdir(parked);
    const still = ['time_s,roll_rate_rad_s,pitch_rate_rad_s,yaw_rate_rad_s,motor_1,motor_2,motor_3,motor_4'];
    for (let k = 0; k < 4000; k++) still.push(`${(k / 200).toFixed(3)},0.001,-0.001,0.0005,0,0,0,0`);
    await fs.writeFile(path.join(parked, 'rates.csv'), still.join('\n'));

    const file = path.join(directory, 'left-out.md');
    const [first, second] = [await ratesOf(1), await ratesOf(3)];
    const outcome = await settle(['compare', '--json', first, second, parked, '--markdown', file]);
    expect(outcome).toMatchObject({ status: 0 });
    const { flights, leftOut, done } = JSON.parse(outcome.stdout) as Comparison;
    expect(flights).toHaveLength(2);
    expect(leftOut).toEqual([{ name: 'parked', why: expect.stringMatching(/;.+\.$/), isLatest: true }]);
    expect(done.missing).toContain('parked, flown after samphire-hover-3, could not be analysed');
    expect(await fs.readFile(file, 'utf8')).toMatch(
      /parked is left out: .+ What it did is not known here, so the next step starts from samphire/,
    );

    const tooFew = await settle(['compare', first, parked]);
    expect(tooFew).toMatchObject({ status: 3, stdout: '' });
    expect(tooFew.stderr).toMatch(/^settle: parked: /);
  });

  test('the same flight twice is refused, by whatever names', async () => {
    const again = path.join(hover(3), '..', 'samphire-hover-3');
    const { status, stderr } = await settle(['compare', hover(3), again]);
    expect(status).toBe(2);
    expect(stderr).toContain('are the same flight; name every flight once');
  });

  test('verdict first, then the next step, cautions last; the same as Markdown, never over a log or without --force', async () => {
    const file = path.join(directory, 'report.md');
    const [first, second] = [await ratesOf(1), await ratesOf(3)];
    const { status, stdout, stderr } = await settle([
      ...['compare', first, second, '--markdown', file, '--quiet'],
    ]);
    expect({ status, stderr }).toEqual({ status: 0, stderr: '' });
    const order = ['Verdict', 'Next step', 'Vibration', 'Cautions'].map((title) =>
      stdout.indexOf(`\n${title}\n`),
    );
    expect(order).toEqual([...order].sort((a, b) => a - b));
    expect(Math.min(...order)).toBeGreaterThan(0);
    expect(await fs.readFile(file, 'utf8')).toContain('# Hovers side by side');
    const again = await settle(['compare', first, second, '--markdown', file]);
    expect(again).toMatchObject({ status: 2, stdout: '' });
    const log = path.join(second, 'rate.csv');
    const over = await settle(['compare', first, second, '--markdown', log, '--force']);
    expect(over.stderr).toContain('logs are never changed');
  });
});
