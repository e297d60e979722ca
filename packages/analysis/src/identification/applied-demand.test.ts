import type { AxisName } from '@settle/parser';
import { describe, expect, it } from 'vitest';
import { madeFlight } from '../../../../tests/support/made-flight.js';
import { near } from '../../../../tests/support/near.js';
import { randomSource } from '../../../../tests/support/random.js';
import { applyStops } from './applied-demand.js';

/** Four motors at the corners: share of each axis in each, in units of `authority`. */
const SIGNS = [
  { roll: 1, pitch: 1, yaw: -1 },
  { roll: -1, pitch: 1, yaw: 1 },
  { roll: -1, pitch: -1, yaw: -1 },
  { roll: 1, pitch: -1, yaw: 1 },
] as const;
const AUTHORITY = { roll: 0.5, pitch: 0.4, yaw: 0.3 } as const;
const LOW = 0.05;
const AXES3: readonly AxisName[] = ['roll', 'pitch', 'yaw'];

interface Made {
  readonly size: number;
  readonly throttle?: (t: number) => number;
  readonly motorHz?: number;
  readonly logThrottle?: boolean;
  /** Pitch jumps from end to end 11 times a second, which no line between two samples follows. */
  readonly jumps?: boolean;
  /** By how much the demands are logged after the motors, s. */
  readonly lateS?: number;
}

const demandsOf = (size: number): Record<AxisName, (t: number) => number> => ({
  roll: (t) => size * Math.sin(2 * Math.PI * 2.3 * t),
  pitch: (t) => 0.4 * size * Math.sin(2 * Math.PI * 1.1 * t + 1),
  yaw: (t) => 0.2 * size * Math.sin(2 * Math.PI * 0.7 * t + 2),
});

/** Motors that do what they are told between a low stop of 0.05 and a high one of 1. */
function hover({
  size,
  throttle = () => 0.5,
  motorHz = 100,
  logThrottle = true,
  jumps = false,
  lateS = 0,
}: Made) {
  const smooth = demandsOf(size);
  const demands = jumps
    ? { ...smooth, pitch: (t: number) => (Math.floor(11.3 * t) % 2 === 0 ? size : -size) }
    : smooth;
  const wanted = (m: number, t: number): number =>
    throttle(t) + AXES3.reduce((sum, a) => sum + AUTHORITY[a] * SIGNS[m]![a] * demands[a](t), 0);
  const held = (m: number, t: number): number => Math.max(LOW, Math.min(1, wanted(m, t)));
  const flight = madeFlight(10, {
    ...(logThrottle ? { throttle: { hz: 50, at: throttle } } : {}),
    'motor.1.command': { hz: motorHz, at: (t) => held(0, t) },
    'motor.2.command': { hz: motorHz, at: (t) => held(1, t) },
    'motor.3.command': { hz: motorHz, at: (t) => held(2, t) },
    'motor.4.command': { hz: motorHz, at: (t) => held(3, t) },
  });
  const clock = Float64Array.from({ length: 2000 }, (_, i) => i / 200 + lateS);
  const asked = {
    roll: clock.map(demands.roll),
    pitch: clock.map(demands.pitch),
    yaw: clock.map(demands.yaw),
  };
  /** Columns of this mix are at right angles, so each axis gets the motors' part along its own column. */
  const truth = (axis: AxisName, t: number): number =>
    SIGNS.reduce((sum, signs, m) => sum + (signs[axis] * (held(m, t) - throttle(t))) / 4, 0) /
    AUTHORITY[axis];
  return { flight, clock, asked, truth };
}

const WHOLE = { startS: 0, endS: 10 };

function worst(made: ReturnType<typeof hover>, axis: AxisName, applied: Float64Array): number {
  let most = 0;
  made.clock.forEach((t, k) => {
    most = Math.max(most, Math.abs(applied[k]! - made.truth(axis, t)));
  });
  return most;
}

