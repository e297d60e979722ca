/** Sampled complex exponentials, the inner loop of tone fits. */

/** Samples between two exact values: keeps the rounding of the recurrence below 1e-14. */
const RESEED = 64;

/**
 * Fills e^{(g + jω)t} into `cosine` (real part) and `sine` (imaginary part).
 *
 * @param time any times; on equal steps a recurrence replaces four in five of the costly functions
 * @param step the common step, or null when the times are not equally spaced
 */
export function fillPhasor(
  time: Float64Array,
  step: number | null,
  omega: number,
  growth: number,
  cosine: Float64Array,
  sine: Float64Array,
): void {
  const n = time.length;
  if (step === null) {
    for (let i = 0; i < n; i++) {
      const envelope = growth === 0 ? 1 : Math.exp(growth * time[i]!);
      cosine[i] = envelope * Math.cos(omega * time[i]!);
      sine[i] = envelope * Math.sin(omega * time[i]!);
    }
    return;
  }
  const ratio = Math.exp(growth * step);
  const turnRe = ratio * Math.cos(omega * step);
  const turnIm = ratio * Math.sin(omega * step);
  for (let from = 0; from < n; from += RESEED) {
    const envelope = Math.exp(growth * time[from]!);
    let re = envelope * Math.cos(omega * time[from]!);
    let im = envelope * Math.sin(omega * time[from]!);
    const to = Math.min(n, from + RESEED);
    for (let i = from; i < to; i++) {
      cosine[i] = re;
      sine[i] = im;
      const next = re * turnRe - im * turnIm;
      im = re * turnIm + im * turnRe;
      re = next;
    }
  }
}
