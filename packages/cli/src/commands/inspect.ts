/** `settle inspect`: what is in a log and what it is good for. */

import { printNotes, readFlightFrom } from '../flight-reading.js';
import type { OptionValues } from '../options.js';
import { checkOutputs, toJson, writeOutput } from '../output.js';
import { loadAnalysis, loadParser, loadReport } from '../stages.js';
import { describeTerminal, type Progress } from '../terminal.js';

export async function inspect(
  operands: readonly string[],
  options: OptionValues,
  progress: Progress,
): Promise<void> {
  const { flight, input, notes } = await readFlightFrom(operands, options, progress);
  const force = options.force === true;
  const outputs = [options.markdown, options.writeMap].filter((file) => file !== undefined);
  await checkOutputs(outputs, input, force);

  progress.show('looking for phases of flight …');
  const [analysis, report] = await Promise.all([loadAnalysis(), loadReport()]);
  const isBounded = options.from !== undefined || options.to !== undefined;
  const asked = isBounded ? { startS: options.from ?? 0, endS: options.to ?? flight.durationS } : undefined;
  const inspection = report.assembleInspection(
    flight,
    analysis.findPhases(flight, asked),
    analysis.analysisLacks(flight),
  );
  progress.clear();

  if (options.markdown !== undefined) {
    await writeOutput(options.markdown, report.inspectionMarkdown(inspection), force);
  }
  if (options.writeMap !== undefined) {
    const { suggestMap } = await loadParser();
    await writeOutput(options.writeMap, suggestMap(flight), force);
  }
  await printNotes([...notes, ...outputs.map((file) => `wrote ${file}`)], options.quiet === true);
  process.stdout.write(
    options.json === true
      ? toJson(inspection)
      : report.inspectionText(inspection, describeTerminal(process.stdout, process.env)),
  );
}
