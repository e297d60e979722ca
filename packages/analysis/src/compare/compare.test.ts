import { describe, expect, test } from 'vitest';
import type { Diagnosis, VibrationLine } from '../diagnosis.js';
import { benjaminiHochbergAdjusted, differenceP } from '../statistics/index.js';
import { configurationChanges, numberBuilds } from './builds.js';
import { compareHovers } from './compare-hovers.js';
import type { Comparison } from './comparison.js';
import type { FoundChange } from './effectiveness.js';
import { appearedLines, fallingModes } from './falling-modes.js';
import type { AxisSummary, HoverSummary, LineSummary, Measured } from './hover-summary.js';
import { judgeStep, type StepEvidence } from './judge.js';
import { configurationFindings } from './sequence-findings.js';

const measured = (value: number, std: number | null = 0.01 * Math.abs(value)): Measured => ({
  value,
  std,
  from: 'made',
});

function madeAxis(axis: AxisSummary['axis'], changed: Partial<AxisSummary> = {}): AxisSummary {
  return {
    axis,
    rateRms: measured(3),
    rateError: measured(3),
    attitudeError: measured(1),
    disturbance: measured(50, 2),
    modelCheck: null,
    trim: measured(0.01, 0.002),
    controller: null,
    gyroDelayS: 0,
    plant: null,
    normal: null,
    structuralPeak: null,
    shownByStick: false,
    ...changed,
  };
}

function madeDiagnosis(lines: readonly VibrationLine[] = []): Diagnosis {
  const none = { unavailable: 'made' };
  const axis = {
    oscillations: [],
    notSearched: null,
    tracking: none,
    response: none,
    margins: { rate: none, attitude: none },
    plant: none,
  };
  return {
    schema: 'settle.diagnosis/1',
    flight: { name: 'made', durationS: 30, sampleRatesHz: {} },
    phases: [],
    phasesFrom: 'made',
    analysed: { startS: 0, endS: 30 },
    searchedHz: { lowest: 0.2, highest: 20, why: 'made' },
    falseAlarmRate: { small: 0.001, medium: 0.001, large: 0.01 },
    axes: { roll: axis, pitch: axis, yaw: axis },
    vibration: { sensorRateHz: 400, rotor: none, lines, levels: [], notches: [] },
    filters: none,
    actuators: none,
    battery: none,
    findings: [],
    advice: [],
    cautions: ['take care'],
  };
}

function madeHover(name: string, changed: Partial<HoverSummary> = {}): HoverSummary {
  return {
    name,
    hoverS: 30,
    diagnosis: madeDiagnosis(),
    axes: { roll: madeAxis('roll'), pitch: madeAxis('pitch'), yaw: madeAxis('yaw') },
    lines: [],
    levels: [],
    bands: [],
    rotorHz: null,
    throttle: measured(0.45, 0.002),
    saturation: measured(0, 0),
    gains: null,
    configuration: {},
    notes: null,
    ...changed,
  };
}

const structural = (frequencyHz: number, rms = 0.3): VibrationLine => ({
  sensor: 'gyro',
  axis: 'x',
  frequencyHz,
  frequencyStdHz: 0.05,
  rms,
  aboveFloorDb: 20,
  order: null,
  rotor: null,
  trueFrequencyHz: null,
  confidence: 0.85,
  evidence: [],
  kind: 'structure',
});

const rotorLine = (rms: number, std: number): LineSummary => ({
  sensor: 'gyro',
  kind: 'rotor',
  order: 1,
  frequencyHz: 56,
  frequencyStdHz: 0.1,
  rms: measured(rms, std),
  axis: 'x',
});

describe('a verdict needs evidence', () => {
  const step = (gain: number, std: number, doubt: string | null = null): StepEvidence => ({
    gain,
    std,
    bound: 1,
    doubt,
  });
  const verdictOf = (evidence: StepEvidence, others: readonly StepEvidence[] = []): string =>
    judgeStep([evidence, ...others])[0]!.verdict;

  test.each([
    ['a large sure gain', step(3, 0.5), 'better'],
    ['a large sure loss', step(-3, 0.5), 'worse'],
    ['a difference shown to be smaller than what matters', step(0.2, 0.3), 'same'],
    ['a small but sure difference', step(0.5, 0.01), 'same'],
    ['a large difference that may be chance', step(3, 2), 'unclear'],
    ['no difference, but no telling either', step(0, 2), 'unclear'],
    ['a sure gain that other evidence speaks against', step(3, 0.5, 'the motion says otherwise'), 'unclear'],
  ])('%s: %s', (_name, evidence, verdict) => {
    expect(verdictOf(evidence)).toBe(verdict);
  });

  test('what one look would call better may be chance among thirty', () => {
    const alone = step(2.3, 1);
    expect(verdictOf(alone)).toBe('better');
    expect(
      verdictOf(
        alone,
        Array.from({ length: 29 }, () => step(0, 1)),
      ),
    ).toBe('unclear');
    // By the definition: 30 times its p-value, as the smallest of thirty.
    const p = [differenceP(2.3, 1), ...Array.from({ length: 29 }, () => 1)];
    expect(benjaminiHochbergAdjusted(p)[0]).toBeCloseTo(30 * differenceP(2.3, 1), 12);
  });

  test('nothing to judge: no verdict', () => {
    expect(judgeStep([null, step(3, 0.5), null])).toEqual([
      null,
      expect.objectContaining({ verdict: 'better' }),
      null,
    ]);
  });
});

