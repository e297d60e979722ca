/**
 * A report as one HTML file that needs nothing else: no network (its content security policy forbids it), no evaluated code (the
 * drawing program interprets its expressions), fonts and program inlined.
 */

import { createHash } from 'node:crypto';
import { clientScript, drawingScript, fontFiles, readBase64 } from '../assets.js';
import type { Chart } from '../charts/chart.js';
import { type Block, type ReportDocument, type Section, type Sentence, allPictures } from '../document.js';
import { propertyOf, recolour } from '../palette.js';
import { compileChart } from '../compile-chart.js';
import { countOf } from '../words.js';
import { blockHtml } from './blocks.js';
import { embedJson, escapeHtml } from './escape.js';
import { styleSheet } from './style.js';

export function renderHtml(document: ReportDocument): string {
  const charts = allPictures(document);
  // Without pictures it still folds and unfolds.
  const script = charts.length === 0 ? clientScript() : `${drawingScript()}\n${clientScript()}`;
  const style = styleSheet(fontFiles().map(({ weight, path }) => ({ weight, base64: readBase64(path) })));
  const hash = createHash('sha256').update(script).digest('base64');
  const policy = [
    "default-src 'none'",
    `script-src 'sha256-${hash}'`,
    "style-src 'unsafe-inline'",
    'font-src data:',
    "base-uri 'none'",
    "form-action 'none'",
  ].join('; ');
  return `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="${policy}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>${escapeHtml(document.title)}</title>
<style>${style}</style>
</head>
<body>
${bodyHtml(document, charts.length > 0)}
<script type="application/json" id="charts">${embedJson(charts.map(chartEntry))}</script>
<script>${script}</script>
</body>
</html>
`;
}

/** What the page needs to draw one chart; colours by role, so that the theme of the page applies. */
function chartEntry(chart: Chart): unknown {
  const spec = recolour(compileChart(chart), (role) => `var(${propertyOf(role)})`);
  return {
    id: chart.id,
    spec: { ...spec, background: 'transparent', description: undefined },
    reading: chart.reading,
    logarithmic: isLogarithmic(spec),
  };
}

function isLogarithmic(spec: {
  readonly scales?: readonly { readonly name?: string; readonly type?: string }[];
}): boolean {
  return spec.scales?.some(({ name, type }) => name === 'x' && type === 'log') === true;
}

function bodyHtml(document: ReportDocument, hasCharts: boolean): string {
  const of = (role: Section['role']): Section[] =>
    document.sections.filter((section) => (section.role ?? 'evidence') === role);
  const evidence = of('evidence');
  const lead = of('verdict').flatMap(({ blocks }) => blocks.filter(isLeadChart));
  return [
    `<header><h1>${escapeHtml(document.title)}</h1><p>${escapeHtml(document.subtitle)}</p></header>`,
    '<main>',
    hasCharts
      ? '<noscript><p>The pictures of this report are drawn by a script inside this file, which your browser does not run. Everything they show is also said in words.</p></noscript>'
      : '',
    `<div class="top">${of('verdict').map(verdictHtml).join('')}${of('caution').map(cautionHtml).join('')}</div>`,
    lead.map(blockHtml).join(''),
    of('action')
      .map(
        (section) =>
          `<section class="plain-section"><h2>${escapeHtml(section.title)}</h2>${section.blocks.map(blockHtml).join('')}</section>`,
      )
      .join(''),
    evidence.length === 0
      ? ''
      : `<section class="evidence"><div class="evidence-head"><h2>Evidence and numbers</h2><button type="button" id="unfold" aria-pressed="false">Unfold everything</button></div>${evidence
          .map(foldedHtml)
          .join('')}</section>`,
    '</main>',
    `<footer><p>Worked out on this computer by Settle; this file asks for nothing from any network.${hasCharts ? ' A picture answers to the pointer and, once it has the focus, to the arrow keys; + and − look closer or wider, 0 shows the whole, and a stretch drawn with the mouse is looked at closely.' : ''}</p></footer>`,
  ].join('\n');
}

function isLeadChart(block: Block): boolean {
  return block.kind === 'chart' && block.isLead;
}

/** The first sentence large, what to do first set apart, the rest as it stands. */
function verdictHtml({ title, blocks }: Section): string {
  const rest = blocks.filter((block) => !isLeadChart(block));
  const [first, ...others] = rest;
  const isSentence = (block: Block | undefined): block is Sentence => block?.kind === 'sentence';
  const emphasis = isSentence(first) ? first.emphasis : 'plain';
  const parts: string[] = [];
  let actions: Sentence[] = [];
  const flush = (): void => {
    if (actions.length === 0) return;
    parts.push(
      `<section class="first"><h3>What to do first</h3><ul>${actions.map(({ text }) => `<li>${escapeHtml(text)}</li>`).join('')}</ul></section>`,
    );
    actions = [];
  };
  for (const block of others) {
    if (isSentence(block) && block.isAction === true) {
      actions.push(block);
      continue;
    }
    flush();
    parts.push(blockHtml(block));
  }
  flush();
  const lead =
    first === undefined
      ? ''
      : isSentence(first)
        ? `<p class="lead ${emphasis}">${escapeHtml(first.text)}</p>`
        : blockHtml(first);
  return `<section class="verdict of-${emphasis}"><h2 class="unseen">${escapeHtml(title)}</h2>${lead}${parts.join('')}</section>`;
}

function cautionHtml({ title, blocks }: Section): string {
  return `<aside class="cautions" aria-labelledby="cautions"><h2 id="cautions">${escapeHtml(title)}</h2>${blocks.map(blockHtml).join('')}</aside>`;
}

function foldedHtml({ title, blocks }: Section): string {
  const charts = blocks.filter(({ kind }) => kind === 'chart').length;
  const hint = hintOf(blocks, charts);
  return (
    `<details><summary><h3>${escapeHtml(title)}</h3><span class="hint">${escapeHtml(hint)}</span></summary>` +
    `<div class="inside">${blocks.map(blockHtml).join('')}</div></details>`
  );
}

/** What is behind the fold: the first sentence where it is short, and how many pictures. */
function hintOf(blocks: readonly Block[], charts: number): string {
  const first = blocks.find(({ kind }) => kind !== 'timeline');
  const words =
    first?.kind === 'sentence' && first.text.length <= 70
      ? first.text.replace(/\.$/, '')
      : first?.kind === 'list'
        ? countOf(first.items.length, 'entry', 'entries')
        : '';
  return [words, charts === 0 ? '' : countOf(charts, 'picture')].filter((text) => text !== '').join(' · ');
}
