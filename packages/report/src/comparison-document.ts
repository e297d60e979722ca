/** Hovers side by side as a report: whether it helped, what to do next, then the numbers. */

import type { AxisName } from '@settle/parser';
import type { Comparison, ComparisonRow, Diagnosis, HoverPicture, StepSummary } from '@settle/analysis';
import { assembleAdvice } from './advice-section.js';
import type { Chart } from './charts/chart.js';
import { overlayCharts } from './charts/overlay-charts.js';
import { slopeCharts } from './charts/slope-charts.js';
import {
  type Block,
  type Emphasis,
  type ReportDocument,
  type Section,
  action,
  illustrated,
  item,
  list,
  sentence,
  table,
  words,
} from './document.js';
import { NO_VALUE, formatEstimate, formatSignificant, formatSureness } from './numbers.js';
import { actionsOf } from './verdict.js';
import { AXIS_ORDER, SEVERITY_EMPHASIS, asSentence, capitalise, joinWords } from './words.js';

const STEP_EMPHASIS: Readonly<Record<StepSummary['verdict'], Emphasis>> = {
  better: 'good',
  worse: 'danger',
  mixed: 'fault',
  same: 'plain',
  unclear: 'plain',
  'not comparable': 'plain',
};

/**
 * @param pictures of the same hovers, for charts; none by default
 * @param aircraft its name, where it is known
 */
export function assembleComparisonDocument(
  comparison: Comparison,
  pictures: readonly HoverPicture[] = [],
  aircraft: string | null = null,
): ReportDocument {
  const names = hoverNames(comparison);
  const charts = pictures.length === 0 ? [] : slopeCharts(names, comparison.rows);
  const overlays = overlayCharts(pictures);
  return {
    title: `${aircraft === null ? 'Hovers' : `${aircraft}: hovers`} side by side: ${String(names.length)}`,
    subtitle: [names.join(' → '), ...daysOf(comparison)].join(' · '),
    sections: [
      verdictSection(comparison),
      adviceSection(comparison),
      findingsSection(comparison),
      predictionSection(comparison),
      ...AXIS_ORDER.map((axis) =>
        axisSection(axis, [...charts.filter(({ id }) => id === `${axis}-over-hovers`), ...overlays[axis]]),
      ),
      ...GROUPS.map(({ group, title, note }) => {
        const section = tableSection(comparison, group, title, note);
        const own = group === 'aircraft' ? charts.filter(({ id }) => id === 'aircraft-over-hovers') : [];
        return section === null ? null : illustrated(section, own);
      }),
      sequenceSection(comparison),
      {
        title: 'Cautions',
        role: 'caution' as const,
        blocks: [
          list(comparison.cautions.map((text) => item(text.replace('come from one log', 'come from logs')))),
        ],
      },
    ].filter((section) => section !== null),
  };
}

/** First and last day, where they were written down. */
function daysOf({ steps }: Comparison): string[] {
  const days = steps.flatMap(({ told }) => (told?.date == null ? [] : [told.date.slice(0, 10)]));
  const last = days.at(-1);
  return last === undefined ? [] : [`up to ${last}`];
}

function hoverNames({ steps }: Comparison): string[] {
  return [steps[0]!.from, ...steps.map(({ to }) => to)];
}

