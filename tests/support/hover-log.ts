/**
 * A small log written from closed forms, so that a test knows what is in it: 20 s in the air at 100 Hz in which roll
 * swings as a sine while pitch and yaw move irregularly.
 */

import { randomSource } from './random.js';

export const SAMPLE_RATE_HZ = 100;
export const DURATION_S = 20;
/** Of the roll swing. */
export const SWING_HZ = 1.5;
export const SWING_DEG = 6;
/** Amplitude of the body rate that belongs to it: 2 π f times the angle. */
export const SWING_DEG_S = 2 * Math.PI * SWING_HZ * SWING_DEG;

const AXES = ['roll', 'pitch', 'yaw'] as const;
/** Corner of the irregular motion, and its size in deg/s. */
const IRREGULAR_HZ = 3;
const IRREGULAR_DEG_S = 2;

export type LogPart = 'all' | 'angles' | 'rates';

/**
 * @param part which columns to write; the two halves together are the whole, sample by sample
 * @param swings whether roll swings; without it the log is irregular motion only
 */
export function hoverLog(part: LogPart = 'all', swings = true): string {
  const random = randomSource(20);
  const step = 1 / SAMPLE_RATE_HZ;
  // First-order low-pass of white noise, scaled to the wanted standard deviation.
  const pole = Math.exp(-2 * Math.PI * IRREGULAR_HZ * step);
  const irregularRate = [0, 0, 0];
  const irregularAngle = [0, 0, 0];
  const titles = [
    'time (s)',
    ...(part === 'rates' ? [] : AXES.map((axis) => `${axis} angle (deg)`)),
    ...(part === 'angles' ? [] : AXES.map((axis) => `${axis} rate (deg/s)`)),
  ];
  const lines = [titles.join(',')];
  for (let index = 0; index < DURATION_S * SAMPLE_RATE_HZ; index += 1) {
    const phase = 2 * Math.PI * SWING_HZ * index * step;
    const angles: string[] = [];
    const rates: string[] = [];
    for (const [axis] of AXES.entries()) {
      const noise = random.normal() * IRREGULAR_DEG_S * Math.sqrt(1 - pole ** 2);
      irregularRate[axis] = pole * irregularRate[axis]! + noise;
      // A leak keeps the angle from wandering off, as an attitude loop would.
      irregularAngle[axis] = 0.995 * irregularAngle[axis]! + irregularRate[axis] * step;
      const isSwinging = swings && axis === 0;
      angles.push((irregularAngle[axis] + (isSwinging ? SWING_DEG * Math.sin(phase) : 0)).toFixed(4));
      rates.push((irregularRate[axis] + (isSwinging ? SWING_DEG_S * Math.cos(phase) : 0)).toFixed(4));
    }
    const cells = [
      (index * step).toFixed(2),
      ...(part === 'rates' ? [] : angles),
      ...(part === 'angles' ? [] : rates),
    ];
    lines.push(cells.join(','));
  }
  return `${lines.join('\n')}\n`;
}

/** The rates alone, of the first six seconds: for tests to which it does not matter what is found. */
export function lightLog(): string {
  const lines = hoverLog('rates').split('\n');
  return `${lines.slice(0, 1 + 6 * SAMPLE_RATE_HZ).join('\n')}\n`;
}
