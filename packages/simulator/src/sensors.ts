import type { FlightConfig, SensorRange } from './config.js';
import { ROTOR_SIGNS } from './operating-point.js';
import type { Random } from './random.js';

/** Sensor axes in the order of every vector of six: gyro x, y, z, accelerometer x, y, z. */
export const SENSOR_AXES = 6;

/** Rotor phases and speeds, and the vibration they make at the inertial sensors. */
export class RotorVibration {
  /** Revolutions per second of each rotor. */
  readonly speedHz = new Float64Array(4);
  /** Angle of each rotor, rad. */
  readonly phase = new Float64Array(4);
  readonly gyro = new Float64Array(3);
  readonly accel = new Float64Array(3);
  /** What each rotor adds at this instant, once per revolution and at blade pass, by sensor axis. */
  readonly once = Array.from({ length: 4 }, () => new Float64Array(SENSOR_AXES));
  readonly bladePass = Array.from({ length: 4 }, () => new Float64Array(SENSOR_AXES));
  private readonly config: FlightConfig;

  constructor(config: FlightConfig, random: Random) {
    this.config = config;
    for (let i = 0; i < 4; i++) this.phase[i] = 2 * Math.PI * random.uniform();
  }

  /** @param ratio thrust of the rotor over its thrust in hover; speed goes with its root */
  turn(index: number, ratio: number, h: number): void {
    const { hoverHz, speedSpread } = this.config.rotors;
    const speed = hoverHz * (1 + speedSpread[index]!) * Math.sqrt(Math.max(0, ratio));
    this.speedHz[index] = speed;
    this.phase[index] = (this.phase[index]! + 2 * Math.PI * speed * h) % (2 * Math.PI);
  }

  /** Fills `gyro` and `accel` for this instant: imbalance turns with the rotor, blade pass mostly heaves. */
  sample(): void {
    const { vibration, rotors } = this.config;
    const { gyro, accel } = this;
    gyro.fill(0);
    accel.fill(0);
    for (let i = 0; i < 4; i++) {
      const level = (this.speedHz[i]! / rotors.hoverHz) ** 2;
      const once = level * vibration.imbalance[i]!;
      const sin = Math.sin(this.phase[i]!);
      const cos = Math.cos(this.phase[i]!);
      const blade = level * Math.sin(rotors.blades * this.phase[i]!);
      const right = ROTOR_SIGNS[0]![i]!;
      const front = ROTOR_SIGNS[1]![i]!;
      const first = this.once[i]!;
      first[0] = vibration.gyroOnce * once * sin;
      first[1] = vibration.gyroOnce * once * 0.8 * cos;
      first[2] = vibration.gyroOnce * once * 0.4 * (right * cos + front * sin) * 0.7;
      first[3] = vibration.accelOnce * once * cos;
      first[4] = vibration.accelOnce * once * sin;
      first[5] = vibration.accelOnce * once * 0.3 * sin;
      const second = this.bladePass[i]!;
      second[0] = vibration.gyroBladePass * blade * right;
      second[1] = vibration.gyroBladePass * blade * front;
      second[3] = vibration.accelBladePass * blade * 0.2;
      second[4] = vibration.accelBladePass * blade * 0.2;
      second[5] = vibration.accelBladePass * blade;
      for (let a = 0; a < 3; a++) {
        gyro[a] = gyro[a]! + first[a]! + second[a]!;
        accel[a] = accel[a]! + first[3 + a]! + second[3 + a]!;
      }
    }
  }
}

/** What a sensor of this range reports: the nearest of its steps, and its last one beyond them. */
export function digitise(value: number, range: SensorRange | undefined): number {
  if (range === undefined) return value;
  const half = 2 ** (range.bits - 1);
  const count = Math.max(-half, Math.min(half - 1, Math.round((value / range.fullScale) * half)));
  return (count / half) * range.fullScale;
}

/** Exact step of the flexible mode x'' + 2ζω x' + ω² x = input with the input held. */
export class FlexibleMode {
  rate = 0;
  private position = 0;
  private readonly gain: number;
  private readonly m: readonly [number, number, number, number];
  private readonly input: readonly [number, number];

  constructor(frequencyHz: number, dampingRatio: number, gain: number, h: number) {
    const w = 2 * Math.PI * frequencyHz;
    const decay = dampingRatio * w;
    const wd = w * Math.sqrt(1 - dampingRatio ** 2);
    const e = Math.exp(-decay * h);
    const c = Math.cos(wd * h);
    const s = Math.sin(wd * h);
    this.m = [e * (c + (decay / wd) * s), (e * s) / wd, (-e * s * w * w) / wd, e * (c - (decay / wd) * s)];
    this.input = [(1 - this.m[0]) / (w * w), this.m[1]];
    this.gain = gain;
  }

  step(accel: number): void {
    const drive = this.gain * accel;
    const x = this.position;
    const v = this.rate;
    this.position = this.m[0] * x + this.m[1] * v + this.input[0] * drive;
    this.rate = this.m[2] * x + this.m[3] * v + this.input[1] * drive;
  }
}
