/**
 * Discrete Fourier transforms of any length on typed arrays.
 *
 * Complex sequences are interleaved: `[re0, im0, re1, im1, …]`. Conventions are the engineer's usual ones:
 * forward X[k] = Σ x[n] e^(−j2πkn/N) without a factor, inverse with 1/N.
 *
 * Powers of two go straight to fft.js. Other lengths are exact too (no zero padding): Bluestein's chirp form
 * turns the transform into a convolution whose length is a power of two (L. Bluestein, "A linear filtering
 * approach to the computation of discrete Fourier transform", IEEE Trans. Audio Electroacoust. 18(4), 1970).
 */
import FFT from 'fft.js';

/** Smallest power of two that is at least `n`; 1 for `n` ≤ 1. */
export function nextPowerOfTwo(n: number): number {
  if (!Number.isFinite(n) || n > 2 ** 30) throw new RangeError(`no transform of length ${n}`);
  let power = 1;
  while (power < n) power *= 2;
  return power;
}

/** Frequencies of a one-sided spectrum: k·sampleRateHz/length for k = 0 … ⌊length/2⌋. */
export function binFrequenciesHz(length: number, sampleRateHz: number): Float64Array {
  return Float64Array.from({ length: Math.floor(length / 2) + 1 }, (_, k) => (k * sampleRateHz) / length);
}

/**
 * Transform of a real sequence.
 *
 * @param x N real samples, any N ≥ 1
 * @returns interleaved bins 0 … ⌊N/2⌋; the rest follows from conjugate symmetry
 */
export function transformReal(x: ArrayLike<number>): Float64Array {
  const n = checkedLength(x.length);
  const bins = Math.floor(n / 2) + 1;
  if (n >= 4 && isPowerOfTwo(n)) {
    const plan = radixPlan(n);
    plan.fft.realTransform(plan.scratch, x);
    return plan.scratch.slice(0, 2 * bins);
  }
  const z = new Float64Array(2 * n);
  for (let i = 0; i < n; i++) z[2 * i] = x[i]!;
  return transformComplex(z).slice(0, 2 * bins);
}

/**
 * Transform of a complex sequence.
 *
 * @param z N interleaved complex samples (2N numbers), any N ≥ 1
 * @returns N interleaved bins
 */
export function transformComplex(z: Float64Array): Float64Array {
  const n = checkedLength(z.length / 2);
  if (n === 1) return z.slice();
  if (!isPowerOfTwo(n)) return transformBluestein(z, n);
  const out = new Float64Array(2 * n);
  radixPlan(n).fft.transform(out, z);
  return out;
}

/** Inverse of {@link transformComplex}, factor 1/N included. */
export function inverseComplex(spectrum: Float64Array): Float64Array {
  const n = checkedLength(spectrum.length / 2);
  if (n === 1) return spectrum.slice();
  if (isPowerOfTwo(n)) {
    const out = new Float64Array(2 * n);
    radixPlan(n).fft.inverseTransform(out, spectrum);
    return out;
  }
  // The inverse is the conjugate of the forward transform of the conjugate.
  const conjugate = spectrum.slice();
  for (let i = 1; i < conjugate.length; i += 2) conjugate[i] = -conjugate[i]!;
  const out = transformBluestein(conjugate, n);
  for (let i = 0; i < out.length; i += 2) {
    out[i] = out[i]! / n;
    out[i + 1] = -out[i + 1]! / n;
  }
  return out;
}

/**
 * Inverse of {@link transformReal}.
 *
 * @param half interleaved bins 0 … ⌊N/2⌋; imaginary parts at zero frequency and (even N) at the Nyquist bin are ignored
 * @param length N, needed because ⌊N/2⌋ does not tell even from odd
 */
