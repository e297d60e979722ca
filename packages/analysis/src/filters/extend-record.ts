/** A record continued into the time before it, so that a filter can be started there and has forgotten its start when it begins. */

/** Samples of the beginning that the continuation is learnt from, and coefficients learnt. */
const LEARNT_FROM = 600;
const ORDER = 32;

/**
 * Continues a record backwards by `count` samples by linear prediction, J. P. Burg's method (*Maximum Entropy Spectral
 * Analysis*, Stanford, 1975; from memory): tones go on with their phase, noise dies away to the mean. Stable whatever the record.
 *
 * @returns the samples before the first one, in order of time
 */
export function continueBackwards(x: Float64Array, count: number): Float64Array {
  const n = Math.min(LEARNT_FROM, x.length);
  const before = new Float64Array(count);
  if (n === 0 || count === 0) return before;
  let mean = 0;
  for (let i = 0; i < n; i++) mean += x[i]! / n;
  // Time runs backwards here: the newest of `past` is the record's first sample.
  const past = Float64Array.from({ length: n }, (_, i) => x[n - 1 - i]! - mean);
  const order = Math.min(ORDER, Math.floor(n / 3));
  const a = burg(past, order);
  const line = new Float64Array(n + count);
  line.set(past);
  for (let i = n; i < n + count; i++) {
    let value = 0;
    for (let k = 1; k <= order; k++) value -= a[k]! * line[i - k]!;
    line[i] = value;
  }
  for (let i = 0; i < count; i++) before[count - 1 - i] = line[n + i]! + mean;
  return before;
}

/** Prediction error filter 1, a1 … a_order: x[i] ≈ −Σ a_k·x[i − k]. */
function burg(x: Float64Array, order: number): Float64Array {
  const n = x.length;
  const forward = Float64Array.from(x);
  const backward = Float64Array.from(x);
  let a = new Float64Array(order + 1);
  a[0] = 1;
  for (let m = 1; m <= order; m++) {
    let top = 0;
    let bottom = 0;
    for (let i = m; i < n; i++) {
      top += forward[i]! * backward[i - 1]!;
      bottom += forward[i]! ** 2 + backward[i - 1]! ** 2;
    }
    // A record that is predicted already to the last digit has nothing more to teach.
    if (!(bottom > 1e-20 * n)) break;
    const reflection = (-2 * top) / bottom;
    const next = Float64Array.from(a);
    for (let k = 1; k <= m; k++) next[k] = a[k]! + reflection * a[m - k]!;
    a = next;
    for (let i = n - 1; i >= m; i--) {
      const f = forward[i]!;
      const b = backward[i - 1]!;
      forward[i] = f + reflection * b;
      backward[i] = b + reflection * f;
    }
  }
  return a;
}
