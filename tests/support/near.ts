import { expect } from 'vitest';

/** Fails unless `actual` is a number within `tolerance` of `expected`; says by how much it is off. */
export function near(
  actual: number | null | undefined,
  expected: number,
  tolerance: number,
  what = '',
): void {
  expect(typeof actual, `${what} is no number`).toBe('number');
  const off = Math.abs(actual! - expected);
  expect(off <= tolerance, `${what} ${actual!} is ${off} off ${expected}; allowed ${tolerance}`).toBe(true);
}

/** The result, or a failure with the reason why there is none. */
export function available<Result extends object>(
  result: Result,
): Exclude<Result, { readonly unavailable: string }> {
  if ('unavailable' in result) throw new Error(`unavailable: ${String(result.unavailable)}`);
  return result as Exclude<Result, { readonly unavailable: string }>;
}
