/** Polynomials of the residual phase that are looked at: quadratic to this degree. */
const HIGHEST_DEGREE = 6;
/** 95 % point of chi-square with 5 degrees of freedom (standard tables): less scatter than this is noise alone. */
const NOISE_ALONE = 11.07;

/**
 * Standard deviation of the weighted least-squares slope of a phase that carries additive noise and may wander.
 *
 * The slope is the first of a set of polynomials that are orthogonal under the weights. The ones after it, quadratic and
 * up, cannot be told from noise by eye but have known variances: for white noise of the given density, and for a random
 * walk in proportion to its rate. What they scatter beyond the noise gives the rate of the walk, and that and the noise
 * give the slope's own variance.
 *
 * @param phase unwrapped, rad, one value per sample
 * @param weights of the same length, not negative
 * @param noiseVariance of each sample's phase, as if samples were independent, rad²
 * @returns standard deviation in rad per sample
 */
export function slopeStd(phase: Float64Array, weights: Float64Array, noiseVariance: Float64Array): number {
  const n = phase.length;
  const basis = orthonormalPolynomials(weights, Math.min(HIGHEST_DEGREE, n - 2));
  if (basis.length < 2) return Number.POSITIVE_INFINITY;
  const parts = basis.map((p) => {
    let noise = 0;
    let walk = 0;
    let kernel = 0;
    let value = 0;
    for (let i = n - 1; i >= 0; i--) {
      const w = weights[i]! * p[i]!;
      value += w * phase[i]!;
      noise += w * w * noiseVariance[i]!;
      // A step of the walk at sample i moves every sample from i on.
      kernel += w;
      walk += kernel * kernel;
    }
    return { value, noise, walk };
  });
  const first = basis[1]!;
  const slopePerValue = (first[n - 1]! - first[0]!) / (n - 1);
  const rate = walkRate(parts.slice(2));
  return Math.abs(slopePerValue) * Math.sqrt(parts[1]!.noise + rate * parts[1]!.walk);
}

interface Part {
  readonly value: number;
  readonly noise: number;
  readonly walk: number;
}

/** Variance per sample of the random walk, by scoring on the likelihood of independent normal parts; 0 for noise alone. */
function walkRate(parts: readonly Part[]): number {
  if (parts.length === 0) return 0;
  let scatter = 0;
  let rate = 0;
  for (const part of parts) {
    scatter += part.value ** 2 / part.noise;
    rate += part.value ** 2 / part.walk / parts.length;
  }
  if (scatter < (NOISE_ALONE * parts.length) / 5) return 0;
  for (let i = 0; i < 20; i++) {
    let top = 0;
    let bottom = 0;
    for (const part of parts) {
      const share = (part.walk / (part.noise + rate * part.walk)) ** 2;
      top += (share * (part.value ** 2 - part.noise)) / part.walk;
      bottom += share;
    }
    rate = Math.max(0, top / bottom);
  }
  return rate;
}

/** Polynomials of degree 0, 1, … in the sample number, orthonormal under the weights (Gram–Schmidt, done twice). */
function orthonormalPolynomials(weights: Float64Array, highestDegree: number): Float64Array[] {
  const n = weights.length;
  const basis: Float64Array[] = [];
  for (let degree = 0; degree <= highestDegree; degree++) {
    const p = new Float64Array(n);
    for (let i = 0; i < n; i++) p[i] = ((2 * i) / (n - 1) - 1) ** degree;
    for (let pass = 0; pass < 2; pass++) {
      for (const q of basis) {
        let dot = 0;
        for (let i = 0; i < n; i++) dot += weights[i]! * p[i]! * q[i]!;
        for (let i = 0; i < n; i++) p[i] = p[i]! - dot * q[i]!;
      }
    }
    let norm = 0;
    for (let i = 0; i < n; i++) norm += weights[i]! * p[i]! ** 2;
    if (!(norm > 0)) break;
    basis.push(p.map((v) => v / Math.sqrt(norm)));
  }
  return basis;
}
