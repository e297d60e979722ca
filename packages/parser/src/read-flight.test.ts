import { describe, expect, test } from 'vitest';
import { parseChannelMap } from './channel-map.js';
import { DEG, csv, makeHover, plainColumns, randomBy, read, refusal, sourceOf, times, valuesOf, worstError } from './made-log.fixture.js'; // prettier-ignore
import type { MadeHover } from './made-log.fixture.js';
import { readFlight } from './read-flight.js';
import { suggestMap } from './suggest-map.js';

const hover = makeHover();
const plain = csv(plainColumns(hover));

/** Rounding of six digits in degrees. */
const ANGLE_ROUNDING = 1e-6;

function expectHover(flight: ReturnType<typeof read>, truth: MadeHover, tolerance = ANGLE_ROUNDING): void {
  expect(worstError(flight, 'attitude.roll.measured', truth.roll)).toBeLessThan(tolerance);
  expect(worstError(flight, 'attitude.pitch.measured', truth.pitch)).toBeLessThan(tolerance);
  expect(worstError(flight, 'attitude.yaw.measured', truth.yaw)).toBeLessThan(tolerance);
  expect(worstError(flight, 'gyro.x', truth.p)).toBeLessThan(tolerance);
  expect(worstError(flight, 'gyro.y', truth.q)).toBeLessThan(tolerance);
  expect(worstError(flight, 'gyro.z', truth.r)).toBeLessThan(tolerance);
  expect(worstError(flight, 'accel.z', truth.az)).toBeLessThan(1e-5);
}

describe('a clock too coarse for its rows', () => {
  const coarse = plain
    .split('\n')
    .map((line) => line.replace(/^(\d+\.\d)\d*/, '$1'))
    .join('\n');
  test('stops, and names the rate that would fit', () => {
    const error = refusal(() => read(coarse));
    expect(error.code).toBe('clock-too-coarse');
    expect(error.oneLine).toMatch(/rows hold new numbers at the time of the row before.*--rate 100/);
  });
  test('is read by the rate that is given', () => {
    expectHover(read(coarse, { rateHz: 100 }), hover);
  });
  test('rows that are the same altogether are only repeated, and left out', () => {
    const twice = plain
      .split('\n')
      .flatMap((line, i) => (i === 0 ? [line] : [line, line]))
      .join('\n');
    expectHover(read(twice), hover);
  });
});

describe('a plain log', () => {
  const flight = read(plain);
  test('comes out in SI, x forward, y right, z down', () => {
    expectHover(flight, hover);
    expect(flight.frame.logged).toBe('z-down');
    expect(flight.problems).toEqual([]);
  });
  test('is described: file, clock, length, decisions', () => {
    expect(flight.name).toBe('hover');
    expect(flight.durationS).toBeCloseTo(7.99, 9);
    expect(flight.files).toMatchObject([
      { name: 'hover.csv', bytes: plain.length, delimiter: ',', headerLine: 1, unitsLine: null, rows: 800, unusedColumns: [], clock: { column: 'time', unit: 's' }, segments: { count: 1, chosen: 1 } },
    ]); // prettier-ignore
    const { clock, decision } = flight.signals.get('gyro.x')!;
    expect(clock.sampleRateHz).toBeCloseTo(100, 6);
    expect(decision).toMatchObject({
      column: 'gyro_x',
      unit: 'deg/s',
      scale: Math.PI / 180,
      offset: 0,
      clipped: 0,
      nonFinite: 0,
    });
    expect(decision.decidedBy.length).toBeGreaterThan(1);
  });
  test('shares one clock object among channels sampled together', () => {
    expect(new Set([...flight.signals.values()].map((signal) => signal.clock)).size).toBe(1);
  });
});

