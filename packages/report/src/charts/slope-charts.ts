/** Every metric over the hovers of a comparison: where it went, how sure that is, and what to make of it. */

import type { AxisName } from '@settle/parser';
import { LIGHT } from '../palette.js';
import { capitalise, countOf, joinWords } from '../words.js';
import { type Chart, tidy } from './chart.js';
import { AXIS_COLOURS, type Layer, type Panel, type Row, stack } from './parts.js';

type Verdict = 'better' | 'worse' | 'same' | 'unclear';

/** One quantity over all hovers, as a comparison gives it. */
export interface SlopeRow {
  readonly metric: string;
  readonly unit: string;
  readonly axis: AxisName | null;
  readonly values: readonly (number | null)[];
  readonly std: readonly (number | null)[];
  readonly verdict: readonly (Verdict | null)[];
}

const NOT_JUDGED = 'not judged';
const MARKS = {
  better: { shape: 'triangle-up', colour: LIGHT.good },
  worse: { shape: 'triangle-down', colour: LIGHT.danger },
  same: { shape: 'circle', colour: LIGHT.ink },
  unclear: { shape: 'diamond', colour: LIGHT.quiet },
  [NOT_JUDGED]: { shape: 'square', colour: LIGHT.reference },
} as const;
/** Panels of one chart; the table holds every metric. */
const MOST_PANELS = 9;

/** One chart for each axis and one for the aircraft as a whole, where two hovers or more share a metric. */
export function slopeCharts(names: readonly string[], rows: readonly SlopeRow[]): Chart[] {
  return (['roll', 'pitch', 'yaw', null] as const).flatMap((axis) => {
    const own = rows
      .filter((row) => row.axis === axis && row.values.filter((value) => value !== null).length > 1)
      .map((row, order) => ({ row, order }))
      // What a verdict stands on comes first, and then as the table has it.
      .sort((a, b) => weight(b.row) - weight(a.row) || a.order - b.order)
      .slice(0, MOST_PANELS)
      .sort((a, b) => a.order - b.order)
      .map(({ row }) => row);
    return own.length === 0 ? [] : [slopeChart(names, axis, own)];
  });
}

const weight = ({ verdict }: SlopeRow): number =>
  verdict.some((one) => one === 'better' || one === 'worse')
    ? 2
    : verdict.some((one) => one !== null)
      ? 1
      : 0;

function slopeChart(names: readonly string[], axis: AxisName | null, rows: readonly SlopeRow[]): Chart {
  const colour = axis === null ? LIGHT.reference : AXIS_COLOURS[axis];
  const subject = axis === null ? 'the aircraft' : axis;
  const present = [...new Set(rows.flatMap((row) => pointRows(names, row).map((point) => point['verdict'])))];
  const shown = (Object.keys(MARKS) as (keyof typeof MARKS)[]).filter((verdict) => present.includes(verdict));
  const panels = rows.map((row, index): Panel => {
    const [low, high] = reachOf(row);
    return {
      title: row.unit === '1' ? row.metric : `${row.metric}, ${row.unit}`,
      colour: axis === null ? LIGHT.ink : colour,
      height: 62,
      y: { domain: [low, high], ticks: 3 },
      layers: slopeLayers(`metric-${String(index + 1)}`, colour, shown),
    };
  });
  const changes = changeWords(names, rows);
  return {
    id: axis === null ? 'aircraft-over-hovers' : `${axis}-over-hovers`,
    title: `${capitalise(subject)} from hover to hover`,
    see: `Each panel is one quantity, hover by hover; the bar is two standard errors either way. A mark pointing up is better than the hover before, one pointing down worse; only what stands clear of its error is called either.`,
    alternative: `Of ${subject}, ${countOf(rows.length, 'quantity', 'quantities')} over ${countOf(names.length, 'hover')}. ${changes}`,
    spec: stack({
      description: `Quantities of ${subject} over the hovers compared, with their standard errors and verdicts`,
      across: {
        title: 'hover, in the order flown',
        from: 0.7,
        to: names.length + 0.3,
        places: names.map((_, i) => i + 1),
        names: names.map(shortened),
      },
      panels,
      datasets: Object.fromEntries(
        rows.map((row, index) => [`metric-${String(index + 1)}`, pointRows(names, row)]),
      ),
    }),
    reading: {
      label: 'hover',
      unit: '',
      rows: rows.map((row, index) => ({
        dataset: `metric-${String(index + 1)}`,
        x: 'x',
        y: 'y',
        label: row.metric,
        unit: row.unit === '1' ? '' : row.unit,
      })),
    },
    sketch: null,
  };
}

