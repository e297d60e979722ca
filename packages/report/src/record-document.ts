/** A tuning record as a report: its hovers in a table, or one hover with everything that is recorded of it. */

import type { FlownConfiguration, GainsFile, RecordedHover, TuningRecord } from '@settle/parser';
import {
  type Block,
  type ReportDocument,
  type Section,
  item,
  list,
  quantity,
  sentence,
  table,
  words,
} from './document.js';
import { formatTime } from './numbers.js';
import { AXIS_ORDER, asSentence, capitalise, countOf } from './words.js';

const RATE_TERMS = ['kp', 'ki', 'kd', 'kff'] as const;

export function assembleRecordDocument(record: TuningRecord): ReportDocument {
  const { hovers } = record;
  const isTold = (tell: (hover: RecordedHover) => string): boolean =>
    hovers.some((hover) => tell(hover) !== '');
  const builds = new Set(hovers.map(buildText));
  const isOneBuild = builds.size === 1;
  const columns = [
    { title: 'hover', tell: ({ name }: RecordedHover) => name },
    // The day tells hovers apart; the page of the hover has the time.
    { title: 'date', tell: ({ date }: RecordedHover) => date?.slice(0, 10) ?? '' },
    { title: 'changed', tell: ({ changes }: RecordedHover) => changes.join('; ') },
    { title: 'weather', tell: ({ weather }: RecordedHover) => weather ?? '' },
    { title: 'build', tell: (hover: RecordedHover) => (isOneBuild ? '' : buildText(hover)) },
    { title: 'note', tell: ({ note }: RecordedHover) => note ?? '' },
  ].filter(({ tell }) => isTold(tell));
  const blocks: Block[] =
    hovers.length === 0
      ? [sentence('No hover is recorded yet.')]
      : [
          table(
            columns.map(({ title }) => words(title)),
            hovers.map((hover) => columns.map(({ tell }) => tell(hover))),
          ),
          ...(isOneBuild && [...builds][0] !== ''
            ? [sentence(`Build of them all: ${[...builds][0]!}.`)]
            : []),
        ];
  return {
    title: `Tuning record: ${record.aircraft}`,
    subtitle: [
      countOf(hovers.length, 'hover'),
      ...(record.airframe === null ? [] : [`airframe ${record.airframe.path}`]),
      record.name,
    ].join(' · '),
    sections: [{ title: 'Hovers', blocks }],
  };
}

/** @param name of a hover that the record holds */
export function assembleHoverDocument(record: TuningRecord, name: string): ReportDocument {
  const index = record.hovers.findIndex((hover) => hover.name === name);
  const hover = record.hovers[index]!;
  return {
    title: `${record.aircraft}: ${hover.name}`,
    subtitle: [
      `hover ${index + 1} of ${record.hovers.length}`,
      ...(hover.date === null ? [] : [hover.date]),
      record.name,
    ].join(' · '),
    sections: [
      storySection(hover),
      logSection(hover),
      buildSection(hover.configuration),
      ...gainsSections(hover),
    ],
  };
}

function storySection({ changes, note, weather }: RecordedHover): Section {
  return {
    title: 'Since the hover before',
    blocks: [
      changes.length === 0
        ? sentence('No change is recorded.')
        : list(changes.map((change) => item(capitalise(change)))),
      ...(weather === null ? [] : [sentence(`Weather: ${asSentence(weather)}`)]),
      ...(note === null ? [] : [sentence(`Note: ${asSentence(note)}`)]),
    ],
  };
}

function logSection({ files, map, rateHz, segment, fromS, toS }: RecordedHover): Section {
  const from = fromS === null ? 'its start' : `${formatTime(fromS)} s`;
  const to = toS === null ? 'its end' : `${formatTime(toS)} s`;
  const told = [
    ...files.map(({ path }) => path),
    ...(map === null ? [] : [`Channel map: ${map.path}`]),
    ...(rateHz === null ? [] : [`${String(rateHz)} samples per second`]),
    ...(segment === null ? [] : [`Piece ${segment} of those the clock makes`]),
    ...(fromS === null && toS === null ? [] : [`From ${from} to ${to}`]),
  ];
  return { title: 'Log', blocks: [list(told.map((text) => item(text)))] };
}

function buildOf(configuration: FlownConfiguration): string[] {
  const { massKg, props, battery, parts, ...own } = configuration;
  return [
    ...(massKg === undefined ? [] : [`${String(massKg)} kg`]),
    ...(props === undefined ? [] : [`props ${props}`]),
    ...(battery === undefined ? [] : [`battery ${battery}`]),
    ...(parts ?? []),
    ...Object.entries(own).map(
      ([field, value]) => `${field} ${typeof value === 'string' ? value : JSON.stringify(value)}`,
    ),
  ];
}

function buildText({ configuration }: RecordedHover): string {
  return buildOf(configuration).join(', ');
}

function buildSection(configuration: FlownConfiguration): Section {
  const told = buildOf(configuration);
  return {
    title: 'Build',
    blocks: [told.length === 0 ? sentence('Not recorded.') : list(told.map((text) => item(text)))],
  };
}

function gainsSections({ gains, gainsFile }: RecordedHover): Section[] {
  if (gainsFile !== null)
    return [{ title: 'Gains and filters', blocks: [sentence(`In the gains file ${gainsFile.path}.`)] }];
  if (gains === null) return [{ title: 'Gains and filters', blocks: [sentence('Not recorded.')] }];
  return [
    { title: 'Gains', blocks: gainBlocks(gains) },
    { title: 'Filters', blocks: [list(filterItems(gains).map((text) => item(text)))] },
  ];
}

function gainBlocks(gains: GainsFile): Block[] {
  const { rate, attitude } = gains;
  const told = (gain: number | null): string => (gain === null ? '' : String(Number(gain.toPrecision(6))));
  const rows = AXIS_ORDER.map((axis) => [
    axis,
    ...RATE_TERMS.map((term) => told(rate.axes[axis][term])),
    told(attitude.axes[axis].kp),
  ]).filter(([, ...cells]) => cells.some((cell) => cell !== ''));
  if (rows.length === 0) return [sentence('Not recorded.')];
  const unitOf = (written: string | null): string => written ?? gains.writtenUnit ?? 'unit not told';
  return [
    table(
      [words('axis'), ...RATE_TERMS.map((term) => quantity(`rate ${term}`, '')), quantity('attitude kp', '')],
      rows,
    ),
    sentence(
      `Rate gains: ${unitOf(rate.writtenUnit)}; attitude gains: ${unitOf(attitude.writtenUnit)}.`,
      'quiet',
    ),
  ];
}

function filterItems({ filters, loopRateHz }: GainsFile): string[] {
  const { gyroLowPassHz, derivativeLowPassHz, notches, gyroTap } = filters;
  const lowPass = (corner: number | null): string => (corner === null ? 'not told' : `${String(corner)} Hz`);
  return [
    `Low-pass on the gyro: ${lowPass(gyroLowPassHz)}`,
    `Low-pass on the derivative: ${lowPass(derivativeLowPassHz)}`,
    ...(notches === null ? ['Notches: not told'] : notches.length === 0 ? ['No notch'] : []),
    ...(notches ?? []).map(
      ({ centreHz, bandwidthHz, depthDb }) =>
        `Notch at ${String(centreHz)} Hz, ${String(bandwidthHz)} Hz wide, ${String(depthDb)} dB deep`,
    ),
    gyroTap === 'unknown'
      ? 'Whether the gyro is logged before or after them: not told'
      : `The gyro is logged ${gyroTap} them`,
    `The controller runs at: ${lowPass(loopRateHz)}`,
  ];
}