describe('dialects of one log give one flight', () => {
  const comma = (text: string): string => text.replaceAll(',', ';').replaceAll('.', ',');
  const utf16 = (text: string): Uint8Array => {
    const bytes = new Uint8Array(2 * text.length + 2);
    bytes.set([0xff, 0xfe]);
    for (let i = 0; i < text.length; i++)
      new DataView(bytes.buffer).setUint16(2 * i + 2, text.charCodeAt(i), true);
    return bytes;
  };
  test.each<[string, string | Uint8Array]>([
    ['semicolons and decimal commas', comma(plain)],
    ['tabs', plain.replaceAll(',', '\t')],
    ['spaces', plain.replaceAll(',', '   ')],
    ['CRLF', plain.replaceAll('\n', '\r\n')],
    ['CR', plain.replaceAll('\n', '\r')],
    ['a byte order mark', '\uFEFF' + plain],
    ['UTF-16', utf16(plain)],
    ['trailing commas', plain.replaceAll('\n', ',\n')],
    ['blank lines', plain.replaceAll('\n', '\n\n')],
    ['a preamble', `Samphire hover\nMass,5.9\n\n${plain}`],
    ['quotes around everything', plain.replace(/[^,\n]+/g, '"$&"')],
  ])('%s', (_, text) => {
    expectHover(read(text), hover);
  });
});