const LONGEST_NAME = 18;
const shortened = (name: string): string =>
  name.length <= LONGEST_NAME ? name : `${name.slice(0, LONGEST_NAME - 1)}…`;

function pointRows(names: readonly string[], { values, std, verdict }: SlopeRow): Row[] {
  return values.flatMap((value, i): Row[] => {
    if (value === null) return [];
    const error = std[i] ?? null;
    return [
      {
        x: i + 1,
        y: tidy(value),
        low: tidy(value - 2 * (error ?? 0)),
        high: tidy(value + 2 * (error ?? 0)),
        hover: names[i] ?? '',
        verdict: verdict[i] ?? NOT_JUDGED,
      },
    ];
  });
}

/** Ends of the axis: everything with its error, and some air; errors that dwarf the values are cut. */
function reachOf({ values, std }: SlopeRow): [number, number] {
  const known = values.filter((value): value is number => value !== null);
  const [least, most] = [Math.min(...known), Math.max(...known)];
  const span = Math.max(most - least, 0.1 * Math.max(Math.abs(least), Math.abs(most)), 1e-6);
  const ends = values.flatMap((value, i) => {
    if (value === null) return [];
    const error = Math.min(2 * (std[i] ?? 0), 2 * span);
    return [value - error, value + error];
  });
  const [low, high] = [Math.min(...ends), Math.max(...ends)];
  const air = 0.12 * Math.max(high - low, span);
  return [tidy(low - air), tidy(high + air)];
}

function slopeLayers(dataset: string, colour: string, shown: readonly (keyof typeof MARKS)[]): Layer[] {
  const data = { name: dataset };
  const x = { field: 'x' };
  const domain = [...shown];
  return [
    { data, mark: { type: 'line', color: colour, opacity: 0.6 }, encoding: { x, y: { field: 'y' } } },
    {
      data,
      mark: { type: 'rule', color: colour, strokeWidth: 2, clip: true },
      encoding: { x, y: { field: 'low' }, y2: { field: 'high' } },
    },
    {
      data,
      mark: { type: 'point', filled: true, opacity: 1, size: 85 },
      encoding: {
        x,
        y: { field: 'y' },
        shape: {
          field: 'verdict',
          type: 'nominal',
          scale: { domain, range: domain.map((verdict) => MARKS[verdict].shape) },
          // Two beside one another on a phone, or the legend would be wider than the picture.
          legend: { title: null, columns: { expr: 'width < 420 ? 3 : 5' } },
        },
        color: {
          field: 'verdict',
          type: 'nominal',
          scale: { domain, range: domain.map((verdict) => MARKS[verdict].colour) },
          legend: { title: null, columns: { expr: 'width < 420 ? 3 : 5' } },
        },
      },
    },
  ];
}

/** What got better or worse, in words. */
function changeWords(names: readonly string[], rows: readonly SlopeRow[]): string {
  const told = rows.flatMap(({ metric, verdict }) =>
    verdict.flatMap((one, i) =>
      one === 'better' || one === 'worse' ? [`${metric} ${one} in ${names[i] ?? String(i + 1)}`] : [],
    ),
  );
  return told.length === 0 ? 'Nothing is called better or worse.' : `${capitalise(joinWords(told))}.`;
}
