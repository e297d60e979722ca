/** What the charts share: panels on one horizontal axis, the line that marks a reading, the style. */

import type { AxisName, BodyAxis } from '@settle/parser';
import type { Band, TimeSeries } from '@settle/analysis';
import { LIGHT } from '../palette.js';
import { type ChartSpec, PLOT_WIDTH, tidy, tidyTime } from './chart.js';

/** Ships with the package, so that text looks alike in a browser, in an SVG and in a PNG. */
export const FONT_FAMILY = 'Atkinson Hyperlegible Next';
const FONT = `"${FONT_FAMILY}", "Segoe UI", system-ui, sans-serif`;
/** Room for the labels of a vertical axis: the plots of a page start on one line. */
const GUTTER = 46;

/** d3's format: up to three decimals, none that are zero. */
const PLAIN_FORMAT = '.3~f';

export type Layer = Readonly<Record<string, unknown>>;
export type Row = Readonly<Record<string, number | string | boolean | null>>;

export const AXIS_COLOURS: Readonly<Record<AxisName, string>> = {
  roll: LIGHT.roll,
  pitch: LIGHT.pitch,
  yaw: LIGHT.yaw,
};
export const BODY_COLOURS: Readonly<Record<BodyAxis, string>> = {
  x: LIGHT.roll,
  y: LIGHT.pitch,
  z: LIGHT.yaw,
};

/** The horizontal axis of all panels of a chart. Zooming moves its ends. */
export interface Across {
  /** Quantity and unit, `time, s`. */
  readonly title: string;
  readonly from: number;
  readonly to: number;
  readonly logarithmic?: boolean;
  /** Vega format of its labels. */
  readonly format?: string;
  /** Places of the labels. */
  readonly ticks?: readonly number[];
  /** Places that carry a name instead of a number, with those names. */
  readonly places?: readonly number[];
  readonly names?: readonly string[];
}

export interface Panel {
  /** Quantity and unit; stands above the vertical axis. */
  readonly title: string;
  readonly height: number;
  readonly layers: readonly Layer[];
  readonly y: {
    readonly domain?: readonly number[];
    readonly logarithmic?: boolean;
    readonly values?: readonly number[];
    readonly ticks?: number;
    readonly format?: string;
    readonly zero?: boolean;
  };
  /** Colour of the title where the panel is one axis' own. */
  readonly colour?: string;
}

export interface Stack {
  readonly description: string;
  readonly across: Across;
  readonly panels: readonly Panel[];
  readonly datasets: Readonly<Record<string, readonly Row[]>>;
  /** A labelled strip above the panels. */
  readonly strip?: { readonly height: number; readonly layers: readonly Layer[] };
}

/** Panels under one another on one horizontal axis, with a line for what is read off. */
export function stack({ description, across, panels, datasets, strip }: Stack): ChartSpec {
  const views = panels.map((panel, index) => panelView(panel, across, index === panels.length - 1));
  return {
    $schema: 'https://vega.github.io/schema/vega-lite/v6.json',
    description,
    params: [
      { name: 'from', value: across.from },
      { name: 'to', value: across.to },
      { name: 'at', value: across.from },
      { name: 'reading', value: false },
      // Names come in as data: in an expression they could be read as one.
      ...(across.names === undefined ? [] : [{ name: 'names', value: across.names }]),
    ],
    datasets: { ...datasets, here: [{ here: 1 }] },
    vconcat: [
      ...(strip === undefined ? [] : [{ height: strip.height, width: PLOT_WIDTH, layer: strip.layers }]),
      ...views,
    ],
    spacing: 24,
    resolve: { scale: { x: 'shared' } },
    config: CONFIG,
  };
}

