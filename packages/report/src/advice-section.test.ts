import { describe, expect, test } from 'vitest';
import type { Advice, Diagnosis, Finding } from '@settle/analysis';
import { makeAxis, makeDiagnosis, makeWobblyDiagnosis } from '../../../tests/support/hand-made.js';
import { LOWER_P, STABLE, UPSET, sectionTexts } from '../../../tests/support/report-texts.js';
import { assembleDiagnosisDocument } from './diagnosis-document.js';

describe('what to do', () => {
  test('a gain change states factor, values, basis, what to watch for and what the next hover should show', () => {
    const later: Advice = { ...LOWER_P, step: 2, text: 'Then raise the attitude gain.' };
    const text = sectionTexts(
      assembleDiagnosisDocument(makeDiagnosis({ advice: [later, LOWER_P] })),
      'What to do',
    );
    expect(text.split('\n').slice(0, 7)).toEqual([
      'Before the next hover, all of these together:',
      'Pitch: rate P × 0.70 (0.180 → 0.126).',
      expect.stringContaining('In any other unit only the factors count'),
      'Because: The loop cycles by itself.',
      'How sure: worked out from the oscillation itself',
      'Watch for: a slower answer to the sticks',
      'The next hover should show, on pitch: gain margin 6.0 dB, phase margin 41 deg, no steady wobble',
    ]);
    expect(text).toContain('Step 2, after that hover confirms:\nPitch: rate P × 0.70');
  });

  describe('the terms of one axis', () => {
    const raised = 'a shake: go back to the old gains';
    const terms: Advice[] = [
      { ...LOWER_P, loop: 'attitude', term: 'P', factor: 1.25, from: 4, to: 5, watchFor: raised },
      { ...LOWER_P, term: 'D', factor: 0.042, from: 0.01, to: 0.00042 },
      LOWER_P,
    ];
    const adviceOf = (changes: Partial<Diagnosis>): string[] =>
      sectionTexts(assembleDiagnosisDocument(makeDiagnosis(changes)), 'What to do').split('\n');

    test('are one item, rate loop before attitude loop, every reason and caution once', () => {
      const lines = adviceOf({ advice: terms });
      expect(lines[1]).toBe(
        'Pitch: rate P × 0.70 (0.180 → 0.126), D × 0.042 (0.0100 → 0.000420); attitude P × 1.25 (4.00 → 5.00).',
      );
      const once = ['Because: ', 'How sure: ', 'The next hover should show'];
      for (const start of once) expect(lines.filter((line) => line.startsWith(start))).toHaveLength(1);
      expect(lines.filter((line) => line.startsWith('Watch for: '))).toEqual([
        'Watch for: a slower answer to the sticks',
        `Watch for: ${raised}`,
      ]);
    });

    test('without known gains are told as factors alone, without a word on units', () => {
      const { from: _from, to: _to, ...unknown } = LOWER_P;
      const lines = adviceOf({ advice: [unknown] });
      expect(lines[1]).toBe('Pitch: rate P × 0.70.');
      expect(lines.join(' ')).not.toContain('brackets');
    });

    test('of another axis or on another basis are another item', () => {
      const lines = adviceOf({
        advice: [LOWER_P, { ...LOWER_P, axis: 'roll', basis: 'rule-of-thumb', factor: 1.6 }],
      });
      expect(lines.filter((line) => / rate P × /.test(line))).toHaveLength(2);
      expect(lines).toContain('How sure: a rule of thumb, not a measurement');
    });

    test('that were unsafe are never called a way back', () => {
      const tight: Finding = {
        ...UPSET,
        id: 'rate-loop-too-tight',
        summary: 'the pitch loop is too tight',
      };
      const back = /(?<!not )go back to the old gains/i;
      expect(adviceOf({ advice: terms }).join(' ')).toMatch(back);
      const document = assembleDiagnosisDocument(makeDiagnosis({ advice: terms, findings: [tight] }));
      for (const title of ['What to do', 'Verdict']) {
        expect(sectionTexts(document, title)).not.toMatch(back);
        expect(sectionTexts(document, title)).toContain('Do not go back to the old gains');
      }
    });
  });

  test('what is done on the bench stands apart from what is flown; a reason of several axes is said once', () => {
    const flying: Advice = {
      step: 1,
      kind: 'flying',
      basis: 'rule-of-thumb',
      because: ['roll: only gusts', 'yaw: only gusts', 'short'],
      watchFor: '',
      text: 'Move the sticks.',
    };
    const text = sectionTexts(
      assembleDiagnosisDocument(makeDiagnosis({ advice: [flying, LOWER_P] })),
      'What to do',
    );
    expect(
      text.endsWith(
        'For the next hover:\nMove the sticks.\nBecause: roll and yaw: only gusts\nBecause: short',
      ),
    ).toBe(true);
  });

  test('a wobble without advice is not passed over: no cause, no change', () => {
    expect(sectionTexts(assembleDiagnosisDocument(makeWobblyDiagnosis()), 'What to do')).toContain(
      'a change without a cause is a guess',
    );
    expect(sectionTexts(assembleDiagnosisDocument(makeDiagnosis()), 'What to do')).toBe(
      'Nothing stands out, and nothing in this log tells how near to swinging its loops are, so no change is advised.',
    );
    const margins = { rate: STABLE, attitude: STABLE };
    const known = makeDiagnosis({
      axes: { roll: makeAxis({ margins }), pitch: makeAxis(), yaw: makeAxis() },
    });
    expect(sectionTexts(assembleDiagnosisDocument(known), 'What to do')).toBe(
      'Nothing in this log calls for a change.',
    );
  });
});
