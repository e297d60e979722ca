import { add, angle, complex, magnitude, type Complex } from './complex.js';

/** Robustness of one loop; see `Margins` in the contract of the results. */
export interface MarginTruth {
  readonly stable: boolean;
  /**
   * How much the gain may rise before the loop becomes unstable; of an unstable loop minus the least cut that makes it
   * stable. null: no such limit.
   */
  readonly gainMarginDb: number | null;
  /** How much it may fall; of an unstable loop minus the least rise that makes it stable. null: no such limit. */
  readonly gainReductionMarginDb: number | null;
  /** Least distance of the phase from −180° at a gain crossing; of an unstable loop the worst negative one. */
  readonly phaseMarginDeg: number | null;
  /** Gain crossing that the phase margin belongs to. */
  readonly crossoverHz: number | null;
  /** Phase crossing that the gain margin belongs to. */
  readonly phaseCrossoverHz: number | null;
  /** Largest |1/(1 + L)|; null for an unstable loop. */
  readonly sensitivityPeak: number | null;
}

export interface LoopToJudge {
  /** L(jω), ω in rad/s. */
  readonly response: (omega: number) => Complex;
  /** Whether the closed loop with L times this factor is stable. */
  readonly stableAt: (gain: number) => boolean;
  /** Frequencies to search, rad/s, rising. Dense where the loop is resonant. */
  readonly grid: readonly number[];
  /** A sampled loop has a real response at its last frequency, half the sampling rate. */
  readonly endsReal: boolean;
}

const decibel = (ratio: number): number => 20 * Math.log10(ratio);

/** Root of `f` between a and b, where its sign differs, by bisection on the logarithm of the frequency. */
function bisect(f: (omega: number) => number, a: number, b: number): number {
  let low = a;
  let high = b;
  const sign = Math.sign(f(low));
  for (let i = 0; i < 60 && high / low - 1 > 1e-13; i++) {
    const middle = Math.sqrt(low * high);
    if (Math.sign(f(middle)) === sign) low = middle;
    else high = middle;
  }
  return Math.sqrt(low * high);
}

/**
 * Margins of a loop by searching all its crossings: any number of gain and phase crossings, stable only between two
 * gains (conditionally stable), or unstable as it is.
 */
export function findMargins(loop: LoopToJudge): MarginTruth {
  const { response, grid } = loop;
  const values = grid.map(response);
  const phaseCrossings: { omega: number; gain: number }[] = [];
  const gainCrossings: { omega: number; phaseDeg: number }[] = [];
  const keepPhaseCrossing = (omega: number, value: Complex): void => {
    const size = magnitude(value);
    if (value.re < 0 && size > 0) phaseCrossings.push({ omega, gain: 1 / size });
  };
  for (let i = 0; i + 1 < grid.length; i++) {
    const a = values[i]!;
    const b = values[i + 1]!;
    if (Math.sign(a.im) !== Math.sign(b.im) && (a.re < 0 || b.re < 0)) {
      const omega = bisect((w) => response(w).im, grid[i]!, grid[i + 1]!);
      keepPhaseCrossing(omega, response(omega));
    }
    if (magnitude(a) >= 1 !== magnitude(b) >= 1) {
      const omega = bisect((w) => magnitude(response(w)) - 1 || 1e-300, grid[i]!, grid[i + 1]!);
      let phase = (angle(response(omega)) * 180) / Math.PI + 180;
      if (phase > 180) phase -= 360;
      gainCrossings.push({ omega, phaseDeg: phase });
    }
  }
  // A real, negative response at the ends of the frequency axis is a crossing too: divergence without oscillation.
  const ends = loop.endsReal ? [values[0]!, values.at(-1)!] : [values[0]!];
  ends.forEach((value, i) => {
    if (Math.abs(value.im) < 1e-2 * Math.abs(value.re)) keepPhaseCrossing(grid.at(i === 0 ? 0 : -1)!, value);
  });

  const stable = loop.stableAt(1);
  const limits = gainLimits(loop, phaseCrossings, stable);
  const phase = choosePhaseMargin(gainCrossings, stable);
  return {
    stable,
    gainMarginDb: limits.up === null ? null : decibel(limits.up.gain),
    gainReductionMarginDb: limits.down === null ? null : -decibel(limits.down.gain),
    phaseMarginDeg: phase?.phaseDeg ?? null,
    crossoverHz: phase === null ? null : phase.omega / (2 * Math.PI),
    phaseCrossoverHz: limits.up === null ? null : limits.up.omega / (2 * Math.PI),
    sensitivityPeak: stable ? sensitivityPeak(loop, values) : null,
  };
}

