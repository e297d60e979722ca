import { promises as fs } from 'node:fs';
import path from 'node:path';
import { describe, expect, test } from 'vitest';
import type { Diagnosis } from '@settle/analysis';
import type { Inspection } from '@settle/report';
import { makeDirectory, settle } from '../support/command-line.js';
import { DIAGNOSIS_SCHEMA, schemaErrors } from '../support/contract-schema.js';
import { openData } from '../support/open-data.js';

/**
 * Y. Hurwitz and I. Klein, "Quadrotor Dead Reckoning with Multiple Inertial Sensors", arXiv:2310.13452, CC BY 4.0. An
 * inertial sensor on a quadrotor that was flown in deliberate swings. Frequencies agree with an independent attitude
 * reference on the aircraft; amplitudes are √2 · RMS within 20 % of the frequency over the whole record.
 */
const SWINGS = [
  { file: 'horizontal-1-imu-1.csv', frequencyHz: 0.466, angleDeg: 29.9, rateDegS: 84.2 },
  { file: 'horizontal-1-imu-3.csv', frequencyHz: 0.466, angleDeg: 29.9, rateDegS: 84.2 },
  { file: 'horizontal-10-imu-1.csv', frequencyHz: 0.177, angleDeg: 23.0, rateDegS: 25.0 },
];

describe('real flights that no one on this project made', () => {
  test.for(SWINGS)('the roll swing of $file is found without a map', async (swing, context) => {
    const log = openData(`quadrotor-imu/${swing.file}`, context);
    const { status, stdout } = await settle(['diagnose', '--json', log]);
    expect(status).toBe(0);
    const diagnosis = JSON.parse(stdout) as Diagnosis;
    expect(schemaErrors(DIAGNOSIS_SCHEMA, diagnosis)).toEqual([]);
    const [strongest] = diagnosis.axes.roll.oscillations;
    expect(Math.abs(strongest!.frequencyHz / swing.frequencyHz - 1)).toBeLessThan(0.02);
    expect(Math.abs(strongest!.rateAmplitudeDegS / swing.rateDegS - 1)).toBeLessThan(0.05);
    expect(Math.abs(strongest!.attitudeAmplitudeDeg! / swing.angleDeg - 1)).toBeLessThan(0.05);
    // The motion is deliberate and no reference is logged: a named cause would be a guess.
    expect(strongest!.origin).toBe('unknown');
  });

  test('the page says that the cause cannot be told and which evidence is missing', async (context) => {
    const { stdout } = await settle(['diagnose', openData('quadrotor-imu/horizontal-1-imu-1.csv', context)]);
    expect(stdout).toContain('Why roll does that cannot be told from this log');
    expect(stdout.replaceAll(/\s+/g, ' ')).toMatch(/Log (attitude )?references?.*demands/);
  });

  /** University at Buffalo physics students: a wheel that turns while its axle is led round; 99.6 Hz, rad/s. */
  test('the wheel gyro reads from its units in the header, and shows its published line', async (context) => {
    const log = openData('wheel-gyro/z_cir.csv', context);
    const { status, stdout } = await settle(['diagnose', '--json', log, '--from', '5', '--to', '15']);
    expect(status).toBe(0);
    const { axes, flight } = JSON.parse(stdout) as Diagnosis;
    expect(flight.sampleRatesHz.imu).toBeCloseTo(99.6, 1);
    for (const axis of ['roll', 'pitch'] as const) {
      const [line] = axes[axis].oscillations;
      // 0.654 to 0.657 Hz and 2.32 to 2.35 rad/s, widened by the stated 2 % and 5 %.
      expect(line!.frequencyHz).toBeGreaterThan(0.654 * 0.98);
      expect(line!.frequencyHz).toBeLessThan(0.657 * 1.02);
      expect((line!.rateAmplitudeDegS * Math.PI) / 180).toBeGreaterThan(2.32 * 0.95);
      expect((line!.rateAmplitudeDegS * Math.PI) / 180).toBeLessThan(2.35 * 1.05);
    }
  });

  /** I. Vnucec, one-axis attitude bench, mrad/s: no time column, headers "Channel 1" to "Channel 3". */
  test('a bench log whose headers say nothing asks for a clock and a map, and reads with both', async (context) => {
    const log = openData('attitude-bench/ang_vel_regulation_input.csv', context);
    const withoutRate = await settle(['inspect', log]);
    expect(withoutRate.status).toBe(2);
    expect(withoutRate.stderr).toContain('--rate HZ');
    const withoutMap = await settle(['inspect', log, '--rate', '10']);
    expect(withoutMap.status).toBe(2);
    expect(withoutMap.stderr).toMatch(/"Channel 1".*map/);

    const directory = await makeDirectory();
    try {
      const map = path.join(directory, 'map.json');
      const channels = {
        'rate.yaw.reference': { column: 'Channel 1', unit: 'mrad/s' },
        'rate.yaw.measured': { column: 'Channel 2', unit: 'mrad/s' },
      };
      await fs.writeFile(map, JSON.stringify({ channels }));
      const mapped = await settle(['inspect', '--json', log, '--rate', '10', '--map', map]);
      expect(mapped.status).toBe(0);
      const read = new Map(
        (JSON.parse(mapped.stdout) as Inspection).channels.map((channel) => [channel.id, channel]),
      );
      // The reference steps between 0, +1 and -1 rad/s, and the bench follows it.
      expect(read.get('rate.yaw.reference')).toMatchObject({ lowest: -1, highest: 1, unit: 'mrad/s' });
      expect(read.get('rate.yaw.measured')!.highest).toBeCloseTo(1, 1);
      expect(read.get('rate.yaw.measured')!.lowest).toBeCloseTo(-1, 1);
    } finally {
      await fs.rm(directory, { recursive: true });
    }
  });
});
