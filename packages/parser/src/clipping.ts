import type { ChannelName } from './flight.js';
import { DEGREE, STANDARD_GRAVITY } from './units.js';

/**
 * Ends of range of common sensors: ±250 to ±2000 deg/s and ±2 to ±16 g (reference-values.md section 10, MPU-6000 data
 * sheet), ±125 and ±4000 deg/s, ±30 and ±32 g (from memory).
 */
const FULL_SCALE = {
  rate: [125, 250, 500, 1000, 2000, 4000].map((value) => value * DEGREE),
  accel: [2, 4, 8, 16, 30, 32].map((value) => value * STANDARD_GRAVITY),
};
/** Rounding and calibration leave the end of range within this share. */
const TOLERANCE = 0.005;
/** No sensor's range ends below this: smaller mirrored extremes are the coarse steps of a still sensor. */
const LEAST_END = { rate: 100 * DEGREE, accel: 1.9 * STANDARD_GRAVITY };
const SHORTEST_RUN = 3;

/**
 * Counts samples of gyro, body rate or accelerometer that stand at the end of a sensor's range in runs of three or
 * more. An extreme counts as an end of range if it is a common one, or if the other extreme is its mirror image.
 *
 * @param values as logged
 * @param scale logged value to SI
 */
export function countClipped(channel: ChannelName, values: Float64Array, scale: number): number {
  const ends = channel.startsWith('accel.') ? FULL_SCALE.accel : /^gyro|measured$/.test(channel) && !channel.startsWith('attitude') ? FULL_SCALE.rate : null; // prettier-ignore
  if (!ends) return 0;
  let [low, high] = [Infinity, -Infinity];
  for (const value of values) {
    if (!(value - value === 0)) continue;
    if (value < low) low = value;
    if (value > high) high = value;
  }
  if (!(high > low)) return 0;
  const atLow = samplesInRuns(values, low);
  const atHigh = samplesInRuns(values, high);
  const least = channel.startsWith('accel.') ? LEAST_END.accel : LEAST_END.rate;
  const mirrored =
    Math.abs(high * scale) >= least &&
    atLow > 0 &&
    atHigh > 0 &&
    Math.abs(high + low) <= TOLERANCE * (high - low);
  const isEnd = (value: number): boolean =>
    mirrored || ends.some((end) => Math.abs(Math.abs(value * scale) - end) <= TOLERANCE * end);
  return (isEnd(low) ? atLow : 0) + (isEnd(high) ? atHigh : 0);
}

function samplesInRuns(values: Float64Array, extreme: number): number {
  let count = 0;
  let run = 0;
  for (let i = 0; i <= values.length; i++) {
    if (values[i] === extreme) run++;
    else {
      if (run >= SHORTEST_RUN) count += run;
      run = 0;
    }
  }
  return count;
}
