/** An inspection as a report: first whether the log is of use, then how every column was understood. */

import type { LogFile, LogProblem } from '@settle/parser';
import {
  type Block,
  type ReportDocument,
  type Section,
  type Table,
  item,
  list,
  quantity,
  sentence,
  table,
  words,
} from './document.js';
import type { InspectedChannel, Inspection } from './inspection.js';
import { formatBytes, formatRate, formatSignificant, formatTime } from './numbers.js';
import { phaseSentence, phaseTimelineRow } from './phases.js';
import { asSentence, capitalise, countOf } from './words.js';

/** More places than this are counted, not listed. */
const MOST_LISTED = 12;

const DELIMITER_WORDS: Readonly<Record<LogFile['delimiter'], string>> = {
  ',': 'commas',
  ';': 'semicolons',
  '\t': 'tabs',
  ' ': 'spaces',
};

const ENCODING_WORDS: Readonly<Record<LogFile['encoding'], string>> = {
  'utf-8': 'UTF-8',
  'utf-16le': 'UTF-16, little-endian',
  'utf-16be': 'UTF-16, big-endian',
  latin1: 'Latin-1',
};

const FRAME_WORDS = {
  'z-down': 'Body axes are logged with z down, as used here',
  'z-up': 'Body axes are logged with z up and were converted to z down',
  unknown: 'The direction of the body axes is not known, so left and right cannot be told',
} as const;

function summarySection(inspection: Inspection): Section {
  const ready = inspection.lacks.filter(({ lacks }) => lacks.length === 0).map(({ analysis }) => analysis);
  const short = inspection.lacks.filter(({ lacks }) => lacks.length > 0);
  const rows = [
    `${countOf(inspection.channels.length, 'channel')} understood in ${countOf(inspection.files.length, 'file')}, ` +
      `${formatTime(inspection.flight.durationS)} s from first to last sample, ` +
      `${inspection.problems.length === 0 ? 'no problem met' : `${countOf(inspection.problems.length, 'problem')} met`}.`,
    ready.length === 0 ? null : `Everything is there for: ${ready.join('; ')}.`,
    short.length === 0
      ? null
      : `Something is missing for: ${short.map(({ analysis }) => analysis).join('; ')} (see "What is missing").`,
  ];
  return { title: 'In short', blocks: rows.filter((text) => text !== null).map((text) => sentence(text)) };
}

function fileItem(file: LogFile): ReturnType<typeof item> {
  const header = file.headerLine === null ? 'no header' : `header on line ${file.headerLine}`;
  const units = file.unitsLine === null ? '' : `, units on line ${file.unitsLine}`;
  const decimals = file.decimal === ',' ? ', decimal comma' : '';
  const clock = file.clock.column === null ? 'no time column' : `time in "${file.clock.column}"`;
  const pieces =
    file.segments.count > 1
      ? [
          `The clock restarts: piece ${file.segments.chosen} of ${file.segments.count} is used (--segment chooses).`,
        ]
      : [];
  const unused =
    file.unusedColumns.length === 0
      ? []
      : [
          `${capitalise(countOf(file.unusedColumns.length, 'column'))} not used: ${listSome(file.unusedColumns)}`,
        ];
  return item(
    `${file.name}: ${countOf(file.rows, 'row')}, ${formatBytes(file.bytes)}`,
    [
      `Separated by ${DELIMITER_WORDS[file.delimiter]}${decimals}, ${ENCODING_WORDS[file.encoding]}, ${header}${units}`,
      `Clock: ${clock}, unit ${file.clock.unit} (${file.clock.decidedBy})`,
      ...pieces,
      ...unused,
    ],
    'strong',
  );
}

function listSome(names: readonly string[]): string {
  const rest = names.length - MOST_LISTED;
  return rest > 0 ? `${names.slice(0, MOST_LISTED).join(', ')} and ${rest} more` : names.join(', ');
}

/** Jitter below a hundredth of a per cent is the rounding of the logged times. */
function jitterText(jitterPct: number): string {
  return jitterPct > 0 && jitterPct < 0.01 ? '<0.01' : formatSignificant(jitterPct, 2);
}