describe('clocks', () => {
  const withClock = (name: string, clock: readonly (number | string)[]): string =>
    csv([[name, clock], ...plainColumns(hover).slice(1)], { digits: 6 });
  test.each([
    ['time', 1e3, 12_345, 'ms'],
    ['time', 1e6, 987_654_321, 'us'],
    ['time', 1e9, 5e9, 'ns'],
    ['t', 1, 3600, 's'],
    ['timestamp', 1, 1_770_000_000, 's'],
    ['timestamp', 1e3, 1_770_000_000_000, 'ms'],
    ['timestamp', 1e6, 1_770_000_000_000_000, 'us'],
    ['time_us', 1e6, 0, 'us'],
    ['Time [ms]', 1e3, 0, 'ms'],
    ['elapsed ms', 1e3, 0, 'ms'],
  ])('"%s" counting %d per second from %d is in %s', (name, perSecond, start, unit) => {
    const flight = read(
      withClock(
        name,
        hover.t.map((t) => start + Math.round(t * perSecond * 1e6) / 1e6),
      ),
    );
    expect(flight.files[0]?.clock).toMatchObject({ column: name, unit });
    expect(flight.durationS).toBeCloseTo(7.99, 5);
    expect(flight.signals.get('gyro.x')?.clock.timeS[0]).toBe(0);
    expectHover(flight, hover);
  });
  test('nanoseconds since 1970 keep the order of samples although a double rounds them', () => {
    const nanoseconds = hover.t.map((t) => String(1_770_000_000_000_000_000n + BigInt(Math.round(t * 1e9))));
    const flight = read(withClock('time', nanoseconds));
    expect(flight.files[0]?.clock.unit).toBe('ns');
    expect(flight.durationS).toBeCloseTo(7.99, 5);
    expect(flight.signals.get('gyro.x')?.values.length).toBe(800);
  });
  test('ISO 8601 stamps are a clock, over midnight too', () => {
    const at = (t: number): string =>
      new Date(Date.UTC(2026, 2, 4, 23, 59, 57) + Math.round(t * 1000)).toISOString();
    const flight = read(withClock('when', hover.t.map(at)));
    expect(flight.files[0]?.clock).toMatchObject({ column: 'when', unit: 's' });
    expect(flight.durationS).toBeCloseTo(7.99, 9);
    const daily = read(
      withClock(
        'time',
        hover.t.map((t) => at(t).slice(11, 23)),
      ),
    );
    expect(daily.durationS).toBeCloseTo(7.99, 9);
    expect(daily.files[0]?.segments.count).toBe(1);
  });
  test('whole milliseconds at 1 kHz could be seconds at 1 Hz: the motion tells', () => {
    const fast = makeHover({ rateHz: 1000, seconds: 4 });
    const text = csv([['time', fast.t.map((t) => Math.round(t * 1000))], ...plainColumns(fast).slice(1)]);
    const flight = read(text);
    expect(flight.files[0]?.clock.unit).toBe('ms');
    expect(flight.files[0]?.clock.decidedBy).toContain('rate of attitude');
    expectHover(flight, fast);
  });
  test('without motion to tell, a clock that could be s or ms stops with both', () => {
    const fast = makeHover({ rateHz: 1000, seconds: 4 });
    const text = csv([
      ['time', fast.t.map((t) => Math.round(t * 1000))],
      ['gyro_x [rad/s]', fast.p],
    ]);
    const error = refusal(() => read(text));
    expect(error.code).toBe('clock-unit-ambiguous');
    expect(error.oneLine).toContain('s or ms');
  });
  test('a declared unit that makes no flight is contradicted', () => {
    const error = refusal(() => read(withClock('time_us', hover.t)));
    expect(error.code).toBe('clock-unit-contradiction');
    expect(error.oneLine).toMatch(/^hover\.csv: time_us: .*declared in us.*; state the unit/);
  });
  test('repeated times are dropped and reported with the first line', () => {
    const clock = hover.t.map((t, i) => (i % 100 === 50 ? hover.t[i - 1]! : t));
    const flight = read(withClock('time', clock));
    expect(flight.signals.get('gyro.x')?.values.length).toBe(792);
    expect(flight.problems).toMatchObject([{ line: 52, column: 'time', count: 8 }]);
  });
  test('single samples out of order are dropped, not taken for a restart', () => {
    const clock = hover.t.map((t, i) => (i === 300 ? t - 0.5 : i === 500 ? t + 0.5 : t));
    const flight = read(withClock('time', clock));
    expect(flight.files[0]?.segments).toEqual({ count: 1, chosen: 1 });
    expect(flight.signals.get('gyro.x')?.values.length).toBe(798);
    expect(flight.problems.map((problem) => problem.line)).toEqual([302, 502]);
  });
  test('a clock that starts over splits the log: the longest is read, or the one asked for', () => {
    const clock = hover.t.map((t, i) => (i < 300 ? t + 20 : t - 3));
    const text = withClock('time', clock);
    const longest = read(text);
    expect(longest.files[0]?.segments).toEqual({ count: 2, chosen: 2 });
    expect(longest.durationS).toBeCloseTo(4.99, 9);
    expect(longest.problems[0]).toMatchObject({ line: 302, column: 'time' });
    const first = read(text, { segment: 1 });
    expect(first.durationS).toBeCloseTo(2.99, 9);
    expect(worstError(first, 'gyro.x', hover.p.slice(0, 300))).toBeLessThan(ANGLE_ROUNDING);
    expect(refusal(() => read(text, { segment: 3 })).code).toBe('no-such-segment');
  });
  test('gaps and jitter are described, not repaired', () => {
    const random = randomBy(3);
    const keep = hover.t.map((_, i) => i < 200 || i >= 260);
    const kept = plainColumns(hover).map(
      ([name, values]) => [name, values.filter((_, i) => keep[i])] as const,
    );
    const jittered = kept.map(([name, values]) => (name === 'time' ? ([name, values.map((t) => t + 0.002 * random())] as const) : ([name, values] as const))); // prettier-ignore
    const { clock } = read(csv(jittered)).signals.get('gyro.x')!;
    expect(clock.gaps).toHaveLength(1);
    expect(clock.gaps[0]?.startS).toBeCloseTo(1.99, 2);
    expect(clock.gaps[0]?.endS).toBeCloseTo(2.6, 2);
    expect(clock.jitterPct).toBeGreaterThan(5);
    expect(clock.sampleRateHz).toBeCloseTo(100, 0);
  });
  test('a log without a clock asks for a rate and is read with one', () => {
    const text = csv(plainColumns(hover).slice(1));
    const error = refusal(() => read(text));
    expect(error.code).toBe('no-clock');
    expect(error.next).toContain('--rate HZ');
    const flight = read(text, { rateHz: 100 });
    expectHover(flight, hover);
    expect(flight.durationS).toBeCloseTo(7.99, 9);
    expect(flight.files[0]?.clock).toMatchObject({ column: null, unit: 's' });
  });
  test('a sample counter is no clock', () => {
    const text = csv([['sample', hover.t.map((_, i) => i)], ...plainColumns(hover).slice(1)]);
    expect(refusal(() => read(text)).code).toBe('no-clock');
  });
  test('two clocks that disagree stop the read', () => {
    const text = csv([
      ['time', hover.t],
      ['timestamp', hover.t.map((t) => t * t)],
      ...plainColumns(hover).slice(1),
    ]);
    expect(refusal(() => read(text)).code).toBe('ambiguous-clock');
  });
  test('a clock logged twice, in two units, is one clock', () => {
    const text = csv([
      ['time', hover.t],
      ['timestamp', times(hover.t, 1e6)],
      ...plainColumns(hover).slice(1),
    ]);
    expectHover(read(text), hover);
  });
});

