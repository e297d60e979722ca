/** A made hover in which the throttle moves: what four motors were told, how their rotors turned, and what a sensor feels of them. */
import type { Commands } from '../../packages/analysis/src/vibration/relative-speeds.js';
import type { SensorRecord } from '../../packages/analysis/src/vibration/sensor-records.js';
import { randomSource } from './random.js';
import { madeSensorRecord } from './sensor-record.js';

const SECONDS = 24;
const FINE_HZ = 4000;

export interface SweptFlight {
  readonly commands: Commands;
  /** Turns of each rotor at every 4000th of a second. */
  readonly turns: readonly Float64Array[];
}

/** Commands of four motors that swing by ±20 % together every 8 s and by 3 % each for itself; speeds behind a first-order lag. */
export function sweptFlight(baseHz: number, power: number, lagS: number, apart = 0.0066): SweptFlight {
  const told = [0, 1, 2, 3].map((motor) => (t: number): number => {
    const own = 0.03 * Math.sin((1.1 + 0.3 * motor) * t + motor);
    return 1 + 0.2 * Math.sin((2 * Math.PI * t) / 8) + own;
  });
  const commands = told.map((of, m) => {
    const values = Float64Array.from({ length: 100 * SECONDS + 1 }, (_, i) => of(i / 100));
    const mean = values.reduce((sum, v) => sum + v, 0) / values.length;
    return { rotor: m + 1, startS: 0, mean: 0.5, values: values.map((v) => v / mean) };
  });
  const turns = told.map((of, m) => {
    let thrust = of(0);
    const speeds = Float64Array.from({ length: FINE_HZ * SECONDS + 1 }, (_, i) => {
      thrust += (of(i / FINE_HZ) - thrust) / (lagS * FINE_HZ);
      return thrust ** power;
    });
    const mean = speeds.reduce((sum, v) => sum + v, 0) / speeds.length;
    // Four rotors, evenly apart: usually within 2 % of one another.
    const ownHz = baseHz * (1 + apart * (m - 1.5));
    let sum = 0;
    return speeds.map((v) => (sum += (ownHz * v) / mean / FINE_HZ));
  });
  return { commands, turns };
}

/** A sensor at `rate`: each order of each rotor with this amplitude, in noise; a tone as strong that follows nothing. */
export function feltSwept(
  { turns }: SweptFlight,
  rate: number,
  amplitudes: readonly number[],
  seed: number,
  strength: readonly number[] = [1, 1, 1, 1],
): SensorRecord {
  const noise = randomSource(seed);
  const values = Float64Array.from({ length: SECONDS * rate }, (_, i) => {
    const at = Math.round((i * FINE_HZ) / rate);
    const lines = turns.reduce(
      (sum, own, r) =>
        sum +
        strength[r]! *
          amplitudes.reduce((part, a, k) => part + a * Math.sin(2 * Math.PI * (k + 1) * own[at]! + r), 0),
      0,
    );
    return lines + 0.2 * Math.sin((2 * Math.PI * 0.31 * rate * i) / rate) + 0.3 * noise.normal();
  });
  return madeSensorRecord(values, rate, 'accel');
}
