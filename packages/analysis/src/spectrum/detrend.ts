/** Removal of a constant or a straight line by least squares. */

export type Detrend = 'none' | 'mean' | 'linear';

/** Copy of `x` without its mean or its least-squares line; `none` copies. Uniform samples, unit unchanged. */
export function detrended(x: ArrayLike<number>, kind: Detrend): Float64Array {
  const y = Float64Array.from(x);
  detrendInPlace(y, kind);
  return y;
}

/** As {@link detrended}, overwriting `y`. */
export function detrendInPlace(y: Float64Array, kind: Detrend): void {
  const n = y.length;
  if (kind === 'none' || n === 0) return;
  let total = 0;
  for (let i = 0; i < n; i++) total += y[i]!;
  const mean = total / n;
  let slope = 0;
  const middle = (n - 1) / 2;
  if (kind === 'linear' && n > 1) {
    let moment = 0;
    for (let i = 0; i < n; i++) moment += (i - middle) * (y[i]! - mean);
    slope = moment / ((n * (n * n - 1)) / 12); // Σ(i − middle)² in closed form
  }
  for (let i = 0; i < n; i++) y[i] = y[i]! - mean - slope * (i - middle);
}
