import { describe, expect, test } from 'vitest';
import { defaultConfig } from './config.js';
import { toCsvFiles } from './csv.js';
import { simulateFlight } from './simulate.js';
import { toFlight } from './to-flight.js';

function shortFlight() {
  const c = defaultConfig();
  c.script.hoverS = 2;
  c.log.rotorHz = 10;
  return simulateFlight(c, 1);
}

describe('CSV text', () => {
  const sim = shortFlight();

  test('one file per group, each with its own clock and units in the header', () => {
    const files = toCsvFiles(sim);
    expect(files.map((f) => f.name)).toEqual([
      'attitude.csv',
      'rate.csv',
      'imu.csv',
      'motor.csv',
      'pilot.csv',
      'height.csv',
      'rotor.csv',
      'battery.csv',
    ]);
    const attitude = files[0]!.text.split('\n');
    expect(attitude[0]).toBe(
      'time (s),roll angle reference (deg),roll angle (deg),pitch angle reference (deg),pitch angle (deg),yaw angle reference (deg),yaw angle (deg)',
    );
    const rows = sim.log.groups.find((g) => g.name === 'attitude')!.timeS.length;
    expect(attitude.length).toBe(rows + 2);
  });

  test('values survive to the digits written', () => {
    const rate = sim.log.groups.find((g) => g.name === 'rate')!;
    const lines = toCsvFiles(sim)
      .find((f) => f.name === 'rate.csv')!
      .text.split('\n');
    const header = lines[0]!.split(',');
    const at = header.indexOf('pitch rate (deg/s)');
    const row = lines[801]!.split(',').map(Number);
    expect(row[0]).toBeCloseTo(rate.timeS[800]!, 5);
    expect(row[at]).toBeCloseTo((rate.columns.get('rate.pitch.measured')![800]! * 180) / Math.PI, 2);
  });

  test('a wide file keeps every sample once and leaves the other groups empty', () => {
    const wide = toCsvFiles(sim, { layout: 'wide', timeUnit: 'us', clockStartS: 1000 })[0]!
      .text.trimEnd()
      .split('\n');
    const header = wide[0]!.split(',');
    const at = header.indexOf('battery voltage (V)');
    const cells = wide.slice(1).map((line) => line.split(','));
    expect(cells.every((c) => c.length === header.length)).toBe(true);
    expect(cells.filter((c) => c[at] !== '').length).toBe(
      sim.log.groups.find((g) => g.name === 'battery')!.timeS.length,
    );
    expect(cells[0]![0]).toBe('1000000000');
  });

  test('decimal comma with semicolons, and only the stretch asked for', () => {
    const [file] = toCsvFiles(sim, {
      decimal: ',',
      delimiter: ';',
      fromS: 1,
      toS: 1.5,
      channels: (name) => name === 'height',
    });
    const lines = file!.text.trimEnd().split('\n');
    expect(lines[0]).toBe('time (s);height (m)');
    expect(lines[1]).toMatch(/^1,00000;-?0,\d{3}$/);
    expect(Number(lines.at(-1)!.split(';')[0]!.replace(',', '.'))).toBeLessThanOrEqual(1.5);
  });
});

describe('flight without the detour through text', () => {
  test('holds every logged channel on its clock, from zero', () => {
    const sim = shortFlight();
    const flight = toFlight(sim);
    expect(flight.signals.get('rate.roll.measured')!.clock.sampleRateHz).toBeCloseTo(200, 6);
    expect(flight.signals.get('accel.z')!.values.length).toBe(
      flight.signals.get('gyro.x')!.clock.timeS.length,
    );
    expect(flight.signals.get('mode')!.labels).toContain('self-levelling');
    expect(flight.signals.get('height')!.clock.timeS[0]).toBe(0);
  });

  test('can leave channels out', () => {
    const flight = toFlight(shortFlight(), { channels: (name) => name.startsWith('gyro.') });
    expect([...flight.signals.keys()]).toEqual(['gyro.x', 'gyro.y', 'gyro.z']);
    expect(flight.files.map((f) => f.name)).toEqual(['imu']);
  });
});
