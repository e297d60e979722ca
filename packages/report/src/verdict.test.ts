import { describe, expect, test } from 'vitest';
import type { Advice, Diagnosis, Finding } from '@settle/analysis';
import {
  NO_GAINS,
  makeAxis,
  makeDiagnosis,
  makeOscillation,
  makeWobblyDiagnosis,
} from '../../../tests/support/hand-made.js';
import { LOWER_P, STABLE, UPSET, sectionTexts } from '../../../tests/support/report-texts.js';
import { assembleDiagnosisDocument } from './diagnosis-document.js';

function verdictOf(...parameters: Parameters<typeof assembleDiagnosisDocument>): string {
  return sectionTexts(assembleDiagnosisDocument(...parameters), 'Verdict');
}

describe('verdict', () => {
  test('a growing wobble comes before a larger driven one', () => {
    const verdict = verdictOf(makeWobblyDiagnosis());
    expect(verdict.indexOf('Pitch wobbles at 2.43 Hz and grows')).toBe(0);
    expect(verdict.indexOf('Roll wobbles at 0.466 Hz, kept alive from outside')).toBeGreaterThan(0);
  });

  test('it gives size, unit, time and the doubling time ln 2 / growth', () => {
    // ln 2 / 0.3466 = 2.0 s.
    expect(verdictOf(makeWobblyDiagnosis())).toContain(
      'doubling about every 2.0 s: 47.4 deg/s of body rate, 3.10 deg of angle, seen from 4.2 s to 12.0 s.',
    );
  });

  test('a source that is not known is said to be so, without a percentage', () => {
    const axes = {
      roll: makeAxis(),
      pitch: makeAxis({ oscillations: [makeOscillation()] }),
      yaw: makeAxis(),
    };
    const verdict = verdictOf(makeDiagnosis({ axes }));
    expect(verdict).toContain('Why pitch does that cannot be told from this log');
    expect(verdict).not.toContain('% sure');
  });

  test.each([
    [0.8, 'Most likely source: rate loop (80 % sure).'],
    [0.4, 'A possible source, not more: rate loop (40 % sure).'],
  ])('at confidence %d the source is worded "%s"', (confidence, text) => {
    const oscillation = makeOscillation({ origin: 'rate-loop', confidence });
    const axes = { roll: makeAxis({ oscillations: [oscillation] }), pitch: makeAxis(), yaw: makeAxis() };
    expect(verdictOf(makeDiagnosis({ axes }))).toContain(text);
  });

  test('a quiet log yields a quiet answer that states its limits', () => {
    const searchedHz = { lowest: 0.31, highest: 30, why: 'well below the rotors' };
    const verdict = verdictOf(makeDiagnosis({ searchedHz }));
    expect(verdict).toMatch(/^Nothing stands out: .*on roll, pitch and yaw\.$/m);
    expect(verdict).toContain('slower than about 0.31 Hz or faster than 30 Hz would not be seen');
    expect(verdict).toContain('does not measure how much margin the loops have left');
  });

  test('a hover too short to show any wobble is not called quiet', () => {
    const verdict = verdictOf(
      makeDiagnosis({
        analysed: { startS: 4, endS: 4.1 },
        searchedHz: { lowest: 50, highest: 30, why: 'well below the rotors' },
      }),
    );
    expect(verdict).toContain('0.1 s of hover are too short to show one, so that says nothing');
    expect(verdict).not.toContain('Nothing stands out');
  });

  test('an axis that is not in the log is named, and nothing is claimed about it', () => {
    const document = assembleDiagnosisDocument(
      makeDiagnosis({
        axes: { roll: makeAxis(), pitch: makeAxis(), yaw: makeAxis({ notSearched: 'no yaw in the log' }) },
      }),
    );
    const verdict = sectionTexts(document, 'Verdict');
    expect(verdict).toMatch(/^Nothing stands out: .*on roll and pitch\.$/m);
    expect(verdict).toContain('Yaw is not in this log: nothing can be said about it.');
    expect(sectionTexts(document, 'Yaw')).toContain('Not searched: no yaw in the log.');
    expect(sectionTexts(document, 'Yaw')).not.toContain('stands out');
  });

  test('a fault that is no wobble is named after the wobbles', () => {
    const stops: Finding = {
      ...UPSET,
      axis: null,
      severity: 'fault',
      summary: 'motors run into their stops',
    };
    expect(verdictOf(makeWobblyDiagnosis({ findings: [stops] }))).toMatch(
      /Nothing stands out on yaw\.\nAlso: motors run into their stops\.$/,
    );
  });

  test('do-not-fly and danger come before any wobble', () => {
    const advice: Advice = {
      ...LOWER_P,
      kind: 'do-not-fly',
      text: 'Do not fly. Mend the boom joint first.',
    };
    const lines = verdictOf(
      makeWobblyDiagnosis({ advice: [advice], findings: [{ ...UPSET, axis: null }] }),
    ).split('\n');
    expect(lines.slice(0, 2)).toEqual([
      'Do not fly. Mend the boom joint first.',
      'The aircraft tipped past 60 deg.',
    ]);
  });
});

