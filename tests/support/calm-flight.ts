import type { Commands } from '../../packages/analysis/src/vibration/relative-speeds.js';
import type { SensorRecord } from '../../packages/analysis/src/vibration/sensor-records.js';
import { randomSource } from './random.js';
import { madeSensorRecord } from './sensor-record.js';

/** A hover in which the throttle hardly moves: what the motors were told, and how far each rotor had turned. */
export interface CalmFlight {
  readonly commands: Commands;
  /** Turns of each rotor by now, from the start. */
  readonly turns: readonly ((timeS: number) => number)[];
}

const SECONDS = 30;
const COMMAND_RATE_HZ = 100;
/** Loop that holds the aircraft: commands wander with this time constant, s, and standard deviation, as a share. */
const WANDER_S = 0.4;
const WANDER = 0.015;
const LAG_S = 0.06;

/** Speeds as the root of the command behind a lag, in the mean as well. */
export function calmFlight(rotorHz: readonly number[], seed: number): CalmFlight {
  const allHz = rotorHz.reduce((sum, hz) => sum + hz, 0) / rotorHz.length;
  const noise = randomSource(seed);
  const count = SECONDS * COMMAND_RATE_HZ + 1;
  const keep = Math.exp(-1 / (COMMAND_RATE_HZ * WANDER_S));
  const lagKeep = Math.exp(-1 / (COMMAND_RATE_HZ * LAG_S));
  const rotors = rotorHz.map((meanHz) => {
    let command = 0;
    let thrust = 1;
    let turned = 0;
    const told = new Float64Array(count);
    const turns = new Float64Array(count);
    for (let i = 0; i < count; i++) {
      command = keep * command + WANDER * Math.sqrt(1 - keep * keep) * noise.normal();
      told[i] = 1 + command;
      thrust = told[i]! + (thrust - told[i]!) * lagKeep;
      turns[i] = turned;
      turned += (meanHz * Math.sqrt(thrust)) / COMMAND_RATE_HZ;
    }
    return { told, turns };
  });
  return {
    commands: rotors.map(({ told }, i) => ({
      rotor: i + 1,
      startS: 0,
      values: told,
      mean: 0.4 * (rotorHz[i]! / allHz) ** 2,
    })),
    turns: rotors.map(({ turns }) => (timeS: number): number => {
      const x = Math.min(count - 1.000001, timeS * COMMAND_RATE_HZ);
      const k = Math.floor(x);
      return turns[k]! + (x - k) * (turns[k + 1]! - turns[k]!);
    }),
  };
}

/** A sensor axis that feels multiples of the rotors, and whatever else, over noise of a standard deviation of 0.1. */
export function feltBy(
  { turns }: CalmFlight,
  sampleRateHz: number,
  orders: readonly number[],
  seed: number,
  else_: (timeS: number) => number = () => 0,
): SensorRecord {
  const noise = randomSource(seed);
  const values = Float64Array.from({ length: Math.round(SECONDS * sampleRateHz) }, (_, i) => {
    const t = i / sampleRateHz;
    let sum = 0.1 * noise.normal() + else_(t);
    turns.forEach((turned, r) => {
      for (const order of orders) sum += Math.sin(2 * Math.PI * order * turned(t) + r);
    });
    return sum;
  });
  return madeSensorRecord(values, sampleRateHz, 'accel');
}
