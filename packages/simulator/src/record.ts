import type { ChannelName } from '@settle/parser';
import type { Random } from './random.js';

/** Channels that are logged together, on one clock. */
export interface LoggedGroup {
  readonly name: string;
  /** As configured, after rounding to a whole fraction of the loop (or physics) rate. */
  readonly rateHz: number;
  /** As logged, jitter included; s since the start of the simulation. */
  readonly timeS: Float64Array;
  readonly columns: ReadonlyMap<ChannelName, Float64Array>;
}

/** What would be logged, in SI, before it is written to a file. */
export interface LoggedColumns {
  readonly groups: readonly LoggedGroup[];
  /** Texts that the values of `mode` index. */
  readonly modeLabels: readonly string[];
}

/** Collects the rows of one group while the flight runs. */
export interface Recorder {
  /** Physics steps between two rows; 0: not logged. */
  readonly every: number;
  /** Where the next row's values go, in the order of the channels. */
  readonly row: Float64Array;
  /** Keeps `row` as the sample of this time (or loses it, when rows are to go missing). */
  keep(timeS: number): void;
  finish(): LoggedGroup | null;
}

export function makeRecorder(
  name: string,
  channels: readonly ChannelName[],
  every: number,
  physicsRateHz: number,
  options: { jitterS: number; dropShare: number; random: Random },
): Recorder {
  const row = new Float64Array(channels.length);
  let capacity = 1024;
  let columns = channels.map(() => new Float64Array(capacity));
  let times = new Float64Array(capacity);
  let count = 0;
  const grow = (): void => {
    capacity *= 2;
    const larger = (old: Float64Array<ArrayBuffer>): Float64Array<ArrayBuffer> => {
      const next = new Float64Array(capacity);
      next.set(old);
      return next;
    };
    columns = columns.map(larger);
    times = larger(times);
  };
  return {
    every,
    row,
    keep(timeS) {
      if (options.dropShare > 0 && options.random.chance(options.dropShare)) return;
      if (count === capacity) grow();
      let logged = timeS;
      if (options.jitterS > 0) {
        logged += options.jitterS * options.random.normal();
        // A logger's clock never runs backwards: late rows push the next ones on.
        if (count > 0) logged = Math.max(logged, times[count - 1]! + 1e-5);
      }
      times[count] = logged;
      for (let i = 0; i < row.length; i++) columns[i]![count] = row[i]!;
      count++;
    },
    finish() {
      if (every === 0 || count === 0) return null;
      return {
        name,
        rateHz: physicsRateHz / every,
        timeS: times.slice(0, count),
        columns: new Map(channels.map((channel, i) => [channel, columns[i]!.slice(0, count)])),
      };
    },
  };
}
