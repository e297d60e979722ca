/** A slow log of a motor command without the noise that its rate folds down into the band: no rotor follows that. */
import { powerSpectralDensity } from '../spectrum/welch.js';
import { inverseReal, transformReal } from '../spectrum/fft.js';
import { chiSquareQuantile } from '../statistics/distributions.js';

/** Segments of the spectrum by which the floor is told, s. */
const SEGMENT_S = 4;
/** Slower than this a command holds what flies the aircraft, Hz. */
const FLOOR_FROM_HZ = 1.5;
/** The floor is read from the lowest tenth of the bins: lines that fold down may fill the rest. */
const LOW_SHARE = 0.1;

/**
 * A controller passes gyro noise on at its own rate. A log of a tenth of that rate has all of it folded into its band, ten times as
 * dense as what the motors were told there, and white. Wiener's filter keeps of each frequency the share that stands over the floor.
 *
 * @param values even samples as logged
 * @returns the same mean, and as long
 */
export function withoutFoldedNoise(values: Float64Array, sampleRateHz: number): Float64Array {
  const length = Math.round(SEGMENT_S * sampleRateHz);
  if (values.length < 2 * length) return values;
  const spectrum = powerSpectralDensity(values, sampleRateHz, { segmentLength: length });
  const density = spectrum.values;
  const from = Math.round((FLOOR_FROM_HZ / (sampleRateHz / 2)) * (density.length - 1));
  const sorted = Float64Array.from(density.subarray(from, density.length - 1)).sort();
  const freedom = spectrum.degreesOfFreedom;
  const low = chiSquareQuantile(LOW_SHARE, freedom) / freedom;
  const floor = sorted[Math.floor(LOW_SHARE * sorted.length)]! / low;
  const bins = transformReal(values);
  const stepBins = (density.length - 1) / (values.length / 2);
  for (let k = 1; k < bins.length / 2; k++) {
    const x = Math.min(density.length - 1.000001, Math.max(1, k * stepBins));
    const i = Math.floor(x);
    const mean = density[i]! + (x - i) * (density[i + 1]! - density[i]!);
    // Slower than a segment is long only the whole record tells.
    const own = (2 * (bins[2 * k]! ** 2 + bins[2 * k + 1]! ** 2)) / (sampleRateHz * values.length);
    const here = k * stepBins < 1 ? Math.max(mean, own) : mean;
    const keep = Math.max(0, 1 - floor / Math.max(here, 1e-300));
    bins[2 * k]! *= keep;
    bins[2 * k + 1]! *= keep;
  }
  return inverseReal(bins, values.length);
}
