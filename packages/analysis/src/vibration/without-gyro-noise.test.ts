/** What a controller makes of fast gyro noise leaves its slowly logged commands; what the motors were told besides stays. */
import { describe, expect, test } from 'vitest';
import { madeFlight } from '../../../../tests/support/made-flight.js';
import { randomSource } from '../../../../tests/support/random.js';
import { sensorRecords } from './sensor-records.js';
import { withoutGyroNoise } from './without-gyro-noise.js';

const SECONDS = 24;
const HOVER = { startS: 0, endS: SECONDS };
const LOOP_HZ = 800;
const MOTOR_HZ = 50;
const told = (t: number): number => 0.4 + 0.02 * Math.sin(2.2 * t) + 0.01 * Math.sin(5.1 * t + 1);

/** Proportional and smoothed derivative action on a gyro behind a first-order low-pass; what is passed on is `share` of it. */
function passedOn(gyro: Float64Array, share: number): Float64Array {
  let slow = 0;
  let derivative = 0;
  return gyro.map((v) => {
    const before = slow;
    slow += 0.3 * (v - slow);
    derivative += 0.2 * (LOOP_HZ * (slow - before) - derivative);
    return -share * (0.1 * slow + 0.002 * derivative);
  });
}

/** RMS of how far a command is from what it was told besides noise: as logged, cleaned. */
function off(share: number, seed: number) {
  const noise = randomSource(seed);
  const gyro = noise.normals(SECONDS * LOOP_HZ + 1);
  const loop = passedOn(gyro, share);
  const flight = madeFlight(SECONDS, {
    'gyro.x': { hz: LOOP_HZ, at: (t) => gyro[Math.round(t * LOOP_HZ)]! },
    'motor.1.command': {
      hz: MOTOR_HZ,
      at: (t) => told(t) + loop[Math.round(t * LOOP_HZ)]! + 0.003 * noise.normal(),
    },
  });
  const motor = flight.signals.get('motor.1.command')!;
  const clean = withoutGyroNoise([motor], sensorRecords(flight, HOVER))[0]!;
  const from = (values: Float64Array): number =>
    Math.sqrt(values.reduce((sum, v, i) => sum + (v - told(motor.clock.timeS[i]!)) ** 2, 0) / values.length);
  return { before: from(motor.values), after: from(clean.values) };
}

describe('a motor command without gyro noise', () => {
  test.for([1, 2, 3])('is nearer to what the motors follow, seed %i', (seed) => {
    const { before, after } = off(0.5, seed);
    expect(before).toBeGreaterThan(0.02);
    expect(after).toBeLessThan(0.4 * before);
  });

  test.for([4, 5, 6])('that holds none stays as it is, seed %i', (seed) => {
    const { before, after } = off(0, seed);
    expect(after).toBe(before);
  });

  test('without a gyro stays as it is', () => {
    const flight = madeFlight(SECONDS, { 'motor.1.command': { hz: MOTOR_HZ, at: told } });
    const motor = flight.signals.get('motor.1.command')!;
    expect(withoutGyroNoise([motor], [])).toEqual([motor]);
  });
});