/** @param isWhole whether nothing is missing anywhere: three columns of zeros would only push the others together */
function channelTable(channels: readonly InspectedChannel[], isWhole: boolean): Table {
  return table(
    [
      words('channel'),
      words('column'),
      words('unit'),
      quantity('rate', 'Hz'),
      quantity('jitter', '%'),
      ...(isWhole ? [] : [quantity('gaps', ''), quantity('clipped', ''), quantity('missing', '')]),
      quantity('lowest', ''),
      quantity('highest', ''),
      words('in'),
    ],
    channels.map((channel) => [
      channel.id,
      channel.column,
      channel.unit,
      formatRate(channel.sampleRateHz),
      jitterText(channel.jitterPct),
      ...(isWhole ? [] : [channel.gaps.length, channel.clipped, channel.nonFinite].map(String)),
      channel.lowest === null ? '' : formatSignificant(channel.lowest),
      channel.highest === null ? '' : formatSignificant(channel.highest),
      channel.siUnit ?? '',
    ]),
  );
}

function channelSection({ channels, files, flight }: Inspection): Section {
  if (channels.length === 0) return { title: 'Channels', blocks: [sentence('No channel was understood.')] };
  const isWhole = channels.every(({ gaps, clipped, nonFinite }) => gaps.length + clipped + nonFinite === 0);
  const tables = files.flatMap(({ name }): Block[] => {
    const own = channels.filter(({ file }) => file === name);
    if (own.length === 0) return [];
    return [...(files.length > 1 ? [sentence(name, 'strong')] : []), channelTable(own, isWhole)];
  });
  return {
    title: 'Channels',
    blocks: [
      ...tables,
      ...(isWhole ? [sentence('No gap, no clipped and no missing sample in any channel.')] : []),
      sentence(`${FRAME_WORDS[flight.frame.logged]} (${flight.frame.decidedBy}).`),
    ],
  };
}

function decisionSection(channels: readonly InspectedChannel[]): Section | null {
  if (channels.length === 0) return null;
  return {
    title: 'How each channel was decided',
    blocks: [list(channels.map(({ id, decidedBy }) => item(`${id}: ${decidedBy.join('; ')}`)))],
  };
}

/** Channels of one group share a clock, so their gaps are the same; each set is named once. */
function gapSection(channels: readonly InspectedChannel[]): Section | null {
  const groups = new Map<InspectedChannel['gaps'], string[]>();
  for (const { id, gaps } of channels) {
    if (gaps.length > 0) groups.set(gaps, [...(groups.get(gaps) ?? []), id]);
  }
  if (groups.size === 0) return null;
  const items = [...groups].map(([gaps, ids]) => {
    const places = gaps.map(({ startS, endS }) => `${formatTime(startS)}–${formatTime(endS)} s`);
    return item(`${listSome(ids)}: ${listSome(places)}`);
  });
  return { title: 'Gaps', blocks: [list(items)] };
}

/** The same shape as an error of the parser: `FILE:LINE: COLUMN: message`. */
export function problemText(problem: LogProblem): string {
  const line = problem.line === null ? '' : `:${problem.line}`;
  const column = problem.column === null ? '' : `: ${problem.column}`;
  const count = problem.count > 1 ? ` (first of ${problem.count} places)` : '';
  return `${problem.file}${line}${column}: ${problem.message}${count}`;
}

function problemSection(problems: readonly LogProblem[]): Section {
  const blocks =
    problems.length === 0
      ? [sentence('None met while reading.')]
      : [list(problems.map((problem) => item(problemText(problem))))];
  return { title: 'Problems', blocks };
}

function phaseSection(inspection: Inspection): Section {
  return {
    title: 'Phases of flight',
    blocks: [
      {
        kind: 'timeline',
        startS: 0,
        endS: inspection.flight.durationS,
        rows: [phaseTimelineRow(inspection.phases)],
      },
      sentence(`${phaseSentence(inspection.phases)} Told from: ${asSentence(inspection.phasesFrom)}`),
    ],
  };
}

function lackSection(inspection: Inspection): Section | null {
  const short = inspection.lacks.filter(({ lacks }) => lacks.length > 0);
  if (short.length === 0) return null;
  return {
    title: 'What is missing',
    blocks: [list(short.map(({ analysis, lacks }) => item(`${capitalise(analysis)}`, lacks, 'strong')))],
  };
}

export function assembleInspectionDocument(inspection: Inspection): ReportDocument {
  const sections = [
    summarySection(inspection),
    { title: 'Files', blocks: [list(inspection.files.map(fileItem))] },
    channelSection(inspection),
    decisionSection(inspection.channels),
    gapSection(inspection.channels),
    phaseSection(inspection),
    problemSection(inspection.problems),
    lackSection(inspection),
  ];
  return {
    title: `Log inspection: ${inspection.flight.name}`,
    subtitle: `${countOf(inspection.files.length, 'file')} · ${formatTime(inspection.flight.durationS)} s`,
    sections: sections.filter((section) => section !== null),
  };
}
