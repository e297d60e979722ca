/** `settle record list`: the hovers of a tuning record. */

import { Failure } from '../failures.js';
import { printNotes } from '../flight-reading.js';
import type { OptionValues } from '../options.js';
import { openRecord, recordNotes } from '../record-input.js';
import { loadParser, loadReport } from '../stages.js';
import { describeTerminal } from '../terminal.js';

export async function recordList(operands: readonly string[], options: OptionValues): Promise<void> {
  if (operands.length > 1)
    throw new Failure(
      `record list takes one tuning record, not ${operands.length} names`,
      'settle record show RECORD.json NAME shows one hover',
    );
  const { record } = await openRecord(operands[0]!);
  const [{ formatRecord }, report] = await Promise.all([loadParser(), loadReport()]);
  await printNotes(recordNotes(record), options.quiet === true);
  process.stdout.write(
    options.json === true
      ? formatRecord(record)
      : report.renderText(
          report.assembleRecordDocument(record),
          describeTerminal(process.stdout, process.env),
        ),
  );
}
