import { SENSOR_AXES } from './sensors.js';
import type { VibrationSources } from './vibration-sources.js';
import type { MadeWiring } from './wiring.js';

/** Sums over all inertial samples of one short stretch of a flight. */
export interface MeterBlock {
  readonly startS: number;
  count: number;
  /** Per pair of parts and sensor axis: products of what they add; see `productAt`. */
  readonly products: Float64Array;
  /** Per rotor: speeds, revolutions per second. */
  readonly speeds: Float64Array;
}

/** Length of a block, s: truth over any stretch of a flight is good to this at its ends. */
export const BLOCK_S = 0.1;

/** Place of the product of parts p and q ≤ p of a sensor axis. */
export function productAt(p: number, q: number, sensorAxis: number): number {
  return ((p * (p + 1)) / 2 + q) * SENSOR_AXES + sensorAxis;
}

/** Adds up, at the instants of the inertial log, what each line by itself makes the sensors feel. */
export class VibrationMeter {
  readonly blocks: MeterBlock[] = [];
  readonly sources: VibrationSources;
  private readonly speedHz: Float64Array;
  private readonly wiring: MadeWiring | null;
  private readonly felt: readonly Float64Array[];

  constructor(sources: VibrationSources, speedHz: Float64Array, wiring: MadeWiring | null) {
    this.sources = sources;
    this.speedHz = speedHz;
    this.wiring = wiring;
    this.felt = sources.parts.map(() => new Float64Array(SENSOR_AXES));
  }

  /** Takes the sources as they were last sampled. */
  take(timeS: number): void {
    const block = this.blockAt(timeS);
    block.count++;
    for (let i = 0; i < 4; i++) block.speeds[i] = block.speeds[i]! + this.speedHz[i]!;
    this.feel();
    const { products } = block;
    let at = 0;
    for (let p = 0; p < this.felt.length; p++) {
      const one = this.felt[p]!;
      for (let q = 0; q <= p; q++) {
        const other = this.felt[q]!;
        for (let a = 0; a < SENSOR_AXES; a++, at++) products[at] = products[at]! + one[a]! * other[a]!;
      }
    }
  }

  private feel(): void {
    this.sources.parts.forEach((part, p) => {
      const felt = this.felt[p]!;
      felt.set(part.value);
      this.wiring?.turnBoard(felt.subarray(0, 3));
      this.wiring?.turnBoard(felt.subarray(3));
    });
  }

  private blockAt(timeS: number): MeterBlock {
    // A hair is allowed for times that are whole blocks but for rounding.
    const index = Math.floor(timeS / BLOCK_S + 1e-6);
    while (this.blocks.length <= index) {
      this.blocks.push({
        startS: this.blocks.length * BLOCK_S,
        count: 0,
        products: new Float64Array(productAt(this.felt.length, 0, 0)),
        speeds: new Float64Array(4),
      });
    }
    return this.blocks[index]!;
  }
}