describe('several groups and files', () => {
  const slow = hover.t.map((_, i) => i % 4 === 0);
  const every4 = (values: readonly number[]): number[] => values.filter((_, i) => slow[i]);
  test('a wide log with empty cells gives each group its own clock', () => {
    const columns = plainColumns(hover).map(([name, values]) => [name, /^(roll|pitch|yaw)$/.test(name) ? values.map((v, i) => (slow[i] ? v : '')) : values] as const); // prettier-ignore
    for (const empty of ['', 'NaN']) {
      const flight = read(
        csv(columns.map(([name, values]) => [name, values.map((v) => (v === '' ? empty : v))] as const)),
      );
      expect(flight.signals.get('attitude.roll.measured')?.clock.sampleRateHz).toBeCloseTo(25, 6);
      expect(flight.signals.get('gyro.x')?.clock.sampleRateHz).toBeCloseTo(100, 6);
      expect(worstError(flight, 'attitude.roll.measured', every4(hover.roll))).toBeLessThan(ANGLE_ROUNDING);
      expect(flight.signals.get('attitude.roll.measured')?.decision.nonFinite).toBe(0);
    }
  });
  test('a few cells missing in a group are NaN in it and counted', () => {
    const columns = plainColumns(hover).map(([name, values]) => [name, name === 'gyro_y' ? values.map((v, i) => (i % 80 === 7 ? '' : v)) : values] as const); // prettier-ignore
    const flight = read(csv(columns));
    const { clock, values, decision } = flight.signals.get('gyro.y')!;
    expect(clock).toBe(flight.signals.get('gyro.x')?.clock);
    expect([values.length, decision.nonFinite, values[7], values[8]! - hover.q[8]! < 1e-6]).toEqual([
      800,
      10,
      NaN,
      true,
    ]);
  });
  test('rows of several kinds are told apart by the kind column', () => {
    const rows = ['time,kind,x,y,z'];
    hover.t.forEach((t, i) => {
      rows.push([t, 'gyro', hover.p[i], hover.q[i], hover.r[i]].join());
      if (slow[i])
        rows.push([t, 'attitude', hover.roll[i]! * DEG, hover.pitch[i]! * DEG, hover.yaw[i]! * DEG].join());
      rows.push([t, 'accel', hover.ax[i], hover.ay[i], hover.az[i]].join());
    });
    const flight = read(rows.join('\n'));
    expect(worstError(flight, 'gyro.y', hover.q)).toBeLessThan(1e-9);
    expect(worstError(flight, 'attitude.yaw.measured', every4(hover.yaw))).toBeLessThan(1e-9);
    expect(worstError(flight, 'accel.z', hover.az)).toBeLessThan(1e-9);
    expect(flight.signals.get('gyro.x')?.decision).toMatchObject({
      column: 'x',
      kind: 'gyro',
      unit: 'rad/s',
    });
    expect(flight.signals.get('attitude.roll.measured')?.clock.sampleRateHz).toBeCloseTo(25, 6);
    expect(flight.problems).toEqual([]);
  });
  test('one value per row, named by its kind', () => {
    const rows = ['t,signal,value'];
    hover.t.forEach((t, i) =>
      rows.push(`${String(t)},gyro_x,${String(hover.p[i])}`, `${String(t)},roll,${String(hover.roll[i])}`),
    );
    const flight = read(rows.join('\n'), { map: parseChannelMap('{"channels": {"gyro.x": {"column": "value", "kind": "gyro_x", "unit": "rad/s"}, "attitude.roll.measured": {"column": "value", "kind": "roll", "unit": "rad"}}}', 'm.json') }); // prettier-ignore
    expect(worstError(flight, 'gyro.x', hover.p)).toBe(0);
    expect(worstError(flight, 'attitude.roll.measured', hover.roll)).toBe(0);
  });
  const angles = csv([['time', every4(hover.t).map((t) => t + 5)], ['roll [rad]', every4(hover.roll)], ['pitch [rad]', every4(hover.pitch)], ['yaw [rad]', every4(hover.yaw)]]); // prettier-ignore
  const rates = csv([
    ['time_ms', times(hover.t, 1000).map((t) => t + 5200)],
    ['x', hover.p],
    ['y', hover.q],
    ['z', hover.r],
  ]);
  test('files of one flight keep their common zero of time', () => {
    const flight = readFlight([sourceOf(angles, 'attitude.csv'), sourceOf(rates.replace('x,y,z', 'gyro x,gyro y,gyro z'), 'imu.csv')], { name: 'Samphire 1' }); // prettier-ignore
    expect(flight.name).toBe('Samphire 1');
    expect(flight.signals.get('attitude.roll.measured')?.clock.timeS[0]).toBe(0);
    expect(flight.signals.get('gyro.x')?.clock.timeS[0]).toBeCloseTo(0.2, 9);
    expect(flight.durationS).toBeCloseTo(8.19, 9);
    expect(flight.files.map((file) => file.clock.unit)).toEqual(['s', 'ms']);
  });
  test('where no header names a quantity, the name of the file does', () => {
    const flight = readFlight([sourceOf(angles, 'a.csv'), sourceOf(rates.replace('x,y,z', 'x [rad/s],y [rad/s],z [rad/s]'), 'samphire-gyro.csv')]); // prettier-ignore
    expect([...flight.signals.keys()]).toContain('gyro.x');
    expect(flight.signals.get('gyro.x')?.decision.decidedBy).toContain('file name says gyro');
  });
  test('files whose clocks share no time are no flight', () => {
    const later = csv([
      ['time', hover.t.map((t) => t + 100)],
      ['gyro_x [rad/s]', hover.p],
    ]);
    const error = refusal(() => readFlight([sourceOf(angles, 'a.csv'), sourceOf(later, 'b.csv')]));
    expect(error.code).toBe('clocks-apart');
    expect(error.file).toBe('b.csv');
  });
  test('one channel in two files is ambiguous, and the map that comes with the error chooses', () => {
    const one = csv([
      ['time', hover.t],
      ['gyro_x [rad/s]', hover.p],
    ]);
    const two = csv([
      ['time', hover.t],
      ['gyro_x [rad/s]', hover.q],
    ]);
    const sources = [sourceOf(one, 'a.csv'), sourceOf(two, 'b.csv')];
    const error = refusal(() => readFlight(sources));
    expect(error.code).toBe('channel-ambiguous');
    const chosen = error.candidateMap!.replace('gyro.x CHOOSE 2', 'gyro.x').replace(/,?\n.*CHOOSE 1.*(?=\n)/, '').replace('{,', '{'); // prettier-ignore
    const flight = readFlight(sources, { map: parseChannelMap(chosen, 'm.json') });
    expect(worstError(flight, 'gyro.x', hover.q)).toBeLessThan(ANGLE_ROUNDING);
  });
});