function verdictSection({ steps, done, findings, advice, flights, leftOut }: Comparison): Section {
  // What endangers the next flight comes before whether the last change helped.
  const dangers = flights.at(-1)!.findings.filter(({ severity }) => severity === 'danger');
  const blocks: Block[] = [...findings.filter(({ severity }) => severity !== 'note'), ...dangers].map(
    (finding) =>
      sentence(
        `${capitalise(finding.severity)}: ${asSentence(finding.summary)}`,
        SEVERITY_EMPHASIS[finding.severity],
      ),
  );
  for (const { name, why, isLatest } of leftOut)
    blocks.push(
      sentence(
        `${name} is left out: ${asSentence(why)}${isLatest ? ` What it did is not known here, so the next step starts from ${steps.at(-1)!.to}: if ${name} flew worse, go back to the gains of ${steps.at(-1)!.to} first.` : ''}`,
        isLatest ? 'fault' : 'strong',
      ),
    );
  const last: Diagnosis = { ...flights.at(-1)!, advice };
  for (const { text } of advice.filter(({ kind }) => kind === 'do-not-fly'))
    blocks.push(action(asSentence(text)));
  blocks.push(...actionsOf(last));
  blocks.push(
    list(
      steps.map((step) =>
        item(
          `${step.from} → ${step.to}: ${asSentence(step.summary)}`,
          [
            ...toldLines(step),
            changesText(step),
            ...(step.wind === null ? ['Wind: not known'] : [`Wind: ${step.wind}`]),
          ],
          STEP_EMPHASIS[step.verdict],
        ),
      ),
    ),
  );
  blocks.push(sentence(asSentence(done.summary), done.ready ? 'good' : 'strong'));
  if (!done.ready) blocks.push(list(done.missing.map((text) => item(asSentence(text)))));
  return { title: 'Verdict', role: 'verdict', blocks };
}

function changesText({ changes, gainsUnknown }: StepSummary): string {
  const seen = changes.join('; ');
  if (gainsUnknown.length === 0) return `Changed, by gains and logs: ${seen || 'nothing'}`;
  const unknown = `whether the gains of ${joinWords(gainsUnknown)} changed is not known: give a gains file for each hover (--gains)`;
  return `Changed, by gains and logs: ${seen === '' ? unknown : `${seen}; ${unknown}`}`;
}

/** What was written down of a hover: often the very cause of what the numbers show. */
function toldLines({ told }: StepSummary): string[] {
  if (told === null) return [];
  return [
    ...(told.changes.length === 0 ? [] : [`You noted as changed: ${told.changes.join('; ')}`]),
    ...(told.note === null ? [] : [`Your note: ${told.note}`]),
    ...(told.weather === null ? [] : [`Weather, as noted: ${told.weather}`]),
  ];
}

/** The pictures of one axis; its numbers stand in the tables. */
function axisSection(axis: AxisName, charts: readonly Chart[]): Section | null {
  return charts.length === 0
    ? null
    : illustrated({ title: `${capitalise(axis)} over the hovers`, blocks: [] }, charts);
}

/** The advice of the sequence stands on what the last hover was. */
function adviceSection({ flights, advice }: Comparison): Section {
  const last: Diagnosis = { ...flights.at(-1)!, advice };
  return { ...assembleAdvice(last), title: 'Next step' };
}

function findingsSection({ findings }: Comparison): Section | null {
  if (findings.length === 0) return null;
  return {
    title: 'Findings of the sequence',
    blocks: [
      list(
        findings.map((finding) =>
          item(
            `${capitalise(finding.severity)}: ${finding.summary} (${formatSureness(finding.confidence)} sure).`,
            finding.evidence.map(asSentence),
            SEVERITY_EMPHASIS[finding.severity],
          ),
        ),
      ),
    ],
  };
}

function predictionSection({ predictions }: Comparison): Section | null {
  if (predictions.length === 0) return null;
  return {
    title: 'What was expected and what came',
    blocks: [
      list(
        gatherPredictions(predictions).map(({ text, isOff }) => item(text, [], isOff ? 'fault' : 'plain')),
      ),
    ],
  };
}

/** Axes of which the same is to be said share one entry: it differs only in the axis it begins with. */
function gatherPredictions(predictions: Comparison['predictions']): { text: string; isOff: boolean }[] {
  const groups = new Map<string, { axes: AxisName[]; isOff: boolean; step: string; rest: string }>();
  for (const { from, to, axis, summary, outcome } of predictions) {
    const name = new RegExp(`^${axis}: `, 'i');
    const rest = summary.replace(name, '');
    const key = JSON.stringify([from, to, rest]);
    const isOff = outcome === 'not as expected';
    const group = groups.get(key) ?? { axes: [], isOff, step: `${from} → ${to}`, rest };
    group.axes.push(axis);
    groups.set(key, group);
  }
  return [...groups.values()].map(({ axes, isOff, step, rest }) => ({
    text: `${step}, ${joinWords(axes)}: ${asSentence(rest)}`,
    isOff,
  }));
}