describe('raw motion', () => {
  const calm = madeHover('calm', {
    axes: {
      roll: madeAxis('roll', {
        rateRms: measured(0.5),
        attitudeError: measured(0.1),
        disturbance: measured(10, 0.5),
      }),
      pitch: madeAxis('pitch', { disturbance: measured(10, 0.5) }),
      yaw: madeAxis('yaw', { disturbance: measured(10, 0.5) }),
    },
  });

  test('six times less of it on a calmer day is called neither better nor worse, and the calm is told', () => {
    const { rows, steps } = compareHovers([madeHover('windy'), calm]);
    for (const row of rows.filter(({ group }) => group === 'motion' || group === 'wind'))
      expect(row.verdict).toEqual([null, null]);
    expect(steps[0]!.wind).toMatch(/^calmer: disturbances 0\.2 times as strong/);
    expect(steps[0]!.verdict).not.toBe('better');
  });
});

describe('builds', () => {
  test('what is told in both and differs is another build; order of parts, spelling and what is not told are not', () => {
    expect(configurationChanges({ parts: ['A', 'b'] }, { parts: ['B', ' a'] })).toEqual([]);
    expect(configurationChanges({ massKg: 5.9 }, {})).toEqual([]);
    expect(configurationChanges({ massKg: 5.9 }, { massKg: 5.95 })).toEqual([]);
    expect(configurationChanges({ massKg: 5.9, props: '17 in' }, { massKg: 7.2, props: '18 in' })).toEqual([
      'mass: 5.9 → 7.2 kg',
      'props: 17 in → 18 in',
    ]);
  });

  test('a build flown before is the same build again', () => {
    const of = (parts: string[]): HoverSummary => madeHover('h', { configuration: { parts } });
    expect(numberBuilds([of(['wings']), of([]), of(['wings'])])).toEqual([0, 1, 0]);
  });

  test('across builds vibration is called neither better nor worse, and the finding says what changed', () => {
    const a = madeHover('bare', { lines: [rotorLine(2, 0.02)], configuration: { parts: [] } });
    const b = madeHover('winged', {
      lines: [rotorLine(6, 0.06)],
      configuration: { parts: ['outer panels'] },
    });
    const { rows, steps, findings } = compareHovers([a, b]);
    const row = rows.find(({ metric }) => metric.includes('rotor line'))!;
    expect(row.verdict).toEqual([null, null]);
    expect(row.why[1]).toContain('built differently');
    expect(steps[0]!.verdict).toBe('not comparable');
    expect(findings.map(({ id }) => id)).toEqual(['configuration-changed']);
    expect(findings[0]!.summary).toContain('outer panels');
    // The same two levels in one build are a plain verdict.
    const same = compareHovers([a, { ...b, configuration: { parts: [] } }]);
    expect(same.rows.find(({ metric }) => metric.includes('rotor line'))!.verdict).toEqual([null, 'worse']);
  });
});

test('another build that answers a fifth less takes 1.25 times the gains for the same loops, and the finding says so', () => {
  const hovers = [
    madeHover('bare', { configuration: { parts: [] } }),
    madeHover('winged', { configuration: { parts: ['wings'] } }),
  ];
  const change: FoundChange = {
    hover: 1,
    against: [0],
    axes: ['roll', 'pitch'],
    declared: true,
    lnRatio: Math.log(0.8),
    std: 0.04,
    p: 1e-6,
  };
  const [finding] = configurationFindings(hovers, [0, 1], [change]);
  expect(finding).toMatchObject({ id: 'configuration-changed', severity: 'note' });
  // 1/0.8 = 1.25, and 4 % of it 0.05.
  expect(finding!.evidence[0]).toMatch(
    /turns roll, pitch 20 % less than in bare .+ take 1\.25 times its rate gains on roll, pitch \(± 0\.05\)/,
  );
});

