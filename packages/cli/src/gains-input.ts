/** The gains file of a flight: reading it, and writing it again with the advised gains. */

import type { Advice, Diagnosis } from '@settle/analysis';
import type { GainChange, GainsFile } from '@settle/parser';
import { Failure } from './failures.js';
import { readSettingsText } from './flight-reading.js';
import type { OptionValues } from './options.js';
import { loadParser } from './stages.js';

/**
 * @returns null without `--gains`
 * @throws Failure, or the parser's own error, each with what to do next
 */
export async function readGains({ gains, writeGains }: OptionValues): Promise<GainsFile | null> {
  if (gains === undefined && writeGains !== undefined)
    throw new Failure(
      '--write-gains needs the gains that were flown',
      'give them with --gains FILE; the user guide shows how to write that file',
    );
  if (gains === undefined) return null;
  const text = await readSettingsText(gains, 'gains file');
  return (await loadParser()).parseGains(text, gains);
}

/** What the person should know about the gains given, one line each. */
export function gainsNotes(gains: GainsFile): string[] {
  const { rate, attitude, name, writtenUnit } = gains;
  const loops = [
    { loop: 'rate', ...rate, known: '"rad/s" or "deg/s"' },
    { loop: 'attitude', ...attitude, known: '"1/s"' },
  ].filter(({ axes }) =>
    Object.values(axes).some((axis) => Object.values(axis).some((gain) => gain !== null)),
  );
  if (loops.length === 0) return [`${name} tells no gain`];
  return loops
    .filter(({ unit }) => unit.declared && !unit.calculable)
    .map(
      (each) =>
        `${name}: the ${each.loop} gains are only scaled, never calculated with: their unit "${each.writtenUnit ?? writtenUnit ?? ''}" is not ${each.known}`,
    );
}

/** A gains file to write, if the diagnosis gives a reason to, and what to tell the person. */
export interface ChangedGains {
  readonly text: string | null;
  readonly note: string;
}

/**
 * @param file name of the file to write, for the note
 * @returns the gains flown with every gain advice of step 1 applied; no text when that changes nothing
 */
export async function changeGains(
  gains: GainsFile,
  { advice }: Pick<Diagnosis, 'advice'>,
  file: string,
): Promise<ChangedGains> {
  const { applyGainAdvice, formatGains, gainToChange } = await loadParser();
  const first = advice.filter(({ step }) => step === 1);
  const changes = first.flatMap(gainChange);
  const known = changes.filter((change) => gainToChange(gains, change) !== null);
  const missing = changes.filter((change) => gainToChange(gains, change) === null);
  if (changes.length === 0)
    return {
      text: null,
      note: `no gain is advised to change before the next hover; ${file} was not written`,
    };
  if (known.length === 0)
    return {
      text: null,
      note: `${gains.name} tells none of the gains to change (${missing.map(describeChange).join(', ')}); ${file} was not written`,
    };
  const parts = [
    `wrote ${file}: ${known.map(describeChange).join(', ')}`,
    ...(missing.length > 0
      ? [`not in ${gains.name}, so not in it: ${missing.map(describeChange).join(', ')}`]
      : []),
    ...(first.some(({ kind }) => kind === 'filter')
      ? ['its filters are as they were: set those of the report yourself']
      : []),
    ...(first.some(({ kind }) => kind === 'do-not-fly') ? ['the report says not to fly yet'] : []),
  ];
  return { text: formatGains(applyGainAdvice(gains, known)), note: parts.join('; ') };
}

function gainChange({ kind, axis, loop, term, factor }: Advice): GainChange[] {
  const isComplete = axis !== undefined && loop !== undefined && term !== undefined && factor !== undefined;
  return kind === 'gain' && isComplete ? [{ axis, loop, term, factor }] : [];
}

function describeChange({ axis, loop, term, factor }: GainChange): string {
  return `${axis} ${loop} ${term} × ${Number(factor.toPrecision(3))}`;
}
