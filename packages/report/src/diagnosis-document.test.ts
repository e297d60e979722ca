import { describe, expect, test } from 'vitest';
import type { Advice, Finding } from '@settle/analysis';
import {
  NO_GAINS,
  makeAxis,
  makeDiagnosis,
  makeOscillation,
  makeWobblyDiagnosis,
} from '../../../tests/support/hand-made.js';
import { assembleDiagnosisDocument } from './diagnosis-document.js';
import type { Block, ReportDocument } from './document.js';

function textsOf(block: Block): string[] {
  switch (block.kind) {
    case 'sentence':
      return [block.text];
    case 'list':
      return block.items.flatMap(({ text, children }) => [text, ...children]);
    case 'table':
      return block.rows.flat();
    case 'timeline':
      return [];
  }
}

function section(document: ReportDocument, title: string): string {
  const found = document.sections.find((candidate) => candidate.title === title);
  return found === undefined ? '(no such section)' : found.blocks.flatMap(textsOf).join('\n');
}

function verdictOf(...parameters: Parameters<typeof assembleDiagnosisDocument>): string {
  return section(assembleDiagnosisDocument(...parameters), 'Verdict');
}

const finding: Finding = {
  id: 'upset',
  axis: 'pitch',
  severity: 'danger',
  confidence: 0.9,
  summary: 'The aircraft tipped past 60 deg.',
  evidence: ['Pitch reached 74 deg at 18.2 s.'],
};

const gainAdvice: Advice = {
  step: 1,
  kind: 'gain',
  axis: 'pitch',
  loop: 'rate',
  term: 'P',
  factor: 0.7,
  from: 0.18,
  to: 0.126,
  basis: 'ultimate-cycle',
  because: ['The loop cycles by itself.'],
  watchFor: 'a slower answer to the sticks',
  text: 'Lower the proportional gain of the pitch rate loop.',
  expect: [{ axis: 'pitch', gainMarginDb: 6.04, phaseMarginDeg: 41.3, oscillationHz: null }],
};

describe('order', () => {
  test('verdict first, cautions last, the axes in the order roll, pitch, yaw', () => {
    const titles = assembleDiagnosisDocument(makeWobblyDiagnosis({ findings: [finding] })).sections.map(
      ({ title }) => title,
    );
    expect(titles).toEqual([
      'Verdict',
      'Flight',
      'Roll',
      'Pitch',
      'Yaw',
      'Evidence',
      'Findings',
      'What to do',
      'What this log could not show',
      'How to read the numbers',
      'Cautions',
    ]);
  });
});

describe('verdict', () => {
  test('a growing wobble comes before a larger driven one', () => {
    const verdict = verdictOf(makeWobblyDiagnosis());
    expect(verdict.indexOf('Pitch wobbles at 2.431 Hz and grows')).toBe(0);
    expect(verdict.indexOf('Roll wobbles at 0.4662 Hz, kept alive from outside')).toBeGreaterThan(0);
  });

  test('it gives size, unit, time and the doubling time ln 2 / growth', () => {
    // ln 2 / 0.3466 = 2.0 s.
    expect(verdictOf(makeWobblyDiagnosis())).toContain(
      'doubling about every 2.0 s: 47.4 deg/s of body rate, 3.10 deg of angle, seen from 4.2 s to 12.0 s.',
    );
  });

  test('a source that is not known is said to be so, without a percentage', () => {
    const verdict = verdictOf(makeWobblyDiagnosis());
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
    const verdict = section(document, 'Verdict');
    expect(verdict).toMatch(/^Nothing stands out: .*on roll and pitch\.$/m);
    expect(verdict).toContain('Yaw is not in this log: nothing can be said about it.');
    expect(section(document, 'Yaw')).toContain('Not searched: no yaw in the log.');
    expect(section(document, 'Yaw')).not.toContain('stands out');
  });

  test('a fault that is no wobble is named after the wobbles', () => {
    const stops: Finding = {
      ...finding,
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
      ...gainAdvice,
      kind: 'do-not-fly',
      text: 'Do not fly. Mend the boom joint first.',
    };
    const lines = verdictOf(
      makeWobblyDiagnosis({ advice: [advice], findings: [{ ...finding, axis: null }] }),
    ).split('\n');
    expect(lines.slice(0, 2)).toEqual([
      'Do not fly. Mend the boom joint first.',
      'The aircraft tipped past 60 deg.',
    ]);
  });
});

