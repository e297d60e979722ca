/** `settle record show`: one hover of a tuning record. */

import type { TuningRecord } from '@settle/parser';
import { Failure } from '../failures.js';
import { printNotes } from '../flight-reading.js';
import type { OptionValues } from '../options.js';
import { openRecord, recordNotes } from '../record-input.js';
import { loadParser, loadReport } from '../stages.js';
import { describeTerminal } from '../terminal.js';

/** More names than this would hide what is wrong. */
const MOST_NAMES = 12;

export async function recordShow(operands: readonly string[], options: OptionValues): Promise<void> {
  const [file, name, ...others] = operands;
  if (name === undefined || others.length > 0)
    throw new Failure(
      `record show takes a tuning record and the name of one hover, not ${operands.length} name(s)`,
      'put a name of several words in quotes; settle record list RECORD.json lists the names',
    );
  const { record } = await openRecord(file!);
  const { isSameName } = await loadParser();
  const hover = record.hovers.find((each) => isSameName(each.name, name));
  if (hover === undefined) throw new Failure(`${file!} has no hover "${name}"`, namesIn(record));
  await printNotes(recordNotes(record), options.quiet === true);
  await printHover(record, hover.name, options);
}

function namesIn({ hovers }: TuningRecord): string {
  if (hovers.length === 0) return 'it has none yet; settle record add adds one';
  const names = hovers.slice(-MOST_NAMES).map(({ name }) => `"${name}"`);
  return `${names.length < hovers.length ? 'its last are' : 'it has'} ${names.join(', ')}`;
}

/** One hover on standard output; as JSON it is a record of that hover alone. */
export async function printHover(record: TuningRecord, name: string, options: OptionValues): Promise<void> {
  const [{ formatRecord, selectHovers }, report] = await Promise.all([loadParser(), loadReport()]);
  process.stdout.write(
    options.json === true
      ? formatRecord(selectHovers(record, [name]))
      : report.renderText(
          report.assembleHoverDocument(record, name),
          describeTerminal(process.stdout, process.env),
        ),
  );
}