describe('references, errors, controller terms and the rest of the airframe', () => {
  const ask = hover.p.map((p, i) => p + 0.05 * Math.sin(i / 7));
  const base = plainColumns(hover);
  const extra = (...columns: [string, (number | string)[]][]): ReturnType<typeof read> =>
    read(csv([...base, ...columns]));
  test('a reference takes the unit of its measured value', () => {
    const flight = extra(['roll rate measured', times(hover.p, DEG)], ['roll rate reference', times(ask, DEG)], ['roll setpoint', times(hover.roll, DEG)]); // prettier-ignore
    expect(worstError(flight, 'rate.roll.reference', ask)).toBeLessThan(ANGLE_ROUNDING);
    expect(worstError(flight, 'attitude.roll.reference', hover.roll)).toBeLessThan(ANGLE_ROUNDING);
    expect(flight.signals.get('rate.roll.reference')?.decision.decidedBy.join()).toContain(
      'like "roll rate measured"',
    );
  });
  test('a reference that swings far beyond its measured value is not silently taken in its unit', () => {
    const radians = plainColumns(hover).map(([name, values]) => [name, /^(gyro|roll|pitch|yaw)/.test(name) ? times(values, 1 / DEG) : values] as const); // prettier-ignore
    const text = csv([...radians.map(([n, v]) => [n.replace(/^(roll|pitch|yaw)$/, '$1 [rad]'), v] as const), ['roll rate reference', times(ask, DEG)]]); // prettier-ignore
    expect(refusal(() => read(text)).code).toBe('unit-ambiguous');
  });
  test('an error gives the reference where that is not logged', () => {
    const flight = extra(['roll rate error', ask.map((a, i) => (a - hover.p[i]!) * DEG)]);
    expect(worstError(flight, 'rate.roll.reference', ask)).toBeLessThan(2 * ANGLE_ROUNDING);
    expect(flight.signals.get('rate.roll.reference')?.decision.decidedBy.at(-1)).toBe(
      'reference = error + "gyro_x"',
    );
  });
  test('an error is ignored beside its reference', () => {
    const flight = extra(
      ['roll rate error', hover.t.map(() => 99)],
      ['roll rate reference', times(ask, DEG)],
    );
    expect(worstError(flight, 'rate.roll.reference', ask)).toBeLessThan(ANGLE_ROUNDING);
    expect(flight.files[0]?.unusedColumns).toEqual(['roll rate error']);
  });
  const ramp = hover.t.map((t) => 0.3 + 0.4 * Math.sin(t));
  test.each<[string, (x: number) => number]>([
    ['shares', (x) => x],
    ['per cent', (x) => 100 * x],
    ['pulse widths', (x) => 1000 + 1000 * x],
  ])('motors logged as %s become 0 to 1, and numbers from 0 become numbers from 1', (_, logged) => {
    const motor = ramp.map((x) => Math.max(0, x));
    const flight = extra(['motor[0]', motor.map(logged)], ['motor[1]', motor.map((x) => logged(1 - x))]);
    expect(worstError(flight, 'motor.1.command', motor)).toBeLessThan(1e-6);
    expect(
      worstError(
        flight,
        'motor.2.command',
        motor.map((x) => 1 - x),
      ),
    ).toBeLessThan(1e-6);
    expect(flight.signals.has('motor.3.command')).toBe(false);
  });
  test('sticks become −1 to 1', () => {
    const deflection = hover.t.map((t) => 0.6 * Math.sin(t));
    const flight = extra(['stick roll', deflection], ['stick pitch', deflection.map((x) => 1500 + 500 * x)], ['stick yaw', deflection.map((x) => 0.5 + x / 2)]); // prettier-ignore
    for (const axis of ['roll', 'pitch', 'yaw'] as const)
      expect(worstError(flight, `stick.${axis}`, deflection)).toBeLessThan(1e-5);
  });
  test('rotor speed becomes revolutions per second', () => {
    const flight = extra(['rotor 1 rpm', ramp.map((x) => 6000 * x)], ['rotor 2 speed (rad/s)', ramp.map((x) => 2 * Math.PI * 100 * x)], ['rotor 3 speed', ramp.map((x) => 6000 * x)]); // prettier-ignore
    for (const rotor of [1, 2, 3] as const)
      expect(worstError(flight, `rotor.${rotor}.speed`, times(ramp, 100))).toBeLessThan(1e-6);
  });
  test('demand and controller terms are shares of full authority', () => {
    const flight = extra(['roll demand', times(ramp, 0.5)], ['roll_p', times(ramp, 0.3)], ['roll_i', times(ramp, 0.1)], ['roll_d', times(ramp, 0.05)], ['roll_ff', times(ramp, 0.05)]); // prettier-ignore
    for (const role of ['demand', 'proportional', 'integral', 'derivative', 'feedforward'] as const)
      expect(valuesOf(flight, `rate.roll.${role}`).length).toBe(800);
    expect(worstError(flight, 'rate.roll.demand', times(ramp, 0.5))).toBeLessThan(1e-6);
  });
  test('a term beyond full authority is a share if the terms add up to the limited demand', () => {
    const p = ramp.map((x, i) => 2 * x * Math.sin(i / 9));
    const i = times(ramp, 0.1);
    const demand = p.map((x, k) => Math.max(-1, Math.min(1, x + i[k]!)));
    const together = extra(['roll demand', demand], ['roll_p', p], ['roll_i', i]);
    expect(Math.max(...p)).toBeGreaterThan(1.1);
    expect(worstError(together, 'rate.roll.proportional', p)).toBeLessThan(1e-6);
    const apart = extra(['roll demand', demand], ['roll_p', times(p, 30)], ['roll_i', i]);
    expect(apart.signals.has('rate.roll.proportional')).toBe(false);
    expect(apart.files[0]?.unusedColumns).toEqual(['roll_p']);
  });
  test('height, battery and mode', () => {
    const flight = extra(['height (cm)', times(ramp, 150)], ['battery (mV)', ramp.map(() => 22_200)], ['battery current [A]', times(ramp, 40)], ['mode', hover.t.map((t) => (t < 2 ? 'ground' : t < 6 ? 'hover' : 'ground'))]); // prettier-ignore
    expect(worstError(flight, 'height', times(ramp, 1.5))).toBeLessThan(1e-6);
    expect(valuesOf(flight, 'battery.voltage')[0]).toBeCloseTo(22.2, 9);
    expect(worstError(flight, 'battery.current', times(ramp, 40))).toBeLessThan(1e-6);
    const mode = flight.signals.get('mode')!;
    expect(mode.labels).toEqual(['ground', 'hover']);
    expect([0, 300, 700].map((i) => mode.values[i])).toEqual([0, 1, 0]);
    expect(flight.problems).toMatchObject([
      { column: 'battery (mV)', message: 'battery.voltage is 22200 throughout' },
    ]);
  });
  test.each([
    ['height', ramp],
    ['stick roll', times(ramp, 7)],
    ['roll demand', times(ramp, 300)],
    ['motor 1', times(ramp, 3)],
    ['rotor 1 speed', times(ramp, 800)],
  ])('an unclear "%s" stays unused, with a problem that says what to do', (name, values) => {
    const flight = extra([name, values]);
    expect(flight.files[0]?.unusedColumns).toEqual([name]);
    expect(flight.problems).toMatchObject([{ column: name, file: 'hover.csv' }]);
    expect(flight.problems[0]?.message).toMatch(/unused, give it "unit" or "range" in a channel map$/);
  });
  test("a map's range settles an unclear share", () => {
    const map = parseChannelMap(
      '{"channels": {"motor.1.command": {"column": "out a", "range": [48, 2047]}}}',
      'm.json',
    );
    const text = csv([...base, ['out a', ramp.map((x) => 48 + 1999 * x)]]);
    expect(worstError(read(text, { map }), 'motor.1.command', ramp)).toBeLessThan(1e-6);
  });
});