export function inverseReal(half: Float64Array, length: number): Float64Array {
  const n = checkedLength(length);
  const bins = Math.floor(n / 2) + 1;
  if (half.length !== 2 * bins) {
    throw new RangeError(`a real sequence of ${n} samples has ${bins} bins, got ${half.length / 2}`);
  }
  const full = new Float64Array(2 * n);
  full.set(half);
  full[1] = 0;
  if (n % 2 === 0) full[n + 1] = 0;
  for (let k = 1; k < n - k; k++) {
    full[2 * (n - k)] = half[2 * k]!;
    full[2 * (n - k) + 1] = -half[2 * k + 1]!;
  }
  const z = inverseComplex(full);
  const x = new Float64Array(n);
  for (let i = 0; i < n; i++) x[i] = z[2 * i]!;
  return x;
}

interface Transformer {
  transform(out: Float64Array, data: ArrayLike<number>): void;
  realTransform(out: Float64Array, data: ArrayLike<number>): void;
  inverseTransform(out: Float64Array, data: ArrayLike<number>): void;
}
interface RadixPlan {
  readonly fft: Transformer;
  readonly scratch: Float64Array;
}
interface ChirpPlan {
  readonly size: number;
  /** e^(−jπn²/N), n = 0 … N−1 */
  readonly chirp: Float64Array;
  /** Transform of the conjugate chirp, wrapped to `size`. */
  readonly kernel: Float64Array;
}

// Plans cost as much as a transform or two; logs come in few lengths, so a handful is enough and bounds the memory.
const PLANS_KEPT = 24;
const radixPlans = new Map<number, RadixPlan>();
const chirpPlans = new Map<number, ChirpPlan>();

function radixPlan(n: number): RadixPlan {
  return keep(radixPlans, n, () => ({
    fft: new FFT(n) as Transformer,
    scratch: new Float64Array(2 * n),
  }));
}

function chirpPlan(n: number): ChirpPlan {
  return keep(chirpPlans, n, () => {
    const size = nextPowerOfTwo(2 * n - 1);
    const chirp = new Float64Array(2 * n);
    const wrapped = new Float64Array(2 * size);
    for (let i = 0; i < n; i++) {
      // n² taken modulo 2N keeps the angle small: its rounding would otherwise grow with n².
      const angle = (Math.PI * ((i * i) % (2 * n))) / n;
      const re = Math.cos(angle);
      const im = Math.sin(angle);
      chirp[2 * i] = re;
      chirp[2 * i + 1] = -im;
      wrapped[2 * i] = re;
      wrapped[2 * i + 1] = im;
      if (i > 0) {
        wrapped[2 * (size - i)] = re;
        wrapped[2 * (size - i) + 1] = im;
      }
    }
    return { size, chirp, kernel: transformComplex(wrapped) };
  });
}

function transformBluestein(z: Float64Array, n: number): Float64Array {
  const { size, chirp, kernel } = chirpPlan(n);
  const padded = new Float64Array(2 * size);
  multiply(padded, z, chirp, n);
  const product = transformComplex(padded);
  multiply(product, product, kernel, size);
  const convolved = inverseComplex(product);
  const out = new Float64Array(2 * n);
  multiply(out, convolved, chirp, n);
  return out;
}

/** out[i] = a[i]·b[i] for `count` interleaved complex numbers; `out` may be `a`. */
function multiply(out: Float64Array, a: Float64Array, b: Float64Array, count: number): void {
  for (let i = 0; i < 2 * count; i += 2) {
    const re = a[i]! * b[i]! - a[i + 1]! * b[i + 1]!;
    out[i + 1] = a[i]! * b[i + 1]! + a[i + 1]! * b[i]!;
    out[i] = re;
  }
}

function keep<T>(plans: Map<number, T>, n: number, make: () => T): T {
  const known = plans.get(n);
  if (known !== undefined) return known;
  const made = make();
  if (plans.size >= PLANS_KEPT) {
    for (const oldest of plans.keys()) {
      plans.delete(oldest);
      break;
    }
  }
  plans.set(n, made);
  return made;
}

function isPowerOfTwo(n: number): boolean {
  return n >= 2 && (n & (n - 1)) === 0;
}

function checkedLength(n: number): number {
  if (!Number.isInteger(n) || n < 1) throw new RangeError(`a transform needs at least one sample, got ${n}`);
  return n;
}
