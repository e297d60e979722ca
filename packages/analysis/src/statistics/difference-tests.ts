/** Is a difference there, is it negligible, or is neither shown? For estimates with a known standard error (normal). */
import { normalProbability } from './distributions.js';

/** Two-sided p-value of no difference. 1 without a standard error to judge by. */
export function differenceP(difference: number, standardError: number): number {
  if (!(standardError > 0)) return difference === 0 ? 1 : standardError === 0 ? 0 : 1;
  return Math.min(1, 2 * normalProbability(-Math.abs(difference) / standardError));
}

/**
 * P-value of the two one-sided tests that a difference lies beyond ± `bound`; small: the two are the same for all purposes that
 * the bound stands for. D. J. Schuirmann, J. Pharmacokin. Biopharm. 15, 1987.
 */
export function equivalenceP(difference: number, standardError: number, bound: number): number {
  const room = bound - Math.abs(difference);
  if (!(standardError > 0)) return standardError === 0 && room > 0 ? 0 : 1;
  // The nearer bound decides.
  return normalProbability(-room / standardError);
}
