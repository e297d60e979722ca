/**
 * The wind a hover met: angular acceleration that the demand applied, through the identified plant, does not explain; and whether
 * the loops answered it as they should.
 */
import type { AxisName, Flight, Interval } from '@settle/parser';
import { effectRecord, lagged, slopeOf, type EffectRecord } from '../causes/demand-effect.js';
import type { PlantParameters } from '../identification/plant-model.js';
import { smoothed } from '../signals.js';
import { transformReal } from '../spectrum/fft.js';
import type { Measured } from './hover-summary.js';
import { angleResponseAt, type KnownLoop } from './loop-metrics.js';
import { rmsOf, withBootstrap, type Series } from './measured-motion.js';

/** What is faster than this is shaking, not gusts, s. */
const SMOOTH_S = 0.06;
const DEG = 180 / Math.PI;

export interface Disturbance {
  readonly size: Measured;
  readonly check: Measured | null;
}

/** The record all axes are read from; null where rates or demands of an axis are not logged. */
export function disturbanceRecord(flight: Flight, hover: Interval): EffectRecord | null {
  return effectRecord(flight, hover);
}

export function disturbanceOf(
  record: EffectRecord,
  hover: Interval,
  axis: AxisName,
  plant: PlantParameters,
  loop: KnownLoop | null,
): Disturbance | null {
  const { stepS, startS } = record;
  const width = Math.max(1, Math.round(SMOOTH_S / stepS));
  const calm = (x: Float64Array): Float64Array => smoothed(smoothed(x, width), width);
  const rate = calm(record.rates[axis]);
  const accel = slopeOf(rate, stepS);
  const acting = calm(lagged(record.demands[axis], stepS, plant.lagS, plant.delayS));
  const first = Math.max(0, Math.ceil((hover.startS - startS) / stepS));
  const end = Math.min(rate.length, Math.floor((hover.endS - startS) / stepS));
  if (end - first < 20) return null;
  const left = Float64Array.from(
    { length: end - first },
    (_, i) =>
      accel[first + i]! + plant.dampingPerS * rate[first + i]! - plant.effectiveness * acting[first + i]!,
  );
  const series: Series = { values: left, stepS };
  const size = rmsOf(series, DEG, true, 'angular acceleration that the demand applied does not explain');
  if (size === null) return null;
  return {
    size,
    check: loop === null ? null : checkLoops({ values: rate.slice(first, end), stepS }, series, plant, loop),
  };
}

const SEGMENT_S = 4;
const LOWEST_HZ = 0.3;
const HIGHEST_HZ = 3;
const FEWEST_SEGMENTS = 5;

/**
 * Motion met over motion expected: the least-squares factor between the rate and the modelled answer to the disturbance, over
 * overlapping segments. Sticks know nothing of the wind and average out.
 */
function checkLoops(rate: Series, gust: Series, plant: PlantParameters, loop: KnownLoop): Measured | null {
  const length = Math.round(SEGMENT_S / rate.stepS);
  const hop = Math.round(length / 2);
  const count = Math.floor((rate.values.length - length) / hop) + 1;
  if (count < FEWEST_SEGMENTS) return null;
  const first = Math.ceil(LOWEST_HZ * SEGMENT_S);
  const last = Math.floor(HIGHEST_HZ * SEGMENT_S);
  const top = new Float64Array(count);
  const bottom = new Float64Array(count);
  // Size of the rate per angular acceleration; its phase is taken from the record: a wrong one would only lower the factor.
  const answers = Array.from({ length: last + 1 }, (_, k) => {
    const omega = (2 * Math.PI * k) / SEGMENT_S;
    return k < first ? 0 : omega * angleResponseAt(loop, plant, omega);
  });
  const cross: { re: Float64Array; im: Float64Array; size: Float64Array }[] = [];
  for (let i = 0; i < count; i++) {
    const x = windowed(gust.values, i * hop, length);
    const y = windowed(rate.values, i * hop, length);
    const own = {
      re: new Float64Array(last + 1),
      im: new Float64Array(last + 1),
      size: new Float64Array(last + 1),
    };
    for (let k = first; k <= last; k++) {
      const [xr, xi, yr, yi] = [x[2 * k]!, x[2 * k + 1]!, y[2 * k]!, y[2 * k + 1]!];
      own.re[k] = xr * yr + xi * yi;
      own.im[k] = xr * yi - xi * yr;
      own.size[k] = xr * xr + xi * xi;
    }
    cross.push(own);
  }
  // Phase of each bin over all segments.
  const phase = Array.from({ length: last + 1 }, (_, k) => {
    let re = 0;
    let im = 0;
    for (const c of cross) {
      re += c.re[k]!;
      im += c.im[k]!;
    }
    return Math.atan2(im, re);
  });
  cross.forEach((c, i) => {
    for (let k = first; k <= last; k++) {
      const h = answers[k]!;
      top[i] = top[i]! + h * (c.re[k]! * Math.cos(phase[k]!) + c.im[k]! * Math.sin(phase[k]!));
      bottom[i] = bottom[i]! + h * h * c.size[k]!;
    }
  });
  return withBootstrap(
    [top, bottom],
    ([a, b]) => a! / Math.max(1e-30, b!),
    'rate over disturbance between 0.3 and 3 Hz, against the identified loops',
  );
}

function windowed(values: Float64Array, start: number, length: number): Float64Array {
  let mean = 0;
  for (let i = 0; i < length; i++) mean += values[start + i]! / length;
  return transformReal(
    Float64Array.from(
      { length },
      (_, i) => (values[start + i]! - mean) * (0.5 - 0.5 * Math.cos((2 * Math.PI * i) / length)),
    ),
  );
}
