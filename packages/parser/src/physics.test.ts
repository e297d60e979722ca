import { describe, expect, test } from 'vitest';
import { parseChannelMap } from './channel-map.js';
import { compareAttitudeWithRates, unwrapAngles } from './kinematics.js';
import { DEG, csv, makeHover, read, refusal, times, worstError } from './made-log.fixture.js';
import type { MadeHover } from './made-log.fixture.js';

type Columns = (readonly [string, readonly number[]])[];
const G = 9.80665;

interface Logged {
  angle?: number;
  rate?: number;
  accel?: number;
  names?: { angle?: string; rate?: string; accel?: string };
  /** Sign of y and z of the sensors, of pitch and yaw, of q and r. */
  imu?: 1 | -1;
  attitude?: 1 | -1;
  body?: 1 | -1;
  without?: RegExp;
}

/** A log of a hover with any units and frames: angles, gyro, body rates p q r and accelerometer. */
function log(hover: MadeHover, logged: Logged = {}): string {
  const { angle = 1, rate = 1, accel = 1, imu = 1, attitude = 1, body = 1, names = {} } = logged;
  const tail = (text: string | undefined): string => (text === undefined ? '' : ` [${text}]`);
  const columns: Columns = [
    ['time', hover.t],
    [`roll${tail(names.angle)}`, times(hover.roll, angle)],
    [`pitch${tail(names.angle)}`, times(hover.pitch, attitude * angle)],
    [`yaw${tail(names.angle)}`, times(hover.yaw, attitude * angle)],
    [`gyro_x${tail(names.rate)}`, times(hover.p, rate)],
    [`gyro_y${tail(names.rate)}`, times(hover.q, imu * rate)],
    [`gyro_z${tail(names.rate)}`, times(hover.r, imu * rate)],
    ['p', times(hover.p, rate)],
    ['q', times(hover.q, body * rate)],
    ['r', times(hover.r, body * rate)],
    [`accel_x${tail(names.accel)}`, times(hover.ax, accel)],
    [`accel_y${tail(names.accel)}`, times(hover.ay, imu * accel)],
    [`accel_z${tail(names.accel)}`, times(hover.az, imu * accel)],
  ];
  return csv(
    columns.filter(([name]) => !logged.without?.test(name)),
    { digits: 8 },
  );
}

function expectTruth(flight: ReturnType<typeof read>, hover: MadeHover, tolerance = 1e-6): void {
  const truth = { 'attitude.roll.measured': hover.roll, 'attitude.pitch.measured': hover.pitch, 'attitude.yaw.measured': hover.yaw, 'gyro.x': hover.p, 'gyro.y': hover.q, 'gyro.z': hover.r, 'rate.roll.measured': hover.p, 'rate.pitch.measured': hover.q, 'rate.yaw.measured': hover.r, 'accel.x': hover.ax, 'accel.y': hover.ay, 'accel.z': hover.az } as const; // prettier-ignore
  let compared = 0;
  for (const [channel, values] of Object.entries(truth) as [keyof typeof truth, number[]][])
    if (flight.signals.has(channel)) {
      expect(worstError(flight, channel, values), channel).toBeLessThan(tolerance);
      compared++;
    }
  expect(compared).toBe(flight.signals.size);
}

const hover = makeHover({ sway: 0.35, noise: 0.2 });