interface GainLimit {
  omega: number;
  gain: number;
}

/**
 * `up`: the gain factor the loop must stay below, `down`: the one it must stay above. Stability between two
 * neighbouring crossings is asked of the poles, not guessed from the curve.
 */
function gainLimits(
  loop: LoopToJudge,
  crossings: readonly GainLimit[],
  stable: boolean,
): { up: GainLimit | null; down: GainLimit | null } {
  const above = crossings.filter((c) => c.gain > 1).sort((a, b) => a.gain - b.gain);
  const below = crossings.filter((c) => c.gain <= 1).sort((a, b) => b.gain - a.gain);
  const beyond = (list: readonly GainLimit[], i: number): number =>
    i + 1 < list.length
      ? Math.sqrt(list[i]!.gain * list[i + 1]!.gain)
      : list[i]!.gain * (list[i]!.gain > 1 ? 1.05 : 1 / 1.05);
  const firstChange = (list: readonly GainLimit[]): GainLimit | null => {
    for (let i = 0; i < list.length; i++) {
      if (loop.stableAt(beyond(list, i)) !== stable) return list[i]!;
    }
    return null;
  };
  const higher = firstChange(above);
  const lower = firstChange(below);
  // Of an unstable loop the nearest stable gain below is how far it must come down, the one above how far up.
  return stable ? { up: higher, down: lower } : { up: lower, down: higher };
}

function choosePhaseMargin(
  crossings: readonly { omega: number; phaseDeg: number }[],
  stable: boolean,
): { omega: number; phaseDeg: number } | null {
  if (crossings.length === 0) return null;
  if (stable) {
    const nearest = crossings.reduce((a, b) => (Math.abs(b.phaseDeg) < Math.abs(a.phaseDeg) ? b : a));
    return { omega: nearest.omega, phaseDeg: Math.abs(nearest.phaseDeg) };
  }
  const worst = crossings.reduce((a, b) => (b.phaseDeg < a.phaseDeg ? b : a));
  return worst.phaseDeg < 0 ? worst : null;
}

function sensitivityPeak(loop: LoopToJudge, values: readonly Complex[]): number {
  const distance = (value: Complex): number => magnitude(add(value, complex(1)));
  let best = 0;
  for (let i = 1; i < values.length; i++) if (distance(values[i]!) < distance(values[best]!)) best = i;
  // Golden-section search around the closest point of the grid.
  const golden = (Math.sqrt(5) - 1) / 2;
  let low = Math.log(loop.grid[Math.max(0, best - 1)]!);
  let high = Math.log(loop.grid[Math.min(values.length - 1, best + 1)]!);
  const at = (x: number): number => distance(loop.response(Math.exp(x)));
  for (let i = 0; i < 40; i++) {
    const a = high - golden * (high - low);
    const b = low + golden * (high - low);
    if (at(a) < at(b)) high = b;
    else low = a;
  }
  return 1 / Math.min(at((low + high) / 2), distance(values[best]!));
}

/** Logarithmic frequencies from low to high, with more of them around each resonance (all rad/s). */
export function frequencyGrid(
  low: number,
  high: number,
  perDecade: number,
  resonances: readonly number[] = [],
): number[] {
  const count = Math.ceil(Math.log10(high / low) * perDecade);
  const grid = Array.from({ length: count + 1 }, (_, i) => low * (high / low) ** (i / count));
  for (const w of resonances) {
    for (let i = -200; i <= 200; i++) {
      const omega = w * Math.exp(Math.sign(i) * 0.3 * (Math.abs(i) / 200) ** 2);
      if (omega > low && omega < high) grid.push(omega);
    }
  }
  return grid.sort((a, b) => a - b);
}
