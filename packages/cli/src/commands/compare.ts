/** `settle compare`: hovers of one aircraft side by side. */

import { Failure } from '../failures.js';
import { locateFlight } from '../flight-input.js';
import { readSettingsText } from '../flight-reading.js';
import type { HoverJob } from '../hover-job.js';
import type { OptionValues } from '../options.js';
import { printResult } from '../print-result.js';
import { loadRecord, recordNotes } from '../record-input.js';
import { checkReportFiles, wantsPictures, writeReportFiles } from '../report-files.js';
import { loadAnalysis, loadParser, loadReport } from '../stages.js';
import { summariseFlights } from '../summarise-flights.js';
import { describeTerminal, type Progress } from '../terminal.js';

/** Flights to compare, none of them read yet. */
interface Sequence {
  readonly jobs: readonly HoverJob[];
  /** Every log, by real path, so that no output lands on one. */
  readonly realPaths: ReadonlySet<string>;
  readonly notes: readonly string[];
  /** As the record tells; null without one. */
  readonly aircraft: string | null;
}

export async function compare(
  operands: readonly string[],
  options: OptionValues,
  progress: Progress,
): Promise<void> {
  const { jobs, realPaths, notes, aircraft } =
    options.record === undefined
      ? await sequenceOfFlights(operands, options)
      : await sequenceOfRecord(options.record, operands, options);
  const input = { realPaths, directory: null };
  await checkReportFiles(options, input);
  const terminal = describeTerminal(process.stdout, process.env);
  const withPictures = wantsPictures(options, terminal);

  const { hovers, leftOut } = await summariseFlights(jobs, withPictures, progress);
  progress.show('comparing …');
  const [analysis, report] = await Promise.all([loadAnalysis(), loadReport()]);
  const comparison = analysis.compareHovers(
    hovers.map(({ summary }) => summary),
    leftOut,
  );
  const pictures = hovers.flatMap(({ picture }) => (picture === null ? [] : [picture]));
  const document = report.assembleComparisonDocument(comparison, pictures, aircraft);

  const written = await writeReportFiles(document, input, options, progress);
  progress.clear();
  await printResult(
    { result: comparison, document },
    { notes: [...notes, ...hovers.flatMap((hover) => hover.notes)], written },
    options,
  );
}

/** In the place of a gains file: this flight has none. */
const NONE = '-';
const TWO = 'compare takes two flights or more, in the order they were flown';

async function sequenceOfFlights(operands: readonly string[], options: OptionValues): Promise<Sequence> {
  if (operands.length < 2)
    throw new Failure(
      TWO,
      'name each as a CSV file or a directory; several files of one flight go into one directory',
    );
  const gains = options.gainsOfEach ?? [];
  if (gains.length > 1 && gains.length !== operands.length)
    throw new Failure(
      `--gains is given ${String(gains.length)} times for ${String(operands.length)} flights`,
      'give one per flight in their order ("-" for a flight without one), or one for all',
    );
  const located = [];
  for (const operand of operands) located.push(await locateFlight([operand]));
  const owner = new Map<string, string>();
  located.forEach(({ realPaths }, i) => {
    for (const real of realPaths) {
      const earlier = owner.get(real);
      if (earlier !== undefined)
        throw new Failure(`${operands[i]!} and ${earlier} are the same flight`, 'name every flight once');
      owner.set(real, operands[i]!);
    }
  });
  const { parseGains } = await loadParser();
  const names = distinct(located.map(({ flightName }) => flightName));
  const jobs: HoverJob[] = [];
  for (const [i, operand] of operands.entries()) {
    const file = gains.length === 1 ? gains[0]! : (gains[i] ?? NONE);
    jobs.push({
      name: names[i]!,
      operands: [operand],
      options: {
        ...(options.map === undefined ? {} : { map: options.map }),
        ...(options.rate === undefined ? {} : { rate: options.rate }),
      },
      gains: file === NONE ? null : parseGains(await readSettingsText(file, 'gains file'), file),
      configuration: null,
      notes: null,
    });
  }
  const notes =
    gains.length === 1 && gains[0] !== NONE ? [`the gains of ${gains[0]!} are taken for all flights`] : [];
  return { jobs, realPaths: new Set(owner.keys()), notes, aircraft: null };
}

/** @param wanted names of hovers, in any order; none: all of them */
async function sequenceOfRecord(
  file: string,
  wanted: readonly string[],
  options: OptionValues,
): Promise<Sequence> {
  for (const [flag, given] of [
    ['--gains', options.gainsOfEach],
    ['--map', options.map],
    ['--rate', options.rate],
  ] as const)
    if (given !== undefined)
      throw new Failure(
        `${flag} cannot be given with --record`,
        'the record tells it for each of its hovers',
      );
  const { record, hovers } = await loadRecord(file);
  const unknown = wanted.find((name) => hovers.every((hover) => hover.name !== name));
  if (unknown !== undefined)
    throw new Failure(
      `${file} has no hover "${unknown}"`,
      'settle record list shows their names; without names all are compared',
    );
  const chosen = wanted.length === 0 ? hovers : hovers.filter(({ name }) => wanted.includes(name));
  if (wanted.length > 0 && chosen.length < 2)
    throw new Failure(TWO, 'name two different hovers, or none to compare them all');
  if (chosen.length < 2)
    throw new Failure(TWO, `${file} holds ${String(hovers.length)}; add the next with settle record add`);
  const realPaths = new Set<string>();
  for (const { operands } of chosen)
    for (const real of (await locateFlight(operands)).realPaths) realPaths.add(real);
  return {
    jobs: chosen.map(({ name, operands, options: own, gains, configuration, hover }) => {
      const { changes, note, weather, date } = hover;
      const notes = { changes, note, weather, date };
      return { name, operands, options: own, gains, configuration, notes };
    }),
    realPaths,
    notes: recordNotes(record),
    aircraft: record.aircraft,
  };
}

/** Names that occur again get their place behind them. */
function distinct(names: readonly string[]): string[] {
  return names.map((name, i) => (names.indexOf(name) === i ? name : `${name} (${String(i + 1)})`));
}