const GROUPS: readonly { group: ComparisonRow['group']; title: string; note: string | null }[] = [
  {
    group: 'loops',
    title: 'Loops',
    note: 'Beyond 8 dB, 50° and a damping ratio of 0.3 more margin is neither better nor worse. Values ± one standard error; each verdict is against the hover before. Hovers of one build share what any of them shows of the plant; each flew with its own gains.',
  },
  { group: 'wind', title: 'Wind met', note: 'Angular acceleration that the demands do not explain.' },
  {
    group: 'motion',
    title: 'Motion',
    note: 'Not judged by itself: less motion on a calmer day is not a better tune. Rejection of gusts stands among the loops.',
  },
  { group: 'vibration', title: 'Vibration', note: null },
  { group: 'aircraft', title: 'Trim, throttle and stops', note: null },
];

function tableSection(
  comparison: Comparison,
  group: ComparisonRow['group'],
  title: string,
  note: string | null,
): Section | null {
  const rows = comparison.rows.filter((row) => row.group === group);
  if (rows.length === 0) return null;
  const columns = [words('quantity'), ...hoverNames(comparison).map(words)];
  const cells = rows.map((row) => [
    `${row.axis === null ? '' : `${row.axis} `}${row.metric}${row.unit === '1' ? '' : `, ${row.unit}`}`,
    ...row.values.map((value, h) => {
      if (value === null && row.verdict[h] === null) return NO_VALUE;
      const verdict = row.verdict[h];
      const shown =
        value !== null && row.ceiling !== undefined && value >= row.ceiling
          ? `over ${formatSignificant(row.ceiling, 2)}`
          : formatEstimate(value, row.std[h] ?? null);
      return `${shown}${verdict == null ? '' : ` ${verdict}`}`;
    }),
  ]);
  return { title, blocks: [...(note === null ? [] : [sentence(note, 'quiet')]), table(columns, cells)] };
}

function sequenceSection(comparison: Comparison): Section | null {
  const { lines, gainFits, plants } = comparison;
  const names = hoverNames(comparison);
  const items = [
    ...AXIS_ORDER.flatMap((axis) => {
      const plant = plants[axis];
      return plant === null
        ? []
        : [
            item(
              `${capitalise(axis)}: full demand turns it with ${formatEstimate(plant.effectiveness, plant.effectivenessStd)} rad/s², lag ${formatSignificant(plant.lagS, 2)} s, delay ${formatSignificant(plant.delayS, 2)} s (from ${plant.from.join(', ')}).`,
            ),
          ];
    }),
    ...lines.map((line) =>
      item(
        `${capitalise(line.axis)} ${line.oscillates ? 'oscillation' : 'line of the gyro'}: ${line.origin === 'unclear' ? 'loop or structure cannot be told' : `it is ${line.origin === 'loop' ? 'a loop' : line.origin === 'rotor' ? 'a rotor' : 'structure'} (${formatSureness(line.confidence)} sure)`}.`,
        line.evidence.map(asSentence),
      ),
    ),
    ...gainFits.map((fit) =>
      item(
        `${capitalise(fit.axis)} rate loop: margin against gain over ${String(fit.points.length)} hovers falls by ${formatEstimate(-fit.slope, fit.slopeStd)} dB per dB (1 by physics); 8 dB of margin at ${formatSignificant(10 ** (fit.gainForAimDb / 20), 2)} times the gains of ${names[fit.points[0]!.hover] ?? ''}.`,
      ),
    ),
  ];
  return items.length === 0 ? null : { title: 'From all hovers together', blocks: [list(items)] };
}
