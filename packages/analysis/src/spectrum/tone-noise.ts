/** Noise level next to a fitted tone. */
import { fillPhasor } from './phasor.js';

/** Bins of 1/T looked at on either side of the tone. */
const BINS_EACH_SIDE = 8;
/** Steepest slopes believed: density ∝ f^−6 … f^4. */
const STEEPEST = { fall: 6, rise: 4 };

/**
 * Variance of white noise that would have the residual's spectral density at one tone.
 *
 * In coloured noise the scatter of a fitted tone depends only on the density at its frequency, asymptotically (A. M.
 * Walker, "On the estimation of a harmonic component in a time series with stationary dependent residuals", Adv. Appl.
 * Probab. 5, 1973). The density is the mean of the residual's bins around the tone, each brought to the tone's frequency
 * along a power law fitted to them: the noise of a hover falls steeply, and a plain mean would be that of its low end.
 * Each fitted parameter of a tone inside the band takes half a complex bin of noise out of it.
 *
 * @param time scaled to −1 … 1, and its `step`, null when the samples are not equally spaced
 * @param omega the tone's frequency, and `allOmega` those of all tones, in radians per unit of scaled time
 * @param parametersOfTone fitted parameters of each tone
 * @param nyquistOmega bins above it are left out
 * @returns null with fewer than four bins left to average
 */
export function localNoiseVariance(
  time: Float64Array,
  step: number | null,
  residual: Float64Array,
  omega: number,
  allOmega: readonly number[],
  parametersOfTone: readonly number[],
  nyquistOmega: number,
): number | null {
  const n = time.length;
  const bin = (Math.PI * (n - 1)) / n; // 2π/T with T = 2n/(n − 1) in scaled time
  const cosine = new Float64Array(n);
  const sine = new Float64Array(n);
  const bins: { omega: number; power: number }[] = [];
  for (let m = -BINS_EACH_SIDE; m <= BINS_EACH_SIDE; m++) {
    const w = omega + m * bin;
    // The bins next to zero share their noise with the mean and the trend, which the fit removed.
    if (w < 1.9 * bin || w > nyquistOmega - bin / 2) continue;
    let re = 0;
    let im = 0;
    fillPhasor(time, step, w, 0, cosine, sine);
    for (let i = 0; i < n; i++) {
      re += residual[i]! * cosine[i]!;
      im += residual[i]! * sine[i]!;
    }
    bins.push({ omega: w, power: (re * re + im * im) / n });
  }
  const reach = (BINS_EACH_SIDE + 0.5) * bin;
  let removed = 0;
  for (const [k, other] of allOmega.entries()) {
    if (Math.abs(other - omega) <= reach) removed += parametersOfTone[k]! / 2;
  }
  if (bins.length - removed < 4) return null;
  // Next to a tone the fit has taken the noise away: those bins say nothing about the slope.
  const untouched = bins.filter(({ omega: w }) => allOmega.every((other) => Math.abs(other - w) > 1.5 * bin));
  const slope = logSlope(untouched);
  let power = 0;
  for (const each of bins) power += each.power * (omega / each.omega) ** slope;
  // Two degrees of freedom a bin, two spent on the power law; ν/(ν − 2) is what a level known from so few adds.
  const degrees = 2 * (bins.length - removed) - 2;
  return (power / (bins.length - removed)) * (degrees / (degrees - 2));
}

/** Exponent of the power law through some bins, by least squares on logarithms; 0 with fewer than six to go by. */
function logSlope(bins: readonly { readonly omega: number; readonly power: number }[]): number {
  const points = bins.filter(({ power }) => power > 0);
  if (points.length < 6) return 0;
  let x = 0;
  let y = 0;
  for (const point of points) {
    x += Math.log(point.omega) / points.length;
    y += Math.log(point.power) / points.length;
  }
  let xx = 0;
  let xy = 0;
  for (const point of points) {
    xx += (Math.log(point.omega) - x) ** 2;
    xy += (Math.log(point.omega) - x) * (Math.log(point.power) - y);
  }
  return Math.min(STEEPEST.rise, Math.max(-STEEPEST.fall, xy / xx));
}
