/** Complex numbers as immutable pairs, as far as frequency responses need them. */
export interface Complex {
  readonly re: number;
  readonly im: number;
}

export const complex = (re: number, im = 0): Complex => ({ re, im });

/** e^(jφ), φ in rad. */
export const unitPhasor = (phaseRad: number): Complex => ({
  re: Math.cos(phaseRad),
  im: Math.sin(phaseRad),
});

export const add = (a: Complex, b: Complex): Complex => ({ re: a.re + b.re, im: a.im + b.im });
export const subtract = (a: Complex, b: Complex): Complex => ({ re: a.re - b.re, im: a.im - b.im });
export const scale = (a: Complex, factor: number): Complex => ({ re: a.re * factor, im: a.im * factor });
export const negate = (a: Complex): Complex => ({ re: -a.re, im: -a.im });
export const conjugate = (a: Complex): Complex => ({ re: a.re, im: -a.im });

export const multiply = (a: Complex, b: Complex): Complex => ({
  re: a.re * b.re - a.im * b.im,
  im: a.re * b.im + a.im * b.re,
});

/**
 * a / b without overflow or underflow on the way (R. L. Smith, "Algorithm 116: Complex division", Comm. ACM 5(8), 1962;
 * from memory). Division by 0 gives numbers that are not finite.
 */
export function divide(a: Complex, b: Complex): Complex {
  if (Math.abs(b.re) >= Math.abs(b.im)) {
    const ratio = b.im / b.re;
    const size = b.re + b.im * ratio;
    return { re: (a.re + a.im * ratio) / size, im: (a.im - a.re * ratio) / size };
  }
  const ratio = b.re / b.im;
  const size = b.re * ratio + b.im;
  return { re: (a.re * ratio + a.im) / size, im: (a.im * ratio - a.re) / size };
}

export const reciprocal = (a: Complex): Complex => divide({ re: 1, im: 0 }, a);

export const absolute = (a: Complex): number => Math.hypot(a.re, a.im);

/** Principal value in rad, −π … π; of 0 it is 0. */
export const argument = (a: Complex): number => Math.atan2(a.im, a.re);

export function exponential(a: Complex): Complex {
  const size = Math.exp(a.re);
  return { re: size * Math.cos(a.im), im: size * Math.sin(a.im) };
}

/** c[0]·sⁿ + c[1]·sⁿ⁻¹ + … + c[n]: real coefficients, highest power first. */
export function polynomialAt(coefficients: readonly number[], s: Complex): Complex {
  let re = 0;
  let im = 0;
  for (const c of coefficients) {
    const next = re * s.re - im * s.im + c;
    im = re * s.im + im * s.re;
    re = next;
  }
  return { re, im };
}

/** Value at s = jω of numerator/denominator · e^(−s·delay); coefficients highest power first, ω in rad/s. */
export function transferFunctionAt(
  numerator: readonly number[],
  denominator: readonly number[],
  omega: number,
  delayS = 0,
): Complex {
  const s = { re: 0, im: omega };
  const value = divide(polynomialAt(numerator, s), polynomialAt(denominator, s));
  return delayS === 0 ? value : multiply(value, unitPhasor(-omega * delayS));
}
