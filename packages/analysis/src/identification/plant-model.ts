/**
 * One axis of a hovering aircraft for small motion: rotors with a first-order lag behind a delay turn the demand into
 * angular acceleration; the body resists with rate damping and, off level, with the moment of its own attitude.
 *
 *   G(s) = K e^(−s d (1−φ)) / ((1 + s φ d) (1 + s τ) (s + c − i/s))
 *
 * Filters of the gyro, half a controller step of hold and whatever else lags between demand and logged rate count as
 * part of the delay d, the share φ of which weakens what it delays as a filter does.
 */
import { add, complex, divide, exponential, multiply, scale, type Complex } from '../control/complex.js';

export interface PlantParameters {
  /** K, angular acceleration per unit demand, rad/s². */
  readonly effectiveness: number;
  /** τ, s. */
  readonly lagS: number;
  /** d, s. */
  readonly delayS: number;
  /** φ, 0…1. */
  readonly filterShare: number;
  /** c, 1/s. */
  readonly dampingPerS: number;
  /** i, angular acceleration per angle, 1/s²; positive diverges. */
  readonly instabilityPerS2: number;
}

/** G(s), rate in rad/s per unit demand. */
export function plantAt(plant: PlantParameters, s: Complex): Complex {
  const lag = add(complex(1), scale(s, plant.lagS));
  const body = add(add(s, complex(plant.dampingPerS)), scale(divide(complex(1), s), -plant.instabilityPerS2));
  const filter = add(complex(1), scale(s, plant.delayS * plant.filterShare));
  const late = exponential(scale(s, -plant.delayS * (1 - plant.filterShare)));
  return divide(scale(late, plant.effectiveness), multiply(filter, multiply(lag, body)));
}
