import { describe, expect, test } from 'vitest';
import {
  makeDiagnosis,
  makeOscillation,
  makeAxis,
  makeWobblyDiagnosis,
} from '../../../tests/support/hand-made.js';
import type { Diagnosis } from '@settle/analysis';
import { assembleDiagnosisDocument } from './diagnosis-document.js';
import { type ReportDocument, item, list, quantity, sentence, table, words } from './document.js';
import { type TextOptions, renderText, wrapText } from './text.js';

const diagnosisText = (diagnosis: Diagnosis, options: TextOptions): string =>
  renderText(assembleDiagnosisDocument(diagnosis), options);

const PLAIN = { width: 60, colour: false } as const;

function documentOf(...blocks: ReportDocument['sections'][number]['blocks']): ReportDocument {
  return { title: 'T', subtitle: 'S', sections: [{ title: 'Section', blocks }] };
}

function bodyOf(text: string): string[] {
  const lines = text.split('\n');
  return lines.slice(lines.indexOf('Section') + 1, -1);
}

describe('folding', () => {
  test('lines fold at spaces and fill the width', () => {
    expect(wrapText('one two three', 7)).toEqual(['one two', 'three']);
  });

  test('a word longer than the line breaks after a joint of a name, else where the line ends', () => {
    expect(wrapText('rate.roll.measured', 12)).toEqual(['rate.roll.', 'measured']);
    expect(wrapText('abcdefgh', 3)).toEqual(['abc', 'def', 'gh']);
  });

  test('the empty text is one empty line', () => {
    expect(wrapText('', 10)).toEqual(['']);
  });
});

describe('tables', () => {
  const columns = [words('name'), quantity('size', 'm'), words('remark')];

  test('numbers stand right-aligned under their title and unit', () => {
    const text = renderText(
      documentOf(
        table(columns, [
          ['a', '1.5', 'x'],
          ['bb', '10', ''],
        ]),
      ),
      PLAIN,
    );
    expect(bodyOf(text)).toEqual(['  name  size  remark', '           m', '  a      1.5  x', '  bb      10']);
  });

  test('words fold before the table is given up', () => {
    const text = renderText(documentOf(table(columns, [['a', '1', 'long '.repeat(12).trim()]])), {
      ...PLAIN,
      width: 40,
    });
    const lines = bodyOf(text);
    expect(lines[0]).toContain('name  size  remark');
    expect(Math.max(...lines.map((line) => line.length))).toBeLessThanOrEqual(40);
    expect(text.match(/long/g)).toHaveLength(12);
  });

  test('a table whose numbers alone are too wide becomes one block per row, empty cells left out', () => {
    const wide = Array.from({ length: 8 }, (_, index) => quantity(`quantity ${index}`, 'm'));
    const row = wide.map((_, index) => (index === 3 ? '' : `${index}.25`));
    const lines = bodyOf(renderText(documentOf(table(wide, [row, row])), { ...PLAIN, width: 40 }));
    expect(lines[0]).toBe('  quantity 0, m  0.25');
    expect(lines).toHaveLength(2 * 7 + 1);
  });
});

describe('width and colour', () => {
  test.each([40, 60, 80, 100, 140])('at %d columns no line is wider', (width) => {
    const text = diagnosisText(makeWobblyDiagnosis(), { width, colour: false, drawings: true });
    expect(Math.max(...text.split('\n').map((line) => [...line].length))).toBeLessThanOrEqual(width);
  });

  test('without colour there is no escape sequence; with it, taking the sequences away gives the same text', () => {
    const plain = diagnosisText(makeWobblyDiagnosis(), { width: 100, colour: false });
    const coloured = diagnosisText(makeWobblyDiagnosis(), { width: 100, colour: true });
    expect(plain).not.toContain('\u001b');
    expect(coloured).toContain('\u001b[');
    // eslint-disable-next-line no-control-regex -- the escape character is what is looked for
    expect(coloured.replace(/\u001b\[[\d;]*m/g, '')).toBe(plain);
  });

  test('a width that is no number or far too small counts as the least width', () => {
    const least = diagnosisText(makeDiagnosis(), { width: 40, colour: false });
    expect(diagnosisText(makeDiagnosis(), { width: 1, colour: false })).toBe(least);
    expect(diagnosisText(makeDiagnosis(), { width: Number.NaN, colour: false })).toBe(least);
  });
});

describe('text from a log', () => {
  test('control characters and marks that reorder text are spelled out, not sent to the terminal', () => {
    const hostile = 'a\u001b[2Jb\nc\u202ed';
    const text = renderText(documentOf(sentence(hostile), list([item(hostile, [hostile])])), PLAIN);
    expect(text).not.toMatch(/[\u202e]|\[2Jb\n/);
    expect(text).not.toContain('\u001b');
    expect(text.match(/a\\u\{1b\}\[2Jb\\u\{a\}c\\u\{202e\}d/g)).toHaveLength(3);
  });
});

describe('timelines', () => {
  test('a timeline is drawn for a person only; piped text holds sentences and tables', () => {
    const options = { width: 100, colour: false };
    const piped = diagnosisText(makeDiagnosis(), options);
    expect(piped).not.toContain('====');
    expect(piped).toContain('hover 4.0–20.0 s');
    expect(diagnosisText(makeDiagnosis(), { ...options, drawings: true })).toContain('====');
  });

  test('hover fills its share of the strip, and an oscillation stands below where it was seen', () => {
    // Hover is 4–20 s of 24 s; the oscillation 8–16 s.
    const axes = {
      roll: makeAxis({ oscillations: [makeOscillation({ startS: 8, endS: 16 })] }),
      pitch: makeAxis(),
      yaw: makeAxis(),
    };
    const text = diagnosisText(makeDiagnosis({ axes }), { width: 100, colour: false, drawings: true });
    const strip = text.split('\n').find((line) => line.includes('===='))!;
    const marks = text.split('\n').find((line) => line.includes('####'))!;
    const share = (line: string, mark: string): number => line.split(mark).length - 1;
    const total = strip.trimStart().replace(/^phase\s+/, '').length;
    expect(share(strip, '=') / total).toBeCloseTo(16 / 24, 1);
    expect(share(marks, '#') / total).toBeCloseTo(8 / 24, 1);
    expect(marks.indexOf('#')).toBeGreaterThan(strip.indexOf('='));
    expect(marks.lastIndexOf('#')).toBeLessThan(strip.lastIndexOf('='));
  });

  test('a phase too short for the scale still shows', () => {
    const phases = [
      { kind: 'hover', startS: 0, endS: 23.99 },
      { kind: 'upset', startS: 23.99, endS: 24 },
    ] as const;
    const text = diagnosisText(makeDiagnosis({ phases }), { width: 100, colour: false, drawings: true });
    expect(text).toMatch(/=+!\n/);
  });
});
