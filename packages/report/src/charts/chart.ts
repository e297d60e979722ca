/**
 * A chart as data: a pure Vega-Lite specification in the colours of the light theme, with the words that belong to it. Nothing
 * here draws; renderers turn the specification into pictures.
 */

/** A Vega-Lite 6 specification as JSON. The tests hold every one of them against the schema. */
export type ChartSpec = Readonly<Record<string, unknown>>;

/** One curve that can be read off at a place of the horizontal axis. */
export interface ReadingRow {
  /** Named data of the specification, sorted by `x`. */
  readonly dataset: string;
  readonly x: string;
  readonly y: string;
  readonly label: string;
  readonly unit: string;
}

/** How a chart is read at a place of its horizontal axis; the scale is the one that the compiler names `x`. */
export interface Reading {
  readonly label: string;
  readonly unit: string;
  readonly rows: readonly ReadingRow[];
}

/** A small line plot for a terminal. */
export interface Sketch {
  readonly x: string;
  readonly y: string;
  readonly logarithmic: { readonly x: boolean; readonly y: boolean };
  readonly points: readonly (readonly [number, number])[];
}

export interface Chart {
  /** Letters, digits and hyphens; names files and anchors. */
  readonly id: string;
  readonly title: string;
  /** What to see in it, one or two sentences. */
  readonly see: string;
  /** Says in words what it shows, for whoever does not see it. */
  readonly alternative: string;
  readonly spec: ChartSpec;
  readonly reading: Reading | null;
  readonly sketch: Sketch | null;
}

/** Width of the plot where none is asked for; a browser fits it to its page. */
export const PLOT_WIDTH = 640;

/** Enough digits for a pixel. */
export function tidy(value: number): number {
  return Number(value.toPrecision(4));
}

/** A time of a long flight keeps its milliseconds. */
export function tidyTime(value: number): number {
  return Math.round(value * 1000) / 1000;
}
