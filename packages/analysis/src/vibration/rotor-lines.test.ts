/** Which order is the blades', from levels that are written down. */
import { describe, expect, test } from 'vitest';
import { bladeOrder, isSkirt, type RotorLine } from './rotor-lines.js';
import type { SensorRecord } from './sensor-records.js';

const record = (sensor: string, axis: string): SensorRecord => ({ sensor, axis }) as unknown as SensorRecord;
const gyroX = record('gyro', 'x');
const accelY = record('accel', 'y');
const accelZ = record('accel', 'z');

/** Four rotors' lines of an order, near 60 Hz times it. */
function lines(order: number, on: SensorRecord, levels: readonly number[]): RotorLine[] {
  return levels.map((rms, i) => {
    const hz = order * (59 + 0.5 * i);
    return {
      record: on,
      order,
      rotor: i + 1,
      rms,
      loggedHz: hz,
      firstHz: hz - 0.3,
      lastHz: hz + 0.3,
    } as unknown as RotorLine;
  });
}

const even = [0.2, 0.2, 0.2, 0.2];
const uneven = [0.1, 0.3, 0.15, 0.25];

describe('the order of the blades', () => {
  test('is the one that is alike for all rotors and along their axes', () => {
    const all = [
      ...lines(2, gyroX, uneven),
      ...lines(2, accelY, uneven),
      ...lines(3, gyroX, even),
      ...lines(3, accelZ, even),
    ];
    expect(bladeOrder(all, [])).toBe(3);
  });

  test('is not one that yaws the body', () => {
    const all = [...lines(2, gyroX, even), ...lines(3, record('gyro', 'z'), even)];
    expect(bladeOrder(all, [])).toBe(2);
  });

  test('is told from lines that no stronger mode holds', () => {
    const ringing = [0.9, 0.9, 0.9, 0.9];
    const all = [...lines(2, accelZ, even), ...lines(3, accelZ, ringing)];
    const mode = (rms: number) => ({
      record: accelZ,
      fitted: { kind: 'mode' as const, frequencyHz: 181, halfWidthHz: 4, rms },
    });
    expect(bladeOrder(all, [])).toBe(3);
    expect(bladeOrder(all, [mode(2)])).toBe(2);
    // What a weak one leaves beside an order does not keep it from counting.
    expect(bladeOrder(all, [mode(0.1)])).toBe(3);
  });

  test('is told from directions that no stronger mode nearby has turned', () => {
    const accelX = record('accel', 'x');
    const all = [
      ...lines(2, gyroX, uneven),
      ...lines(3, gyroX, even),
      ...lines(3, accelX, even),
      ...lines(3, accelZ, [0.1, 0.1, 0.1, 0.1]),
    ];
    const across = { kind: 'mode' as const, frequencyHz: 210, halfWidthHz: 4, rms: 2 };
    expect(bladeOrder(all, [])).toBe(2);
    expect(bladeOrder(all, [{ record: accelX, fitted: across }])).toBe(3);
  });

  test('is none where no order above the first shows', () => {
    expect(bladeOrder(lines(1, gyroX, even), [])).toBeNull();
  });
});

test('what stands right beside a line a hundred times as strong is its skirt; what is stronger or farther off is not', () => {
  const turning = [{ firstHz: 82.7, lastHz: 83.1, rms: 10 }];
  const beside = (frequencyHz: number, halfWidthHz: number, rms: number): boolean =>
    isSkirt({ frequencyHz, halfWidthHz, rms }, turning, 2);
  expect(beside(84, 0.5, 0.07)).toBe(true);
  expect(beside(84, 0.5, 0.6)).toBe(false);
  expect(beside(86, 0.5, 0.07)).toBe(false);
  expect(beside(86, 2, 0.07)).toBe(true);
  expect(isSkirt({ frequencyHz: 84, halfWidthHz: 0.5, rms: 0.07 }, [], 2)).toBe(false);
});