describe('numbers per axis', () => {
  test('every oscillation is one row with uncertainty, its unit in the heading', () => {
    const pitch = assembleDiagnosisDocument(makeWobblyDiagnosis()).sections.find(
      ({ title }) => title === 'Pitch',
    )!;
    const [table] = pitch.blocks;
    expect(table).toMatchObject({ kind: 'table' });
    if (table?.kind !== 'table') throw new Error('no table');
    const cells = table.columns.map(({ title, unit }, index) => [title, unit, table.rows[0]![index]]);
    expect(cells).toEqual([
      ['frequency', 'Hz', '2.431 ± 0.012'],
      ['body rate', 'deg/s', '47.4 ± 2.2'],
      ['angle', 'deg', '3.10'],
      ['seen', 's', '4.2–12.0'],
      ['behaviour', null, 'growing'],
      ['growth', '1/s', '+0.35 ± 0.04'],
      ['damping', 'ratio', '-0.0227 ± 0.0031'],
      ['source', null, 'not known'],
    ]);
  });

  test('a named source carries how sure it is', () => {
    expect(section(assembleDiagnosisDocument(makeWobblyDiagnosis()), 'Roll')).toContain(
      'pilot or position loop, 40 % sure',
    );
  });

  test('what the log cannot show is n/a in the table', () => {
    const roll = section(assembleDiagnosisDocument(makeWobblyDiagnosis()), 'Roll').split('\n');
    expect(roll.filter((cell) => cell === 'n/a')).toHaveLength(2);
  });

  test('margins, response and plant are printed with their uncertainty when there are any', () => {
    const axes = {
      roll: makeAxis({
        response: {
          bandwidthHz: 4.213,
          delayS: 0.0312,
          riseTimeS: null,
          overshootPct: 12.4,
          coherentBandHz: [0.4, 9],
        },
        margins: {
          rate: {
            stable: true,
            gainMarginDb: 6.31,
            gainReductionMarginDb: null,
            phaseMarginDeg: 38.4,
            crossoverHz: 3.02,
            phaseCrossoverHz: 7.11,
            sensitivityPeak: 1.93,
            gainMarginStdDb: 0.44,
            phaseMarginStdDeg: 3.1,
            from: 'demand to measured rate',
          },
          attitude: { unavailable: NO_GAINS },
        },
        plant: {
          effectiveness: 61.2,
          lagS: 0.052,
          delayS: 0.011,
          effectivenessStd: 2.4,
          lagStdS: 0.004,
          delayStdS: 0.002,
        },
      }),
      pitch: makeAxis(),
      yaw: makeAxis(),
    };
    const roll = section(assembleDiagnosisDocument(makeDiagnosis({ axes })), 'Roll');
    expect(roll).toContain('bandwidth 4.21 Hz, delay 31 ms, overshoot 12 %; identified from 0.40 to 9.0 Hz');
    expect(roll).toContain('gain margin 6.3 ± 0.4 dB, phase margin 38.4 ± 3.1 deg at 3.02 Hz');
    expect(roll).toContain('61.2 ± 2.4 rad/s², lag 52 ± 4 ms, delay 11.0 ± 2.0 ms');
  });
});