function panelView(panel: Panel, across: Across, isLast: boolean): Layer {
  const { y } = panel;
  const axis = {
    title: panel.title,
    ...(panel.colour === undefined ? {} : { titleColor: panel.colour }),
    ...(y.values === undefined ? {} : { values: y.values }),
    format: y.format ?? PLAIN_FORMAT,
    tickCount: y.ticks ?? 4,
  };
  const scale = {
    ...(y.logarithmic === true ? { type: 'log' } : { zero: y.zero ?? false }),
    ...(y.domain === undefined ? {} : { domain: y.domain, nice: false }),
  };
  return {
    width: PLOT_WIDTH,
    height: panel.height,
    encoding: {
      x: { type: 'quantitative', scale: acrossScale(across), axis: acrossAxis(across, isLast) },
      y: { type: 'quantitative', scale, axis },
    },
    layer: [...panel.layers, cursor()],
  };
}

export function acrossScale({ logarithmic }: Across): Layer {
  return {
    domain: [{ expr: 'from' }, { expr: 'to' }],
    nice: false,
    ...(logarithmic === true ? { type: 'log' } : { zero: false }),
  };
}

function acrossAxis({ title, format, logarithmic, places, ticks }: Across, isLast: boolean): Layer {
  return {
    title: isLast ? title : null,
    labels: isLast,
    ticks: isLast,
    domain: isLast,
    format: format ?? PLAIN_FORMAT,
    ...(logarithmic === true ? { tickCount: 6 } : {}),
    ...(ticks === undefined ? {} : { values: ticks }),
    ...(places === undefined ? {} : { values: places, labelExpr: 'names[datum.value - 1]' }),
  };
}

function cursor(): Layer {
  return {
    data: { name: 'here' },
    mark: {
      type: 'rule',
      color: LIGHT.ink,
      strokeWidth: 1,
      opacity: { expr: 'reading ? 0.7 : 0' },
      tooltip: null,
    },
    encoding: { x: { datum: { expr: 'at' } } },
  };
}

/** A curve; `x` and `y` are fields. */
export function curve(dataset: string, x: string, y: string, mark: Layer): Layer {
  return {
    data: { name: dataset },
    mark: { type: 'line', clip: true, strokeJoin: 'round', ...mark },
    encoding: { x: { field: x }, y: { field: y } },
  };
}

/** The room between two curves. */
export function between(dataset: string, x: string, low: string, high: string, mark: Layer): Layer {
  return {
    data: { name: dataset },
    mark: { type: 'area', clip: true, line: false, ...mark },
    encoding: { x: { field: x }, y: { field: low }, y2: { field: high } },
  };
}

/** A level line at a value of the vertical axis. */
export function levelLine(value: number, mark: Layer = {}): Layer {
  return {
    data: { name: 'here' },
    mark: { type: 'rule', color: LIGHT.quiet, strokeDash: [2, 3], clip: true, ...mark },
    encoding: { y: { datum: value } },
  };
}

/** A tinted stretch of the horizontal axis, over the whole height. */
export function stretch(startS: number, endS: number, mark: Layer = {}): Layer {
  return {
    data: { name: 'here' },
    mark: { type: 'rect', color: LIGHT.hover, clip: true, ...mark },
    encoding: { x: { datum: startS }, x2: { datum: endS } },
  };
}

/** A curve that a legend above the panel names; all curves of a chart that are named share one list of names. */
export function namedCurve(
  curveLayer: Layer,
  name: string,
  colours: Readonly<Record<string, string>>,
): Layer {
  return {
    ...curveLayer,
    transform: [{ calculate: `'${name}'`, as: 'name' }],
    encoding: {
      ...(curveLayer['encoding'] as Layer),
      color: {
        field: 'name',
        type: 'nominal',
        scale: { domain: Object.keys(colours), range: Object.values(colours) },
        // Wide enough for a dash to be seen as one.
        legend: { title: null, symbolSize: 420 },
      },
    },
  };
}

export function seriesRows(series: TimeSeries, x = 't', y = 'v'): Row[] {
  return series.timeS.map((timeS, i) => {
    const value = series.values[i] ?? null;
    return { [x]: tidyTime(timeS), [y]: value === null ? null : tidy(value) };
  });
}

export function rowsOf(columns: Readonly<Record<string, readonly (number | null)[]>>): Row[] {
  const names = Object.keys(columns);
  const length = Math.max(0, ...names.map((name) => columns[name]!.length));
  return Array.from({ length }, (_, i) =>
    Object.fromEntries(
      names.map((name) => {
        const value = columns[name]![i] ?? null;
        return [name, value === null || !Number.isFinite(value) ? null : tidy(value)];
      }),
    ),
  );
}

