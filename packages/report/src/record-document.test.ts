import { addHover, newRecord } from '@settle/parser';
import type { HoverDraft, TuningRecord } from '@settle/parser';
import { describe, expect, test } from 'vitest';
import { assembleHoverDocument, assembleRecordDocument } from './record-document.js';
import { type TextOptions, renderText } from './text.js';

const recordText = (record: TuningRecord, options: TextOptions): string =>
  renderText(assembleRecordDocument(record), options);
const hoverText = (record: TuningRecord, name: string, options: TextOptions): string =>
  renderText(assembleHoverDocument(record, name), options);

const PAGE = { width: 100, colour: false };

const recordOf = (...drafts: readonly Partial<HoverDraft>[]): TuningRecord =>
  drafts.reduce<TuningRecord>(
    (record, draft, index) =>
      addHover(record, { name: `hover ${index + 1}`, files: [`${index}.csv`], ...draft }),
    newRecord('r.json', 'Samphire'),
  );

const gains = (value: object): Pick<HoverDraft, 'gains'> => ({
  gains: { text: JSON.stringify(value), name: 'g' },
});

describe('the list', () => {
  test('a record without a hover says so', () => {
    expect(recordText(recordOf(), PAGE)).toContain('No hover is recorded yet.');
  });

  test('columns that nothing stands in are left out', () => {
    const text = recordText(recordOf({ weather: 'calm' }, {}), PAGE);
    expect(text).toMatch(/^ {2}hover +weather$/m);
    expect(text).toMatch(/^ {2}hover 1 +calm$/m);
  });

  test('a build that all hovers share is said once, one that differs for each', () => {
    const light = { configuration: { massKg: 5.9 } };
    expect(recordText(recordOf(light, light), PAGE)).toContain('Build of them all: 5.9 kg.');
    const differing = recordText(recordOf(light, { configuration: { massKg: 6.4, wings: 'on' } }), PAGE);
    expect(differing).toMatch(/^ {2}hover 1 +5\.9 kg$/m);
    expect(differing).toMatch(/^ {2}hover 2 +6\.4 kg, wings on$/m);
    expect(differing).not.toContain('of them all');
  });

  test('the day stands in the list, the time on the page of the hover', () => {
    const record = recordOf({ date: '2026-04-11T09:20:00+01:00' });
    expect(recordText(record, PAGE)).toMatch(/^ {2}hover 1 +2026-04-11$/m);
    expect(hoverText(record, 'hover 1', PAGE)).toContain('2026-04-11T09:20:00+01:00');
  });
});

describe('one hover', () => {
  test('a gain that is not told is blank, an axis without any is left out, and the unit is said', () => {
    const record = recordOf(
      gains({
        gains: {
          rate: { unit: 'rad/s', roll: { kp: 0.18, kd: 0.00123456789 } },
          attitude: { yaw: { kp: 3 } },
        },
      }),
    );
    const text = hoverText(record, 'hover 1', PAGE);
    expect(text).toMatch(/^ {2}roll +0\.18 +0\.00123457$/m);
    expect(text).toMatch(/^ {2}yaw +3$/m);
    expect(text).not.toMatch(/^ {2}pitch/m);
    expect(text).toContain('Rate gains: rad/s; attitude gains: unit not told.');
  });

  test('no notch, and notches that nobody told of, are two things', () => {
    const filters = (value: object): string =>
      hoverText(recordOf(gains({ filters: value })), 'hover 1', PAGE);
    expect(filters({ notches: [] })).toContain('- No notch');
    expect(filters({ gyroLowPassHz: 60 })).toContain('- Notches: not told');
    expect(filters({ notches: [{ centreHz: 56, bandwidthHz: 12, depthDb: 30 }] })).toContain(
      '- Notch at 56 Hz, 12 Hz wide, 30 dB deep',
    );
  });

  test('what is not recorded is said to be so', () => {
    const text = hoverText(recordOf({}), 'hover 1', PAGE);
    expect(text).toContain('No change is recorded.');
    expect(text).toMatch(/Gains and filters\n {2}Not recorded\./);
  });
});
