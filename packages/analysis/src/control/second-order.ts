/**
 * The second-order system ω²/(s² + 2ζωs + ω²) and what damping means in it: textbook relations (for one K. Ogata, *Modern
 * Control Engineering*, chapter on transient response; from memory). ζ is the damping ratio, ω the natural frequency in rad/s.
 */

/** Overshoot of the step response in percent, 0 ≤ ζ; from ζ = 1 on it is 0. */
export function overshootPctOfDamping(damping: number): number {
  requireDamping(damping);
  return damping >= 1 ? 0 : 100 * Math.exp((-Math.PI * damping) / Math.sqrt(1 - damping ** 2));
}

/**
 * Damping ratio of a system that overshoots by so many percent.
 *
 * @throws RangeError unless above 0 and at most 100: without overshoot the damping is 1 or more, nobody knows how much
 */
export function dampingOfOvershootPct(overshootPct: number): number {
  if (!(overshootPct > 0 && overshootPct <= 100)) {
    throw new RangeError(
      `an overshoot of ${overshootPct} % tells no damping ratio: more than 0, at most 100`,
    );
  }
  return dampingOfDecrement(2 * Math.log(100 / overshootPct));
}

/** Phase margin in degrees of the loop ω²/(s(s + 2ζω)), whose closed loop is the second-order system. */
export function phaseMarginDegOfDamping(damping: number): number {
  requireDamping(damping);
  const crossover = Math.sqrt(Math.sqrt(1 + 4 * damping ** 4) - 2 * damping ** 2);
  return (180 / Math.PI) * Math.atan2(2 * damping, crossover);
}

/** Damping ratio of that closed loop from a phase margin of its loop; exact inverse. @throws RangeError outside 0 … 90° */
export function dampingOfPhaseMarginDeg(phaseMarginDeg: number): number {
  if (!(phaseMarginDeg >= 0 && phaseMarginDeg < 90)) {
    throw new RangeError(
      `a phase margin of ${phaseMarginDeg}° belongs to no second-order loop: 0 to below 90`,
    );
  }
  // With t = tan PM and u the crossover over ω: 2ζ = t·u and u⁴ + 4ζ²u² = 1, so u⁴(1 + t²) = 1.
  const t = Math.tan((phaseMarginDeg * Math.PI) / 180);
  return t / 2 / (1 + t * t) ** 0.25;
}

/** Logarithm of the ratio of two peaks of free decay one period apart, 0 ≤ ζ < 1. */
export function decrementOfDamping(damping: number): number {
  requireDamping(damping);
  if (damping >= 1) throw new RangeError(`with a damping ratio of ${damping} there are no periods`);
  return (2 * Math.PI * damping) / Math.sqrt(1 - damping ** 2);
}

/** Damping ratio from the logarithmic decrement; negative for growth. */
export const dampingOfDecrement = (decrement: number): number =>
  decrement / Math.hypot(2 * Math.PI, decrement);

/**
 * Logarithmic decrement from two peaks some periods apart.
 *
 * @throws RangeError unless both peaks and the number of periods are above 0
 */
export function decrementOfPeaks(first: number, later: number, periods: number): number {
  if (!(first > 0) || !(later > 0) || !(periods > 0)) {
    throw new RangeError(`no decrement from peaks of ${first} and ${later}, ${periods} periods apart`);
  }
  return Math.log(first / later) / periods;
}

/** Frequency at which the gain has fallen by 3 dB (to 1/√2), over the natural frequency. */
export function bandwidthRatio(damping: number): number {
  requireDamping(damping);
  const a = 1 - 2 * damping ** 2;
  return Math.sqrt(a + Math.sqrt(a * a + 1));
}

/** Largest gain over the static one; 1 from ζ = 1/√2 on. Infinity for ζ = 0. */
export function resonantPeak(damping: number): number {
  requireDamping(damping);
  return damping >= Math.SQRT1_2 ? 1 : 1 / (2 * damping * Math.sqrt(1 - damping ** 2));
}

/** Frequency of that peak over the natural frequency; null from ζ = 1/√2 on. */
export function resonantFrequencyRatio(damping: number): number | null {
  requireDamping(damping);
  return damping >= Math.SQRT1_2 ? null : Math.sqrt(1 - 2 * damping ** 2);
}

/** Time to the first peak of the step response times the natural frequency; null from ζ = 1 on. */
export function peakTimeRatio(damping: number): number | null {
  requireDamping(damping);
  return damping >= 1 ? null : Math.PI / Math.sqrt(1 - damping ** 2);
}

/** Damping ratio as the half-power width of a resonance tells it: too large by some percent at 0.1, right for small ones. */
export const dampingOfHalfPowerWidth = (lowHz: number, highHz: number, peakHz: number): number =>
  (highHz - lowHz) / (2 * peakHz);

/** Natural frequency (rad/s) and damping ratio of a pole at re ± j·im (1/s); a pole at 0 has neither. */
export function modeOfPole(re: number, im: number): { naturalRadS: number; damping: number } | null {
  const naturalRadS = Math.hypot(re, im);
  return naturalRadS > 0 ? { naturalRadS, damping: -re / naturalRadS } : null;
}

function requireDamping(damping: number): void {
  if (!(damping >= 0)) throw new RangeError(`a damping ratio of ${damping} is not 0 or more`);
}
