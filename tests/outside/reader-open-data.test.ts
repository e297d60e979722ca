import { readFileSync } from 'node:fs';
import { basename, join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { LogError, parseChannelMap, readFlight, suggestMap } from '@settle/parser';
import type { ChannelName, Flight, ReadOptions } from '@settle/parser';

// Real measurements made by others; the README of the folder names each source and what must come out.
const data = process.env['SETTLE_OPEN_DATA'];
if (data === undefined) console.warn('open data: skipped, set SETTLE_OPEN_DATA to their folder');

const DEG = 180 / Math.PI;

function read(file: string, options: ReadOptions = {}): Flight {
  return readFlight([{ name: basename(file), bytes: readFileSync(join(data!, file)) }], options);
}
function withMap(file: string, map: string, rateHz?: number): Flight {
  return read(file, { map: parseChannelMap(map, 'map.json'), ...(rateHz === undefined ? {} : { rateHz }) });
}
function refusal(run: () => Flight): LogError {
  try {
    run();
  } catch (error) {
    if (error instanceof LogError) return error;
    throw error;
  }
  throw new Error('expected a LogError');
}
function values(flight: Flight, channel: ChannelName): Float64Array {
  return flight.signals.get(channel)!.values;
}

/** Frequency and amplitude of the strongest line between two frequencies, by a Hann-windowed Fourier sum. */
function strongestLine(
  flight: Flight,
  channel: ChannelName,
  lowHz: number,
  highHz: number,
): { hz: number; amplitude: number } {
  const { clock } = flight.signals.get(channel)!;
  const x = values(flight, channel);
  const mean = x.reduce((sum, value) => sum + value, 0) / x.length;
  let best = { hz: 0, amplitude: 0 };
  for (let hz = lowHz; hz <= highHz; hz += 0.001) {
    let [re, im, weight] = [0, 0, 0];
    for (let i = 0; i < x.length; i++) {
      const w = 0.5 - 0.5 * Math.cos((2 * Math.PI * i) / x.length);
      const angle = 2 * Math.PI * hz * clock.timeS[i]!;
      re += w * (x[i]! - mean) * Math.cos(angle);
      im -= w * (x[i]! - mean) * Math.sin(angle);
      weight += w;
    }
    const amplitude = (2 * Math.hypot(re, im)) / weight;
    if (amplitude > best.amplitude) best = { hz, amplitude };
  }
  return best;
}

describe.skipIf(data === undefined)('quadrotor-imu (Hurwitz and Klein, arXiv:2310.13452)', () => {
  // README: lines by a Hann window over the whole record.
  test.each([
    ['horizontal-1-imu-1.csv', 2461, 0.466, 31.6, 90],
    ['horizontal-10-imu-1.csv', 5605, 0.177, 25.7, 27.6],
  ])(
    '%s reads without a map: deg, deg/s, m/s², 120 Hz, z up, and shows the stated line',
    (file, rows, hz, deg, degS) => {
      const flight = read(`quadrotor-imu/${file}`);
      expect(flight.files[0]).toMatchObject({
        rows,
        unusedColumns: [],
        clock: { column: 'time', unit: 's' },
      });
      expect([...flight.signals.keys()]).toEqual([
      'attitude.roll.measured', 'attitude.pitch.measured', 'attitude.yaw.measured',
      'gyro.x', 'gyro.y', 'gyro.z', 'accel.x', 'accel.y', 'accel.z',
    ]); // prettier-ignore
      const unitOf = (channel: ChannelName): string => flight.signals.get(channel)!.decision.unit;
      expect([unitOf('attitude.roll.measured'), unitOf('gyro.x'), unitOf('accel.z')]).toEqual([
        'deg',
        'deg/s',
        'm/s²',
      ]);
      expect(flight.signals.get('gyro.x')!.clock.sampleRateHz).toBeCloseTo(120, 1);
      expect(flight.frame.logged).toBe('z-up');
      expect(flight.problems).toEqual([]);
      const roll = strongestLine(flight, 'attitude.roll.measured', hz - 0.05, hz + 0.05);
      expect(Math.abs(roll.hz - hz)).toBeLessThan(0.002);
      expect(Math.abs(roll.amplitude * DEG - deg)).toBeLessThan(0.1);
      const rate = strongestLine(flight, 'gyro.x', hz - 0.05, hz + 0.05);
      expect(Math.abs(rate.amplitude * DEG - degS) / degS).toBeLessThan(0.02);
    },
  );
  test('two sensors of one flight are two logs of the same channels: ambiguous, with a map to edit', () => {
    const sources = ['horizontal-1-imu-1.csv', 'horizontal-1-imu-3.csv'].map((name) => ({ name, bytes: readFileSync(join(data!, 'quadrotor-imu', name)) })); // prettier-ignore
    const error = refusal(() => readFlight(sources));
    expect(error.code).toBe('channel-ambiguous');
    expect(error.candidateMap).toContain('"file": "horizontal-1-imu-3.csv"');
  });
  test('the suggested map reads the third file alike', () => {
    const file = 'quadrotor-imu/horizontal-1-imu-3.csv';
    const flight = read(file);
    const again = withMap(file, suggestMap(flight));
    for (const [channel, signal] of flight.signals) expect(values(again, channel)).toEqual(signal.values);
  });
});

describe.skipIf(data === undefined)('wheel-gyro (University at Buffalo)', () => {
  test('z_cir.csv reads without a map: rad/s, 99.6 Hz, and turns at 0.652 Hz between 5 and 15 s', () => {
    const flight = read('wheel-gyro/z_cir.csv');
    expect([...flight.signals.keys()]).toEqual(['gyro.x', 'gyro.y', 'gyro.z']);
    expect(flight.files[0]?.unusedColumns).toEqual(['Absolute (rad/s)']);
    const { clock } = flight.signals.get('gyro.z')!;
    expect(clock.sampleRateHz).toBeCloseTo(99.6, 1);
    const z = values(flight, 'gyro.z').filter((_, i) => clock.timeS[i]! >= 5 && clock.timeS[i]! <= 15);
    expect(z.reduce((sum, value) => sum + value, 0) / z.length / (2 * Math.PI)).toBeCloseTo(0.652, 3);
  });
});

describe.skipIf(data === undefined)('attitude-bench (I. Vnucec)', () => {
  test('columns named Channel 1 to 3 stop with a map to edit', () => {
    for (const file of ['ang_vel_regulation_input.csv', 'angle_regulation_input.csv']) {
      expect(refusal(() => read(`attitude-bench/${file}`)).code).toBe('no-clock');
      const error = refusal(() => read(`attitude-bench/${file}`, { rateHz: 10 }));
      expect(error.code).toBe('no-channels');
      expect(error.candidateMap).toContain(
        '"CHOOSE CHANNEL 3": { "column": "Channel 3", "unit": "CHOOSE UNIT" }',
      );
    }
  });
  test('wx, wy, wz are body rates, but their unit is not guessed', () => {
    const error = refusal(() => read('attitude-bench/step_response.csv', { rateHz: 10 }));
    expect(error.code).toBe('unit-ambiguous');
    expect(error.candidateMap).toContain('"rate.roll.measured": { "column": "wx"');
  });
  // Channel 1 is what the loop was asked, channel 2 what it got.
  const loop = (quantity: string, unit: string): string =>
    `{"channels": {"${quantity}.yaw.reference": {"column": "Channel 1", "unit": "${unit}"}, "${quantity}.yaw.measured": {"column": "Channel 2", "unit": "${unit}"}}}`; // prettier-ignore
  const meanWhere = (flight: Flight, quantity: 'rate' | 'attitude', asked: number): number => {
    const reference = values(flight, `${quantity}.yaw.reference`);
    const got = values(flight, `${quantity}.yaw.measured`).filter((_, i) => Math.abs(reference[i]! - asked) < 1e-9 && i > 40 && Math.abs(reference[i - 40]! - asked) < 1e-9); // prettier-ignore
    expect(got.length).toBeGreaterThan(100);
    return got.reduce((sum, value) => sum + value, 0) / got.length;
  };
  test('with a map in mrad/s the rate follows steps of 0, +1 and −1 rad/s once settled', () => {
    const flight = withMap('attitude-bench/ang_vel_regulation_input.csv', loop('rate', 'mrad/s'), 10);
    expect(flight.files[0]?.rows).toBe(2000);
    expect(flight.durationS).toBeCloseTo(199.9, 9);
    for (const asked of [0, 1, -1])
      expect(Math.abs(meanWhere(flight, 'rate', asked) - asked)).toBeLessThan(0.05);
  });
  test('with a map in deg the angle follows steps to 90 and −90 deg', () => {
    const flight = withMap('attitude-bench/angle_regulation_input.csv', loop('attitude', 'deg'), 10);
    // The source does not say how well the loop holds; another unit would be off by a factor of 17 or more.
    for (const asked of [90, -90]) {
      const got = meanWhere(flight, 'attitude', asked / DEG) * DEG;
      expect(got / asked).toBeGreaterThan(0.8);
      expect(got / asked).toBeLessThan(1.25);
    }
  });
});

describe.skipIf(data === undefined)('bearing-rig (Center for Intelligent Maintenance Systems)', () => {
  const map = `{"channels": {"accel.x": {"column": 1, "unit": "g"}, "accel.y": {"column": 2, "unit": "g"}}}`;
  test('a log without header asks for a map and reads with one and a rate: 20,480 rows in 1 s', () => {
    expect(refusal(() => read('bearing-rig/2004.02.12.10.32.39.tsv', { rateHz: 20_480 })).code).toBe(
      'no-header',
    );
    const flight = withMap('bearing-rig/2004.02.12.10.32.39.tsv', map, 20_480);
    expect(flight.files[0]).toMatchObject({ rows: 20_480, delimiter: '\t', headerLine: null });
    expect(flight.durationS).toBeCloseTo(1, 3);
    expect(flight.frame.logged).toBe('unknown');
    const line = strongestLine(flight, 'accel.x', 230, 240);
    expect(Math.abs(line.hz - 236.9)).toBeLessThan(0.5);
  });
});

describe.skipIf(data === undefined)('NIST Statistical Reference Datasets as logs', () => {
  test('LEW.DAT: 200 values under a text header, mean and standard deviation as certified', () => {
    const flight = withMap(
      'nist/LEW.DAT',
      '{"channels": {"height": {"column": "Deflection", "unit": "m"}}}',
      1,
    );
    const x = values(flight, 'height');
    const mean = x.reduce((sum, value) => sum + value, 0) / x.length;
    const deviation = Math.sqrt(x.reduce((sum, value) => sum + (value - mean) ** 2, 0) / (x.length - 1));
    expect(x.length).toBe(200);
    expect(mean).toBeCloseTo(-177.435, 9);
    expect(deviation).toBeCloseTo(277.332168044316, 9);
  });
  test('ENSO.dat: 168 months in space-separated columns under sixty lines of text', () => {
    const map = '{"time": {"column": 2, "unit": "s"}, "channels": {"height": {"column": 1, "unit": "m"}}}';
    const flight = withMap('nist/ENSO.dat', map);
    expect(values(flight, 'height').length).toBe(168);
    expect(values(flight, 'height')[0]).toBe(12.9);
    expect(flight.durationS).toBe(167);
  });
});
