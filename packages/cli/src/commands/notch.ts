/** `settle notch`: what shakes, what each line is, and where a notch belongs. */

import type { OptionValues } from '../options.js';
import { printResult } from '../print-result.js';
import { writeReportFiles } from '../report-files.js';
import { loadAnalysis, loadReport } from '../stages.js';
import { studyFromOptions } from '../study-input.js';
import type { Progress } from '../terminal.js';

export async function notch(
  operands: readonly string[],
  options: OptionValues,
  progress: Progress,
): Promise<void> {
  const { study, charts, input, notes } = await studyFromOptions(
    operands,
    options,
    progress,
    'looking for what shakes …',
  );
  const result = (await loadAnalysis()).describeNotchStudy(study);
  const document = (await loadReport()).assembleNotchDocument(result, charts);
  const written = await writeReportFiles(document, input, options, progress);
  progress.clear();
  await printResult({ result, document }, { notes, written }, options);
}
