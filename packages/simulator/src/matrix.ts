import { divide, subtract, multiply, type Complex } from './complex.js';

/** Rows of a real matrix. */
export type Matrix = readonly (readonly number[])[];

export function identity(n: number): number[][] {
  return Array.from({ length: n }, (_, i) => Array.from({ length: n }, (_, j) => (i === j ? 1 : 0)));
}

export function product(a: Matrix, b: Matrix): number[][] {
  const columns = b[0]?.length ?? 0;
  const out: number[][] = [];
  for (const row of a) {
    const entries = new Array<number>(columns).fill(0);
    for (let k = 0; k < row.length; k++) {
      const factor = row[k]!;
      // The matrices here are mostly zeros.
      if (factor === 0) continue;
      const other = b[k]!;
      for (let j = 0; j < columns; j++) entries[j] = entries[j]! + factor * other[j]!;
    }
    out.push(entries);
  }
  return out;
}

/**
 * Matrix exponential by scaling and squaring of the Taylor series (C. Moler and C. Van Loan, "Nineteen dubious ways to
 * compute the exponential of a matrix", SIAM Review 45, 2003, methods 1 and 3): ample for the small, mildly scaled
 * matrices here.
 */
export function matrixExponential(a: Matrix): number[][] {
  const norm = Math.max(...a.map((row) => row.reduce((sum, value) => sum + Math.abs(value), 0)));
  const squarings = Math.max(0, Math.ceil(Math.log2(Math.max(norm, 1e-300))) + 3);
  const scaled = a.map((row) => row.map((value) => value / 2 ** squarings));
  let result = identity(a.length);
  let term = identity(a.length);
  for (let k = 1; k <= 14; k++) {
    term = product(term, scaled).map((row) => row.map((value) => value / k));
    result = result.map((row, i) => row.map((value, j) => value + term[i]![j]!));
  }
  for (let k = 0; k < squarings; k++) result = product(result, result);
  return result;
}

/**
 * State at the end of a step of `stepS` of x' = A x + B u with u held: x(end) = phi x(start) + gamma u.
 * Exact for any A, singular ones included (exponential of the augmented matrix).
 */
export function holdEquivalent(
  a: Matrix,
  b: readonly number[],
  stepS: number,
): { phi: number[][]; gamma: number[] } {
  const n = a.length;
  const augmented = a.map((row, i) => [...row.map((value) => value * stepS), b[i]! * stepS]);
  augmented.push(Array.from({ length: n + 1 }, () => 0));
  const e = matrixExponential(augmented);
  return { phi: e.slice(0, n).map((row) => row.slice(0, n)), gamma: e.slice(0, n).map((row) => row[n]!) };
}

/** Solves (z I − A) x = b for complex z and b by elimination with partial pivoting. */
export function resolvent(a: Matrix, z: Complex, b: readonly Complex[]): Complex[] {
  const n = a.length;
  const width = n + 1;
  // Real and imaginary parts apart, by rows of the augmented matrix: this runs once for each frequency of every loop judged.
  const re = new Float64Array(n * width);
  const im = new Float64Array(n * width);
  const rows = new Int32Array(n);
  for (let i = 0; i < n; i++) {
    rows[i] = i * width;
    const row = a[i]!;
    for (let j = 0; j < n; j++) re[i * width + j] = -row[j]!;
    re[i * width + i] = z.re - row[i]!;
    im[i * width + i] = z.im;
    re[i * width + n] = b[i]!.re;
    im[i * width + n] = b[i]!.im;
  }
  for (let k = 0; k < n; k++) {
    let best = k;
    let most = -1;
    for (let i = k; i < n; i++) {
      const at = rows[i]! + k;
      const size = re[at]! * re[at]! + im[at]! * im[at]!;
      if (size > most) {
        most = size;
        best = i;
      }
    }
    [rows[k], rows[best]] = [rows[best]!, rows[k]!];
    const pivot = rows[k]!;
    const pRe = re[pivot + k]!;
    const pIm = im[pivot + k]!;
    for (let i = k + 1; i < n; i++) {
      const row = rows[i]!;
      const xRe = re[row + k]!;
      const xIm = im[row + k]!;
      if (xRe === 0 && xIm === 0) continue;
      const fRe = (xRe * pRe + xIm * pIm) / most;
      const fIm = (xIm * pRe - xRe * pIm) / most;
      for (let j = k; j < width; j++) {
        const uRe = re[pivot + j]!;
        const uIm = im[pivot + j]!;
        re[row + j] = re[row + j]! - (fRe * uRe - fIm * uIm);
        im[row + j] = im[row + j]! - (fRe * uIm + fIm * uRe);
      }
    }
  }
  const x = new Array<Complex>(n);
  for (let i = n - 1; i >= 0; i--) {
    const row = rows[i]!;
    let sumRe = re[row + n]!;
    let sumIm = im[row + n]!;
    for (let j = i + 1; j < n; j++) {
      const known = x[j]!;
      sumRe -= re[row + j]! * known.re - im[row + j]! * known.im;
      sumIm -= re[row + j]! * known.im + im[row + j]! * known.re;
    }
    x[i] = divide({ re: sumRe, im: sumIm }, { re: re[row + i]!, im: im[row + i]! });
  }
  return x;
}