describe('verdict on a loop', () => {
  const tight: Finding = {
    id: 'derivative-too-strong',
    axis: 'pitch',
    severity: 'danger',
    confidence: 1,
    summary: 'the pitch rate loop is too tight: the D gain above all',
    evidence: [],
  };
  const wobble = makeOscillation({ origin: 'rate-loop', confidence: 0.8, regime: 'limit-cycle' });
  const axes = { roll: makeAxis(), pitch: makeAxis({ oscillations: [wobble] }), yaw: makeAxis() };
  const linesOf = (changes: Partial<Diagnosis>): string[] => verdictOf(makeDiagnosis(changes)).split('\n');

  test('opens with the wobble, then the loop it arises in, then what to change and what to watch for', () => {
    const lines = linesOf({ axes, findings: [tight], advice: [LOWER_P] });
    expect(lines[0]).toMatch(/^Danger: Pitch wobbles at 2.43 Hz at a steady size/);
    expect(lines.slice(1, 3)).toEqual([
      'Most likely source: rate loop (80 % sure). The pitch rate loop is too tight: the D gain above all.',
      'Before the next hover, pitch: rate P × 0.70. Then watch for a slower answer to the sticks.',
    ]);
  });

  test('a finding about the other loop is not passed off as the cause of the wobble', () => {
    const outer = {
      ...tight,
      id: 'attitude-loop-too-tight',
      summary: 'the pitch attitude loop is too tight',
    };
    const lines = linesOf({ axes, findings: [outer] });
    expect(lines).toContain('Most likely source: rate loop (80 % sure).');
    expect(lines).toContain('The pitch attitude loop is too tight (99 % sure).');
  });

  test('without a wobble the loop comes first, and silence is no good news', () => {
    const loose: Finding = {
      ...tight,
      id: 'loop-too-loose',
      confidence: 0.6,
      summary: 'pitch wanders slowly and far',
    };
    const advice: Advice = { ...LOWER_P, factor: 1.6, basis: 'rule-of-thumb' };
    const lines = linesOf({ findings: [loose], advice: [advice] });
    expect(lines[0]).toBe('Pitch wanders slowly and far (60 % sure).');
    expect(lines[1]).toMatch(/^Before the next hover, pitch: .* \(a rule of thumb, not a measurement\)\./);
    expect(lines.join(' ')).not.toMatch(/Nothing stands out|good answer/);
  });

  test('nothing wrong: the answer comes first, then what to fly next and its caution', () => {
    const flying: Advice = {
      step: 1,
      kind: 'flying',
      basis: 'rule-of-thumb',
      because: [],
      watchFor: 'anything that grows: land',
      text: 'Hold it for 30 s',
    };
    const lines = linesOf({ advice: [flying] });
    expect(lines[0]).toMatch(/^Nothing stands out/);
    expect(lines.at(-1)).toBe('Hold it for 30 s. Watch for anything that grows: land.');
  });

  test('a part that gives is mended before gains are trimmed around it', () => {
    const mend: Advice = { ...LOWER_P, kind: 'mechanical', text: 'Inspect the booms' };
    const lines = linesOf({ axes, advice: [LOWER_P, mend] });
    const place = (start: string): number => lines.findIndex((line) => line.startsWith(start));
    expect(place('Inspect the booms.')).toBeGreaterThan(0);
    expect(place('Before the next hover, pitch')).toBe(place('Inspect the booms.') + 1);
  });

  test('margins that were measured are not called unmeasured', () => {
    const known = makeAxis({ margins: { rate: STABLE, attitude: { unavailable: NO_GAINS } } });
    const text = verdictOf(makeDiagnosis({ axes: { roll: known, pitch: makeAxis(), yaw: known } }));
    expect(text).toContain('how much margin the loops of pitch have left');
    expect(verdictOf(makeDiagnosis({ axes: { roll: known, pitch: known, yaw: known } }))).not.toContain(
      'how much margin',
    );
  });
});
