/** HTML reports as a reader meets them: opened from disk in a browser, with the network cut. */
/// <reference lib="dom" />
/// <reference lib="dom.iterable" />
import { promises as fs } from 'node:fs';
import { createRequire } from 'node:module';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import type { Browser, BrowserContextOptions, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test, type TestContext } from 'vitest';
import { readFlight } from '@settle/parser';
import { analysisLacks, findPhases } from '@settle/analysis';
import { assembleInspection, assembleInspectionDocument, renderHtml } from '@settle/report';
import { flySticks } from '../trials/margins-trial.js';
import { toCsvFiles } from '@settle/simulator';
import { allPictures } from '../../packages/report/src/document.js';
import { makeDirectory } from '../support/command-line.js';
import { startBrowser } from '../support/browser.js';
import { exampleReports, reportOf, type ExampleReport } from '../report/example-reports.js';

const AXE = createRequire(import.meta.url).resolve('axe-core/axe.min.js');
const WIDE = { width: 1280, height: 800 };
const NARROW = { width: 360, height: 740 };
/** Widths do not change colours, nor colours widths: two looks have all of both. */
const WIDE_BY_DAY: BrowserContextOptions = { viewport: WIDE, colorScheme: 'light' };
const NARROW_BY_NIGHT: BrowserContextOptions = { viewport: NARROW, colorScheme: 'dark' };
const LOOKS = [WIDE_BY_DAY, NARROW_BY_NIGHT];

let browser: Browser | null = null;
let directory = '';
let reports: readonly ExampleReport[] = [];

beforeAll(async () => {
  browser = await startBrowser();
  if (browser === null) return;
  directory = await makeDirectory();
  reports = [...(await exampleReports()), ...hostileReports()];
  for (const report of reports) await fs.writeFile(fileOf(report), await renderHtml(report.document));
});

afterAll(async () => {
  await browser?.close();
  if (directory !== '') await fs.rm(directory, { recursive: true });
});

const fileOf = ({ name }: Pick<ExampleReport, 'name'>): string => path.join(directory, `${name}.html`);

/** A name that would be markup or script wherever it is not written as text. */
const HOSTILE_NAME = `<img src=x onerror="alert('name')"></script><script>alert(1)</script>&amp;'"\``;
const HOSTILE_HEADER = `</script><svg onload=alert(2)> p [deg/s]`;

/** A flight whose file is named, and whose header reads, as an attack would. */
function hostileReports(): ExampleReport[] {
  const [file] = toCsvFiles(flySticks(10_003)).filter(({ name }) => name.includes('rate'));
  const lines = file!.text.split('\n');
  const row = lines.findIndex((line) => line.includes(',') && !/^[-\d.]+,/.test(line));
  const header = lines[row]!.split(',');
  // A column that nothing is read from: a name that is not understood must be shown as it is.
  lines[row] = [...header, `"${HOSTILE_HEADER}"`].join(',');
  const text = lines
    .map((line, i) => (i > row && line !== '' ? `${line},${'x'.repeat(i === row + 9 ? 1 : 0)}` : line))
    .join('\n');
  const flight = readFlight([{ name: `${HOSTILE_NAME}.csv`, bytes: new TextEncoder().encode(text) }], {
    name: HOSTILE_NAME,
  });
  const inspection = assembleInspection(flight, findPhases(flight), analysisLacks(flight));
  return [
    reportOf('hostile', flight),
    { name: 'hostile-inspection', document: assembleInspectionDocument(inspection) },
  ];
}

interface Visit {
  readonly page: Page;
  /** Messages of the console, errors of scripts, requests for anything but the file itself. */
  readonly complaints: readonly string[];
  close(): Promise<void>;
}