describe('the rate of attitude against body rate decides deg or rad', () => {
  test.each([
    ['deg with deg/s', DEG, DEG],
    ['deg with rad/s', DEG, 1],
    ['rad with deg/s', 1, DEG],
  ])('%s, unit nowhere stated', (_, angle, rate) => {
    const flight = read(log(hover, { angle, rate }));
    expectTruth(flight, hover);
    expect(flight.signals.get('gyro.x')?.decision.decidedBy.join()).toMatch(
      /rate of attitude is (1\.0|0\.9)/,
    );
  });
  test('rad with rad/s in a gentle hover: as degrees the aircraft would not have moved', () => {
    const gentle = makeHover({ sway: 0.06, noise: 0.02 });
    expectTruth(read(log(gentle, {})), gentle);
  });
  test('rad with rad/s in a violent one could be a calm one in degrees: it stops and says so', () => {
    const error = refusal(() => read(log(hover, {})));
    expect(error.code).toBe('unit-ambiguous');
    expect(error.oneLine).toContain('rad or deg');
    expect(error.candidateMap).toContain(
      '"attitude.roll.measured": { "column": "roll", "unit": "rad or deg" }',
    );
  });
  test('one stated unit settles the others', () => {
    expectTruth(read(log(hover, { names: { angle: 'rad' } })), hover);
    expectTruth(read(log(hover, { names: { rate: 'rad/s' } })), hover);
    expectTruth(read(log(hover, { angle: DEG, names: { angle: 'deg' }, without: /^gyro/ })), hover);
  });
  test('a stated unit that the motion contradicts stops, naming both', () => {
    const error = refusal(() =>
      read(log(hover, { angle: DEG, rate: DEG, names: { angle: 'deg', rate: 'rad/s' } })),
    );
    expect(error.code).toBe('unit-contradiction');
    expect(error.oneLine).toMatch(
      /"gyro_x \[rad\/s\]" \(header says rad\/s\) is 57\.\d times the rate of "roll \[deg\]"/,
    );
  });
  test('mrad/s beside degrees is none of the usual pairs: it stops with the ratio and reads with a map', () => {
    const text = log(hover, { angle: DEG, rate: 1000, without: /^[pqr]$/ });
    const error = refusal(() => read(text));
    expect(error.code).toBe('unit-ambiguous');
    const map = parseChannelMap(error.candidateMap!.replaceAll('deg/s or rad/s or mrad/s', 'mrad/s').replaceAll('deg or rad', 'deg'), 'm.json'); // prettier-ignore
    expectTruth(read(text, { map }), hover);
  });
  test('units of the map that the motion contradicts stop, naming both and what to do; a slightly odd factor is told as a problem', () => {
    const mapWith = (unit: string) => parseChannelMap(`{"channels": {"gyro.x": {"column": "gyro_x", ${unit}}, "gyro.y": {"column": "gyro_y", ${unit}}, "gyro.z": {"column": "gyro_z", ${unit}}, "attitude.roll.measured": {"column": "roll", "unit": "deg"}, "attitude.pitch.measured": {"column": "pitch", "unit": "deg"}, "attitude.yaw.measured": {"column": "yaw", "unit": "deg"}}}`, 'm.json'); // prettier-ignore
    const text = log(hover, { angle: DEG, rate: DEG, without: /^[pqr]$/ });
    const error = refusal(() => read(text, { map: mapWith('"unit": "rad/s"') }));
    expect(error.code).toBe('unit-contradiction');
    expect(error.oneLine).toMatch(
      /"gyro_x" \(map says rad\/s\) is 57\.\d times the rate of "roll" \(map says deg\), so one of the two is not what it is said to be; correct the units/,
    );
    const odd = read(text, { map: mapWith('"unit": "deg/s", "scale": 1.4') });
    expect(worstError(odd, 'gyro.x', times(hover.p, 1.4))).toBeLessThan(1e-6);
    expect(odd.problems.map((problem) => problem.message).join()).toMatch(/"gyro_x" .* is 1\.40 times/);
  });
  test('a sample rate that the motion contradicts stops, and says which would fit', () => {
    const text = log(hover, { angle: DEG, rate: DEG, names: { angle: 'deg', rate: 'deg/s' } })
      .split('\n')
      .map((line) => line.slice(line.indexOf(',') + 1))
      .join('\n');
    const error = refusal(() => read(text, { rateHz: 40 }));
    expect(error.code).toBe('unit-contradiction');
    expect(error.oneLine).toMatch(
      /with --rate and all axes are off by the same factor, one 2\.5\d? times as high would fit/,
    );
  });
  test('body rates alone, without a unit, stop', () => {
    const error = refusal(() => read(log(hover, { without: /^(roll|pitch|yaw|[pqr]$)/ })));
    expect(error.code).toBe('unit-ambiguous');
    expect(error.oneLine).toMatch(
      /^hover\.csv:1: gyro_x: the unit of "gyro_x", "gyro_y", "gyro_z" is not stated/,
    );
  });
  test('degrees are sure without rates where radians are impossible', () => {
    const flight = read(log(hover, { angle: DEG, without: /^(gyro|[pqr]$)/ }));
    expectTruth(flight, hover);
    expect(flight.signals.get('attitude.roll.measured')?.decision.decidedBy.join()).toContain(
      'impossible otherwise',
    );
  });
  test('in a quiet log the gyro noise must still fit under the motion of the attitude', () => {
    const still = makeHover({ sway: 0.0004, noise: 0.01, rateHz: 200 });
    const text = csv([['time', still.t], ['roll [deg]', times(still.roll, DEG)], ['pitch [deg]', times(still.pitch, DEG)], ['gyro_x', times(still.p, DEG)], ['gyro_y', times(still.q, DEG)]], { digits: 8 }); // prettier-ignore
    expect(worstError(read(text), 'gyro.x', still.p)).toBeLessThan(1e-6);
  });
});

