/** What shakes: spectra of the sensors with every line named, and the gyro before and after the proposed filters. */

import type { BodyAxis } from '@settle/parser';
import type { FilteredPicture, VibrationSpectrumPicture } from '@settle/analysis';
import { formatSignificant } from '../numbers.js';
import { LIGHT } from '../palette.js';
import { LINE_WORDS, countOf, joinWords } from '../words.js';
import { type Chart, tidy } from './chart.js';
import { BODY_COLOURS, type Layer, type Panel, type Row, curve, decades, rowsOf, stack } from './parts.js';

type Sensor = VibrationSpectrumPicture['sensor'];
type Line = VibrationSpectrumPicture['lines'][number];

const SENSOR_WORDS: Readonly<Record<Sensor, string>> = { gyro: 'Gyro', accel: 'Accelerometer' };
/** Names in one panel; the table beside the chart holds them all. */
const MOST_NAMES = 4;
/** Lines this near one another are one to the eye. */
const SAME_SHARE = 0.04;
/** What is this far below the strongest is not worth the height it would take. */
const FILTERED_RANGE = 3000;

/** @param spectra of one sensor, at least one */
export function vibrationChart(sensor: Sensor, spectra: readonly VibrationSpectrumPicture[]): Chart {
  const unit = spectra[0]!.unit;
  const from = tidy(Math.min(...spectra.map(({ frequencyHz }) => frequencyHz[0]!)));
  const to = tidy(Math.max(...spectra.map(({ frequencyHz }) => frequencyHz.at(-1)!)));
  const top = tidy(15 * Math.max(...spectra.map(({ level }) => Math.max(...level))));
  const bottom = tidy(Math.min(...spectra.map(({ background }) => 0.4 * Math.min(...background))));
  const names = spectra.flatMap(({ lines }) => groupLines(lines).slice(0, 2).map(nameOf));
  const panels: Panel[] = spectra.map(({ axis, lines }) => ({
    title: `${axis} axis, (${unit})/√Hz`,
    colour: BODY_COLOURS[axis],
    height: 110,
    y: { logarithmic: true, domain: [bottom, top], values: decades(bottom, top), format: '~g' },
    layers: [
      curve(`spectrum-${axis}`, 'f', 'background', { color: LIGHT.reference, strokeDash: [5, 3] }),
      curve(`spectrum-${axis}`, 'f', 'level', { color: BODY_COLOURS[axis], strokeWidth: 1.3 }),
      ...(lines.length === 0 ? [] : nameLayers(axis, top)),
    ],
  }));
  return {
    id: `${sensor}-vibration`,
    title: `${SENSOR_WORDS[sensor]}: what shakes`,
    see:
      names.length === 0
        ? 'No line stands out of the dashed background.'
        : `Each mark is a line that stands out of the dashed background, named by what it is. Strongest: ${joinWords([...new Set(names)].slice(0, 3))}.`,
    alternative: `Amplitude density of the ${SENSOR_WORDS[sensor].toLowerCase()} on ${joinWords(spectra.map(({ axis }) => axis))} from ${formatSignificant(from, 2)} to ${formatSignificant(to, 3)} Hz; ${countOf(
      spectra.reduce((sum, { lines }) => sum + lines.length, 0),
      'line',
    )} found.`,
    spec: stack({
      description: `Vibration spectra of the ${SENSOR_WORDS[sensor].toLowerCase()} in hover with the lines found`,
      across: { title: 'frequency, Hz', from, to },
      panels,
      datasets: Object.fromEntries(
        spectra.flatMap(({ axis, frequencyHz, level, background, lines }) => [
          [`spectrum-${axis}`, rowsOf({ f: frequencyHz, level, background })],
          [`names-${axis}`, nameRows(lines)],
        ]),
      ),
    }),
    reading: {
      label: 'frequency',
      unit: 'Hz',
      rows: spectra.map(({ axis }) => ({
        dataset: `spectrum-${axis}`,
        x: 'f',
        y: 'level',
        label: `${axis} axis`,
        unit: `(${unit})/√Hz`,
      })),
    },
    sketch: null,
  };
}

/** Lines of one kind and order near one another, strongest group first. */
function groupLines(lines: readonly Line[]): Line[][] {
  const groups: Line[][] = [];
  for (const line of [...lines].sort((a, b) => b.rms - a.rms)) {
    const group = groups.find(
      ([first]) =>
        first!.kind === line.kind &&
        first!.order === line.order &&
        Math.abs(first!.frequencyHz / line.frequencyHz - 1) < SAME_SHARE,
    );
    if (group === undefined) groups.push([line]);
    else group.push(line);
  }
  return groups;
}

const SHORT_WORDS: Readonly<Record<Line['kind'], string>> = {
  ...LINE_WORDS,
  rotor: 'rotor',
  alias: 'folded',
  unknown: 'not known',
};

