import type { FlightConfig, PerAxis, PerRotor } from './config.js';

/** Standard gravity, m/s² (9.80665; ISO 80000-3). */
export const GRAVITY = 9.80665;

/** Which way each rotor turns the aircraft when its thrust rises; rotors as in `FlightConfig.rotors`. */
export const ROTOR_SIGNS: readonly (readonly [number, number, number, number])[] = [
  [1, -1, -1, 1],
  [1, 1, -1, -1],
  [1, -1, 1, -1],
];

/** The steady hover a flight is linearised around. Thrusts are shares of the thrust at full command, sag aside. */
export interface OperatingPoint {
  /** Thrust share per rotor when the weight hangs on four equal rotors, and its slope over command there. */
  nominalThrust: number;
  nominalSlope: number;
  thrust: PerRotor;
  command: PerRotor;
  throttle: number;
  /** Steady demand per axis. */
  demand: PerAxis<number>;
  /** Real over nominal effectiveness: weak rotor, sag and the thrust curve change the slope. */
  slopeRatio: number;
}

/** @param sag thrust of all rotors over that at nominal battery voltage */
export function hoverPoint(config: FlightConfig, sag = 1): OperatingPoint {
  const { rotors, airframe, unmodelled } = config;
  const n = unmodelled.thrustExponent;
  const nominalThrust = rotors.hoverThrottle ** n;
  const nominalSlope = n * rotors.hoverThrottle ** (n - 1);
  const trim = [airframe.trim.roll, airframe.trim.pitch, airframe.trim.yaw];
  const authority = [rotors.authority.roll, rotors.authority.pitch, rotors.authority.yaw];
  const thrust: PerRotor = [0, 0, 0, 0];
  const command: PerRotor = [0, 0, 0, 0];
  let slope = 0;
  for (let i = 0; i < 4; i++) {
    let share = nominalThrust;
    for (let a = 0; a < 3; a++) share += ROTOR_SIGNS[a]![i]! * authority[a]! * nominalSlope * trim[a]!;
    const gain = rotorGain(config, i) * sag;
    thrust[i] = Math.max(0, share);
    command[i] = (thrust[i]! / gain) ** (1 / n);
    slope += n * gain * command[i]! ** (n - 1);
  }
  const demandOf = (a: number): number => {
    let sum = 0;
    for (let i = 0; i < 4; i++) sum += ROTOR_SIGNS[a]![i]! * command[i]!;
    return sum / (4 * authority[a]!);
  };
  return {
    nominalThrust,
    nominalSlope,
    thrust,
    command,
    throttle: (command[0] + command[1] + command[2] + command[3]) / 4,
    demand: { roll: demandOf(0), pitch: demandOf(1), yaw: demandOf(2) },
    slopeRatio: slope / (4 * nominalSlope),
  };
}

/** Thrust of one rotor (from 0) over that of a sound one. */
export function rotorGain(config: FlightConfig, index: number): number {
  const weak = config.unmodelled.weakRotor;
  return weak !== null && weak.rotor === index + 1 ? weak.factor : 1;
}
