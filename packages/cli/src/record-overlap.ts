/** Whether a log is in a tuning record already: a hover compared with itself would look like a change that did nothing. */

import { createHash } from 'node:crypto';
import { createReadStream, promises as fs } from 'node:fs';
import type { RecordedHover, TuningRecord } from '@settle/parser';
import { Failure } from './failures.js';
import type { FlightFiles } from './flight-input.js';
import { locateHover } from './record-input.js';

/** Which part of its log a hover is; null: all of it, or the one the reading chooses. */
export type LogPart = Pick<RecordedHover, 'segment' | 'fromS' | 'toS'>;

/** Several hovers may share a log when it is said which part each of them is. */
function isApart(one: LogPart, other: LogPart): boolean {
  if (one.segment !== null && other.segment !== null && one.segment !== other.segment) return true;
  const startsAfter = (later: LogPart, earlier: LogPart): boolean =>
    later.fromS !== null && earlier.toS !== null && later.fromS >= earlier.toS;
  return startsAfter(one, other) || startsAfter(other, one);
}

async function digestOf(file: string): Promise<string> {
  const hash = createHash('sha256');
  for await (const chunk of createReadStream(file)) hash.update(chunk as Uint8Array);
  return hash.digest('hex');
}

interface NamedFile {
  readonly name: string;
  readonly real: string;
}

/** `realPaths` stand in the order of `files`. */
function namedFiles({ files, realPaths }: FlightFiles): NamedFile[] {
  return [...realPaths].map((real, index) => ({ name: files[index]!, real }));
}

/** @returns a log of the one and a log of the other that are the same; null when the flights share none */
async function sharedLog(
  flight: FlightFiles,
  recorded: FlightFiles,
): Promise<{ readonly given: NamedFile; readonly known: NamedFile } | null> {
  const pairs = namedFiles(flight).flatMap((given) =>
    namedFiles(recorded).map((known) => ({ given, known })),
  );
  const same = pairs.find(({ given, known }) => given.real === known.real);
  if (same !== undefined) return same;
  for (const pair of pairs) {
    const [given, known] = [pair.given.real, pair.known.real];
    if ((await fs.stat(given)).size !== (await fs.stat(known)).size) continue;
    if ((await digestOf(given)) === (await digestOf(known))) return pair;
  }
  return null;
}

/** @throws Failure when a log of the flight, or a copy of it, belongs to a hover of the record */
export async function checkNotRecorded(
  flight: FlightFiles,
  part: LogPart,
  record: TuningRecord,
  directory: string,
): Promise<void> {
  for (const hover of record.hovers) {
    if (isApart(part, hover)) continue;
    const shared = await sharedLog(flight, await locateHover(record, hover, directory));
    if (shared === null) continue;
    const { given, known } = shared;
    const what =
      given.real === known.real
        ? `${given.name} is recorded already`
        : `${given.name} is a copy, byte for byte, of ${known.name}, which is recorded`;
    const { line, column } = hover.place;
    throw new Failure(
      `${what} as "${hover.name}", in ${record.name}:${line}:${column}`,
      'give the log of the new hover, or say with --from and --to, or --segment, which part of a shared log each hover is; ' +
        'to correct that hover, edit the record there',
    );
  }
}
