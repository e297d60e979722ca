/** The end of every command that reports: notes, the result, and what was written. */

import type { ReportDocument } from '@settle/report';
import { printNotes } from './flight-reading.js';
import type { OptionValues } from './options.js';
import { toJson } from './output.js';
import { loadReport } from './stages.js';
import { describeTerminal } from './terminal.js';

/**
 * @param result printed as JSON where that is asked for, else `document` as text
 * @param written files that were written, one line each
 */
export async function printResult(
  { result, document }: { readonly result: object; readonly document: ReportDocument },
  { notes, written }: { readonly notes: readonly string[]; readonly written: readonly string[] },
  options: OptionValues,
): Promise<void> {
  const { renderText } = await loadReport();
  const quiet = options.quiet === true;
  await printNotes(notes, quiet);
  process.stdout.write(
    options.json === true
      ? toJson(result)
      : renderText(document, describeTerminal(process.stdout, process.env)),
  );
  // Last, where it is still seen after a long page.
  await printNotes(written, quiet);
}
