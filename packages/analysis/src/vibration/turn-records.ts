/**
 * Records resampled against the angle of a rotor: what turns with it becomes one sharp line, whatever its speed did.
 *
 * The angle is measured in seconds at the mean speed, so frequencies keep their meaning: a line at f Hz turns f/f₁ times as fast
 * as the rotor, f₁ its mean speed.
 */
import { inverseReal, transformReal } from '../spectrum/fft.js';

/** Speed over its mean, on an even clock; positive. */
export interface RelativeSpeed {
  readonly startS: number;
  readonly stepS: number;
  readonly values: Float64Array;
}

const OVERSAMPLING = 4;

/** A record with samples in between, for resampling at any time. */
export interface FineRecord {
  readonly startS: number;
  readonly sampleRateHz: number;
  readonly length: number;
  readonly fine: Float64Array;
}

/** Band-limited interpolation by the transform: exact for what lies below half the sample rate, but for the ends. */
export function refine(values: Float64Array, startS: number, sampleRateHz: number): FineRecord {
  const n = values.length + (values.length % 2);
  const even = new Float64Array(n);
  even.set(values);
  const half = transformReal(even);
  const wide = new Float64Array(OVERSAMPLING * n + 2);
  wide.set(half.subarray(0, Math.min(half.length, n)));
  const fine = inverseReal(wide, OVERSAMPLING * n).map((v) => v * OVERSAMPLING);
  return { startS, sampleRateHz, length: values.length, fine };
}

/** Times at which the rotor has turned on by equal angles, at the mean rate of one per sample, with the speed there. */
export interface TurnClock {
  readonly timeS: Float64Array;
  readonly relativeSpeed: Float64Array;
  readonly sampleRateHz: number;
}

export function turnClock(
  speed: RelativeSpeed,
  startS: number,
  durationS: number,
  sampleRateHz: number,
): TurnClock {
  const count = Math.max(2, Math.floor(durationS * sampleRateHz));
  const { stepS, values } = speed;
  // Turned since startS, at each sample of the speed.
  const at = (t: number): number => {
    const x = Math.max(0, Math.min(values.length - 1.000001, (t - speed.startS) / stepS));
    const i = Math.floor(x);
    return values[i]! + (x - i) * (values[i + 1]! - values[i]!);
  };
  const sub = 1 / sampleRateHz;
  const turned = new Float64Array(count + 1);
  for (let i = 0; i < count; i++) turned[i + 1] = turned[i]! + sub * at(startS + (i + 0.5) * sub);
  const scale = (count * sub) / turned[count]!;
  const timeS = new Float64Array(count);
  const relativeSpeed = new Float64Array(count);
  let k = 0;
  for (let i = 0; i < count; i++) {
    const wanted = i * sub;
    while (k + 1 < count && turned[k + 1]! * scale <= wanted) k++;
    const from = turned[k]! * scale;
    const to = turned[k + 1]! * scale;
    timeS[i] = startS + (k + (wanted - from) / Math.max(1e-12, to - from)) * sub;
    relativeSpeed[i] = at(timeS[i]!) * scale;
  }
  return { timeS, relativeSpeed, sampleRateHz };
}

/** The record on the rotor's clock; its power per time is kept (each sample stands for more time where the rotor is slow). */
export function onTurnClock(record: FineRecord, clock: TurnClock): Float64Array {
  return clock.timeS.map((t, i) => valueAtTime(record, t) / Math.sqrt(clock.relativeSpeed[i]!));
}

/** Cubic through four neighbours (Catmull and Rom). */
export function valueAtTime({ fine, startS, sampleRateHz }: FineRecord, t: number): number {
  const x = Math.max(1, Math.min(fine.length - 3, (t - startS) * sampleRateHz * OVERSAMPLING));
  const k = Math.floor(x);
  const u = x - k;
  const [a, b, c, d] = [fine[k - 1]!, fine[k]!, fine[k + 1]!, fine[k + 2]!];
  return b + 0.5 * u * (c - a + u * (2 * a - 5 * b + 4 * c - d + u * (3 * (b - c) + d - a)));
}
