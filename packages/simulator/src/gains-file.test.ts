import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { formatGains, parseGains } from '@settle/parser';
import { expect, test } from 'vitest';
import { toGainsFile } from './gains-file.js';
import { samphireHovers } from './samphire.js';

const settings = fileURLToPath(new URL('../../../fixtures/settings', import.meta.url));

test.each(samphireHovers())('the gains of $name are a gains file, number by number', ({ config }) => {
  const made = toGainsFile(config);
  const read = parseGains(JSON.stringify(made), 'gains.json');
  expect(read.rate.axes).toEqual(made.gains.rate);
  expect(read.attitude.axes).toEqual(made.gains.attitude);
  expect(read.filters).toEqual(made.filters);
  expect(read.loopRateHz).toBe(made.loopRateHz);
  expect(read.configuration).toEqual(made.configuration);
});

test('a controller without a gyro low-pass or with notches makes a gains file too', () => {
  const { config } = samphireHovers()[0]!;
  const changed = structuredClone(config);
  changed.sensors.gyroLowPassHz = null;
  changed.controller.notches = [{ centreHz: 55, bandwidthHz: 10, depthDb: 25 }];
  const { filters } = parseGains(JSON.stringify(toGainsFile(changed)), 'gains.json');
  expect(filters).toMatchObject({ gyroLowPassHz: null, notches: [{ centreHz: 55 }] });
});

test('every gains file of the fixtures is written back as it stands', () => {
  const files = readdirSync(settings).filter((name) => name.endsWith('-gains.json'));
  expect(files.length).toBeGreaterThanOrEqual(5);
  for (const file of files) {
    const text = readFileSync(join(settings, file), 'utf8');
    expect(formatGains(parseGains(text, file))).toBe(text);
  }
});
