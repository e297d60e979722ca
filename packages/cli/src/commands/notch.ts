/** `settle notch`: what shakes, what each line is, and where a notch belongs. */

import { gainsNotes, readGains } from '../gains-input.js';
import { printNotes, problemNotes, readFlightFrom } from '../flight-reading.js';
import type { OptionValues } from '../options.js';
import { checkOutputs, toJson, writeOutput } from '../output.js';
import { loadAnalysis, loadReport } from '../stages.js';
import { describeTerminal, type Progress } from '../terminal.js';

export async function notch(
  operands: readonly string[],
  options: OptionValues,
  progress: Progress,
): Promise<void> {
  const gains = await readGains(options);
  const { flight, input, notes: readingNotes } = await readFlightFrom(operands, options, progress);
  const force = options.force === true;
  const isGiven = (file: string | undefined): file is string => file !== undefined;
  await checkOutputs(
    [options.markdown].filter(isGiven),
    input,
    force,
    [options.map, options.gains].filter(isGiven),
  );

  progress.show('looking for what shakes …');
  const [analysis, report] = await Promise.all([loadAnalysis(), loadReport()]);
  const placed = analysis.placeNotches(flight, {
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
    await writeOutput(options.markdown, report.notchMarkdown(placed), force);
    notes.push(`wrote ${options.markdown}`);
  }
  await printNotes(notes, options.quiet === true);
  process.stdout.write(
    options.json === true
      ? toJson(placed)
      : report.notchText(placed, describeTerminal(process.stdout, process.env)),
  );
}
