/** `settle notch`: what shakes, what each line is, and where a notch belongs. */

import { gainsNotes, readGains } from '../gains-input.js';
import { printNotes, problemNotes, readFlightFrom } from '../flight-reading.js';
import type { OptionValues } from '../options.js';
import { toJson } from '../output.js';
import { checkReportFiles, wantsPictures, writeReportFiles } from '../report-files.js';
import { loadAnalysis, loadReport } from '../stages.js';
import { studyOptions } from '../study-options.js';
import { describeTerminal, type Progress } from '../terminal.js';

export async function notch(
  operands: readonly string[],
  options: OptionValues,
  progress: Progress,
): Promise<void> {
  const gains = await readGains(options);
  const { flight, input, notes: readingNotes } = await readFlightFrom(operands, options, progress);
  await checkReportFiles(options, input);

  progress.show('looking for what shakes …');
  const [analysis, report] = await Promise.all([loadAnalysis(), loadReport()]);
  const study = analysis.studyFlight(flight, studyOptions(options, gains));
  const placed = analysis.describeNotchStudy(study);
  const terminal = describeTerminal(process.stdout, process.env);
  const charts = wantsPictures(options, terminal)
    ? report.assembleCharts(analysis.pictureData(study))
    : report.NO_CHARTS;
  const document = report.assembleNotchDocument(placed, charts);

  const written = await writeReportFiles(document, input, options, progress);
  progress.clear();
  const notes = [
    ...readingNotes,
    ...(await problemNotes(flight.problems)),
    ...(gains === null ? [] : gainsNotes(gains)),
  ];
  await printNotes(notes, options.quiet === true);
  process.stdout.write(options.json === true ? toJson(placed) : report.renderText(document, terminal));
  // Last, where it is still seen after a long page.
  await printNotes(written, options.quiet === true);
}
