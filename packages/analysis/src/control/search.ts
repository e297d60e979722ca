/** Roots and minima of smooth functions of one variable. */

/**
 * Root of `f` between `a` and `b`, where its sign differs: false position with Anderson and Björck's weights (BIT 13, 1973;
 * from memory), and a halving wherever that shrinks the bracket slowly.
 *
 * @param fa f(a)
 * @param fb f(b)
 * @param tolerance width at which a bracket counts as the root
 */
export function findRoot(
  f: (x: number) => number,
  a: number,
  b: number,
  fa: number,
  fb: number,
  tolerance = 1e-12,
): number {
  if (fa === 0) return a;
  if (fb === 0) return b;
  let [low, high, fLow, fHigh] = [a, b, fa, fb];
  let width = Math.abs(high - low);
  for (let i = 0; i < 100 && Math.abs(high - low) > tolerance; i++) {
    // Every third step has to have quartered the bracket, or the next one halves it.
    const halve = i % 3 === 2 && Math.abs(high - low) > width / 4;
    if (i % 3 === 2) width = Math.abs(high - low);
    const x = halve ? (low + high) / 2 : high - (fHigh * (high - low)) / (fHigh - fLow);
    const fx = f(x);
    if (fx === 0) return x;
    const step = Math.abs(x - high);
    if (fx < 0 !== fHigh < 0) {
      low = high;
      fLow = fHigh;
    } else if (!halve) {
      const weight = 1 - fx / fHigh;
      fLow *= weight > 0 ? weight : 0.5;
    }
    high = x;
    fHigh = fx;
    if (step < tolerance) break;
  }
  return high;
}

/** Place of the least value of `f` between `a` and `b` by golden section, to 1e-5 of the width of the bracket. */
export function findMinimum(f: (x: number) => number, a: number, b: number): number {
  const golden = (Math.sqrt(5) - 1) / 2;
  let [low, high] = [a, b];
  let left = high - golden * (high - low);
  let right = low + golden * (high - low);
  let [fLeft, fRight] = [f(left), f(right)];
  for (let i = 0; i < 24; i++) {
    if (fLeft < fRight) {
      [high, right, fRight] = [right, left, fLeft];
      left = high - golden * (high - low);
      fLeft = f(left);
    } else {
      [low, left, fLeft] = [left, right, fRight];
      right = low + golden * (high - low);
      fRight = f(right);
    }
  }
  return fLeft < fRight ? left : right;
}
