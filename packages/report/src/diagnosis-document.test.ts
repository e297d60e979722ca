import { describe, expect, test } from 'vitest';
import type { Finding, Margins } from '@settle/analysis';
import {
  NO_GAINS,
  makeAxis,
  makeDiagnosis,
  makeOscillation,
  makeWobblyDiagnosis,
} from '../../../tests/support/hand-made.js';
import { STABLE, UPSET, sectionTexts } from '../../../tests/support/report-texts.js';
import { assembleDiagnosisDocument } from './diagnosis-document.js';

describe('order', () => {
  test('verdict first, cautions last, the axes in the order roll, pitch, yaw', () => {
    const titles = assembleDiagnosisDocument(makeWobblyDiagnosis({ findings: [UPSET] })).sections.map(
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
    expect(sectionTexts(assembleDiagnosisDocument(makeWobblyDiagnosis()), 'Roll')).toContain(
      'pilot or position loop, 40 % sure',
    );
  });

  test('what the log cannot show is n/a in the table', () => {
    const roll = sectionTexts(assembleDiagnosisDocument(makeWobblyDiagnosis()), 'Roll').split('\n');
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
          rate: STABLE,
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
    const roll = sectionTexts(assembleDiagnosisDocument(makeDiagnosis({ axes })), 'Roll');
    expect(roll).toContain('bandwidth 4.21 Hz, delay 31 ms, overshoot 12 %; identified from 0.40 to 9.0 Hz');
    expect(roll).toContain('gain margin 6.3 ± 0.4 dB, phase margin 38.4 ± 3.1 deg at 3.02 Hz');
    expect(roll).toContain('required: at least 6 dB and 45 deg. Worked out from: demand to measured rate.');
    expect(roll).toContain(
      '61.2 ± 2.4 rad/s²; the rotors lag 52 ± 4 ms, and everything else delays by 11.0 ± 2.0 ms',
    );
  });
});

describe('a loop that is not stable', () => {
  const unstable: Margins = { ...STABLE, stable: false, gainMarginDb: -0.7, gainMarginStdDb: 0.6 };
  const pitchOf = (rate: Margins, attitude: Margins): string => {
    const axes = { roll: makeAxis(), pitch: makeAxis({ margins: { rate, attitude } }), yaw: makeAxis() };
    return sectionTexts(assembleDiagnosisDocument(makeDiagnosis({ axes })), 'Pitch');
  };

  test('is told by how much its gain is too high, not by a negative margin', () => {
    expect(pitchOf(unstable, STABLE)).toContain(
      'Rate loop: not stable, its gain is too high by 0.7 ± 0.6 dB',
    );
  });

  test('around an unstable rate loop has no numbers: the inner one comes first', () => {
    const text = pitchOf(unstable, unstable);
    expect(text).toContain('Attitude loop: not stable either; the rate loop inside it comes first.');
    expect(text.split('0.7 ± 0.6 dB')).toHaveLength(2);
    expect(pitchOf(STABLE, unstable).split('0.7 ± 0.6 dB')).toHaveLength(2);
  });

  test('where the numbers come from is said once for both', () => {
    expect(pitchOf(STABLE, STABLE).split('demand to measured rate')).toHaveLength(2);
  });
});

describe('findings', () => {
  test('a finding carries severity in words, axis, confidence and evidence', () => {
    const text = sectionTexts(assembleDiagnosisDocument(makeDiagnosis({ findings: [UPSET] })), 'Findings');
    expect(text).toBe(
      'Danger, pitch: The aircraft tipped past 60 deg (90 % sure).\nPitch reached 74 deg at 18.2 s.',
    );
  });

  test('a finding that rests on an oscillation does not repeat its evidence', () => {
    const { evidence } = makeOscillation();
    const swing: Finding = { ...UPSET, id: 'oscillation', evidence: [...evidence, 'seen twice'] };
    const document = assembleDiagnosisDocument(makeWobblyDiagnosis({ findings: [swing] }));
    expect(sectionTexts(document, 'Findings').split('\n').slice(1)).toEqual(['Seen twice.']);
    expect(sectionTexts(document, 'Evidence')).toContain(evidence[0]);
    expect(sectionTexts(document, 'Verdict')).not.toContain(swing.summary);
  });
});

describe('limits and cautions', () => {
  test('results missing for the same reason are named once, together', () => {
    const text = sectionTexts(assembleDiagnosisDocument(makeDiagnosis()), 'What this log could not show');
    expect(text).toContain(`Rate-loop margins and attitude-loop margins: ${NO_GAINS}`);
    expect(text.split(NO_GAINS)).toHaveLength(2);
  });

  test('a result missing on some axes only names them', () => {
    const axes = {
      roll: makeAxis({ plant: { unavailable: 'roll never moved.' } }),
      pitch: makeAxis(),
      yaw: makeAxis(),
    };
    const text = sectionTexts(
      assembleDiagnosisDocument(makeDiagnosis({ axes })),
      'What this log could not show',
    );
    expect(text).toContain('Answer to full demand on roll: roll never moved.');
    expect(text).toContain('Answer to full demand on pitch and yaw: the demand is not in the log.');
  });

  test('the cautions of the diagnosis are printed as they are', () => {
    expect(sectionTexts(assembleDiagnosisDocument(makeDiagnosis()), 'Cautions')).toBe(
      'Turning props injure: stand clear.',
    );
  });

  test('a diagnosis without cautions is still printed with one on props and one on rules', () => {
    const text = sectionTexts(assembleDiagnosisDocument(makeDiagnosis({ cautions: [] })), 'Cautions');
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
          rotor: {
            hoverHz: 71.2,
            hoverStdHz: 1.1,
            lowHz: 68,
            highHz: 75,
            from: 'spectrum',
            unseenRotors: 1,
          },
          lines: [
            {
              sensor: 'gyro',
              axis: 'x',
              frequencyHz: 71.1,
              rms: 4.21,
              aboveFloorDb: 23,
              order: 1,
              trueFrequencyHz: null,
              frequencyStdHz: 0.1,
              rotor: null,
              confidence: 0.9,
              evidence: [],
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
    expect(sectionTexts(document, 'Vibration')).toContain(
      'Rotors turn at 71.2 ± 1.1 Hz in hover (68.0 to 75.0 Hz), read from the spectrum: within 1 % in nine simulated hovers of ten, 1 to 2 % off in most others, and farther off, by a factor perhaps, in 1 of 50; log the rotor speeds to be sure. One rotor shows no line and is taken to turn as the motor commands make one expect; a worn motor turns slower, and the mean is then 1 to 3 % off.',
    );
    expect(sectionTexts(document, 'Vibration')).toContain('4.21 deg/s');
    expect(sectionTexts(document, 'Vibration')).toContain('accel z 3.40 m/s² (2 samples over range)');
    expect(sectionTexts(document, 'Motors')).toContain('1\n52\n0\n2');
    expect(sectionTexts(document, 'Motors')).toContain('roll 1.2 % and pitch -11 %');
    expect(sectionTexts(document, 'Battery')).toBe(
      '25.1 V at the start, 22.4 V at the lowest; mean current 38.2 A.',
    );
  });
});
