/** A chart's specification compiled for drawing. Loads the compiler alone: a page brings its own drawing program. */

import type { LoggerInterface, Spec } from 'vega';
import { type TopLevelSpec, compile } from 'vega-lite';
import type { Chart } from './charts/chart.js';
import { wrapText } from './text.js';

/** Letters of a subtitle that fit beside one another over the plot. */
const TITLE_COLUMNS = 100;
/** Level of the drawing program's messages from which they count as warnings. */
const WARN = 2;

/** Warnings of compiler and runtime; a chart that draws well gives none. */
export class WarningLog implements LoggerInterface {
  readonly messages: string[] = [];

  level(): number;
  level(_level: number): this;
  level(level?: number): number | this {
    return level === undefined ? WARN : this;
  }

  error(...parts: readonly unknown[]): this {
    return this.keep(parts);
  }

  warn(...parts: readonly unknown[]): this {
    return this.keep(parts);
  }

  info(): this {
    return this;
  }

  debug(): this {
    return this;
  }

  private keep(parts: readonly unknown[]): this {
    this.messages.push(parts.map(String).join(' '));
    return this;
  }
}

/** @param standsAlone with its title and what to see in it, which a page has beside it */
export function compileChart(
  { title, see, spec }: Chart,
  log: WarningLog = new WarningLog(),
  standsAlone = false,
): Spec {
  const titled = { ...spec, title: { text: title, subtitle: wrapText(see, TITLE_COLUMNS) } };
  return compile((standsAlone ? titled : spec) as unknown as TopLevelSpec, { logger: log }).spec;
}
