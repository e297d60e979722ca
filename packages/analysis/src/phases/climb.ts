import type { Flight } from '@settle/parser';
import { indexAtOrAfter } from '../signals.js';
import { CLEAR_M } from './height.js';
import type { PoweredStretch } from './powered-stretch.js';

const GRAVITY = 9.80665;
/** Looked for this long after the power first nearly carries the aircraft. */
const LONGEST_CLIMB_S = 4;

/**
 * When the aircraft is clear of the ground after lift-off, without a height channel: the accelerometer's excess over what
 * it read standing, integrated twice from just before lift-off. The ground allows no sinking, so neither speed nor height
 * may go below zero, which keeps the drift of the integration small.
 *
 * @returns null without an accelerometer, or when it shows no climb
 */
export function clearByAccelerometer(flight: Flight, air: PoweredStretch): number | null {
  const signal = flight.signals.get('accel.z');
  if (signal === undefined || air.touchesStart) return null;
  const { timeS } = signal.clock;
  const standing = standingReading(signal.values, timeS, air.startS);
  let speed = 0;
  let height = 0;
  const first = indexAtOrAfter(timeS, air.nearLiftS);
  for (let i = first + 1; i < timeS.length && timeS[i]! < air.nearLiftS + LONGEST_CLIMB_S; i++) {
    const value = signal.values[i]!;
    if (!Number.isFinite(value)) continue;
    const step = timeS[i]! - timeS[i - 1]!;
    speed = Math.max(0, speed + (standing - value) * step);
    height = Math.max(0, height + speed * step);
    if (height > CLEAR_M) return timeS[i]!;
  }
  return null;
}

/** Mean reading before throttle-up; what gravity gives where there is no such time. */
function standingReading(values: Float64Array, timeS: Float64Array, untilS: number): number {
  let sum = 0;
  let count = 0;
  for (let i = indexAtOrAfter(timeS, untilS - 2); i < timeS.length && timeS[i]! < untilS; i++) {
    if (!Number.isFinite(values[i]!)) continue;
    sum += values[i]!;
    count++;
  }
  return count < 20 ? -GRAVITY : sum / count;
}
