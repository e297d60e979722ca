/**
 * Distribution functions and quantiles. The work is done by @stdlib (ports of Boost and Cephes). Against SciPy,
 * quantiles agree within 1e-9 relative for probabilities from 1e-6 to 1 − 1e-6, chi-square and normal within 1e-11.
 *
 * Probabilities run from 0 to 1; degrees of freedom are positive and need not be whole. Anything else throws.
 * Probabilities are accurate to about 1e-10 absolute: do not take logarithms of smaller ones.
 */
import chiSquareCdf from '@stdlib/stats-base-dists-chisquare-cdf';
import chiSquareInverse from '@stdlib/stats-base-dists-chisquare-quantile';
import fCdf from '@stdlib/stats-base-dists-f-cdf';
import fInverse from '@stdlib/stats-base-dists-f-quantile';
import normalCdf from '@stdlib/stats-base-dists-normal-cdf';
import normalInverse from '@stdlib/stats-base-dists-normal-quantile';

/** Value that a chi-square variable stays below with probability `p`. */
export function chiSquareQuantile(p: number, degreesOfFreedom: number): number {
  return known(chiSquareInverse(p, degreesOfFreedom), p, degreesOfFreedom);
}

/** Probability that a chi-square variable is at most `x`. */
export function chiSquareProbability(x: number, degreesOfFreedom: number): number {
  return known(chiSquareCdf(x, degreesOfFreedom), x, degreesOfFreedom);
}

/** Value that an F variable stays below with probability `p`; degrees of freedom of numerator and denominator. */
export function fQuantile(p: number, numerator: number, denominator: number): number {
  return known(fInverse(p, numerator, denominator), p, numerator, denominator);
}

/** Probability that an F variable is at most `x`. */
export function fProbability(x: number, numerator: number, denominator: number): number {
  return known(fCdf(x, numerator, denominator), x, numerator, denominator);
}

/**
 * Value that a Student t variable stays below with probability `p`.
 *
 * By way of F, of which t² with one numerator degree of freedom is an instance: that spares a dependency.
 */
export function studentQuantile(p: number, degreesOfFreedom: number): number {
  const inside = Math.abs(2 * p - 1);
  return Math.sign(p - 0.5) * Math.sqrt(fQuantile(inside, 1, degreesOfFreedom));
}

/** Probability that a Student t variable is at most `x`. */
export function studentProbability(x: number, degreesOfFreedom: number): number {
  return 0.5 + (Math.sign(x) / 2) * fProbability(x * x, 1, degreesOfFreedom);
}

/** Value that a standard normal variable stays below with probability `p`. */
export function normalQuantile(p: number): number {
  return known(normalInverse(p, 0, 1), p);
}

/** Probability that a standard normal variable is at most `x`. */
export function normalProbability(x: number): number {
  return known(normalCdf(x, 0, 1), x);
}

function known(value: number, ...given: readonly number[]): number {
  if (Number.isNaN(value)) {
    throw new RangeError(`not a probability, or not positive degrees of freedom: ${given.join(', ')}`);
  }
  return value;
}
