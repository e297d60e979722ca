import { describe, expect, test } from 'vitest';
import type { LogProblem } from '@settle/parser';
import { makeFlight } from '../../../tests/support/hand-made.js';
import {
  type Inspection,
  type TextOptions,
  assembleInspection,
  assembleInspectionDocument,
  problemText,
  renderMarkdown,
  renderText,
} from './index.js';
import { siUnitOf } from './inspection.js';

const textOf = (inspection: Inspection, options: TextOptions): string =>
  renderText(assembleInspectionDocument(inspection), options);

const PLAIN = { width: 120, colour: false } as const;
const NO_PHASES = { phases: [], decidedBy: 'nothing' };
const LACKS = [
  { analysis: 'oscillations', lacks: [] },
  { analysis: 'margins', lacks: ['log rate.roll.demand', 'give the gains'] },
];

describe('inspection as data', () => {
  test('each channel carries its column, unit, clock and range in SI', () => {
    const { channels, schema } = assembleInspection(makeFlight(['gyro.x']), NO_PHASES, []);
    expect(schema).toBe('settle.inspection/1');
    expect(channels).toHaveLength(1);
    // 200 samples at 100 Hz counting 0 … 199.
    expect(channels[0]).toMatchObject({
      id: 'gyro.x',
      file: 'hover.csv',
      column: 'col gyro.x',
      unit: 'deg/s',
      decidedBy: ['header words'],
      gaps: [],
      clipped: 0,
      nonFinite: 0,
      lowest: 0,
      highest: 199,
      siUnit: 'rad/s',
    });
    expect(channels[0]!.sampleRateHz).toBeCloseTo(100, 9);
  });

  test('a channel without one finite value has no range', () => {
    const flight = makeFlight(['height']);
    flight.signals.get('height')!.values.fill(Number.NaN);
    expect(assembleInspection(flight, NO_PHASES, []).channels[0]).toMatchObject({
      lowest: null,
      highest: null,
    });
  });

  test.each([
    ['attitude.roll.measured', 'rad'],
    ['rate.pitch.reference', 'rad/s'],
    ['rate.pitch.demand', null],
    ['accel.z', 'm/s²'],
    ['rotor.2.speed', '1/s'],
    ['motor.1.command', null],
    ['battery.voltage', 'V'],
    ['battery.current', 'A'],
    ['height', 'm'],
    ['mode', null],
  ] as const)('%s is kept in %s', (channel, unit) => {
    expect(siUnitOf(channel)).toBe(unit);
  });
});

describe('inspection as text', () => {
  const problem: LogProblem = {
    file: 'hover.csv',
    line: 17,
    column: 'wx',
    message: 'text where a number belongs',
    count: 3,
  };

  test('a problem names file, line, column and how many places it covers', () => {
    expect(problemText(problem)).toBe('hover.csv:17: wx: text where a number belongs (first of 3 places)');
    expect(problemText({ ...problem, line: null, column: null, count: 1 })).toBe(
      'hover.csv: text where a number belongs',
    );
  });

  test('it says what is there, how it was read, what is wrong and what is missing', () => {
    const flight = makeFlight(['rate.roll.measured'], { problems: [problem] });
    const text = textOf(
      assembleInspection(
        flight,
        { phases: [{ kind: 'hover', startS: 0, endS: 2 }], decidedBy: 'height' },
        LACKS,
      ),
      PLAIN,
    );
    expect(text).toContain('Everything is there for: oscillations.');
    expect(text).toContain('Something is missing for: margins (see "What is missing").');
    expect(text).toContain('Separated by semicolons, decimal comma, UTF-8, header on line 1');
    expect(text).toMatch(/rate\.roll\.measured +col rate\.roll\.measured +deg\/s +100 .* 0 +199 +rad\/s/);
    expect(text).toContain('rate.roll.measured: header words');
    expect(text).toContain('hover.csv:17: wx: text where a number belongs (first of 3 places)');
    expect(text).toContain('log rate.roll.demand');
    expect(text).toContain('hover 0.0–2.0 s. Told from: Height.');
  });

  test('a clock that restarts is said, with the piece in use and how to choose another', () => {
    const base = makeFlight(['gyro.x']);
    const flight = { ...base, files: [{ ...base.files[0]!, segments: { count: 3, chosen: 2 } }] };
    expect(textOf(assembleInspection(flight, NO_PHASES, []), PLAIN)).toContain(
      'The clock restarts: piece 2 of 3 is used (--segment chooses).',
    );
  });

  test('gaps, clipped and missing samples are counted when there are any, and said to be none when there are none', () => {
    const whole = makeFlight(['gyro.x', 'gyro.y']);
    const signals = new Map(
      [...whole.signals].map(([id, signal]) => [
        id,
        id === 'gyro.y' ? { ...signal, decision: { ...signal.decision, clipped: 7, nonFinite: 3 } } : signal,
      ]),
    );
    const text = textOf(assembleInspection({ ...whole, signals }, NO_PHASES, []), PLAIN);
    expect(text).toMatch(/gyro\.x .* 0 +0 +0 +0 +199/);
    expect(text).toMatch(/gyro\.y .* 0 +7 +3 +0 +199/);
    expect(text).not.toContain('No gap');
    expect(textOf(assembleInspection(whole, NO_PHASES, []), PLAIN)).toContain(
      'No gap, no clipped and no missing sample in any channel.',
    );
  });

  test('gaps shared by a group of channels are listed once', () => {
    const gaps = [{ startS: 0.5, endS: 0.9 }];
    const base = makeFlight(['gyro.x', 'gyro.y']);
    const signals = new Map(
      [...base.signals].map(([id, signal]) => [id, { ...signal, clock: { ...signal.clock, gaps } }]),
    );
    const text = textOf(assembleInspection({ ...base, signals }, NO_PHASES, []), PLAIN);
    expect(text).toContain('gyro.x, gyro.y: 0.5–0.9 s');
  });

  test('the Markdown form holds the same table', () => {
    const text = renderMarkdown(
      assembleInspectionDocument(assembleInspection(makeFlight(['gyro.x']), NO_PHASES, LACKS)),
    );
    expect(text).toContain('| gyro.x | col gyro.x | deg/s | 100 |');
  });
});
