/** The files a report is written to: Markdown, HTML, and a directory of pictures. */

import path from 'node:path';
import type { ReportDocument } from '@settle/report';
import type { FlightInput } from './flight-input.js';
import type { OptionValues } from './options.js';
import { checkOutputDirectory, checkOutputs, makeOutputDirectory, writeOutput } from './output.js';
import { loadReport } from './stages.js';
import type { Progress, Terminal } from './terminal.js';

const isGiven = (file: string | undefined): file is string => file !== undefined;

/** Whether anything that is asked for shows pictures, so that they are worth working out. */
export function wantsPictures(options: OptionValues, terminal: Terminal): boolean {
  return (
    options.html !== undefined || options.charts !== undefined || (terminal.drawings && options.json !== true)
  );
}

/**
 * Checks, before any analysis, that all that is asked for may be written.
 *
 * @param more files that the command writes besides its report
 */
export async function checkReportFiles(
  options: OptionValues,
  input: Pick<FlightInput, 'realPaths' | 'directory'>,
  more: readonly (string | undefined)[] = [],
): Promise<void> {
  await checkOutputs(
    [...filesOf(options), ...more.filter(isGiven)],
    input,
    options.force === true,
    settingsOf(options),
  );
  if (options.charts !== undefined) await checkOutputDirectory(options.charts);
}

function filesOf({ markdown, html }: OptionValues): string[] {
  return [markdown, html].filter(isGiven);
}

function settingsOf({ map, gains, gainsOfEach, record }: OptionValues): string[] {
  // In the place of a gains file, a hyphen means none.
  const ofEach = (gainsOfEach ?? []).filter((file) => file !== '-');
  return [map, gains, record, ...ofEach].filter(isGiven);
}

/** @returns what was written, one line each */
export async function writeReportFiles(
  document: ReportDocument,
  input: Pick<FlightInput, 'realPaths' | 'directory'>,
  options: OptionValues,
  progress: Progress,
): Promise<string[]> {
  const report = await loadReport();
  const { charts, html, markdown } = options;
  const force = options.force === true;
  const notes: string[] = [];
  if (charts !== undefined) {
    await makeOutputDirectory(charts);
    const names = report.pictureFileNames(document).map((name) => path.join(charts, name));
    // All of them, before the first is written: half a set beside an older one would be read as one.
    await checkOutputs([...filesOf(options), ...names], input, force, settingsOf(options));
    let drawn = 0;
    for await (const { name, content } of report.renderPictures(document)) {
      progress.show(`drawing the pictures: ${String(++drawn)} of ${String(names.length)} …`);
      await writeOutput(path.join(charts, name), content, force);
    }
    notes.push(`wrote ${String(names.length)} pictures to ${charts}`);
  }
  if (html !== undefined) {
    progress.show('writing the HTML report …');
    await writeOutput(html, await report.renderHtml(document), force);
    notes.push(`wrote ${html}`);
  }
  if (markdown !== undefined) {
    const chartPath = charts === undefined ? undefined : relativePath(markdown, charts);
    await writeOutput(
      markdown,
      report.renderMarkdown(document, chartPath === undefined ? {} : { chartPath }),
      force,
    );
    notes.push(`wrote ${markdown}`);
  }
  return notes;
}

/** From the directory of a file to another directory, with `/` whatever the system. */
function relativePath(file: string, directory: string): string {
  const way = path.relative(path.dirname(path.resolve(file)), path.resolve(directory));
  return way === '' ? '.' : way.split(path.sep).join('/');
}
