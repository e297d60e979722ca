import { multiplyPolynomials } from './polynomial.js';
import type { RandomSource } from './random.js';

/** L = numerator/denominator, highest power first, strictly proper, without poles on the imaginary axis but at 0. */
export interface RationalLoop {
  readonly numerator: number[];
  readonly denominator: number[];
  readonly unstablePoles: number;
  readonly polesAtOrigin: number;
}

/**
 * A loop with up to six poles and fewer zeros between 0.3 and 30 rad/s, real or complex, damping ratios from 0.03 on; some on the
 * right, some poles at 0, gains over four decades.
 */
export function randomLoop(random: RandomSource): RationalLoop {
  const between = (low: number, high: number): number => low * (high / low) ** random.uniform();
  const pick = (...choices: number[]): number => choices[Math.floor(random.uniform() * choices.length)]!;
  const polesAtOrigin = pick(0, 0, 1, 1, 1, 2, 2, 3);
  const others = pick(1, 2, 3, 3);
  let unstablePoles = 0;
  let degree = polesAtOrigin;
  const poles: number[][] = Array.from({ length: polesAtOrigin }, () => [1, 0]);
  for (let i = 0; i < others; i++) {
    const omega = between(0.3, 30);
    const unstable = random.uniform() < 0.12;
    const sign = unstable ? -1 : 1;
    if (random.uniform() < 0.5) {
      poles.push([1, sign * omega]);
      degree += 1;
      unstablePoles += unstable ? 1 : 0;
    } else {
      poles.push([1, sign * 2 * between(0.03, 0.95) * omega, omega * omega]);
      degree += 2;
      unstablePoles += unstable ? 2 : 0;
    }
  }
  const zeros: number[][] = [];
  let free = degree - 1;
  while (free > 0 && random.uniform() < 0.75) {
    const omega = between(0.3, 30);
    const sign = random.uniform() < 0.1 ? -1 : 1;
    if (free > 1 && random.uniform() < 0.3) {
      zeros.push([1, sign * 2 * between(0.03, 0.95) * omega, omega * omega]);
      free -= 2;
    } else {
      zeros.push([1, sign * omega]);
      free -= 1;
    }
  }
  const shape = multiplyPolynomials(...zeros);
  const denominator = multiplyPolynomials(...poles);
  // Gain such that |L| is of the order of 1 somewhere between the corners.
  const size = (c: readonly number[], w: number): number => c.reduce((sum, k) => sum * w + Math.abs(k), 0);
  const at = between(0.3, 30);
  const gain = (between(0.03, 30) * size(denominator, at)) / size(shape, at);
  const signed = random.uniform() < 0.06 ? -gain : gain;
  return { numerator: shape.map((c) => c * signed), denominator, unstablePoles, polesAtOrigin };
}