describe('the accelerometer', () => {
  test('level 1 is g, level 9.8 is m/s²', () => {
    expectTruth(read(log(hover, { angle: DEG, rate: DEG, accel: 1 / G })), hover);
    expectTruth(read(log(hover, { angle: DEG, rate: DEG })), hover);
  });
  test('a stated unit that its level contradicts stops', () => {
    const error = refusal(() => read(log(hover, { angle: DEG, rate: DEG, names: { accel: 'g' } })));
    expect(error.code).toBe('unit-contradiction');
    expect(error.oneLine).toContain('gravity in m/s²');
  });
  test('raw counts stop and read with a map that scales them', () => {
    const text = log(hover, { angle: DEG, rate: DEG, accel: 2048 / G });
    expect(refusal(() => read(text)).code).toBe('unit-ambiguous');
    const entry = (axis: string): string =>
      `"accel.${axis}": {"column": "accel_${axis}", "unit": "g", "scale": ${String(1 / 2048)}}`;
    const map = parseChannelMap(`{"channels": {${['x', 'y', 'z'].map(entry).join()}}}`, 'm.json');
    expectTruth(read(text, { map }), hover);
  });
});

describe('sign and frame', () => {
  const units = { angle: DEG, rate: DEG };
  test.each<[string, Logged]>([
    ['everything z down', {}],
    ['everything z up', { imu: -1, attitude: -1, body: -1 }],
    ['sensors z up, attitude and rates z down', { imu: -1 }],
    ['attitude z up, the rest z down', { attitude: -1 }],
    ['rates z up, the rest z down', { body: -1 }],
    ['sensors and attitude z up, rates z down', { imu: -1, attitude: -1 }],
    ['no gyro: rates tied to attitude, z down', { without: /^gyro/ }],
    ['no rates, z up', { imu: -1, attitude: -1, without: /^[pqr]$/ }],
  ])('%s comes out x forward, y right, z down', (_, logged) => {
    const flight = read(log(hover, { ...units, ...logged }));
    expectTruth(flight, hover);
    expect(flight.frame.logged).toBe(logged.imu === -1 ? 'z-up' : 'z-down');
    expect(flight.problems).toEqual([]);
  });
  test('without an accelerometer the frame is unknown, but attitude and rates agree', () => {
    const flight = read(log(hover, { ...units, imu: -1, without: /^(accel|[pqr]$)/ }));
    expect(flight.frame.logged).toBe('unknown');
    expectTruth(flight, hover);
  });
  test('an accelerometer z up that nothing ties to the attitude leaves the frame unknown and the angles as logged', () => {
    const flight = read(log(hover, { ...units, imu: -1, without: /^(gyro|[pqr]$)/ }));
    expect(flight.frame.logged).toBe('unknown');
    expect(worstError(flight, 'attitude.pitch.measured', hover.pitch)).toBeLessThan(1e-6);
    expect(worstError(flight, 'accel.z', hover.az)).toBeLessThan(1e-6);
  });
  test('a heading counted the other way is turned and told, the frame stays known', () => {
    const turned: MadeHover = { ...hover, yaw: times(hover.yaw, -1) };
    const flight = read(log(turned, { ...units, without: /^[pqr]$/ }));
    expect(worstError(flight, 'attitude.yaw.measured', hover.yaw)).toBeLessThan(1e-6);
    expect(flight.frame.logged).toBe('z-down');
    expect(flight.problems[0]?.message).toContain('about yaw');
  });
  test('a roll that turns against the gyro leaves the frame unknown', () => {
    const turned: MadeHover = { ...hover, roll: times(hover.roll, -1) };
    const flight = read(log(turned, { ...units, without: /^[pqr]$/ }));
    expect(flight.frame.logged).toBe('unknown');
    expect(flight.problems[0]?.message).toContain('about roll');
  });
  test('a sign in the map is final, and what follows from it follows', () => {
    const map = parseChannelMap('{"channels": {"gyro.x": {"column": "gyro_x", "unit": "deg/s", "sign": 1}, "gyro.y": {"column": "gyro_y", "unit": "deg/s", "sign": -1}, "gyro.z": {"column": "gyro_z", "unit": "deg/s", "sign": -1}}, "frame": "z-up"}', 'm.json'); // prettier-ignore
    expectTruth(read(log(hover, { ...units, imu: -1 }), { map }), hover);
  });
  test('a demand turns with its rate', () => {
    const columns = log(hover, { ...units, imu: -1, attitude: -1, body: -1 })
      .trimEnd()
      .split('\n');
    const text = columns
      .map((line, i) => `${line},${i === 0 ? 'pitch demand' : String(0.5 * Math.sin(i))}`)
      .join('\n');
    const demand = hover.t.map((_, i) => -0.5 * Math.sin(i + 1));
    expect(worstError(read(text), 'rate.pitch.demand', demand)).toBeLessThan(1e-9);
  });
});