describe('ambiguity stops the read', () => {
  test('two gyros that differ stop with a map to edit; equal ones are one', () => {
    const twice = (second: readonly number[]): string =>
      csv([...plainColumns(hover), ['gyro2_x', times(second, DEG)]]);
    // The number in the name makes the first the plainer one; two numbered ones are equal.
    const numbered = (second: readonly number[]): string => twice(second).replace('gyro_x', 'gyro1_x');
    expect(worstError(read(twice(hover.q)), 'gyro.x', hover.p)).toBeLessThan(ANGLE_ROUNDING);
    const error = refusal(() => read(numbered(hover.q)));
    expect(error.code).toBe('channel-ambiguous');
    expect(error.candidateMap).toContain('"gyro.x CHOOSE 2": { "column": "gyro2_x" }');
    expect(
      refusal(() => read(numbered(hover.q), { map: parseChannelMap(error.candidateMap!, 'm.json') })).code,
    ).toBe('bad-channel-map');
  });
});

describe('the suggested map reads the log again alike', () => {
  test('for a plain log and for one with ranges, pulses, errors and a frame turned up', () => {
    const up = plainColumns(hover).map(([name, values]) => [name, /^(pitch|yaw|gyro_[yz]|accel_[yz])$/.test(name) ? times(values, -1) : values] as const); // prettier-ignore
    const text = csv([...up, ['motor 1', hover.t.map((t) => 1500 + 100 * Math.sin(t))], ['stick yaw', hover.t.map((t) => 0.5 + 0.2 * Math.sin(t))], ['roll rate error', hover.t]]); // prettier-ignore
    for (const log of [plain, text]) {
      const flight = read(log);
      const again = read(log, { map: parseChannelMap(suggestMap(flight), 'map.json') });
      expect([...again.signals.keys()]).toEqual([...flight.signals.keys()]);
      for (const [channel, signal] of flight.signals)
        expect(again.signals.get(channel)?.values).toEqual(signal.values);
      expect(again.frame.logged).toBe(flight.frame.logged);
    }
  });
});