describe('findings and advice', () => {
  test('a finding carries severity in words, axis, confidence and evidence', () => {
    const text = section(assembleDiagnosisDocument(makeDiagnosis({ findings: [finding] })), 'Findings');
    expect(text).toBe(
      'Danger, pitch: The aircraft tipped past 60 deg (90 % sure).\nPitch reached 74 deg at 18.2 s.',
    );
  });

  test('a finding that rests on an oscillation does not repeat its evidence', () => {
    const { evidence } = makeOscillation();
    const swing: Finding = { ...finding, id: 'oscillation', evidence: [...evidence, 'seen twice'] };
    const document = assembleDiagnosisDocument(makeWobblyDiagnosis({ findings: [swing] }));
    expect(section(document, 'Findings').split('\n').slice(1)).toEqual(['Seen twice.']);
    expect(section(document, 'Evidence')).toContain(evidence[0]);
    expect(section(document, 'Verdict')).not.toContain(swing.summary);
  });

  test('a gain change states factor, values, basis, what to watch for and what the next hover should show', () => {
    const later: Advice = { ...gainAdvice, step: 2, text: 'Then raise the attitude gain.' };
    const text = section(
      assembleDiagnosisDocument(makeDiagnosis({ advice: [later, gainAdvice] })),
      'What to do',
    );
    expect(text.split('\n').slice(0, 7)).toEqual([
      'Before the next hover, all of these together:',
      'Lower the proportional gain of the pitch rate loop.',
      'Change: pitch rate loop, P times 0.700, from 0.180 to 0.126',
      'Because: The loop cycles by itself.',
      'How sure: worked out from the oscillation itself',
      'Watch for: a slower answer to the sticks',
      'The next hover should show, on pitch: gain margin 6.0 dB, phase margin 41 deg, no steady wobble',
    ]);
    expect(text).toContain('Step 2, after that hover confirms:\nThen raise the attitude gain.');
  });

  test('a wobble without advice is not passed over: no cause, no change', () => {
    expect(section(assembleDiagnosisDocument(makeWobblyDiagnosis()), 'What to do')).toContain(
      'a change without a cause is a guess',
    );
    expect(section(assembleDiagnosisDocument(makeDiagnosis()), 'What to do')).toBe(
      'Nothing in this log calls for a change.',
    );
  });
});

describe('limits and cautions', () => {
  test('results missing for the same reason are named once, together', () => {
    const text = section(assembleDiagnosisDocument(makeDiagnosis()), 'What this log could not show');
    expect(text).toContain(`Rate-loop margins and attitude-loop margins: ${NO_GAINS}`);
    expect(text.split(NO_GAINS)).toHaveLength(2);
  });

  test('a result missing on some axes only names them', () => {
    const axes = {
      roll: makeAxis({ plant: { unavailable: 'roll never moved.' } }),
      pitch: makeAxis(),
      yaw: makeAxis(),
    };
    const text = section(assembleDiagnosisDocument(makeDiagnosis({ axes })), 'What this log could not show');
    expect(text).toContain('What a demand does of roll: roll never moved.');
    expect(text).toContain('What a demand does of pitch and yaw: the demand is not in the log.');
  });

  test('the cautions of the diagnosis are printed as they are', () => {
    expect(section(assembleDiagnosisDocument(makeDiagnosis()), 'Cautions')).toBe(
      'Turning props injure: stand clear.',
    );
  });

  test('a diagnosis without cautions is still printed with one on props and one on rules', () => {
    const text = section(assembleDiagnosisDocument(makeDiagnosis({ cautions: [] })), 'Cautions');
    expect(text).toMatch(/props injure/);
    expect(text).toMatch(/rules/);
  });
});

describe('the rest of the aircraft', () => {
  test('vibration lines, motors and battery are printed when they were analysed', () => {
    const document = assembleDiagnosisDocument(
      makeDiagnosis({
        vibration: {
          sensorRateHz: 400,
          rotor: { hoverHz: 71.2, lowHz: 68, highHz: 75, from: 'spectrum' },
          lines: [
            {
              sensor: 'gyro',
              axis: 'x',
              frequencyHz: 71.1,
              rms: 4.21,
              aboveFloorDb: 23,
              order: 1,
              trueFrequencyHz: null,
              kind: 'rotor',
            },
          ],
          levels: [{ sensor: 'accel', axis: 'z', rms: 3.4, overRange: 2 }],
          notches: [],
        },
        actuators: {
          motors: [{ mean: 0.52, lowStopShare: 0, highStopShare: 0.021 }],
          hoverThrottle: 0.51,
          trim: { roll: 0.012, pitch: -0.113, yaw: null },
        },
        battery: { startV: 25.1, lowestV: 22.4, meanA: 38.2, peakA: null },
      }),
    );
    expect(section(document, 'Vibration')).toContain(
      'Rotors turn at 71.2 Hz in hover (68.0 to 75.0 Hz), read from the spectrum.',
    );
    expect(section(document, 'Vibration')).toContain('4.21 deg/s');
    expect(section(document, 'Vibration')).toContain('accel z 3.40 m/s² (2 samples over range)');
    expect(section(document, 'Motors')).toContain('1\n52\n0\n2');
    expect(section(document, 'Motors')).toContain('roll 1.2 % and pitch -11 %');
    expect(section(document, 'Battery')).toBe(
      '25.1 V at the start, 22.4 V at the lowest; mean current 38.2 A.',
    );
  });
});
