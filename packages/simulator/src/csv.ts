import type { ChannelName } from '@settle/parser';
import type { SimulatedFlight } from './simulate.js';

export interface CsvOptions {
  /** One file per group (default), or all in one with empty cells where a group has no sample. */
  readonly layout?: 'files' | 'wide';
  /** Unit of the clock column; s by default. */
  readonly timeUnit?: 's' | 'ms' | 'us';
  /** What the clock shows at the start of the simulation, s. */
  readonly clockStartS?: number;
  /** Angles and rates in degrees (default) or radians. */
  readonly angleUnit?: 'deg' | 'rad';
  readonly delimiter?: ',' | ';' | '\t';
  readonly decimal?: '.' | ',';
  /** Which channels are written; all by default. */
  readonly channels?: (name: ChannelName) => boolean;
  /** Only this stretch of the simulation, s. */
  readonly fromS?: number;
  readonly toS?: number;
}

export interface CsvFile {
  readonly name: string;
  readonly text: string;
}

interface Column {
  readonly header: string;
  readonly write: (value: number) => string;
}

const DEGREES = 180 / Math.PI;

const TERM_WORDS: Readonly<Record<string, string>> = {
  proportional: 'proportional term',
  integral: 'integral term',
  derivative: 'derivative term',
  feedforward: 'feed-forward term',
};

/** Plain trade words and the unit in brackets. */
function describeColumn(channel: ChannelName, labels: readonly string[], options: CsvOptions): Column {
  const decimal = options.decimal ?? '.';
  const fixed = (value: number, digits: number): string => {
    if (!Number.isFinite(value)) return '';
    const text = value.toFixed(digits);
    // No minus sign on a zero.
    const plain = Number(text) === 0 ? (0).toFixed(digits) : text;
    return decimal === ',' ? plain.replace('.', ',') : plain;
  };
  const column = (header: string, digits: number, factor = 1): Column => ({
    header,
    write: (value) => fixed(value * factor, digits),
  });
  const degrees = (options.angleUnit ?? 'deg') === 'deg';
  const angle = (words: string): Column =>
    degrees ? column(`${words} (deg)`, 3, DEGREES) : column(`${words} (rad)`, 5);
  const rate = (words: string): Column =>
    degrees ? column(`${words} (deg/s)`, 2, DEGREES) : column(`${words} (rad/s)`, 4);
  const parts = channel.split('.');
  const [kind, second = '', third = ''] = parts;
  switch (kind) {
    case 'attitude':
      return angle(third === 'reference' ? `${second} angle reference` : `${second} angle`);
    case 'rate':
      if (third === 'reference') return rate(`${second} rate reference`);
      if (third === 'measured') return rate(`${second} rate`);
      return column(third === 'demand' ? `${second} demand` : `${second} ${TERM_WORDS[third]!}`, 5);
    case 'gyro':
      return rate(`gyro ${second}`);
    case 'accel':
      return column(`accelerometer ${second} (m/s2)`, 3);
    case 'motor':
      return column(`motor ${second} command`, 4);
    case 'rotor':
      return column(`rotor ${second} speed (rpm)`, 0, 60);
    case 'stick':
      return column(`stick ${second}`, 3);
    case 'height':
      return column('height (m)', 3);
    case 'battery':
      return second === 'voltage' ? column('battery voltage (V)', 3) : column('battery current (A)', 2);
    case 'mode':
      return { header: 'mode', write: (value) => labels[value] ?? '' };
    default:
      return column('throttle', 4);
  }
}

/**
 * The simulated log as CSV text, as somebody might export it: plain header words with units, values rounded to
 * sensible digits, one clock per file.
 */
export function toCsvFiles(sim: SimulatedFlight, options: CsvOptions = {}): CsvFile[] {
  const wanted = options.channels ?? (() => true);
  const from = options.fromS ?? Number.NEGATIVE_INFINITY;
  const to = options.toS ?? Number.POSITIVE_INFINITY;
  const delimiter = options.delimiter ?? ',';
  const unit = options.timeUnit ?? 's';
  const perSecond = unit === 's' ? 1 : unit === 'ms' ? 1e3 : 1e6;
  const digits = unit === 's' ? 5 : unit === 'ms' ? 2 : 0;
  const clock = (timeS: number): string => {
    const text = (((options.clockStartS ?? 0) + timeS) * perSecond).toFixed(digits);
    return options.decimal === ',' ? text.replace('.', ',') : text;
  };
  const groups = sim.log.groups
    .map((group) => {
      const names = [...group.columns.keys()].filter(wanted);
      return {
        name: group.name,
        timeS: group.timeS,
        columns: names.map((name) => describeColumn(name, sim.log.modeLabels, options)),
        values: names.map((name) => group.columns.get(name)!),
      };
    })
    .filter((group) => group.columns.length > 0);
  const header = (columns: readonly Column[]): string =>
    [`time (${unit})`, ...columns.map((c) => c.header)].join(delimiter);
  const inside = (timeS: number): boolean => timeS >= from && timeS <= to;

  if (options.layout !== 'wide') {
    return groups.map((group) => {
      const lines = [header(group.columns)];
      for (let i = 0; i < group.timeS.length; i++) {
        if (!inside(group.timeS[i]!)) continue;
        const cells = group.columns.map((c, j) => c.write(group.values[j]![i]!));
        lines.push([clock(group.timeS[i]!), ...cells].join(delimiter));
      }
      return { name: `${group.name}.csv`, text: `${lines.join('\n')}\n` };
    });
  }

  const width = groups.reduce((sum, group) => sum + group.columns.length, 0);
  const rows = new Map<string, string[]>();
  const order: { key: string; timeS: number }[] = [];
  let at = 0;
  for (const group of groups) {
    for (let i = 0; i < group.timeS.length; i++) {
      if (!inside(group.timeS[i]!)) continue;
      const key = clock(group.timeS[i]!);
      let row = rows.get(key);
      if (row === undefined) {
        row = Array.from({ length: width }, () => '');
        rows.set(key, row);
        order.push({ key, timeS: group.timeS[i]! });
      }
      for (let j = 0; j < group.columns.length; j++)
        row[at + j] = group.columns[j]!.write(group.values[j]![i]!);
    }
    at += group.columns.length;
  }
  order.sort((a, b) => a.timeS - b.timeS);
  const lines = [
    header(groups.flatMap((group) => group.columns)),
    ...order.map(({ key }) => [key, ...rows.get(key)!].join(delimiter)),
  ];
  return [{ name: 'flight.csv', text: `${lines.join('\n')}\n` }];
}