describe('bad input is one clear line', () => {
  const headers = plain.split('\n')[0]!;
  test.each<[string, string | Uint8Array, string]>([
    ['an empty file', '', 'empty-file'],
    ['a header only', `${headers}\n`, 'header-only'],
    ['a binary file', Uint8Array.from([0x7f, 0x45, 0x4c, 0x46, 2, 1, 1, 0, 0, 0]), 'binary-file'],
    ['prose', 'This is a note\nabout a hover\nwithout numbers\n', 'no-numbers'],
    ['one column', 'gyro_x\n1\n2\n3\n4\n', 'one-column'],
    ['one column and a clock without values', 'time,gyro_x\n0,\n0.1,\n0.2,\n0.3,\n', 'one-column'],
    ['no header', '0,1,2\n0.1,2,3\n0.2,3,4\n', 'no-header'],
    ['names that say nothing', 'time,Channel 1,Channel 2\n0,1,2\n0.1,2,3\n0.2,3,4\n', 'no-channels'],
    ['names of JavaScript', 'time,__proto__,constructor\n0,1,2\n0.1,2,3\n0.2,3,4\n', 'no-channels'],
    ['10 MB on one line', '1,'.repeat(5_000_000), 'record-too-long'],
    ['10 MB on the line after the header', `time,gyro_x\n${'1,'.repeat(5_000_000)}`, 'record-too-long'],
    ['10 MB of quotes', '"'.repeat(10_000_001), 'record-too-long'],
    ['10 MB of spaces', `time,gyro_x${' '.repeat(10_000_000)}`, 'record-too-long'],
    ['an unclosed quote', 'time,gyro_x\n0,1\n0.1,"2\n0.2,3\n', 'unclosed-quote'],
    ['a clock that stands still', 'time,gyro_x\n1,1\n1,2\n1,3\n', 'no-clock'],
  ])('%s', (_, input, code) => {
    const error = refusal(() => read(input));
    expect(error.code).toBe(code);
    expect(error.oneLine.startsWith('hover.csv')).toBe(true);
    expect(error.oneLine).not.toMatch(/[\n\r]/);
    expect(error.next.length).toBeGreaterThan(10);
    expect(error.oneLine.endsWith(`; ${error.next}`)).toBe(true);
  });
  test('no sources, a rate of 0 and a segment of 0 are refused', () => {
    expect(refusal(() => readFlight([])).code).toBe('no-logs');
    expect(refusal(() => read(plain, { rateHz: 0 })).code).toBe('bad-rate');
    expect(refusal(() => read(plain, { segment: 0 })).code).toBe('no-such-segment');
  });
  test('a message repeats no control characters of the log', () => {
    const error = refusal(() => read('time,\u001b[31mred\n0,1\n1,2\n2,3\n'));
    expect(error.oneLine).not.toContain('\u001b');
  });
});

