/** A report as Markdown (CommonMark with pipe tables), for a tuning notebook or a pull request. */

import type { Chart } from './charts/chart.js';
import type { Block, Emphasis, ReportDocument, Table } from './document.js';
import { printable } from './words.js';

export interface MarkdownOptions {
  /** Where the pictures lie, as a path relative to the Markdown file, with `/`; absent: no pictures. */
  readonly chartPath?: string;
}

/**
 * Characters with a meaning in Markdown or HTML, in names that come from a log. A backslash escape keeps them as
 * they are; `<` and `&` are escaped too, so that a header cannot smuggle markup into a rendered page.
 */
function escapeMarkdown(text: string): string {
  return printable(text).replace(/[\\`*_[\]<>&|#~]/g, (character) => `\\${character}`);
}

function emphasise(text: string, emphasis: Emphasis): string {
  const escaped = escapeMarkdown(text);
  return emphasis === 'plain' || emphasis === 'quiet' ? escaped : `**${escaped}**`;
}

function tableLines(table: Table): string[] {
  if (table.rows.length === 0) return [];
  const row = (cells: readonly string[]): string => `| ${cells.map(escapeMarkdown).join(' | ')} |`;
  return [
    row(table.columns.map(({ title, unit }) => (unit === null || unit === '' ? title : `${title}, ${unit}`))),
    `| ${table.columns.map(({ align }) => (align === 'right' ? '---:' : '---')).join(' | ')} |`,
    ...table.rows.map(row),
  ];
}

function blockLines(block: Block, options: MarkdownOptions): string[] {
  switch (block.kind) {
    case 'sentence':
      return [emphasise(block.text, block.emphasis)];
    case 'list':
      return block.items.flatMap((entry) => [
        `- ${emphasise(entry.text, entry.emphasis)}`,
        ...entry.children.map((child) => `  - ${escapeMarkdown(child)}`),
      ]);
    case 'table':
      return tableLines(block);
    case 'timeline':
      return [];
    case 'chart':
      return chartLines(block.chart, options);
  }
}

/** The picture, then what to see in it; nothing where no pictures are written. */
function chartLines({ id, alternative, see }: Chart, { chartPath }: MarkdownOptions): string[] {
  if (chartPath === undefined) return [];
  const target = [...chartPath.split('/'), `${id}.png`].map(encodeURIComponent).join('/');
  return [`![${escapeMarkdown(alternative)}](${target})`, '', escapeMarkdown(see)];
}

export function renderMarkdown(document: ReportDocument, options: MarkdownOptions = {}): string {
  const parts = [`# ${escapeMarkdown(document.title)}`, escapeMarkdown(document.subtitle)];
  for (const section of document.sections) {
    const blocks = section.blocks
      .map((block) => blockLines(block, options))
      .filter((lines) => lines.length > 0);
    // A section of pictures has nothing to say where none are shown.
    if (blocks.length === 0) continue;
    parts.push(`## ${escapeMarkdown(section.title)}`, ...blocks.map((lines) => lines.join('\n')));
  }
  return `${parts.join('\n\n')}\n`;
}
