/** `settle diagnose`: the main job. What wobbles, how fast, how much, since when. */

import { changeGains } from '../gains-input.js';
import type { OptionValues } from '../options.js';
import { writeOutput } from '../output.js';
import { printResult } from '../print-result.js';
import { writeReportFiles } from '../report-files.js';
import { loadAnalysis, loadReport } from '../stages.js';
import { studyFromOptions } from '../study-input.js';
import type { Progress } from '../terminal.js';

export async function diagnose(
  operands: readonly string[],
  options: OptionValues,
  progress: Progress,
): Promise<void> {
  const { study, charts, gains, input, notes } = await studyFromOptions(
    operands,
    options,
    progress,
    'looking for what wobbles …',
    [options.writeGains],
  );
  const result = (await loadAnalysis()).describeStudy(study);
  const document = (await loadReport()).assembleDiagnosisDocument(result, charts);
  const written = await writeReportFiles(document, input, options, progress);
  if (options.writeGains !== undefined && gains !== null) {
    const changed = await changeGains(gains, result, options.writeGains);
    if (changed.text !== null) await writeOutput(options.writeGains, changed.text, options.force === true);
    written.push(changed.note);
  }
  progress.clear();
  await printResult({ result, document }, { notes, written }, options);
}
