import type { AxisName, ChannelName } from '@settle/parser';
import { smoothed } from '../signals.js';

/** The attitude reference, where the stick alone moves it: in proportion, or on yaw as its rate. */
export function referenceByStick(
  axis: AxisName,
  onClock: (channel: ChannelName) => Float64Array | null,
  stepS: number,
): Float64Array | null {
  const stick = onClock(`stick.${axis}`);
  const reference = onClock(`attitude.${axis}.reference`);
  if (stick === null || reference === null) return null;
  const width = Math.max(1, Math.round(0.2 / stepS));
  const moved =
    axis === 'yaw' ? reference.map((v, i) => (i < width ? 0 : v - reference[i - width]!)) : reference;
  const cause =
    axis === 'yaw' ? smoothed(stick, width).map((_, i, all) => all[Math.max(0, i - (width >> 1))]!) : stick;
  let xy = 0;
  let xx = 0;
  let yy = 0;
  const mean = (x: Float64Array): number => x.reduce((sum, v) => sum + v / x.length, 0);
  const mx = mean(cause);
  const my = mean(moved);
  for (let i = width; i < stick.length; i++) {
    xy += (cause[i]! - mx) * (moved[i]! - my);
    xx += (cause[i]! - mx) ** 2;
    yy += (moved[i]! - my) ** 2;
  }
  return xx > 0 && yy > 0 && xy * xy > 0.9 * xx * yy ? reference : null;
}
