/** `settle diagnose`: the main job. What wobbles, how fast, how much, since when. */

import { changeGains, gainsNotes, readGains } from '../gains-input.js';
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
  const gains = await readGains(options);
  const { flight, input, notes: readingNotes } = await readFlightFrom(operands, options, progress);
  const force = options.force === true;
  const isGiven = (file: string | undefined): file is string => file !== undefined;
  const outputs = [options.markdown, options.writeGains].filter(isGiven);
  await checkOutputs(outputs, input, force, [options.map, options.gains].filter(isGiven));

  progress.show('looking for what wobbles …');
  const [analysis, report] = await Promise.all([loadAnalysis(), loadReport()]);
  const diagnosis = analysis.diagnose(flight, {
    ...(options.from === undefined ? {} : { fromS: options.from }),
    ...(options.to === undefined ? {} : { toS: options.to }),
    ...(gains === null ? {} : { gains }),
  });
  progress.clear();

  const notes = [
    ...readingNotes,
    ...(await problemNotes(flight.problems)),
    ...(gains === null ? [] : gainsNotes(gains)),
  ];
  if (options.markdown !== undefined) {
    await writeOutput(options.markdown, report.diagnosisMarkdown(diagnosis), force);
    notes.push(`wrote ${options.markdown}`);
  }
  if (options.writeGains !== undefined && gains !== null) {
    const changed = await changeGains(gains, diagnosis, options.writeGains);
    if (changed.text !== null) await writeOutput(options.writeGains, changed.text, force);
    notes.push(changed.note);
  }
  await printNotes(notes, options.quiet === true);
  process.stdout.write(
    options.json === true
      ? toJson(diagnosis)
      : report.diagnosisText(diagnosis, describeTerminal(process.stdout, process.env)),
  );
}
