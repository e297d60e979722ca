import { AXES, type AxisName } from '@settle/parser';
import type { FlightConfig, RateGains } from './config.js';

/** The contract's gains file: what the pilot knows of the controller. */
export interface GainsFile {
  readonly gains: {
    readonly rate: Record<AxisName, RateGains>;
    readonly attitude: Record<AxisName, { readonly kp: number }>;
  };
  readonly filters: {
    readonly gyroLowPassHz: number | null;
    readonly derivativeLowPassHz: number | null;
    readonly notches: readonly {
      readonly centreHz: number;
      readonly bandwidthHz: number;
      readonly depthDb: number;
    }[];
    readonly gyroTap: 'before' | 'after' | 'unknown';
  };
  readonly loopRateHz: number;
  readonly configuration: { readonly massKg: number };
}

/** As the pilot would write it down; a filter nobody was told of is not in it. */
export function toGainsFile(config: FlightConfig): GainsFile {
  const { controller, sensors, loopRateHz, airframe } = config;
  const of = <T>(value: (axis: AxisName) => T): Record<AxisName, T> => {
    const [roll, pitch, yaw] = AXES.map(value) as [T, T, T];
    return { roll, pitch, yaw };
  };
  return {
    gains: {
      rate: of((axis) => ({ ...controller.rate[axis] })),
      attitude: of((axis) => ({ kp: controller.attitude[axis] })),
    },
    filters: {
      gyroLowPassHz: sensors.gyroLowPassHz,
      derivativeLowPassHz: controller.derivativeLowPassHz,
      notches: controller.notches.map((n) => ({ ...n })),
      gyroTap: 'before',
    },
    loopRateHz,
    configuration: { massKg: airframe.massKg },
  };
}
