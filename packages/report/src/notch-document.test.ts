/** What the page of `settle notch` opens with when no filter is needed. */
import { describe, expect, test } from 'vitest';
import type { Diagnosis, NotchReport } from '@settle/analysis';
import { makeDiagnosis } from '../../../tests/support/hand-made.js';
import { assembleNotchDocument } from './notch-document.js';

function reportWith(findings: Diagnosis['findings'], needed = false): NotchReport {
  const { flight, phases, analysed, cautions } = makeDiagnosis();
  const vibration: NotchReport['vibration'] = {
    sensorRateHz: 167,
    rotor: { unavailable: 'none is logged' },
    lines: [],
    levels: [],
    notches: [],
  };
  const none = {};
  const filters: NotchReport['filters'] = {
    needed,
    undecided: null,
    meetsTarget: true,
    because: ['the ripple is what it is'],
    notches: [],
    lowPass: null,
    alternatives: [],
    ripple: { flown: {}, before: none, after: none, target: 0.01 },
    beforeAfter: [],
    lagAtHz: 2,
    lagAtFrom: 'assumed',
    marginsAfter: none,
    filterRateHz: 400,
    assumptions: [],
  };
  return {
    schema: 'settle.notch/1',
    flight,
    phases,
    analysed,
    vibration,
    filters,
    findings,
    advice: [],
    cautions,
  };
}

const verdictOf = (findings: Diagnosis['findings']): string =>
  JSON.stringify(assembleNotchDocument(reportWith(findings)).sections[0]);

describe('a log for which no filter is needed', () => {
  const folded = { id: 'aliased-vibration', axis: null, confidence: 0.9, summary: 'folded', evidence: [] };

  test('says so', () => {
    expect(verdictOf([])).toContain('No filter is needed for what vibrates.');
    expect(verdictOf([{ ...folded, severity: 'note' }])).toContain('No filter is needed for what vibrates.');
  });

  test('with folded lines says that the log cannot tell', () => {
    const verdict = verdictOf([{ ...folded, severity: 'fault' }]);
    expect(verdict).not.toContain('for what vibrates');
    expect(verdict).toMatch(/folded down from faster lines.*log the gyro faster/);
  });
});

test('where filters are needed and none is worth its lag, the page opens with why', () => {
  const [verdict] = assembleNotchDocument(reportWith([], true)).sections;
  expect(JSON.stringify(verdict)).toContain('The ripple is what it is.');
});

test('a danger comes before anything about filters', () => {
  const tight = { id: 'rate-loop-too-tight', axis: 'roll' as const, confidence: 0.9, evidence: [] };
  const verdict = verdictOf([{ ...tight, severity: 'danger', summary: 'the roll rate loop is too tight' }]);
  expect(verdict).toMatch(
    /Danger: The roll rate loop is too tight\. See settle diagnose.*No filter is needed/,
  );
});
