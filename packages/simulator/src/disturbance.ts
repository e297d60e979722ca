import type { Random } from './random.js';

/**
 * Coloured noise of a stated standard deviation: white noise through one or two equal first-order lags, stepped once
 * per controller step and started from its stationary state.
 */
export interface ColouredNoise {
  next(): number;
}

export function makeColouredNoise(
  std: number,
  cornerHz: number,
  order: 1 | 2,
  stepS: number,
  random: Random,
): ColouredNoise {
  const keep = Math.exp(-2 * Math.PI * cornerHz * stepS);
  const fresh = Math.sqrt(1 - keep * keep);
  let first = random.normal();
  // The second lag halves the variance (for corners far below the step rate) and follows the first one.
  let second = first / 2 + random.normal() / 2;
  return {
    next() {
      first = keep * first + fresh * random.normal();
      if (order === 1) return std * first;
      second = keep * second + (1 - keep) * first;
      return std * Math.SQRT2 * second;
    },
  };
}
