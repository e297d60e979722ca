import type { Unit } from './units.js';
import type { FileClock } from './clock-column.js';
import type { MapEntry } from './channel-map.js';
import type { Dialect } from './dialect.js';
import type { DecodedLog } from './encoding.js';
import type { ChannelName } from './flight.js';
import type { TimedTrack } from './segments.js';
import type { Table, TableColumn } from './table.js';

/** One file on its way to the flight: layout, columns and cleaned clock. */
export interface LogData {
  readonly name: string;
  readonly bytes: number;
  readonly encoding: DecodedLog['encoding'];
  readonly dialect: Dialect;
  readonly table: Table;
  readonly clock: FileClock;
  readonly kindColumn: TableColumn | null;
  readonly tracks: readonly TimedTrack[];
  readonly segments: { readonly count: number; readonly chosen: number };
}

/** A column that was given a channel. */
export interface Assignment {
  readonly channel: ChannelName;
  readonly log: LogData;
  readonly track: TimedTrack;
  readonly column: TableColumn;
  /** Unit stated by map, header or units row. */
  readonly stated: { readonly unit: Unit; readonly by: 'map' | 'log'; readonly from: string } | null;
  readonly entry: MapEntry | null;
  /** The column holds reference minus measured value. */
  readonly error: boolean;
  readonly decidedBy: readonly string[];
}

/** Name of the column in messages: with the kind of row where rows are of several kinds. */
export function columnName(column: TableColumn, track: TimedTrack): string {
  return track.track.kind === null ? column.label : `${column.label} (${track.track.kind})`;
}

/** An assigned column with its values on the way to SI. */
export interface RawSignal extends Assignment {
  /** As logged, one per sample of the track; converted in place at the end. */
  readonly values: Float64Array;
}

/** How a logged value becomes SI: `logged * scale + offset`. */
export interface Conversion {
  readonly unit: string;
  readonly scale: number;
  readonly offset: number;
  readonly why: string;
}
