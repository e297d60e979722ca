import { readFlight } from './read-flight.js';
import type { ReadOptions } from './read-flight.js';
import type { ChannelName, Flight } from './flight.js';
import type { LogSource } from './encoding.js';
import { LogError } from './log-error.js';

/** Repeatable noise, uniform on 0…1 (mulberry32, public domain, from memory). */
export function randomBy(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let mixed = Math.imul(state ^ (state >>> 15), state | 1);
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61);
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 4294967296;
  };
}

/** Columns of a made hover in SI, x forward, y right, z down. */
export interface MadeHover {
  readonly t: number[];
  readonly roll: number[];
  readonly pitch: number[];
  readonly yaw: number[];
  readonly p: number[];
  readonly q: number[];
  readonly r: number[];
  readonly ax: number[];
  readonly ay: number[];
  readonly az: number[];
}

/**
 * A swaying hover with exact kinematics: p = φ' − ψ' sin θ and so on, from the analytic derivatives of the angles.
 *
 * @param sway amplitude of roll in rad; pitch and yaw follow in proportion
 */
export function makeHover({ seconds = 8, rateHz = 100, sway = 0.2, seed = 1, noise = 0 } = {}): MadeHover {
  const random = randomBy(seed);
  const hover: MadeHover = {
    t: [],
    roll: [],
    pitch: [],
    yaw: [],
    p: [],
    q: [],
    r: [],
    ax: [],
    ay: [],
    az: [],
  };
  for (let i = 0; i < seconds * rateHz; i++) {
    const t = i / rateHz;
    const wave = (amplitude: number, hz: number, phase: number): [number, number] => [
      amplitude * Math.sin(2 * Math.PI * hz * t + phase),
      amplitude * 2 * Math.PI * hz * Math.cos(2 * Math.PI * hz * t + phase),
    ];
    const [phi, dPhi] = wave(sway, 0.9, 0);
    const [theta, dTheta] = wave(0.7 * sway, 0.6, 1);
    const [swing, dPsi] = wave(1.5 * sway, 0.35, 2);
    const psi = 2 + swing;
    hover.t.push(t);
    hover.roll.push(phi);
    hover.pitch.push(theta);
    hover.yaw.push(psi);
    hover.p.push(dPhi - dPsi * Math.sin(theta) + noise * (random() - 0.5));
    hover.q.push(dTheta * Math.cos(phi) + dPsi * Math.sin(phi) * Math.cos(theta) + noise * (random() - 0.5));
    hover.r.push(-dTheta * Math.sin(phi) + dPsi * Math.cos(phi) * Math.cos(theta) + noise * (random() - 0.5));
    hover.ax.push(0.4 * (random() - 0.5));
    hover.ay.push(0.4 * (random() - 0.5));
    hover.az.push(-9.80665 + 0.6 * (random() - 0.5));
  }
  return hover;
}

export const DEG = 180 / Math.PI;

export function times(values: readonly number[], factor: number): number[] {
  return values.map((value) => value * factor);
}

/** CSV text of named columns. */
export function csv(
  columns: readonly (readonly [string, readonly (number | string)[]])[],
  { delimiter = ',', newline = '\n', digits = 6 } = {},
): string {
  const rows = [columns.map(([name]) => name).join(delimiter)];
  for (let i = 0; i < columns[0]![1].length; i++)
    rows.push(
      columns
        .map(([, values]) => {
          const value = values[i]!;
          return typeof value === 'number' ? String(Number(value.toFixed(digits))) : value;
        })
        .join(delimiter),
    );
  return rows.join(newline) + newline;
}

/** The columns a plain log of a made hover has: angles in deg, rates in deg/s, accelerometer in m/s². */
export function plainColumns(hover: MadeHover): (readonly [string, number[]])[] {
  return [
    ['time', hover.t],
    ['roll', times(hover.roll, DEG)],
    ['pitch', times(hover.pitch, DEG)],
    ['yaw', times(hover.yaw, DEG)],
    ['gyro_x', times(hover.p, DEG)],
    ['gyro_y', times(hover.q, DEG)],
    ['gyro_z', times(hover.r, DEG)],
    ['accel_x', hover.ax],
    ['accel_y', hover.ay],
    ['accel_z', hover.az],
  ];
}

export function sourceOf(text: string | Uint8Array, name = 'hover.csv'): LogSource {
  return { name, bytes: typeof text === 'string' ? new TextEncoder().encode(text) : text };
}

export function read(text: string | Uint8Array, options: ReadOptions = {}, name = 'hover.csv'): Flight {
  return readFlight([sourceOf(text, name)], options);
}

/** The LogError that reading throws; fails the test with the flight's channels if nothing is thrown. */
export function refusal(run: () => Flight): LogError {
  let flight: Flight;
  try {
    flight = run();
  } catch (error) {
    if (error instanceof LogError) return error;
    throw error;
  }
  throw new Error(`expected a LogError, but read ${[...flight.signals.keys()].join(', ')}`);
}

export function valuesOf(flight: Flight, channel: ChannelName): Float64Array {
  const signal = flight.signals.get(channel);
  if (!signal) throw new Error(`no ${channel} among ${[...flight.signals.keys()].join(', ')}`);
  return signal.values;
}

/** Largest difference of a channel from the truth, over all samples. */
export function worstError(flight: Flight, channel: ChannelName, truth: readonly number[]): number {
  const values = valuesOf(flight, channel);
  if (values.length !== truth.length)
    throw new Error(`${channel}: ${String(values.length)} values, not ${String(truth.length)}`);
  let worst = 0;
  for (let i = 0; i < truth.length; i++) worst = Math.max(worst, Math.abs(values[i]! - truth[i]!));
  return worst;
}