describe('structural lines', () => {
  const hover = (
    name: string,
    lines: readonly VibrationLine[],
    changed: Partial<HoverSummary> = {},
  ): HoverSummary => madeHover(name, { diagnosis: madeDiagnosis(lines), ...changed });

  test('one that fell by 20 % in one build is danger, and nobody flies', () => {
    const { findings, advice } = compareHovers([
      hover('a', [structural(27)]),
      hover('b', [structural(21.5)]),
    ]);
    expect(findings[0]).toMatchObject({ id: 'mode-falling', severity: 'danger' });
    expect(findings[0]!.summary).toMatch(/from 27\.0 to 21\.5 Hz/);
    expect(advice[0]).toMatchObject({ kind: 'do-not-fly' });
  });

  test.each([
    ['fell by 4 %', [structural(27)], [structural(25.95)], {}],
    ['rose', [structural(21.5)], [structural(27)], {}],
    ['stayed while another one appeared below', [structural(27)], [structural(27.1), structural(21.5)], {}],
    ['fell, in another build', [structural(27)], [structural(21.5)], { configuration: { props: 'other' } }],
    ['fell as the rotors did', [structural(27)], [structural(24)], { rotorHz: measured(50) }],
  ])('one that %s is no falling mode', (_name, before, after, changed) => {
    const hovers = [
      hover('a', before, { configuration: { props: 'old' }, rotorHz: measured(56.25) }),
      hover('b', after, { configuration: { props: 'old' }, rotorHz: measured(56.25), ...changed }),
    ];
    expect(fallingModes(hovers, numberBuilds(hovers))).toEqual([]);
  });

  test('one that appears where the band held little is told, where it held as much it is not', () => {
    const band = (rms: number): HoverSummary['bands'] => [
      { sensor: 'gyro', axis: 'x', fromHz: 5, rms: new Array<number>(60).fill(rms) },
    ];
    const later = hover('b', [structural(21.5, 0.3)]);
    const quiet = hover('a', [], { bands: band(0.02) });
    expect(appearedLines([quiet, later], [0, 0])[0]!.finding.summary).toMatch(
      /21\.5 Hz that was not there before/,
    );
    expect(appearedLines([hover('a', [], { bands: band(0.15) }), later], [0, 0])).toEqual([]);
    expect(appearedLines([madeHover('a'), later], [0, 0])).toEqual([]);
  });
});

describe('a line that one of two hovers shows', () => {
  const axes = ['x', 'y', 'z'] as const;
  const bands = (rms: number): HoverSummary['bands'] =>
    axes.map((axis) => ({ sensor: 'gyro', axis, fromHz: 5, rms: new Array<number>(145).fill(rms) }));
  const shows = (rms: number): HoverSummary =>
    madeHover('with', { lines: [rotorLine(rms, 0.05 * rms)], rotorHz: measured(56), bands: bands(1) });
  const without = (rms: number, rotorHz: Measured | null = measured(60)): HoverSummary =>
    madeHover('without', { rotorHz, bands: bands(rms) });
  const rowOf = (hovers: readonly HoverSummary[]): Comparison['rows'][number] =>
    compareHovers(hovers).rows.find((row) => row.metric.startsWith('gyro rotor line'))!;

  // 11 bands of 1 Hz about 60 Hz on three axes: 0.1 × root of 33 is 0.57 deg/s.
  test('is better or worse where it is stronger than all that the other held there', () => {
    expect(rowOf([shows(4), without(0.1)]).verdict[1]).toBe('better');
    const appeared = rowOf([without(0.1), shows(4)]);
    expect(appeared.verdict[1]).toBe('worse');
    expect(appeared.why[1]).toMatch(
      /^found in with only; all that without held within 5 Hz of 60\.0 Hz is 0\.57 deg\/s;/,
    );
    expect(appeared.values).toEqual([null, 4]);
  });

  test('gets no verdict where as much was there, or where nothing tells what was', () => {
    const hidden = rowOf([without(0.7), shows(4)]);
    expect(hidden.verdict[1]).toBeNull();
    expect(hidden.why[1]).toMatch(/is 4\.0 deg\/s, which may have hidden it/);
    for (const other of [without(0.1, null), madeHover('without', { rotorHz: measured(60) })])
      expect(rowOf([other, shows(4)])).toMatchObject({
        verdict: [null, null],
        why: [null, 'found in with only, and without does not tell how much it held there'],
      });
  });
});

test('a comparison is plain data, needs two hovers, and says that nothing is known where nothing is', () => {
  const hovers = [madeHover('a'), madeHover('b'), madeHover('c')];
  const comparison = compareHovers(hovers);
  expect(JSON.parse(JSON.stringify(comparison))).toEqual(comparison);
  expect(comparison.done.ready).toBe(false);
  expect(comparison.done.missing).toContain(
    'roll, pitch, yaw: the rate loop gain margin, the rate loop phase margin, the attitude loop gain margin and the attitude loop phase margin are not known',
  );
  // Nothing tells the gains, so nothing is said to have stayed.
  expect(comparison.steps[0]!.gainsUnknown).toEqual(
    hovers[0]!.axes.roll.controller === null ? ['roll', 'pitch', 'yaw'] : [],
  );
  const blind = hovers.map((hover) => ({
    ...hover,
    axes: {
      roll: { ...hover.axes.roll, controller: null },
      pitch: { ...hover.axes.pitch, controller: null },
      yaw: { ...hover.axes.yaw, controller: null },
    },
  }));
  const [step] = compareHovers(blind).steps;
  expect(step!.gainsUnknown).toEqual(['roll', 'pitch', 'yaw']);
  expect(step!.verdict).toBe('unclear');
  expect(step!.summary).toMatch(/cannot be told/);
  expect(() => compareHovers(hovers.slice(1, 2))).toThrow('a comparison needs at least two hovers');
});
