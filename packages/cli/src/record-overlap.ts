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

/** @returns the two names of one log; null when the flights share none */
async function sharedLog(
  flight: FlightFiles,
  recorded: FlightFiles,
): Promise<{ readonly given: string; readonly known: string; readonly isCopy: boolean } | null> {
  const known = [...recorded.realPaths];
  for (const given of flight.realPaths)
    if (recorded.realPaths.has(given)) return { given, known: given, isCopy: false };
  for (const given of flight.realPaths) {
    const { size } = await fs.stat(given);
    for (const other of known)
      if ((await fs.stat(other)).size === size && (await digestOf(other)) === (await digestOf(given)))
        return { given, known: other, isCopy: true };
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
    const named = flight.files.find((file) => shared.given.endsWith(file)) ?? shared.given;
    const { line, column } = hover.place;
    const what = shared.isCopy
      ? `${named} is a copy, byte for byte, of ${shared.known}, which is recorded`
      : `${named} is recorded already`;
    throw new Failure(
      `${what} as "${hover.name}", in ${record.name}:${line}:${column}`,
      'give the log of the new hover, or say with --from and --to, or --segment, which part of a shared log each hover is; ' +
        'to correct that hover, edit the record there',
    );
  }
}
