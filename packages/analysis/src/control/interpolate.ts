/** Between the samples of a smooth function of one variable. */

/** Index i of the interval from knots i to i + 1 that holds x, by halving; the first or last one for an x outside. */
export function intervalOf(knots: ArrayLike<number>, x: number): number {
  let low = 0;
  let high = knots.length - 1;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (knots[middle]! <= x) low = middle;
    else high = middle;
  }
  return low;
}

/** On the line between knots i and i + 1. */
export function interpolateLinear(x: ArrayLike<number>, y: ArrayLike<number>, at: number, i: number): number {
  return y[i]! + ((y[i + 1]! - y[i]!) * (at - x[i]!)) / (x[i + 1]! - x[i]!);
}

/** Between knots i and i + 1 on the cubic with the slopes of the parabolas through three knots; at least three knots. */
export function interpolateCubic(x: ArrayLike<number>, y: ArrayLike<number>, at: number, i: number): number {
  const width = x[i + 1]! - x[i]!;
  const t = (at - x[i]!) / width;
  const rise = y[i + 1]! - y[i]!;
  const left = width * slopeAt(x, y, i) - rise;
  const right = rise - width * slopeAt(x, y, i + 1);
  return y[i]! + t * rise + t * (1 - t) * ((1 - t) * left + t * right);
}

/** Slope at a knot of the parabola through it and its neighbours; at an end through the last three. */
function slopeAt(x: ArrayLike<number>, y: ArrayLike<number>, i: number): number {
  const m = Math.min(Math.max(i, 1), x.length - 2);
  const before = (y[m]! - y[m - 1]!) / (x[m]! - x[m - 1]!);
  const after = (y[m + 1]! - y[m]!) / (x[m + 1]! - x[m]!);
  const bend = (after - before) / (x[m + 1]! - x[m - 1]!);
  return before + bend * (2 * x[i]! - x[m - 1]! - x[m]!);
}
