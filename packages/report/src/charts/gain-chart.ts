/** How far to change the gains: margins to expect along the way from today's to the advised ones. */

import type { GainPicture } from '@settle/analysis';
import { formatSignificant } from '../numbers.js';
import { LIGHT } from '../palette.js';
import { capitalise } from '../words.js';
import { type Chart, tidy } from './chart.js';
import {
  AXIS_COLOURS,
  type Layer,
  type Row,
  bandRows,
  between,
  curve,
  levelLine,
  rowsOf,
  stack,
} from './parts.js';

export function gainChart(data: GainPicture): Chart {
  const { axis, required } = data;
  const isAdvice = data.along === 'advice';
  const scale = isAdvice ? 100 : 1;
  const x = data.x.map((value) => scale * value);
  const title = isAdvice ? 'how much of the advised change is made, %' : 'all rate gains times';
  const colour = AXIS_COLOURS[axis];
  const panel = (
    name: 'gain' | 'phase',
    words: string,
    values: readonly (number | null)[],
    least: number,
    ends: readonly [number, number],
  ): { title: string; height: number; y: { domain: number[]; ticks: number }; layers: Layer[] } => {
    const known = values.filter((value): value is number => value !== null);
    return {
      title: words,
      height: 120,
      y: {
        domain: [
          Math.max(ends[0], Math.min(-0.2 * least, Math.floor(Math.min(...known)))),
          Math.min(ends[1], Math.max(1.6 * least, Math.ceil(1.08 * Math.max(...known)))),
        ],
        ticks: 5,
      },
      layers: [
        unstable(x),
        levelLine(0, { color: LIGHT.ink, strokeDash: [] }),
        levelLine(least, { color: LIGHT.mark, strokeDash: [5, 3] }),
        between(`${name}-band`, 'x', 'low', 'high', { color: colour, opacity: 0.2 }),
        curve('margins', 'x', name, { color: colour, strokeWidth: 2 }),
        requiredLabel(
          least,
          name === 'gain' ? `required: ${String(least)} dB` : `required: ${String(least)}°`,
          x,
          (values.at(-1) ?? -Infinity) > least,
        ),
        ...pointLayers(`${name}-points`),
      ],
    };
  };
  return {
    id: `${axis}-gains`,
    title: `${capitalise(axis)}: margins by gain`,
    see: seeText(data),
    alternative: `Predicted gain and phase margin of the ${axis} rate loop. ${seeText(data)}`,
    spec: stack({
      description: `Predicted margins of the ${axis} rate loop against its gains, today's and the advised ones marked`,
      across: {
        title,
        from: tidy(x[0]!),
        to: tidy(x.at(-1)!),
        ...(isAdvice ? { ticks: [-25, 0, 25, 50, 75, 100, 125, 150] } : { logarithmic: true }),
      },
      panels: [
        panel('gain', 'gain margin, dB', data.gainMarginDb, required.gainMarginDb, [-20, 40]),
        panel('phase', 'phase margin, degrees', data.phaseMarginDeg, required.phaseMarginDeg, [-90, 120]),
      ],
      datasets: {
        margins: rowsOf({ x, gain: data.gainMarginDb, phase: data.phaseMarginDeg }),
        'gain-band': bandRows(x, data.gainBand),
        'phase-band': bandRows(x, data.phaseBand),
        'gain-points': pointRows(data, scale, 'gainMarginDb', ' dB', 1),
        'phase-points': pointRows(data, scale, 'phaseMarginDeg', '°', 0),
      },
    }),
    reading: {
      label: isAdvice ? 'share of the change' : 'gains times',
      unit: isAdvice ? '%' : '',
      rows: [
        { dataset: 'margins', x: 'x', y: 'gain', label: 'gain margin', unit: 'dB' },
        { dataset: 'margins', x: 'x', y: 'phase', label: 'phase margin', unit: 'degrees' },
      ],
    },
    sketch: null,
  };
}

function seeText({ factors, required, withFilters }: GainPicture): string {
  const filters = withFilters ? ' The curve counts the filters that are to be added with them.' : '';
  const required2 = `Above the dashed lines, ${String(required.gainMarginDb)} dB and ${String(required.phaseMarginDeg)} degrees, the loop meets what is required; below zero it swings by itself.`;
  if (factors === null) return `Today’s gains are at 1. ${required2}${filters}`;
  const change = (['P', 'I', 'D'] as const)
    .filter((term) => Math.abs(factors[term] - 1) > 0.03)
    .map((term) => `${term} × ${formatSignificant(factors[term], 2)}`)
    .join(', ');
  return `From today’s gains, at 0 %, to the advised ones, at 100 % (${change}). ${required2}${filters}`;
}

function pointRows(
  { today, advised, along }: GainPicture,
  scale: number,
  of: 'gainMarginDb' | 'phaseMarginDeg',
  unit: string,
  decimals: number,
): Row[] {
  const point = (name: string, at: number, value: number | null | undefined): Row[] =>
    value === null || value === undefined
      ? []
      : [{ x: scale * at, y: tidy(value), name, label: `${name}: ${value.toFixed(decimals)}${unit}` }];
  return [...point('today', along === 'advice' ? 0 : 1, today[of]), ...point('advised', 1, advised?.[of])];
}

/** Where a margin is below zero the loop swings by itself. */
function unstable(x: readonly number[]): Layer {
  return {
    data: { name: 'here' },
    mark: { type: 'rect', color: LIGHT.dangerTint, clip: true },
    encoding: {
      x: { datum: tidy(x[0]!) },
      x2: { datum: tidy(x.at(-1)!) },
      y: { datum: 0 },
      y2: { datum: -400 },
    },
  };
}

/** @param isBelow under its line, where the curve does not end */
function requiredLabel(value: number, label: string, x: readonly number[], isBelow: boolean): Layer {
  return {
    data: { name: 'here' },
    mark: {
      type: 'text',
      color: LIGHT.mark,
      align: 'right',
      dy: isBelow ? 14 : -6,
      dx: -3,
      baseline: 'alphabetic',
      text: label,
    },
    encoding: { x: { datum: tidy(x.at(-1)!) }, y: { datum: value } },
  };
}

function pointLayers(dataset: string): Layer[] {
  const data = { name: dataset };
  return [
    {
      data,
      mark: { type: 'point', filled: true, size: 90, opacity: 1, clip: true },
      encoding: {
        x: { field: 'x' },
        y: { field: 'y' },
        color: {
          field: 'name',
          type: 'nominal',
          scale: { domain: ['today', 'advised'], range: [LIGHT.ink, LIGHT.advised] },
          legend: null,
        },
        shape: {
          field: 'name',
          type: 'nominal',
          scale: { domain: ['today', 'advised'], range: ['circle', 'diamond'] },
          legend: null,
        },
      },
    },
    {
      data,
      mark: {
        type: 'text',
        align: 'left',
        dx: 9,
        dy: -9,
        baseline: 'middle',
        fontWeight: 600,
        color: LIGHT.ink,
      },
      encoding: { x: { field: 'x' }, y: { field: 'y' }, text: { field: 'label' } },
    },
  ];
}
