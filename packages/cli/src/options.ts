/**
 * Commands and their options in one typed table: the parser of the command line, `--help` and the table in the user
 * guide are all made from it, so they cannot disagree.
 */

import { Failure } from './failures.js';

/** Everything a command can be told; only the options of its table entry are ever set. */
export interface OptionValues {
  readonly map?: string;
  readonly gains?: string;
  /** Of several flights, in their order. */
  readonly gainsOfEach?: readonly string[];
  /** Tuning record to take the flights from. */
  readonly record?: string;
  readonly from?: number;
  readonly to?: number;
  readonly rate?: number;
  readonly segment?: number;
  readonly json?: boolean;
  readonly markdown?: string;
  readonly html?: string;
  readonly charts?: string;
  readonly writeMap?: string;
  readonly writeGains?: string;
  readonly name?: string;
  readonly aircraft?: string;
  readonly airframe?: string;
  readonly date?: string;
  readonly change?: readonly string[];
  readonly note?: string;
  readonly weather?: string;
  readonly parts?: readonly string[];
  readonly mass?: number;
  readonly props?: string;
  readonly battery?: string;
  readonly force?: boolean;
  readonly quiet?: boolean;
}

export interface OptionSpec {
  /** `--name`, or `--name ARGUMENT` when it takes one. */
  readonly flags: string;
  readonly description: string;
  /** Turns the argument into a value; throws `Failure`. Absent for switches and plain texts. */
  readonly parse?: (text: string) => number;
  /** Each use adds one text to a list. */
  readonly repeats?: true;
}

export type OptionKey = keyof OptionValues;

function parseNumber(text: string): number {
  // Number() would take '' and '0x1f'; a decimal comma is worth a hint of its own.
  return /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(text.trim()) ? Number(text) : Number.NaN;
}

function parseTime(flag: string): (text: string) => number {
  return (text) => {
    const value = parseNumber(text);
    if (Number.isFinite(value) && value >= 0) return value;
    throw new Failure(
      `${flag} wants seconds from the first sample, not "${text}"`,
      'give a number that is not negative, with a decimal point, such as 12.5',
    );
  };
}

function parseRate(text: string): number {
  const value = parseNumber(text);
  if (Number.isFinite(value) && value > 0) return value;
  throw new Failure(
    `--rate wants samples per second, not "${text}"`,
    'give a number above zero, with a decimal point, such as 400',
  );
}

function parseSegment(text: string): number {
  const value = parseNumber(text);
  if (Number.isSafeInteger(value) && value >= 1) return value;
  throw new Failure(`--segment wants the number of a piece, not "${text}"`, 'count the pieces from 1');
}

function parseMass(text: string): number {
  const value = parseNumber(text);
  if (Number.isFinite(value) && value > 0) return value;
  throw new Failure(
    `--mass wants kilograms, not "${text}"`,
    'give a number above zero, with a decimal point, such as 5.9',
  );
}

export const OPTIONS: Readonly<Record<OptionKey, OptionSpec>> = {
  map: { flags: '--map FILE', description: 'channel map (JSON) that says which column means what' },
  gains: { flags: '--gains FILE', description: 'gains and filters the flight was flown with (JSON)' },
  gainsOfEach: {
    flags: '--gains FILE',
    description:
      'gains file of each flight: give it once per flight, in their order ("-" for a flight without one), or once for all',
    repeats: true,
  },
  record: {
    flags: '--record FILE',
    description: 'compare the hovers of a tuning record, with the gains and builds it tells',
  },
  from: {
    flags: '--from S',
    description: 'analyse from this time, in s from the first sample',
    parse: parseTime('--from'),
  },
  to: { flags: '--to S', description: 'analyse up to this time, in s', parse: parseTime('--to') },
  rate: {
    flags: '--rate HZ',
    description: 'samples per second, for a log without a clock, or one too coarse',
    parse: parseRate,
  },
  segment: {
    flags: '--segment N',
    description: 'which piece to use when the clock restarts in the log (from 1; default: the longest)',
    parse: parseSegment,
  },
  json: { flags: '--json', description: 'print the result as JSON instead of text' },
  markdown: { flags: '--markdown FILE', description: 'write the report to a file as Markdown as well' },
  html: {
    flags: '--html FILE',
    description: 'write the report with its pictures to one HTML file that needs no network',
  },
  charts: {
    flags: '--charts DIR',
    description: 'write every picture as SVG and as PNG to a directory; --markdown then shows them',
  },
  writeMap: {
    flags: '--write-map FILE',
    description: 'write the channels as they were understood to a channel map, ready to edit',
  },
  writeGains: {
    flags: '--write-gains FILE',
    description: 'write those gains with the changes advised before the next hover to a gains file',
  },
  name: {
    flags: '--name TEXT',
    description: 'what the hover is called; every hover of a record by another name',
  },
  aircraft: {
    flags: '--aircraft NAME',
    description: 'which aircraft a new record is of (default: the name of the record file)',
  },
  airframe: { flags: '--airframe FILE', description: 'airframe file of the aircraft (JSON)' },
  date: {
    flags: '--date DATE',
    description: 'when it was flown, as 2026-04-11 or 2026-04-11T09:20:00+01:00',
  },
  change: {
    flags: '--change TEXT',
    description: 'something changed since the hover before; may be given several times',
    repeats: true,
  },
  note: { flags: '--note TEXT', description: 'what should be remembered of the hover' },
  weather: { flags: '--weather TEXT', description: 'wind and weather, in words' },
  parts: {
    flags: '--parts TEXT',
    description: 'a part that was fitted or left off; may be given several times',
    repeats: true,
  },
  mass: { flags: '--mass KG', description: 'take-off mass', parse: parseMass },
  props: { flags: '--props TEXT', description: 'the props fitted' },
  battery: { flags: '--battery TEXT', description: 'the battery fitted' },
  force: { flags: '--force', description: 'overwrite a file that is already there' },
  quiet: { flags: '--quiet', description: 'no progress and no notes, errors only' },
};