/** Opens a report from disk in a browser that has no network. */
async function visit(
  report: Pick<ExampleReport, 'name'>,
  look: BrowserContextOptions,
  test: Pick<TestContext, 'skip'>,
): Promise<Visit> {
  if (browser === null) return test.skip('no browser');
  const context = await browser.newContext({ ...look, offline: true, reducedMotion: 'reduce' });
  const page = await context.newPage();
  const complaints: string[] = [];
  const url = pathToFileURL(fileOf(report)).href;
  page.on('console', (message) => complaints.push(`console: ${message.text()}`));
  page.on('pageerror', (error) => complaints.push(`error: ${error.message}`));
  page.on('dialog', (dialog) => {
    complaints.push(`dialog: ${dialog.message()}`);
    void dialog.dismiss();
  });
  page.on('request', (request) => {
    if (request.url() !== url && !request.url().startsWith('data:'))
      complaints.push(`request: ${request.url()}`);
  });
  await page.goto(url, { waitUntil: 'load' });
  // The words stand at once; the first chart follows.
  await page.waitForFunction(() => document.documentElement.dataset['drawn'] === 'yes');
  return { page, complaints, close: () => context.close() };
}

/** Turns the phone, or night falls: the same page in another look. */
async function wear(page: Page, { viewport, colorScheme }: BrowserContextOptions): Promise<void> {
  await page.setViewportSize(viewport!);
  await page.emulateMedia({ colorScheme: colorScheme! });
  // Charts are fitted to the page in the next frame.
  await page.evaluate(
    () => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(null)))),
  );
}

/** What is drawn of a chart: marks that show something, and whether any of it sticks out of the page. */
async function drawnCharts(page: Page): Promise<{ id: string; marks: number; wide: boolean }[]> {
  return page.evaluate(() =>
    [...document.querySelectorAll('figure.chart')].map((figure) => ({
      id: figure.id.replace(/^chart-/, ''),
      marks: figure.querySelectorAll('.canvas svg .role-mark :is(path, text, line, rect)').length,
      wide: figure.getBoundingClientRect().right > innerWidth + 1,
    })),
  );
}

