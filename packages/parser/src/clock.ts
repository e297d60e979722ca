import type { Clock, Interval } from './flight.js';

/** A step longer than this many median steps counts as a gap. */
const GAP_STEPS = 3;

/**
 * Describes sample times: rate, jitter and gaps.
 *
 * @param timeS strictly increasing times in s, at least one
 * @throws RangeError if the times do not increase
 */
export function describeClock(timeS: Float64Array): Clock {
  const steps = new Float64Array(Math.max(0, timeS.length - 1));
  for (let i = 0; i < steps.length; i++) {
    steps[i] = timeS[i + 1]! - timeS[i]!;
    if (!(steps[i]! > 0)) throw new RangeError(`sample times must increase (sample ${String(i + 2)})`);
  }
  if (steps.length === 0) return { timeS, sampleRateHz: 0, jitterPct: 0, gaps: [] };
  const median = Float64Array.from(steps).sort()[steps.length >> 1]!;
  const gaps: Interval[] = [];
  let sum = 0;
  let sumSquares = 0;
  let count = 0;
  for (let i = 0; i < steps.length; i++) {
    const step = steps[i]!;
    if (step > GAP_STEPS * median) gaps.push({ startS: timeS[i]!, endS: timeS[i + 1]! });
    else {
      sum += step;
      sumSquares += (step - median) ** 2;
      count++;
    }
  }
  const mean = sum / count;
  const variance = Math.max(0, sumSquares / count - (mean - median) ** 2);
  return { timeS, sampleRateHz: 1 / mean, jitterPct: (100 * Math.sqrt(variance)) / median, gaps };
}
