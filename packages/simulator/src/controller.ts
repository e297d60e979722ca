import type { AxisName } from '@settle/parser';
import type { FlightConfig } from './config.js';
import { lowPass, notch, type Biquad } from './filters.js';

/** The filters between the sampled gyro and the rate loop, in order; the one the pilot was not told of included. */
export function gyroFilters(config: FlightConfig): Biquad[] {
  const stepS = 1 / config.loopRateHz;
  const filters: Biquad[] = [];
  if (config.unmodelled.extraLowPassHz !== null)
    filters.push(lowPass(config.unmodelled.extraLowPassHz, 1, stepS));
  for (const n of config.controller.notches) filters.push(notch(n.centreHz, n.bandwidthHz, n.depthDb, stepS));
  if (config.sensors.gyroLowPassHz !== null) {
    filters.push(lowPass(config.sensors.gyroLowPassHz, config.sensors.gyroLowPassOrder, stepS));
  }
  return filters;
}

/** Share of the new error that the derivative's low-pass takes over per step: 1 − e^(−2π f T). */
export function derivativeShare(config: FlightConfig): number {
  const cutoff = config.controller.derivativeLowPassHz;
  return cutoff === null ? 1 : 1 - Math.exp((-2 * Math.PI * cutoff) / config.loopRateHz);
}

/** Attitude P over rate PID (parallel form) of one axis, stepped at the loop rate. */
export class AxisController {
  reference = 0;
  measured = 0;
  proportional = 0;
  integral = 0;
  derivative = 0;
  feedForward = 0;
  demand = 0;
  private smoothError = 0;
  private readonly memory: Float64Array;
  private readonly filters: readonly Biquad[];
  private readonly share: number;
  private readonly axis: AxisName;
  private readonly config: FlightConfig;

  constructor(config: FlightConfig, axis: AxisName, steadyDemand: number) {
    this.config = config;
    this.axis = axis;
    this.filters = gyroFilters(config);
    this.memory = new Float64Array(2 * this.filters.length);
    this.share = derivativeShare(config);
    this.integral = steadyDemand;
  }

  /** Forgets everything, as a controller does that waits on the ground. The gyro filter goes on. */
  reset(): void {
    this.reference = 0;
    this.proportional = 0;
    this.integral = 0;
    this.derivative = 0;
    this.feedForward = 0;
    this.demand = 0;
    this.smoothError = 0;
  }

  /** Passes one gyro sample through the filters (direct form II transposed). */
  measure(gyro: number): void {
    let value = gyro;
    for (let i = 0; i < this.filters.length; i++) {
      const f = this.filters[i]!;
      const out = f.b0 * value + this.memory[2 * i]!;
      this.memory[2 * i] = f.b1 * value - f.a1 * out + this.memory[2 * i + 1]!;
      this.memory[2 * i + 1] = f.b2 * value - f.a2 * out;
      value = out;
    }
    this.measured = value;
  }

  /** Reference, measured rate, demand and the four terms, in the order they are logged in. */
  writeTerms(row: Float64Array, at: number): void {
    row[at] = this.reference;
    row[at + 1] = this.measured;
    row[at + 2] = this.demand;
    row[at + 3] = this.proportional;
    row[at + 4] = this.integral;
    row[at + 5] = this.derivative;
    row[at + 6] = this.feedForward;
  }

  /** One step of both loops on the last measured rate. */
  step(angleReference: number, angle: number): void {
    const { controller, loopRateHz } = this.config;
    const gains = controller.rate[this.axis];
    const limit = controller.rateLimitRadS;
    const asked = controller.attitude[this.axis] * (angleReference - angle);
    this.reference = Math.max(-limit, Math.min(limit, asked));
    const error = this.reference - this.measured;
    this.proportional = gains.kp * error;
    const integral = this.integral + (gains.ki * error) / loopRateHz;
    this.integral = Math.max(-controller.integralLimit, Math.min(controller.integralLimit, integral));
    const smooth = this.smoothError + this.share * (error - this.smoothError);
    this.derivative = gains.kd * (smooth - this.smoothError) * loopRateHz;
    this.smoothError = smooth;
    this.feedForward = gains.kff * this.reference;
    const sum = this.proportional + this.integral + this.derivative + this.feedForward;
    this.demand = Math.max(-1, Math.min(1, sum));
  }
}
