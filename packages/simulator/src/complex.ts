/** Complex numbers, as far as the linear loop needs them. */
export interface Complex {
  readonly re: number;
  readonly im: number;
}

export const complex = (re: number, im = 0): Complex => ({ re, im });
export const add = (a: Complex, b: Complex): Complex => ({ re: a.re + b.re, im: a.im + b.im });
export const subtract = (a: Complex, b: Complex): Complex => ({ re: a.re - b.re, im: a.im - b.im });
export const scale = (a: Complex, k: number): Complex => ({ re: a.re * k, im: a.im * k });
export const multiply = (a: Complex, b: Complex): Complex => ({
  re: a.re * b.re - a.im * b.im,
  im: a.re * b.im + a.im * b.re,
});
export const divide = (a: Complex, b: Complex): Complex => {
  const d = b.re * b.re + b.im * b.im;
  return { re: (a.re * b.re + a.im * b.im) / d, im: (a.im * b.re - a.re * b.im) / d };
};
export const magnitude = (a: Complex): number => Math.hypot(a.re, a.im);
/** Principal value, −π…π. */
export const angle = (a: Complex): number => Math.atan2(a.im, a.re);
export const exponential = (a: Complex): Complex => {
  const m = Math.exp(a.re);
  return { re: m * Math.cos(a.im), im: m * Math.sin(a.im) };
};
/** Principal logarithm. */
export const logarithm = (a: Complex): Complex => ({ re: Math.log(magnitude(a)), im: angle(a) });
/** Whole power by repeated multiplication; negative powers by division. */
export const power = (a: Complex, n: number): Complex => {
  let result = complex(1);
  for (let i = 0; i < Math.abs(n); i++) result = multiply(result, a);
  return n < 0 ? divide(complex(1), result) : result;
};