describe('a report in a browser', () => {
  test('the verdict and what to do first stand on the first screen, on a phone as well', async (context) => {
    for (const look of LOOKS) {
      const { page, close } = await visit({ name: 'samphire-hover-1' }, look, context);
      const places = await page.evaluate(() =>
        ['.verdict .lead', '.first li'].map((where) => {
          const box = document.querySelector(where)!.getBoundingClientRect();
          return box.top >= 0 && box.bottom <= innerHeight && box.width > 0;
        }),
      );
      expect(places).toEqual([true, true]);
      expect(await page.locator('details[open]').count()).toBe(0);
      await close();
    }
  });

  test('from disk, without a network, every chart is drawn in any look; nothing complains or scrolls sideways', async (context) => {
    for (const report of reports.length > 0 ? reports : [{ name: 'none', document: null }]) {
      const { page, complaints, close } = await visit(report, WIDE_BY_DAY, context);
      await page.locator('#unfold').click();
      // The last demo hover holds the kinds of charts that the earlier ones do: narrow by night will do.
      const looks = /hover-5$/.test(report.name) ? [NARROW_BY_NIGHT] : LOOKS;
      for (const look of looks) {
        await wear(page, look);
        const charts = await drawnCharts(page);
        expect(charts.map(({ id }) => id).sort()).toEqual(
          allPictures(report.document!)
            .map(({ id }) => id)
            .sort(),
        );
        expect({
          report: report.name,
          empty: charts.filter(({ marks }) => marks < 2),
          wide: charts.filter(({ wide }) => wide),
          scrolls: await page.evaluate(() => document.documentElement.scrollWidth > innerWidth),
          complaints,
        }).toEqual({ report: report.name, empty: [], wide: [], scrolls: false, complaints: [] });
      }
      await close();
    }
  });

  test('axe-core finds no violation, folded and unfolded, in any look', async (context) => {
    const source = await fs.readFile(AXE, 'utf8');
    for (const name of ['samphire-hover-1', 'sticks']) {
      const { page, close } = await visit({ name }, WIDE_BY_DAY, context);
      await page.evaluate(source);
      const violations = async (): Promise<string[]> =>
        page.evaluate(async () => {
          const { axe } = globalThis as unknown as {
            axe: { run(): Promise<{ violations: { id: string; nodes: { html: string }[] }[] }> };
          };
          return (await axe.run()).violations.map(({ id, nodes }) => `${id}: ${nodes[0]!.html}`);
        });
      expect(await violations()).toEqual([]);
      await page.locator('#unfold').click();
      for (const look of LOOKS) {
        await wear(page, look);
        expect({ look, violations: await violations() }).toEqual({ look, violations: [] });
      }
      await close();
    }
  });

  test('a chart answers to the pointer, to the keys and to the buttons', async (context) => {
    const { page, complaints, close } = await visit({ name: 'samphire-hover-1' }, WIDE_BY_DAY, context);
    const figure = page.locator('figure.chart').first();
    const plot = figure.locator('.plot');
    const tip = figure.locator('.tip');
    await plot.scrollIntoViewIfNeeded();
    const box = (await plot.boundingBox())!;
    await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
    await tip.waitFor({ state: 'visible' });
    expect(await tip.textContent()).toMatch(/time \d.*rate, measured.*deg\/s/);
    const before = await tip.textContent();
    await page.mouse.move(box.x + box.width / 3, box.y + box.height / 2);
    expect(await tip.textContent()).not.toBe(before);
    await page.mouse.move(2, 2);
    expect(await tip.isVisible()).toBe(false);

    await plot.focus();
    const value = async (): Promise<number> => Number(await plot.getAttribute('aria-valuenow'));
    const start = await value();
    await page.keyboard.press('ArrowRight');
    expect(await value()).toBeGreaterThan(start);
    expect(await plot.getAttribute('aria-valuetext')).toMatch(/deg\/s/);
    await page.keyboard.press('End');
    const last = await value();
    await page.keyboard.press('Home');
    const first = await value();

    await figure.getByRole('button', { name: 'Closer' }).click();
    await plot.focus();
    await page.keyboard.press('End');
    const closer = (await value()) - first;
    expect(closer).toBeLessThan(0.6 * (last - first));
    await figure.getByRole('button', { name: 'Whole' }).click();
    await plot.focus();
    await page.keyboard.press('End');
    expect(await value()).toBeCloseTo(last, 6);
    expect(complaints).toEqual([]);
    await close();
  });

  test('names and headers that are markup or script are shown as text', async (context) => {
    for (const name of ['hostile', 'hostile-inspection']) {
      const { page, complaints, close } = await visit({ name }, WIDE_BY_DAY, context);
      await page.locator('#unfold').click();
      expect(await page.locator('h1').textContent()).toContain(HOSTILE_NAME);
      expect(await page.title()).toContain(HOSTILE_NAME);
      if (name === 'hostile-inspection')
        expect(await page.locator('main').textContent()).toContain(HOSTILE_HEADER.replace(/ \[.*/, ''));
      expect(await page.locator('img, svg[onload], [onerror]').count()).toBe(0);
      // The data of the charts, the program, and nothing else.
      expect(await page.locator('script').count()).toBe(2);
      expect(complaints).toEqual([]);
      await close();
    }
  });

  test('its policy forbids the network even where there is one', async (context) => {
    if (browser === null) return context.skip('no browser');
    const page = await browser.newPage();
    await page.goto(pathToFileURL(fileOf({ name: 'samphire-hover-1' })).href);
    const refused = await page.evaluate(
      () =>
        new Promise<string>((resolve) => {
          document.addEventListener('securitypolicyviolation', (event) => resolve(event.effectiveDirective));
          const image = document.createElement('img');
          image.src = 'https://example.org/x.png';
          document.body.append(image);
          setTimeout(() => resolve('let through'), 5000);
        }),
    );
    expect(refused).toBe('img-src');
    await page.close();
  });

  test('it prints: everything unfolded, no buttons, nothing cut off at the side', async (context) => {
    const { page, close } = await visit({ name: 'samphire-hover-1' }, WIDE_BY_DAY, context);
    await page.emulateMedia({ media: 'print' });
    await page.evaluate(() => dispatchEvent(new Event('beforeprint')));
    expect(await page.locator('details:not([open])').count()).toBe(0);
    expect(await page.locator('button:visible').count()).toBe(0);
    const pdf = await page.pdf({ format: 'A4' });
    const text = pdf.toString('latin1');
    expect(text.slice(0, 5)).toBe('%PDF-');
    // A4 is 595 by 842 points: a page that did not fit would have been made wider.
    const boxes = [...text.matchAll(/\/MediaBox \[\s*0 0 ([\d.]+) ([\d.]+)/g)];
    expect(boxes.length).toBeGreaterThan(2);
    for (const [, width] of boxes) expect(Number(width)).toBeLessThan(597);
    await close();
  });
});