describe('applyStops', () => {
  it.each([
    ['with a steady throttle', { size: 1.2 }],
    ['with a throttle that wanders', { size: 1.2, throttle: (t: number) => 0.5 + 0.03 * Math.sin(t) }],
    ['with motors logged at 50 Hz', { size: 1.2, motorHz: 50 }],
    ['without a logged throttle', { size: 1.2, logThrottle: false }],
  ])('rebuilds the demand the stops left within 1 % of full authority, %s', (_, how) => {
    const made = hover(how);
    const applied = applyStops(made.flight, WHOLE, made.clock, made.asked, 'the logged demands');
    for (const axis of AXES3) near(worst(made, axis, applied.perAxis[axis]!), 0, 0.01, axis);
    expect(applied.stopsUnknown).toBe(false);
    expect(applied.from).toBe("the logged demands, cut at the motors' stops");
    // Otherwise there would have been nothing to rebuild.
    const asked = made.asked.roll.reduce((most, v) => Math.max(most, Math.abs(v)), 0);
    const got = applied.perAxis.roll!.reduce((most, v) => Math.max(most, Math.abs(v)), 0);
    expect(asked - got).toBeGreaterThan(0.1);
  });

  it('learns the motors from the samples that follow where demands jump between samples', () => {
    const made = hover({ size: 0.7, jumps: true, lateS: 0.0023 });
    const applied = applyStops(made.flight, WHOLE, made.clock, made.asked, 'the logged demands');
    expect(applied.stopsUnknown).toBe(false);
    for (const axis of AXES3) {
      const right = [...made.clock].filter(
        (t, k) => Math.abs(applied.perAxis[axis]![k]! - made.truth(axis, t)) < 0.02,
      );
      expect(right.length / made.clock.length).toBeGreaterThan(0.9);
    }
  });

  it('cuts a roll demand that pushes two motors into each stop to (0.95 + 0)/(2 × 0.5) by hand', () => {
    // Roll alone at 1.2: two motors ask for 1.1 and get 1, two for −0.1 and get 0.05; half the difference over 0.5.
    const at = (m: number) => (t: number) =>
      Math.max(LOW, Math.min(1, 0.5 + 0.5 * SIGNS[m]!.roll * 1.2 * Math.sin(2 * Math.PI * t)));
    const flight = madeFlight(10, {
      'motor.1.command': { hz: 100, at: at(0) },
      'motor.2.command': { hz: 100, at: at(1) },
      'motor.3.command': { hz: 100, at: at(2) },
      'motor.4.command': { hz: 100, at: at(3) },
    });
    const clock = Float64Array.from({ length: 1000 }, (_, i) => i / 100);
    const roll = clock.map((t) => 1.2 * Math.sin(2 * Math.PI * t));
    const applied = applyStops(flight, WHOLE, clock, { roll, pitch: null, yaw: null }, 'the logged demands');
    near(Math.max(...applied.perAxis.roll!), 0.95, 0.005);
    near(Math.min(...applied.perAxis.roll!), -0.95, 0.005);
    // A sine of 1.2 is beyond the low stop's 0.9 for 2/π acos(0.9/1.2) of the time.
    near(applied.cutShare.roll, (2 / Math.PI) * Math.acos(0.75), 0.03);
    expect(applied.perAxis.pitch).toBeNull();
    expect(applied.cutShare.pitch).toBe(0);
  });

  it('leaves demands alone that no motor is stopped for', () => {
    const made = hover({ size: 0.3 });
    const applied = applyStops(made.flight, WHOLE, made.clock, made.asked, 'the logged demands');
    for (const axis of AXES3) {
      near(worst(made, axis, applied.perAxis[axis]!), 0, 1e-9, axis);
      expect(applied.cutShare[axis]).toBe(0);
    }
  });

  it('needs no mix where no motor is at a stop: demands too noisy to learn it from are whole all the same', () => {
    const { clock } = hover({ size: 0.3 });
    const random = randomSource(41);
    // The motors are logged between the demands' samples, which noise makes different.
    const noisy = () => ({ hz: 100, at: () => 0.5 + 0.05 * random.normal() });
    const flight = madeFlight(10, {
      'motor.1.command': noisy(),
      'motor.2.command': noisy(),
      'motor.3.command': noisy(),
      'motor.4.command': noisy(),
    });
    const asked = { roll: clock.map(() => 0.1 * random.normal()), pitch: null, yaw: null };
    const applied = applyStops(flight, WHOLE, clock, asked, 'the logged demands');
    expect(applied.perAxis).toEqual(asked);
    expect(applied.stopsUnknown).toBe(false);
    // Logged too slowly, they may have been there between samples.
    const slow = madeFlight(10, {
      'motor.1.command': { ...noisy(), hz: 10 },
      'motor.2.command': { ...noisy(), hz: 10 },
    });
    expect(applyStops(slow, WHOLE, clock, asked, 'the logged demands').stopsUnknown).toBe(true);
  });

  it('without motor commands gives the demand asked, and says that the stops are not seen', () => {
    const { clock, asked } = hover({ size: 1.2 });
    const applied = applyStops(madeFlight(10, {}), WHOLE, clock, asked, 'the sum of the logged terms');
    expect(applied.perAxis).toEqual(asked);
    expect(applied.stopsUnknown).toBe(true);
    expect(applied.from).toContain('the sum of the logged terms');
    expect(applied.from).toContain('no motor commands');
  });

  it('gives the demand asked when the motors do something else, and says so', () => {
    const { clock, asked } = hover({ size: 1.2 });
    const other = (phase: number) => ({
      hz: 100,
      at: (t: number) => Math.max(0.25, 0.5 + 0.3 * Math.sin(2 * Math.PI * 3.7 * t + phase)),
    });
    const flight = madeFlight(10, {
      'motor.1.command': other(0),
      'motor.2.command': other(1),
      'motor.3.command': other(2),
      'motor.4.command': other(3),
    });
    const applied = applyStops(flight, WHOLE, clock, asked, 'the logged demands');
    expect(applied.perAxis).toEqual(asked);
    expect(applied.stopsUnknown).toBe(true);
    expect(applied.from).toContain('do not follow');
  });

  it('has no demand where none was asked', () => {
    const { flight, clock } = hover({ size: 1.2 });
    const none = { roll: null, pitch: null, yaw: null };
    expect(applyStops(flight, WHOLE, clock, none, 'the logged demands').perAxis).toEqual(none);
  });
});