/**
 * Eigenvalues of a real square matrix: reduction to Hessenberg form by elimination, then the shifted QR algorithm in
 * complex arithmetic with Givens rotations and deflation (G. Golub and C. Van Loan, *Matrix Computations*, ch. 7).
 *
 * @throws Error if the iteration does not settle, which has not been seen for the loops here
 */
export function eigenvalues(a: Matrix): Complex[] {
  const n = a.length;
  const real = a.map((row) => Float64Array.from(row));
  reduceToHessenberg(real);
  // Real and imaginary parts apart: objects would dominate the run time of the inner loops.
  const re = real;
  const im = real.map(() => new Float64Array(n));
  const found: Complex[] = [];
  // Delays put a chain of zeros on the diagonal: there only the size of the whole matrix says what is negligible.
  const norm = Math.max(...real.map((row) => row.reduce((sum, value) => sum + Math.abs(value), 0)));
  let last = n - 1;
  let iterations = 0;
  while (last >= 0) {
    let first = last;
    while (first > 0) {
      const size = Math.hypot(re[first]![first - 1]!, im[first]![first - 1]!);
      const around =
        Math.hypot(re[first]![first]!, im[first]![first]!) +
        Math.hypot(re[first - 1]![first - 1]!, im[first - 1]![first - 1]!);
      if (size <= 1e-16 * around || size <= 1e-18 * norm) {
        re[first]![first - 1] = 0;
        im[first]![first - 1] = 0;
        break;
      }
      first--;
    }
    if (first === last) {
      found.push({ re: re[last]![last]!, im: im[last]![last]! });
      last--;
      iterations = 0;
      continue;
    }
    if (++iterations > 300) throw new Error('the eigenvalue iteration does not settle');
    qrStep(re, im, first, last, iterations % 11 === 10);
  }
  return found;
}

function reduceToHessenberg(h: Float64Array[]): void {
  const n = h.length;
  for (let k = 1; k < n - 1; k++) {
    let best = k;
    for (let i = k + 1; i < n; i++) if (Math.abs(h[i]![k - 1]!) > Math.abs(h[best]![k - 1]!)) best = i;
    if (h[best]![k - 1] === 0) continue;
    if (best !== k) {
      [h[k], h[best]] = [h[best]!, h[k]!];
      for (const row of h) [row[k], row[best]] = [row[best]!, row[k]!];
    }
    for (let i = k + 1; i < n; i++) {
      const factor = h[i]![k - 1]! / h[k]![k - 1]!;
      if (factor === 0) continue;
      for (let j = k - 1; j < n; j++) h[i]![j] = h[i]![j]! - factor * h[k]![j]!;
      for (const row of h) row[k] = row[k]! + factor * row[i]!;
    }
  }
  // Entries below the subdiagonal hold rounding only.
  for (let i = 2; i < n; i++) for (let j = 0; j < i - 1; j++) h[i]![j] = 0;
}

