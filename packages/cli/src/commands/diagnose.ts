/** `settle diagnose`: the main job. What wobbles, how fast, how much, since when. */

import { printNotes, problemNotes, readFlightFrom } from '../flight-reading.js';
import type { OptionValues } from '../options.js';
import { checkOutputs, toJson, writeOutput } from '../output.js';
import { loadAnalysis, loadReport } from '../stages.js';
import { describeTerminal, type Progress } from '../terminal.js';

export async function diagnose(
  operands: readonly string[],
  options: OptionValues,
  progress: Progress,
): Promise<void> {
  const { flight, input, notes: readingNotes } = await readFlightFrom(operands, options, progress);
  const force = options.force === true;
  await checkOutputs(options.markdown === undefined ? [] : [options.markdown], input, force);

  progress.show('looking for what wobbles …');
  const [analysis, report] = await Promise.all([loadAnalysis(), loadReport()]);
  const diagnosis = analysis.diagnose(flight, {
    ...(options.from === undefined ? {} : { fromS: options.from }),
    ...(options.to === undefined ? {} : { toS: options.to }),
  });
  progress.clear();

  const notes = [...readingNotes, ...(await problemNotes(flight.problems))];
  if (options.markdown !== undefined) {
    await writeOutput(options.markdown, report.diagnosisMarkdown(diagnosis), force);
    notes.push(`wrote ${options.markdown}`);
  }
  await printNotes(notes, options.quiet === true);
  process.stdout.write(
    options.json === true
      ? toJson(diagnosis)
      : report.diagnosisText(diagnosis, describeTerminal(process.stdout, process.env)),
  );
}
