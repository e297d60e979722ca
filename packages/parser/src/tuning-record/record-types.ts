/** What a tuning record holds: the hovers of one aircraft, in the order they were flown. */

import type { FlownConfiguration, GainsFile, UnknownField } from '../gains-file.js';
import type { JsonNode, JsonPlace } from '../json-scan.js';

/** The version that is read and written here. A later one is refused, and so never rewritten. */
export const RECORD_SCHEMA = 'settle.record/1';

/** A file the record names, relative to the directory of the record, and where it names it. */
export interface RecordedPath {
  readonly path: string;
  /** Of the name in the text of the record. */
  readonly place: JsonPlace;
  /** Field that names it, for messages. */
  readonly field: string;
}

/** One hover. Null, or an empty list, is "not told". */
export interface RecordedHover {
  /** Differs from every other name in the record. */
  readonly name: string;
  readonly place: JsonPlace;
  /** RFC 3339, as written: `2026-04-11` or `2026-04-11T09:20:00+01:00`. */
  readonly date: string | null;
  /** One file, one directory, or the files of one flight; never empty. */
  readonly files: readonly RecordedPath[];
  readonly map: RecordedPath | null;
  /** Gains file the hover was flown with; null where the record holds the gains itself, or nothing tells them. */
  readonly gainsFile: RecordedPath | null;
  /** Gains and filters held by the record, `configuration` included; null where it holds none. */
  readonly gains: GainsFile | null;
  /** For a log without a clock. */
  readonly rateHz: number | null;
  /** Which piece, from 1, when the clock restarts in the log. */
  readonly segment: number | null;
  /** Part of the log to analyse, seconds from its first sample. */
  readonly fromS: number | null;
  readonly toS: number | null;
  readonly configuration: FlownConfiguration;
  /** What was changed since the hover before. */
  readonly changes: readonly string[];
  readonly note: string | null;
  readonly weather: string | null;
}

export interface TuningRecord {
  /** File the record came from, for messages. */
  readonly name: string;
  readonly aircraft: string;
  readonly airframe: RecordedPath | null;
  readonly hovers: readonly RecordedHover[];
  /** Fields that mean nothing to this version. They are kept wherever the record is written again. */
  readonly unknown: readonly UnknownField[];
  /** Everything that stands in the file, in its order. */
  readonly document: JsonNode;
}

/** A hover to add. Fields that are absent are left out of the record. */
export interface HoverDraft {
  readonly name: string;
  readonly date?: string;
  /** Relative to the directory of the record, with `/` between their parts. */
  readonly files: readonly string[];
  readonly map?: string;
  /** A gains file, which is copied field by field: the record stays true when that file is edited later. */
  readonly gains?: { readonly text: string; readonly name: string };
  readonly rateHz?: number;
  readonly segment?: number;
  readonly fromS?: number;
  readonly toS?: number;
  /** Goes before what the gains file says of the same field. */
  readonly configuration?: FlownConfiguration;
  readonly changes?: readonly string[];
  readonly note?: string;
  readonly weather?: string;
}