describe('angles across a full turn', () => {
  test('roll and yaw are unwrapped, in degrees and radians, over 360 as over ±180', () => {
    const spin = makeHover({ sway: 0.2 });
    const yaw = spin.t.map((t) => 2.9 + 0.4 * t);
    const rates = { p: spin.t.map(() => 0), q: spin.t.map(() => 0), r: spin.t.map(() => 0.4) };
    const wrap = (turn: number, low: number) => (x: number) => ((((x - low) % turn) + turn) % turn) + low;
    for (const [values, unit] of [
      [yaw.map((x) => wrap(360, -180)(x * DEG)), 'deg'],
      [yaw.map((x) => wrap(360, 0)(x * DEG)), 'deg'],
      [yaw.map(wrap(2 * Math.PI, -Math.PI)), 'rad'],
    ] as const) {
      const text = csv(
        [
          ['time', spin.t],
          [`yaw [${unit}]`, values],
          ['gyro_z [rad/s]', rates.r],
        ],
        { digits: 9 },
      );
      const flight = read(text);
      const got = flight.signals.get('attitude.yaw.measured')!.values;
      expect(Math.max(...got) - Math.min(...got)).toBeCloseTo(0.4 * 7.99, 6);
      expect(flight.signals.get('attitude.yaw.measured')?.decision.unit).toBe(unit);
    }
  });
  test('a reference follows its measured value onto the same turn', () => {
    const t = makeHover().t;
    const measured = t.map((x) => 175 + x * 4).map((x) => (x > 180 ? x - 360 : x));
    const reference = t.map((x) => 182 + x * 4).map((x) => x - 360);
    const flight = read(
      csv([
        ['time', t],
        ['yaw [deg]', measured],
        ['yaw reference [deg]', reference],
      ]),
    );
    const [a, b] = [
      flight.signals.get('attitude.yaw.measured')!.values,
      flight.signals.get('attitude.yaw.reference')!.values,
    ];
    expect(b[700]! - a[700]!).toBeCloseTo(7 / DEG, 6);
  });
  test('missing values do not disturb the count of turns', () => {
    const values = Float64Array.from([170, 179, NaN, -179, -170, NaN, 170]);
    unwrapAngles(values, 360);
    expect([...values]).toEqual([170, 179, NaN, 181, 190, NaN, 170]);
  });
});

test('the full kinematics hold where small-angle ones would not: 40° of bank with 57 deg/s of yaw rate', () => {
  const t = Float64Array.from({ length: 2000 }, (_, i) => i / 200);
  const series = (f: (t: number) => number) => ({ timeS: t, values: t.map(f) });
  const phi = (x: number): number => 0.7 * Math.sin(2 * x);
  const theta = (x: number): number => 0.3 * Math.sin(3 * x + 1);
  const dPhi = (x: number): number => 1.4 * Math.cos(2 * x);
  const dTheta = (x: number): number => 0.9 * Math.cos(3 * x + 1);
  const dPsi = 1;
  const found = compareAttitudeWithRates(
    { roll: series(phi), pitch: series(theta), yaw: series((x) => dPsi * x) },
    {
      roll: series((x) => dPhi(x) - dPsi * Math.sin(theta(x))),
      pitch: series((x) => dTheta(x) * Math.cos(phi(x)) + dPsi * Math.sin(phi(x)) * Math.cos(theta(x))),
      yaw: series((x) => -dTheta(x) * Math.sin(phi(x)) + dPsi * Math.cos(phi(x)) * Math.cos(theta(x))),
    },
  );
  for (const axis of ['roll', 'pitch', 'yaw'] as const) {
    expect(found[axis]?.gain).toBeCloseTo(1, 3);
    expect(found[axis]?.correlation).toBeGreaterThan(0.9999);
  }
});
