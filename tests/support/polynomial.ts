/** Polynomials with real coefficients, highest power first, for tests that need poles of closed loops. */
import {
  absolute,
  add,
  complex,
  divide,
  multiply,
  polynomialAt,
  subtract,
} from '../../packages/analysis/src/control/index.js';
import type { Complex } from '../../packages/analysis/src/control/index.js';

export function multiplyPolynomials(...factors: readonly (readonly number[])[]): number[] {
  return factors.reduce<number[]>(
    (product, factor) => {
      const out = new Array<number>(product.length + factor.length - 1).fill(0);
      product.forEach((a, i) => factor.forEach((b, j) => (out[i + j]! += a * b)));
      return out;
    },
    [1],
  );
}

export function addPolynomials(a: readonly number[], b: readonly number[]): number[] {
  const length = Math.max(a.length, b.length);
  const at = (c: readonly number[], i: number): number => c[i - (length - c.length)] ?? 0;
  return Array.from({ length }, (_, i) => at(a, i) + at(b, i));
}

/** All roots by simultaneous iteration (O. Aberth, Math. Comp. 27, 1973; L. Ehrlich, Comm. ACM 10, 1967; from memory). */
export function polynomialRoots(coefficients: readonly number[]): Complex[] {
  const lead = coefficients.findIndex((c) => c !== 0);
  const c = coefficients.slice(lead).map((value) => value / coefficients[lead]!);
  const degree = c.length - 1;
  const slope = c.slice(0, -1).map((value, i) => value * (degree - i));
  const bound = 1 + Math.max(...c.slice(1).map(Math.abs));
  const size = Math.min(
    bound,
    Math.max(...c.slice(1).map((value, i) => Math.abs(value) ** (1 / (i + 1)))) || 1,
  );
  let roots = Array.from({ length: degree }, (_, i) => {
    const angle = (2 * Math.PI * i) / degree + 0.4;
    return complex(size * Math.cos(angle), size * Math.sin(angle));
  });
  for (let iteration = 0; iteration < 500; iteration++) {
    let moved = 0;
    roots = roots.map((root, i) => {
      const value = polynomialAt(c, root);
      if (absolute(value) === 0) return root;
      const newton = divide(value, polynomialAt(slope, root));
      let repulsion = complex(0);
      roots.forEach((other, j) => {
        if (j !== i) repulsion = add(repulsion, divide(complex(1), subtract(root, other)));
      });
      const step = divide(newton, subtract(complex(1), multiply(newton, repulsion)));
      if (!Number.isFinite(step.re) || !Number.isFinite(step.im)) return add(root, complex(1e-8, 1e-8));
      moved = Math.max(moved, absolute(step) / Math.max(absolute(root), 1e-300));
      return subtract(root, step);
    });
    if (moved < 1e-14) break;
  }
  return roots;
}
