/** The parts of a report as HTML. */

import type { Chart } from '../charts/chart.js';
import type { Block, Emphasis, List, Sentence, Table, TableColumn } from '../document.js';
import { escapeHtml } from './escape.js';

function classOf(emphasis: Emphasis): string {
  return emphasis === 'plain' ? '' : ` class="${emphasis}"`;
}

export function sentenceHtml({ text, emphasis }: Sentence): string {
  return `<p${classOf(emphasis)}>${escapeHtml(text)}</p>`;
}

/** A line under an item that begins with one of our own words carries that word as its label. */
const LABELS = ['Because', 'How sure', 'Watch for', 'Filter'];

function childHtml(text: string): string {
  const label = LABELS.find((each) => text.startsWith(`${each}: `));
  if (label === undefined) return `<li>${escapeHtml(text)}</li>`;
  const name = label.toLowerCase().replace(' ', '-');
  return `<li class="${name}"><b>${label}</b> ${escapeHtml(text.slice(label.length + 2))}</li>`;
}

function listHtml({ items }: List): string {
  const rows = items.map(({ text, emphasis, children }) => {
    const below = children.length === 0 ? '' : `<ul>${children.map(childHtml).join('')}</ul>`;
    return `<li><span${classOf(emphasis)}>${escapeHtml(text)}</span>${below}</li>`;
  });
  return `<ul class="items">${rows.join('')}</ul>`;
}

function columnTitle({ title, unit }: TableColumn): string {
  return unit === null || unit === '' ? title : `${title}, ${unit}`;
}

/** Roles are written out: on a narrow screen rows become blocks, and would lose them. */
function tableHtml({ columns, rows }: Table): string {
  if (rows.length === 0) return '';
  const head = columns
    .map(
      (column) =>
        `<th role="columnheader" scope="col" class="${column.align}">${escapeHtml(column.title)}` +
        `${column.unit === null || column.unit === '' ? '' : ` <span class="unit">${escapeHtml(column.unit)}</span>`}</th>`,
    )
    .join('');
  const body = rows
    .map((row) => {
      const cells = columns.map((column, i) => {
        const text = row[i] ?? '';
        return `<td role="cell" class="${column.align}${text === '' ? ' empty' : ''}" data-title="${escapeHtml(columnTitle(column))}">${escapeHtml(text)}</td>`;
      });
      return `<tr role="row">${cells.join('')}</tr>`;
    })
    .join('');
  return `<table role="table"><thead role="rowgroup"><tr role="row">${head}</tr></thead><tbody role="rowgroup">${body}</tbody></table>`;
}

export function chartHtml({ id, title, see, alternative, reading, spec }: Chart, level: number): string {
  const name = escapeHtml(title);
  const heading = `h${String(level)}`;
  const described = `chart-${id}-words`;
  const range = rangeOf(spec);
  // A place on the horizontal axis is what the arrow keys move: a slider, to a screen reader.
  const plot =
    reading === null
      ? `<div class="plot" role="img" aria-label="${name}. ${escapeHtml(alternative)}">`
      : `<div class="plot" role="slider" tabindex="0" aria-label="${name}: read values along the ${escapeHtml(reading.label)} axis" aria-describedby="${described}" aria-valuemin="${range.from}" aria-valuemax="${range.to}" aria-valuenow="${range.from}">`;
  const buttons =
    reading === null
      ? ''
      : `<div class="zoom" role="group" aria-label="Zoom, ${name}">` +
        [
          ['whole', 'Whole'],
          ['out', 'Wider'],
          ['in', 'Closer'],
        ]
          .map(([how, words]) => `<button type="button" data-zoom="${how!}">${words!}</button>`)
          .join('') +
        '</div>';
  return (
    `<figure class="chart" id="chart-${id}"><figcaption><${heading}>${name}</${heading}>` +
    `<p>${escapeHtml(see)}</p><p class="unseen" id="${described}">${escapeHtml(alternative)}</p></figcaption>` +
    `${plot}<div class="canvas"></div><div class="tip" hidden></div></div>${buttons}</figure>`
  );
}

function rangeOf(spec: Chart['spec']): { from: string; to: string } {
  const params = spec['params'] as readonly { readonly name: string; readonly value: unknown }[];
  const valueOf = (name: string): string => String(params.find((param) => param.name === name)?.value ?? 0);
  return { from: valueOf('from'), to: valueOf('to') };
}

export function blockHtml(block: Block): string {
  switch (block.kind) {
    case 'sentence':
      return sentenceHtml(block);
    case 'list':
      return listHtml(block);
    case 'table':
      return tableHtml(block);
    case 'chart':
      return chartHtml(block.chart, block.isLead ? 2 : 3);
    // The chart of the flight shows it, and sentences say it.
    case 'timeline':
      return '';
  }
}
