/** Step response of a strictly proper transfer function, coefficients highest power first, by Runge and Kutta's fourth order. */
export function stepOfTransferFunction(
  numerator: readonly number[],
  denominator: readonly number[],
  { endS, stepS }: { endS: number; stepS: number },
): { timeS: number[]; value: number[] } {
  const order = denominator.length - 1;
  if (numerator.length > order) throw new RangeError('not strictly proper');
  // Controllable form: x₁′ = x₂, …, x_n′ = u − Σ a·x; y = Σ b·x.
  const a = denominator.slice(1).map((c) => c / denominator[0]!);
  const b = numerator.map((c) => c / denominator[0]!);
  const slope = (x: readonly number[]): number[] => [
    ...x.slice(1),
    1 - a.reduce((sum, c, i) => sum + c * x[order - 1 - i]!, 0),
  ];
  const along = (x: readonly number[], k: readonly number[], h: number): number[] =>
    x.map((value, i) => value + h * k[i]!);
  let x = new Array<number>(order).fill(0);
  const timeS: number[] = [];
  const value: number[] = [];
  for (let i = 0; i * stepS <= endS * (1 + 1e-12); i++) {
    timeS.push(i * stepS);
    value.push(b.reduce((sum, c, k) => sum + c * x[b.length - 1 - k]!, 0));
    const k1 = slope(x);
    const k2 = slope(along(x, k1, stepS / 2));
    const k3 = slope(along(x, k2, stepS / 2));
    const k4 = slope(along(x, k3, stepS));
    x = x.map((v, j) => v + (stepS / 6) * (k1[j]! + 2 * k2[j]! + 2 * k3[j]! + k4[j]!));
  }
  return { timeS, value };
}
