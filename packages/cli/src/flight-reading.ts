/** The first stage of every command: names and options in, a `Flight` out. */

import { promises as fs } from 'node:fs';
import type { Flight, LogProblem, ReadOptions } from '@settle/parser';
import { Failure, reasonOf } from './failures.js';
import { type FlightInput, openFlight } from './flight-input.js';
import type { OptionValues } from './options.js';
import { loadParser, loadReport } from './stages.js';
import type { Progress } from './terminal.js';

/** More notes than this on a terminal hide the result; `inspect` lists them all. */
const MOST_NOTES = 10;

/** What a text file that is no log, such as the pilot's notes beside the logs, fails with. */
const NO_LOG_CODES = ['binary-file', 'empty-file', 'header-only', 'no-numbers'];

export interface ReadFlight {
  readonly flight: Flight;
  readonly input: FlightInput;
  /** What the person should know about the reading, one line each. */
  readonly notes: readonly string[];
}

/**
 * Text of a channel map or a gains file, UTF-8 or, as some editors save it, UTF-16 with a byte order mark.
 *
 * @param what the file is called in a message
 */
export async function readSettingsText(file: string, what: string): Promise<string> {
  try {
    const bytes = await fs.readFile(file);
    const isUtf16 = bytes[0] === 0xff && bytes[1] === 0xfe;
    return new TextDecoder(isUtf16 ? 'utf-16le' : 'utf-8').decode(bytes);
  } catch (error) {
    throw new Failure(`cannot read the ${what} ${file}: ${reasonOf(error)}`, 'check its name');
  }
}

/** @throws Failure when the part of the log that is asked for is empty */
export function checkInterval({ from, to }: OptionValues): void {
  if (from === undefined || to === undefined || from < to) return;
  throw new Failure(`--from ${from} is not before --to ${to}`, 'give an earlier start or a later end');
}

function checkWithinFlight(flight: Flight, { from }: OptionValues): void {
  if (from === undefined || from < flight.durationS) return;
  throw new Failure(
    `--from ${from} is after the end of the flight`,
    `the log lasts ${flight.durationS.toFixed(1)} s; give an earlier start`,
  );
}

/** Progress and notes are for people: none of it reaches standard output. */
export async function printNotes(lines: readonly string[], quiet: boolean): Promise<void> {
  if (quiet || lines.length === 0) return;
  const { printable } = await loadReport();
  for (const line of lines) process.stderr.write(`settle: note: ${printable(line)}\n`);
}

/** What was wrong with the log and did not stop the reading, one line each. */
export async function problemNotes(problems: readonly LogProblem[]): Promise<string[]> {
  if (problems.length === 0) return [];
  const { problemText } = await loadReport();
  const lines = problems.slice(0, MOST_NOTES).map(problemText);
  const rest = problems.length - lines.length;
  return rest > 0 ? [...lines, `${rest} more; settle inspect lists them all`] : lines;
}

/**
 * Reads the sources of a flight. From a directory, a `.txt` file that holds no table of numbers is left out and named:
 * notes often lie beside logs. A file given by name is never left out.
 */
function readSources(
  parser: typeof import('@settle/parser'),
  input: FlightInput,
  options: ReadOptions,
): { flight: Flight; notes: string[] } {
  const notes: string[] = [];
  let sources = input.sources;
  for (;;) {
    try {
      return { flight: parser.readFlight(sources, options), notes };
    } catch (error) {
      if (!(error instanceof parser.LogError) || input.directory === null) throw error;
      const isNoLog =
        NO_LOG_CODES.includes(error.code) && error.file?.toLowerCase().endsWith('.txt') === true;
      const others = sources.filter(({ name }) => name !== error.file);
      if (!isNoLog || others.length === 0 || others.length === sources.length) throw error;
      notes.push(`left out ${error.file ?? ''}, which is no log: ${error.message}`);
      sources = others;
    }
  }
}

/**
 * @param name of the flight in its results, where something better than its files tells it
 * @throws Failure, or the parser's own error, each with what to do next
 */
export async function readFlightFrom(
  operands: readonly string[],
  options: OptionValues,
  progress: Progress,
  name?: string,
): Promise<ReadFlight> {
  checkInterval(options);
  const input = await openFlight(operands);
  const total = input.sources.reduce((sum, { bytes }) => sum + bytes.length, 0);
  progress.show(`reading ${input.sources.length} file(s), ${(total / 1e6).toFixed(1)} MB …`);

  const parser = await loadParser();
  const mapText = options.map === undefined ? null : await readSettingsText(options.map, 'channel map');
  const map = mapText === null ? undefined : parser.parseChannelMap(mapText, options.map ?? '');
  const { flight, notes } = readSources(parser, input, {
    name: name ?? input.flightName,
    ...(map === undefined ? {} : { map }),
    ...(options.rate === undefined ? {} : { rateHz: options.rate }),
    ...(options.segment === undefined ? {} : { segment: options.segment }),
  });
  checkWithinFlight(flight, options);
  return { flight, input, notes };
}
