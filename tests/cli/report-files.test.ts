/** The files a report is written to: HTML, Markdown, pictures; what is never overwritten. */
import { promises as fs } from 'node:fs';
import path from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { digestsOf, makeDirectory, settle } from '../support/command-line.js';
import { hoverLog } from '../support/hover-log.js';

let directory = '';

beforeEach(async () => {
  directory = await makeDirectory();
  await fs.writeFile(path.join(directory, 'hover.csv'), hoverLog());
});

afterEach(async () => {
  await fs.rm(directory, { recursive: true });
});

const run = (...parameters: string[]): ReturnType<typeof settle> => settle(parameters, { cwd: directory });
const read = (name: string): Promise<string> => fs.readFile(path.join(directory, name), 'utf8');

describe('reports as files', () => {
  test('diagnose writes HTML, Markdown and pictures in one go and leaves the log as it was', async () => {
    await fs.mkdir(path.join(directory, 'out'));
    const before = await digestsOf(directory);
    const { status, stderr } = await run(
      ...['diagnose', 'hover.csv', '--html', 'out/page.html', '--markdown', 'out/page.md'],
      ...['--charts', 'my pictures'],
    );
    expect(status).toBe(0);
    expect(stderr).toMatch(/wrote \d+ pictures to my pictures/);
    expect(stderr).toContain('wrote out/page.html');
    expect((await digestsOf(directory))['hover.csv']).toBe(before['hover.csv']);

    const html = await read('out/page.html');
    expect(html).toMatch(/^<!doctype html>/);
    expect(html).toContain("default-src 'none'");
    expect(html).not.toMatch(/(?:src|href)="(?!data:)/);

    // Pictures by relative path, each of which is there.
    const targets = [...(await read('out/page.md')).matchAll(/!\[[^\]]+\]\(([^)]+)\)/g)].map(([, to]) => to!);
    expect(targets.length).toBeGreaterThan(3);
    for (const target of targets) {
      expect(target).toMatch(/^\.\.\/my%20pictures\/[a-z-]+\.png$/);
      await fs.access(path.join(directory, 'out', decodeURIComponent(target)));
    }
    const names = await fs.readdir(path.join(directory, 'my pictures'));
    expect(names.filter((name) => name.endsWith('.svg')).length).toBe(names.length / 2);
    expect(targets.length).toBe(names.length / 2);
  });

  test('notch and inspect write HTML too', async () => {
    for (const command of ['notch', 'inspect']) {
      const { status, stdout } = await run(command, 'hover.csv', '--html', `${command}.html`, '--json');
      expect(status).toBe(0);
      JSON.parse(stdout);
      expect(await read(`${command}.html`)).toMatch(/^<!doctype html>/);
    }
  });

  test('nothing that is there is overwritten without --force, and half a set of pictures is never written', async () => {
    await fs.mkdir(path.join(directory, 'pictures'));
    await fs.writeFile(path.join(directory, 'pictures/flight.png'), 'mine');
    const refused = await run('diagnose', 'hover.csv', '--charts', 'pictures', '--html', 'page.html');
    expect(refused.status).toBe(2);
    expect(refused.stderr).toMatch(/pictures\/flight\.png is already there; give another name, or --force/);
    expect(await fs.readdir(path.join(directory, 'pictures'))).toEqual(['flight.png']);
    expect(await read('pictures/flight.png')).toBe('mine');
    await expect(read('page.html')).rejects.toThrow('ENOENT');

    const forced = await run('diagnose', 'hover.csv', '--charts', 'pictures', '--force');
    expect(forced.status).toBe(0);
    expect((await fs.readFile(path.join(directory, 'pictures/flight.png'))).subarray(1, 4).toString()).toBe(
      'PNG',
    );
  });

  test.each([
    ['a log', ['--html', 'hover.csv'], 'hover.csv is one of the logs'],
    ['a directory', ['--html', '.'], '. is a directory'],
    ['a file where pictures go', ['--charts', 'hover.csv'], 'hover.csv is a file, not a directory'],
    ['nowhere', ['--charts', 'no/such/place'], 'cannot write to no/such/place'],
    ['one name twice', ['--html', 'a.html', '--markdown', 'a.html'], 'a.html is named for two outputs'],
  ])('%s is refused before anything is analysed', async (_, options, message) => {
    const before = await digestsOf(directory);
    const { status, stderr, stdout } = await run('diagnose', 'hover.csv', ...options, '--force');
    expect({ status, stdout }).toEqual({ status: 2, stdout: '' });
    expect(stderr).toContain(message);
    expect(stderr.trim().split('\n')).toHaveLength(1);
    expect(await digestsOf(directory)).toEqual(before);
  });
});
