/** The study of vibration on real records, whose figures the description of the open data states. */
import { readFileSync } from 'node:fs';
import { basename } from 'node:path';
import { describe, expect, test, type TestContext } from 'vitest';
import { parseChannelMap, readFlight, type Flight } from '@settle/parser';
import { studyVibration } from '../../packages/analysis/src/vibration/study.js';
import type { VibrationStudy } from '../../packages/analysis/src/vibration/vibration-study.js';
import { openData } from '../support/open-data.js';
import { available } from '../support/near.js';

function study(flight: Flight): VibrationStudy {
  return available(studyVibration(flight, { startS: 0, endS: flight.durationS }, []));
}

describe('bearing rig (Center for Intelligent Maintenance Systems, University of Cincinnati): 1 s at 20,480 Hz', () => {
  const rig = (file: string, test: TestContext): VibrationStudy => {
    const path = openData(`bearing-rig/${file}`, test);
    const channels = { 'accel.x': { column: 1, unit: 'g' } };
    return study(
      readFlight([{ name: basename(path), bytes: readFileSync(path) }], {
        map: parseChannelMap(JSON.stringify({ channels }), 'map.json'),
        rateHz: 20_480,
      }),
    );
  };

  // The description gives the lines to the nearest multiple of 60 Hz; the mains itself stood a little above that.
  test('after shut-down: mains lines near 60, 180, 240, 300 and 420 Hz, multiples of one frequency, electrical', (test) => {
    const { lines } = rig('2004.02.19.06.22.39.tsv', test);
    const mains = [60, 180, 240, 300, 420].map((hz) => {
      const near = lines.filter((line) => Math.abs(line.frequencyHz - hz) < 0.5);
      expect(near, `${String(hz)} Hz`).toHaveLength(1);
      expect(near[0]!.kind, `${String(hz)} Hz`).toBe('electrical');
      return near[0]!.frequencyHz / (hz / 60);
    });
    const mean = mains.reduce((sum, hz) => sum + hz / mains.length, 0);
    for (const [i, hz] of mains.entries())
      expect(Math.abs(hz - mean) * [1, 3, 4, 5, 7][i]!).toBeLessThan(0.2);
  });

  test('running: a line at 236.9 Hz on channel 1; with nothing that says what turns, no rotor is made of it', (test) => {
    const { lines, rotor } = rig('2004.02.12.10.32.39.tsv', test);
    const near = lines.filter((line) => Math.abs(line.frequencyHz - 236.9) < 0.3);
    expect(near).toHaveLength(1);
    expect(rotor).toHaveProperty('unavailable');
    for (const { order } of lines) expect(order).toBeNull();
  });
});

describe('quadrotor (Hurwitz and Klein, arXiv:2310.13452, CC BY 4.0): 120 Hz', () => {
  test.for(['horizontal-1-imu-1.csv', 'horizontal-10-imu-1.csv'])(
    '%s: energy is piled up under the 60 Hz that the log can show',
    (file, test) => {
      const path = openData(`quadrotor-imu/${file}`, test);
      const { sensors } = study(readFlight([{ name: file, bytes: readFileSync(path) }]));
      const worst = Math.max(...sensors.map((sensor) => sensor.nyquistExcess));
      expect(worst).toBeGreaterThan(3);
    },
  );
});
