import { assignChannels } from './assignment.js';
import type { ChannelMap } from './channel-map.js';
import type { AxisName } from './flight.js';
import { compareAttitudeWithRates, unwrapAngles } from './kinematics.js';
import type { PerAxis, Series } from './kinematics.js';
import type { LogData } from './log-data.js';
import { ProblemList } from './problems.js';
import { SAME_MOTION } from './rotation-units.js';
import type { Unit } from './units.js';

/** Body rate over rate of attitude for every mixture of degrees and radians; another unit of time adds thousands. */
const RATIOS = [1, 180 / Math.PI, Math.PI / 180];
const TOLERANCE = 1.3;
const BODY: Readonly<Record<string, AxisName>> = { x: 'roll', y: 'pitch', z: 'yaw' };

/**
 * Finds the clock's unit where steps alone leave several: only in the right one does the change of attitude over time
 * fit the logged body rate, whatever mixture of degrees and radians they are in.
 *
 * @param build reads the log with the clock in a unit
 * @returns null if the log has no attitude with body rates, is too still, or more than one unit fits
 */
export function clockUnitByMotion(
  units: readonly Unit[],
  build: (unit: Unit) => LogData,
  map: ChannelMap | undefined,
): Unit | null {
  const fitting = units.filter((unit) => {
    const series = rotationSeries(build(unit), map);
    return RATIOS.some((angleScale) => fits(series, angleScale));
  });
  return fitting.length === 1 ? fitting[0]! : null;
}

interface RotationSeries {
  readonly attitude: PerAxis<Series>;
  readonly rates: PerAxis<Series>;
}

function rotationSeries(log: LogData, map: ChannelMap | undefined): RotationSeries {
  const attitude: PerAxis<Series> = {};
  const gyro: PerAxis<Series> = {};
  const rate: PerAxis<Series> = {};
  for (const { channel, column, track } of assignChannels([log], map, new ProblemList()).assignments) {
    const [family, axis, role] = channel.split('.') as [string, string, string | undefined];
    const series = {
      timeS: track.timeS,
      values: Float64Array.from(track.rows, (row) => column.values[row]!),
    };
    if (family === 'attitude' && role === 'measured') attitude[axis as AxisName] = series;
    if (family === 'gyro') gyro[BODY[axis]!] = series;
    if (family === 'rate' && role === 'measured') rate[axis as AxisName] = series;
  }
  return { attitude, rates: Object.keys(gyro).length > 0 ? gyro : rate };
}

/** Whether some mixture of units makes rate and attitude agree, attitude being in rad or (scaled) in degrees. */
function fits({ attitude, rates }: RotationSeries, ratio: number): boolean {
  // Trigonometry needs radians; for the size of the ratio degrees serve where the motion is small, radians elsewhere.
  return [1, Math.PI / 180].some((scale) => {
    const angles: PerAxis<Series> = {};
    for (const [axis, series] of Object.entries(attitude) as [AxisName, Series][]) {
      const values = series.values.map((value) => value * scale);
      if (axis !== 'pitch') unwrapAngles(values, 2 * Math.PI);
      angles[axis] = { timeS: series.timeS, values };
    }
    const moved = Object.values(compareAttitudeWithRates(angles, rates)).filter(
      (each) => Math.abs(each.correlation) >= SAME_MOTION,
    );
    const gain = (each: { gain: number }): number => each.gain * scale * ratio;
    return moved.length > 0 && moved.every((each) => gain(each) < TOLERANCE && gain(each) > 1 / TOLERANCE);
  });
}
