/** What to change, log or fly next: one item for each thing a person does, with reasons and cautions beside it. */

import type { Advice, Diagnosis } from '@settle/analysis';
import { isUnavailable } from '@settle/analysis/unavailable';
import { type Block, type ListItem, type Section, item, list, sentence } from './document.js';
import {
  type GainGroup,
  changesText,
  gatherGainGroups,
  isGainChange,
  oldGainsAreUnsafe,
  watchTexts,
} from './gain-groups.js';
import { formatSignificant } from './numbers.js';
import { oscillationsByUrgency } from './verdict.js';
import { asSentence, capitalise, joinWords } from './words.js';

const BASIS_WORDS: Readonly<Record<Advice['basis'], string>> = {
  margins: 'worked out from the loop as this log shows it',
  'ultimate-cycle': 'worked out from the oscillation itself',
  scaling: 'worked out by scaling',
  'rule-of-thumb': 'a rule of thumb, not a measurement',
};

/** Done with the aircraft on the bench; the other kinds are done in the air or on the logger. */
const ON_THE_BENCH = new Set<Advice['kind']>(['gain', 'filter', 'mechanical', 'do-not-fly']);

const UNITS_NOTE =
  'Numbers in brackets: demand per rad/s with full demand 1, attitude gain in 1/s. In any other unit only the factors count';

function filterChange({ filter }: Advice): string[] {
  if (filter === undefined) return [];
  const parts = [
    filter.centreHz === undefined ? null : `centre ${formatSignificant(filter.centreHz)} Hz`,
    filter.cutoffHz === undefined ? null : `cut-off ${formatSignificant(filter.cutoffHz)} Hz`,
    filter.bandwidthHz === undefined ? null : `bandwidth ${formatSignificant(filter.bandwidthHz)} Hz`,
    filter.depthDb === undefined ? null : `depth ${formatSignificant(filter.depthDb, 2)} dB`,
  ].filter((text) => text !== null);
  return [`Filter: ${filter.type} on the ${filter.at}, ${parts.join(', ')}`];
}

function expectationsOf(entries: readonly Advice[]): string[] {
  const texts = entries
    .flatMap(({ expect }) => expect ?? [])
    .map((expect) => {
      const wobble =
        expect.oscillationHz === null
          ? 'no steady wobble'
          : `a wobble at ${formatSignificant(expect.oscillationHz)} Hz`;
      return (
        `The next hover should show, on ${expect.axis}: gain margin ${formatSignificant(expect.gainMarginDb, 2)} dB, ` +
        `phase margin ${formatSignificant(expect.phaseMarginDeg, 2)} deg, ${wobble}`
      );
    });
  return [...new Set(texts)];
}

/** Each reason once; what several axes have in common is said for them together. */
function reasonsOf(entries: readonly Advice[]): string[] {
  const axesByReason = new Map<string, string[]>();
  for (const reason of new Set(entries.flatMap(({ because }) => because))) {
    const [, axis, common] = /^(roll|pitch|yaw): (.*)$/s.exec(reason) ?? [];
    if (axis === undefined || common === undefined) axesByReason.set(reason, []);
    else axesByReason.set(common, [...(axesByReason.get(common) ?? []), axis]);
  }
  return [...axesByReason].map(
    ([reason, axes]) => `Because: ${axes.length === 0 ? '' : `${joinWords(axes)}: `}${reason}`,
  );
}

function gainItem(group: GainGroup, diagnosis: Diagnosis): ListItem {
  const { axis, basis, changes } = group;
  const hasValues = changes.some(({ from, to }) => from !== undefined && to !== undefined);
  return item(
    `${capitalise(axis)}: ${changesText(group, true)}.`,
    [
      ...(hasValues ? [UNITS_NOTE] : []),
      ...reasonsOf(changes),
      `How sure: ${BASIS_WORDS[basis]}`,
      ...watchTexts(group, oldGainsAreUnsafe(diagnosis, axis)).map((text) => `Watch for: ${text}`),
      ...expectationsOf(changes),
    ],
    'strong',
  );
}

/** Advice that is no change of gains, as an item. */
export function otherItem(advice: Advice): ListItem {
  const isMeasured = advice.kind === 'gain' || advice.kind === 'filter';
  return item(
    asSentence(advice.text),
    [
      ...filterChange(advice),
      ...reasonsOf([advice]),
      ...(isMeasured ? [`How sure: ${BASIS_WORDS[advice.basis]}`] : []),
      ...(advice.watchFor === '' ? [] : [`Watch for: ${advice.watchFor}`]),
      ...expectationsOf([advice]),
    ],
    advice.kind === 'do-not-fly' ? 'danger' : 'strong',
  );
}

/** Gain entries become one item per group, where the first of them stood. */
function itemsOf(entries: readonly Advice[], diagnosis: Diagnosis): ListItem[] {
  const groups = gatherGainGroups(entries);
  return entries.flatMap((advice): ListItem[] => {
    if (!isGainChange(advice)) return [otherItem(advice)];
    const index = groups.findIndex(({ changes }) => changes.includes(advice));
    return index < 0 ? [] : groups.splice(index, 1).map((group) => gainItem(group, diagnosis));
  });
}

function stepBlocks(step: number, diagnosis: Diagnosis): Block[] {
  const entries = diagnosis.advice.filter((advice) => advice.step === step);
  const part = (heading: string, wanted: readonly Advice[]): Block[] =>
    wanted.length === 0 ? [] : [sentence(heading, 'strong'), list(itemsOf(wanted, diagnosis))];
  if (step > 1) return part(`Step ${String(step)}, after that hover confirms:`, entries);
  return [
    ...part(
      'Before the next hover, all of these together:',
      entries.filter(({ kind }) => ON_THE_BENCH.has(kind)),
    ),
    ...part(
      'For the next hover:',
      entries.filter(({ kind }) => !ON_THE_BENCH.has(kind)),
    ),
  ];
}

/** Whether the margins of any loop are known. */
function loopsKnown({ axes }: Diagnosis): boolean {
  return Object.values(axes).some(({ margins }) => !isUnavailable(margins.rate));
}

export function assembleAdvice(diagnosis: Diagnosis): Section {
  const title = 'What to do';
  if (diagnosis.advice.length === 0) {
    const text =
      oscillationsByUrgency(diagnosis).length === 0
        ? loopsKnown(diagnosis)
          ? 'Nothing in this log calls for a change.'
          : 'Nothing stands out, and nothing in this log tells how near to swinging its loops are, so no change is advised.'
        : 'No change is advised: this log does not establish a cause, and a change without a cause is a guess.';
    return { title, role: 'action', blocks: [sentence(text)] };
  }
  const steps = [...new Set(diagnosis.advice.map(({ step }) => step))].sort((a, b) => a - b);
  return { title, role: 'action', blocks: steps.flatMap((step) => stepBlocks(step, diagnosis)) };
}