/** One explicit shifted QR step on the active block; `exceptional` breaks the rare cycle with an arbitrary shift. */
function qrStep(
  re: Float64Array[],
  im: Float64Array[],
  first: number,
  last: number,
  exceptional: boolean,
): void {
  const shift = exceptional
    ? { re: re[last]![last]! + Math.abs(re[last]![last - 1]!), im: im[last]![last]! }
    : wilkinsonShift(re, im, last);
  const rotations: { c: number; sRe: number; sIm: number }[] = [];
  for (let i = first; i <= last; i++) {
    re[i]![i] = re[i]![i]! - shift.re;
    im[i]![i] = im[i]![i]! - shift.im;
  }
  for (let k = first; k < last; k++) {
    const upRe = re[k]!;
    const upIm = im[k]!;
    const lowRe = re[k + 1]!;
    const lowIm = im[k + 1]!;
    // Givens rotation [c s; -conj(s) c] with real c that makes the lower entry zero.
    const fRe = upRe[k]!;
    const fIm = upIm[k]!;
    const gRe = lowRe[k]!;
    const gIm = lowIm[k]!;
    const f = Math.hypot(fRe, fIm);
    const norm = Math.hypot(f, gRe, gIm);
    let c = 1;
    let sRe = 0;
    let sIm = 0;
    if (norm > 0) {
      c = f / norm;
      const uRe = f > 0 ? fRe / f : 1;
      const uIm = f > 0 ? fIm / f : 0;
      sRe = (uRe * gRe + uIm * gIm) / norm;
      sIm = (uIm * gRe - uRe * gIm) / norm;
    }
    rotations.push({ c, sRe, sIm });
    for (let j = k; j <= last; j++) {
      const aRe = upRe[j]!;
      const aIm = upIm[j]!;
      const bRe = lowRe[j]!;
      const bIm = lowIm[j]!;
      upRe[j] = c * aRe + sRe * bRe - sIm * bIm;
      upIm[j] = c * aIm + sRe * bIm + sIm * bRe;
      lowRe[j] = c * bRe - (sRe * aRe + sIm * aIm);
      lowIm[j] = c * bIm - (sRe * aIm - sIm * aRe);
    }
  }
  for (let k = first; k < last; k++) {
    const { c, sRe, sIm } = rotations[k - first]!;
    for (let i = first; i <= Math.min(k + 2, last); i++) {
      const rowRe = re[i]!;
      const rowIm = im[i]!;
      const aRe = rowRe[k]!;
      const aIm = rowIm[k]!;
      const bRe = rowRe[k + 1]!;
      const bIm = rowIm[k + 1]!;
      rowRe[k] = c * aRe + sRe * bRe + sIm * bIm;
      rowIm[k] = c * aIm + sRe * bIm - sIm * bRe;
      rowRe[k + 1] = c * bRe - (sRe * aRe - sIm * aIm);
      rowIm[k + 1] = c * bIm - (sRe * aIm + sIm * aRe);
    }
  }
  for (let i = first; i <= last; i++) {
    re[i]![i] = re[i]![i]! + shift.re;
    im[i]![i] = im[i]![i]! + shift.im;
  }
}

/** The eigenvalue of the trailing 2×2 block that lies nearer its last entry. */
function wilkinsonShift(re: Float64Array[], im: Float64Array[], last: number): Complex {
  const a = { re: re[last - 1]![last - 1]!, im: im[last - 1]![last - 1]! };
  const b = { re: re[last - 1]![last]!, im: im[last - 1]![last]! };
  const c = { re: re[last]![last - 1]!, im: im[last]![last - 1]! };
  const d = { re: re[last]![last]!, im: im[last]![last]! };
  const half = { re: (a.re - d.re) / 2, im: (a.im - d.im) / 2 };
  const bc = multiply(b, c);
  const square = multiply(half, half);
  const inside = { re: square.re + bc.re, im: square.im + bc.im };
  const size = Math.sqrt(Math.hypot(inside.re, inside.im));
  const turn = Math.atan2(inside.im, inside.re) / 2;
  const root = { re: size * Math.cos(turn), im: size * Math.sin(turn) };
  const sign = half.re * root.re + half.im * root.im >= 0 ? 1 : -1;
  const denominator = { re: half.re + sign * root.re, im: half.im + sign * root.im };
  if (denominator.re === 0 && denominator.im === 0) return d;
  return subtract(d, divide(bc, denominator));
}