function nameOf(group: readonly Line[]): string {
  const [line] = group;
  const order = line!.order === null ? '' : `${String(line!.order)}× `;
  return `${order}${SHORT_WORDS[line!.kind]}, ${formatSignificant(line!.frequencyHz)} Hz`;
}

function nameRows(lines: readonly Line[]): Row[] {
  return groupLines(lines)
    .slice(0, MOST_NAMES)
    .map((group, rank) => ({ group, rank }))
    .sort((a, b) => a.group[0]!.frequencyHz - b.group[0]!.frequencyHz)
    .map(({ group, rank }, i) => ({
      f: tidy(group[0]!.frequencyHz),
      label: nameOf(group),
      rank,
      // Neighbours at two heights, so that their names do not run into one another.
      lift: i % 2,
    }));
}

function nameLayers(axis: BodyAxis, top: number): Layer[] {
  return [0, 1].flatMap((lift): Layer[] => [
    {
      data: { name: `names-${axis}` },
      transform: [{ filter: `datum.lift === ${String(lift)}` }],
      mark: { type: 'rule', color: LIGHT.mark, strokeWidth: 1.1, opacity: 0.75, clip: true, y: lift * 15 },
      encoding: { x: { field: 'f' } },
    },
    {
      data: { name: `names-${axis}` },
      transform: [{ filter: `datum.lift === ${String(lift)}` }],
      mark: {
        type: 'text',
        color: LIGHT.mark,
        baseline: 'middle',
        dy: 6 + 15 * lift,
        // On a phone there is room for the strongest alone; the table names the others.
        opacity: { expr: 'width < 420 && datum.rank > 0 ? 0 : 1' },
        // To the left where the name would run out of the picture.
        align: { expr: "scale('x', datum.f) > width - 130 ? 'right' : 'left'" },
        dx: { expr: "scale('x', datum.f) > width - 130 ? -5 : 5" },
      },
      encoding: { x: { field: 'f' }, y: { datum: top }, text: { field: 'label' } },
    },
  ]);
}

/** A logarithmic axis has no place for anything else. */
const positive = (value: number): number | null => (value > 0 ? value : null);

/** @param filtered at least one */
export function filteredChart(filtered: readonly FilteredPicture[]): Chart {
  const from = tidy(Math.min(...filtered.map(({ frequencyHz }) => frequencyHz[0]!)));
  const to = tidy(Math.max(...filtered.map(({ frequencyHz }) => frequencyHz.at(-1)!)));
  const all = filtered.flatMap(({ before, after }) => [...before, ...after]).filter((value) => value > 0);
  const top = tidy(1.5 * Math.max(...all));
  const bottom = tidy(Math.max(Math.min(...all), top / FILTERED_RANGE));
  const panels: Panel[] = filtered.flatMap(({ axis }) =>
    (['before', 'after'] as const).map((when) => ({
      title: `${axis} axis ${when === 'before' ? 'with today’s filters' : 'with the proposed filters'}, (deg/s)/√Hz`,
      colour: BODY_COLOURS[axis],
      height: 76,
      y: { logarithmic: true, domain: [bottom, top], values: decades(bottom, top), format: '~g' },
      layers: [
        curve(`gyro-${axis}`, 'f', when, {
          color: when === 'before' ? LIGHT.reference : BODY_COLOURS[axis],
          strokeWidth: 1.3,
        }),
      ],
    })),
  );
  const axes = joinWords(filtered.map(({ axis }) => axis));
  return {
    id: 'gyro-filtered',
    title: 'The gyro before and after the proposed filters',
    see: 'Each axis twice on one scale, as it reaches the controller: with today’s filters and, below, with the proposed ones. What is lower below no longer shakes the demand.',
    alternative: `Amplitude density of the gyro on ${axes} before and after filtering, from ${formatSignificant(from, 2)} to ${formatSignificant(to, 3)} Hz.`,
    spec: stack({
      description: `Spectra of the gyro on ${axes} with today's and with the proposed filters`,
      across: { title: 'frequency, Hz', from, to },
      panels,
      datasets: Object.fromEntries(
        filtered.map(({ axis, frequencyHz, before, after }) => [
          `gyro-${axis}`,
          rowsOf({ f: frequencyHz, before: before.map(positive), after: after.map(positive) }),
        ]),
      ),
    }),
    reading: {
      label: 'frequency',
      unit: 'Hz',
      rows: filtered.flatMap(({ axis }) =>
        (['before', 'after'] as const).map((when) => ({
          dataset: `gyro-${axis}`,
          x: 'f',
          y: when,
          label: `${axis}, ${when}`,
          unit: '(deg/s)/√Hz',
        })),
      ),
    },
    sketch: null,
  };
}
