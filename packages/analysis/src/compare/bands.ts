/** What a sensor held around a frequency, whatever was made of it there. */
import type { HoverSummary } from './hover-summary.js';

/** Either side of a line, Hz. */
const REACH_HZ = 2;

/** RMS within 2 Hz of a line at one sensor axis, deg/s or m/s²; null where it was not kept. */
export function bandRms(
  hover: HoverSummary,
  line: { readonly sensor: string; readonly axis: string; readonly frequencyHz: number },
  reachHz = REACH_HZ,
): number | null {
  const own = hover.bands.find((b) => b.sensor === line.sensor && b.axis === line.axis);
  if (own === undefined) return null;
  const first = Math.floor(line.frequencyHz - reachHz) - own.fromHz;
  const last = Math.floor(line.frequencyHz + reachHz) - own.fromHz;
  if (first < 0 || last >= own.rms.length) return null;
  return Math.hypot(...own.rms.slice(first, last + 1));
}

/** The same over all axes of the sensor. */
export function bandRmsOfSensor(
  hover: HoverSummary,
  sensor: string,
  frequencyHz: number,
  reachHz: number,
): number | null {
  const all = (['x', 'y', 'z'] as const).map((axis) =>
    bandRms(hover, { sensor, axis, frequencyHz }, reachHz),
  );
  return all.every((v): v is number => v !== null) ? Math.hypot(...all) : null;
}
