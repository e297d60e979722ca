/** `settle inspect`: what is in a log and what it is good for. */

import { readFlightFrom } from '../flight-reading.js';
import type { OptionValues } from '../options.js';
import { writeOutput } from '../output.js';
import { printResult } from '../print-result.js';
import { checkReportFiles, writeReportFiles } from '../report-files.js';
import { loadAnalysis, loadParser, loadReport } from '../stages.js';
import type { Progress } from '../terminal.js';

export async function inspect(
  operands: readonly string[],
  options: OptionValues,
  progress: Progress,
): Promise<void> {
  const { flight, input, notes } = await readFlightFrom(operands, options, progress);
  await checkReportFiles(options, input, [options.writeMap]);

  progress.show('looking for phases of flight …');
  const [analysis, report] = await Promise.all([loadAnalysis(), loadReport()]);
  const isBounded = options.from !== undefined || options.to !== undefined;
  const asked = isBounded ? { startS: options.from ?? 0, endS: options.to ?? flight.durationS } : undefined;
  const inspection = report.assembleInspection(
    flight,
    analysis.findPhases(flight, asked),
    analysis.analysisLacks(flight),
  );
  const document = report.assembleInspectionDocument(inspection);

  const written = await writeReportFiles(document, input, options, progress);
  if (options.writeMap !== undefined) {
    const { suggestMap } = await loadParser();
    await writeOutput(options.writeMap, suggestMap(flight), options.force === true);
    written.push(`wrote ${options.writeMap}`);
  }
  progress.clear();
  await printResult({ result: inspection, document }, { notes, written }, options);
}