/** Fields `low` and `high` where a band is known; those rows only. */
export function bandRows(x: readonly number[], band: Band): Row[] {
  return rowsOf({ x, low: band.low, high: band.high }).filter(
    ({ low, high }) => low !== null && high !== null,
  );
}

/** Places for the labels of a logarithmic axis: powers of ten, with 3 between them where there are few. */
export function decades(low: number, high: number): number[] {
  const exponents = Array.from({ length: 40 }, (_, i) => i - 20);
  const within = (values: readonly number[]): number[] =>
    values.filter((value) => value >= low * (1 - 1e-9) && value <= high * (1 + 1e-9)).map(tidy);
  const powers = within(exponents.map((exponent) => 10 ** exponent));
  return powers.length >= 3
    ? powers
    : within(exponents.flatMap((exponent) => [10 ** exponent, 3 * 10 ** exponent]));
}

/** The next of 1, 1.5, 2, 3, 4, 5, 6, 8 times a power of ten: a round end for an axis. */
export function roundUp(value: number): number {
  const power = 10 ** Math.floor(Math.log10(value));
  const step = [1, 1.5, 2, 3, 4, 5, 6, 8, 10].find((each) => each * power >= value * (1 - 1e-9)) ?? 10;
  return tidy(step * power);
}

/** The largest size among values, at least `least`; for axes that are alike on both sides of zero. */
export function reachOf(series: readonly (TimeSeries | null)[], least: number): number {
  let most = least;
  for (const one of series)
    for (const value of one?.values ?? []) most = Math.max(most, Math.abs(value ?? 0));
  return most;
}

const TEXT = { font: FONT, fontSize: 12 };

/** The look of all charts: thin rules, no boxes, quantities named in words above their axis. */
export const CONFIG: Layer = {
  // A chart has its words beside it. Words for every single mark would be noise, and most of the work of drawing.
  aria: false,
  background: LIGHT.card,
  padding: { left: 4, top: 4, right: 14, bottom: 4 },
  font: FONT,
  autosize: { type: 'pad' },
  view: { stroke: null },
  concat: { spacing: 24 },
  text: { ...TEXT, color: LIGHT.ink },
  line: { strokeWidth: 1.5 },
  title: {
    anchor: 'start',
    frame: 'bounds',
    font: FONT,
    fontSize: 17,
    fontWeight: 600,
    color: LIGHT.ink,
    subtitleFont: FONT,
    subtitleFontSize: 13,
    subtitleColor: LIGHT.quiet,
    subtitlePadding: 6,
    offset: 14,
  },
  legend: {
    orient: 'top',
    direction: 'horizontal',
    labelFont: FONT,
    labelFontSize: 12,
    labelColor: LIGHT.ink,
    titleFont: FONT,
    titleFontSize: 12,
    titleFontWeight: 400,
    titleColor: LIGHT.quiet,
    titleLimit: 320,
    symbolStrokeWidth: 2,
    labelLimit: 260,
    columnPadding: 14,
    rowPadding: 3,
    offset: 12,
    padding: 0,
  },
  axis: {
    labelFont: FONT,
    labelFontSize: 12,
    labelColor: LIGHT.quiet,
    titleFont: FONT,
    titleFontSize: 12.5,
    titleFontWeight: 600,
    titleColor: LIGHT.ink,
    gridColor: LIGHT.grid,
    gridWidth: 1,
    domainColor: LIGHT.quiet,
    tickColor: LIGHT.quiet,
    labelOverlap: true,
  },
  axisX: { grid: false, titleAnchor: 'end', titlePadding: 6, tickSize: 4 },
  axisY: {
    domain: false,
    ticks: false,
    labelPadding: 6,
    minExtent: GUTTER,
    maxExtent: GUTTER,
    titleAngle: 0,
    titleAlign: 'left',
    titleAnchor: 'start',
    titleBaseline: 'bottom',
    titleX: -GUTTER + 4,
    titleY: -8,
  },
};
