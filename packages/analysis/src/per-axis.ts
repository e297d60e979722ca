import type { AxisName } from '@settle/parser';

/** One of each axis. */
export type EachAxis<T> = Record<AxisName, T>;

export const eachAxis = <T>(of: (axis: AxisName) => T): EachAxis<T> => ({
  roll: of('roll'),
  pitch: of('pitch'),
  yaw: of('yaw'),
});