export interface CommandSpec {
  /** Of two words where several commands do one job together. */
  readonly name: 'inspect' | 'diagnose' | 'notch' | 'compare' | 'record add' | 'record list' | 'record show';
  /** What the first operand is. */
  readonly takes: 'flight' | 'record';
  /** As shown in the usage line. */
  readonly operands: string;
  readonly summary: string;
  readonly options: readonly OptionKey[];
  readonly example: string;
}

const READING: readonly OptionKey[] = ['map', 'from', 'to', 'rate', 'segment'];
const WRITING: readonly OptionKey[] = ['json', 'html', 'markdown', 'force', 'quiet'];

export const COMMANDS: readonly CommandSpec[] = [
  {
    name: 'inspect',
    takes: 'flight',
    operands: 'FLIGHT',
    summary: 'say what a log holds, how every column was understood, and what an analysis still lacks',
    options: [...READING, 'writeMap', ...WRITING],
    example: 'settle inspect hover-3.csv',
  },
  {
    name: 'diagnose',
    takes: 'flight',
    operands: 'FLIGHT | FILE…',
    summary: 'say what wobbles: which axis, how fast, how much, since when, growing or dying',
    options: [...READING, 'gains', 'writeGains', 'charts', ...WRITING],
    example: 'settle diagnose rates.csv attitude.csv --from 4 --to 20 --html hover-3.html',
  },
  {
    name: 'notch',
    takes: 'flight',
    operands: 'FLIGHT | FILE…',
    summary: 'say what shakes, what each line is, where to put notches and what they cost in phase',
    options: [...READING, 'gains', 'charts', ...WRITING],
    example: 'settle notch hover-3 --gains hover-3-gains.json',
  },
  {
    name: 'record add',
    takes: 'record',
    operands: 'RECORD.json FLIGHT | FILE…',
    summary: 'add a hover to the tuning record of an aircraft; begins the record if there is none',
    options: [
      ...['name', 'date', 'gains', 'change', 'note', 'weather', 'parts', 'mass', 'props', 'battery'],
      ...['aircraft', 'airframe', 'map', 'from', 'to', 'rate', 'segment', 'json', 'quiet'],
    ] as OptionKey[],
    example:
      'settle record add samphire.json hover-3 --name "hover 3" --gains gains.json --change "one notch"',
  },
  {
    name: 'record list',
    takes: 'record',
    operands: 'RECORD.json',
    summary: 'list the hovers of a tuning record',
    options: ['json', 'quiet'],
    example: 'settle record list samphire.json',
  },
  {
    name: 'record show',
    takes: 'record',
    operands: 'RECORD.json NAME',
    summary: 'show one hover of a tuning record',
    options: ['json', 'quiet'],
    example: 'settle record show samphire.json "hover 3"',
  },
  {
    name: 'compare',
    takes: 'flight',
    operands: 'FLIGHT FLIGHT… | --record RECORD.json [NAME…]',
    summary:
      'say whether the last change helped: hovers of one aircraft side by side, in the order they were flown',
    options: ['record', 'map', 'rate', 'gainsOfEach', 'charts', ...WRITING],
    example: 'settle compare --record samphire.json --html samphire.html',
  },
];

/** Commands of two words share the first: what `--help` says of it. */
export const FAMILIES: Readonly<Record<string, string>> = {
  record: 'keep the tuning record of one aircraft: record add, record list, record show',
};

export const FLIGHT_HELP =
  'FLIGHT is one CSV file, or a directory whose CSV files (.csv, .tsv, .txt) together hold one flight; several files are one flight.';
export const FLIGHTS_HELP =
  'Each FLIGHT is one CSV file, or a directory whose CSV files (.csv, .tsv, .txt) together hold one flight.';

export const RECORD_HELP =
  'RECORD.json is one file per aircraft. It is text: names, dates and notes are corrected in an editor.';

/** The option table of the user guide. */
export function optionsAsMarkdown(): string {
  const rows = (Object.keys(OPTIONS) as OptionKey[]).map((key) => {
    const { flags, description } = OPTIONS[key];
    const commands = COMMANDS.filter(({ options }) => options.includes(key)).map(({ name }) => name);
    return [`\`${flags}\``, description, commands.join(', ')];
  });
  const table = [['option', 'what it does', 'commands'], ...rows];
  const widths = [0, 1, 2].map((column) => Math.max(...table.map((row) => row[column]!.length)));
  const line = (cells: readonly string[]): string =>
    `| ${cells.map((cell, column) => cell.padEnd(widths[column]!)).join(' | ')} |`;
  return [line(table[0]!), line(widths.map((width) => '-'.repeat(width))), ...table.slice(1).map(line)].join(
    '\n',
  );
}