describe('trouble that does not stop the read is told with file, line and column', () => {
  test('text and NaN where numbers belong', () => {
    const lines = plain.split('\n');
    const spoil = (index: number, text: string): void => {
      lines[index] = lines[index]!.replace(/^([^,]*,[^,]*,[^,]*,[^,]*),[^,]*/, `$1,${text}`);
    };
    spoil(10, 'oops');
    spoil(20, 'NaN');
    spoil(30, 'oops');
    const flight = read(lines.join('\n'));
    expect(flight.signals.get('gyro.x')?.decision.nonFinite).toBe(3);
    expect(flight.problems).toMatchObject([
      { file: 'hover.csv', line: 11, column: 'gyro_x', count: 2 },
      { file: 'hover.csv', line: 21, column: 'gyro_x', count: 1 },
    ]);
  });
  test('a channel that never changes', () => {
    const flight = read(plain.replace('accel_x', 'spare') + '', {});
    expect(flight.files[0]?.unusedColumns).toEqual(['spare']);
    const still = csv([...plainColumns(hover), ['throttle', hover.t.map(() => 0.5)]]);
    expect(read(still).problems).toMatchObject([
      { column: 'throttle', message: 'throttle is 0.5 throughout' },
    ]);
  });
  test("a column of text under a channel's name", () => {
    const flight = read(csv([...plainColumns(hover), ['roll rate', hover.t.map(() => 'ok')]]));
    expect(flight.problems).toMatchObject([{ line: 2, column: 'roll rate', count: 800 }]);
  });
  test("clipping: runs at the end of a sensor's range are counted", () => {
    const clipped = times(hover.p, DEG * 50).map((x) => Math.max(-250, Math.min(250, x)));
    const text = csv([
      ['time', hover.t],
      ['gyro_x [deg/s]', clipped],
      ['gyro_y [deg/s]', times(hover.q, DEG)],
    ]);
    const flight = read(text);
    const expected = clipped.filter((x) => Math.abs(x) === 250).length;
    expect(expected).toBeGreaterThan(300);
    expect(flight.signals.get('gyro.x')?.decision.clipped).toBeGreaterThan(0.95 * expected);
    expect(flight.signals.get('gyro.x')?.decision.clipped).toBeLessThanOrEqual(expected);
    expect(flight.signals.get('gyro.y')?.decision.clipped).toBe(0);
  });
});
