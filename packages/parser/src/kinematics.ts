import type { AxisName } from './flight.js';

/** One logged quantity over time. */
export interface Series {
  readonly timeS: Float64Array;
  readonly values: Float64Array;
}

export type PerAxis<T> = Partial<Record<AxisName, T>>;

/** How two rates about an axis agree over a record. */
export interface Agreement {
  /** Standard deviation of the second over that of the first, always positive. */
  readonly gain: number;
  /** Correlation, −1…1. */
  readonly correlation: number;
  /** Standard deviation of the first. */
  readonly deviation: number;
}

/** Most windows compared: enough for any statistic, and fast for an hour of log. */
const WINDOW_LIMIT = 20_000;
const LEAST_WINDOWS = 30;
/** Shortest window in s: shorter ones compare noise with noise. */
const SHORTEST_S = 0.02;
/** Pitch beyond which Euler rates say nothing, in rad. */
const STEEP = 1.2;
/** No aircraft turns faster, in rad/s: what does is a glitch of the attitude. */
const FASTEST = 60;

/**
 * Compares attitude with body rate over windows: the change of the angles against the integral of the rate, so that
 * vibration above the attitude's sample rate and noise of single samples fall out. The full kinematics of ZYX Euler
 * angles hold for any tilt: p = φ' − ψ' sin θ, q = θ' cos φ + ψ' sin φ cos θ, r = −θ' sin φ + ψ' cos φ cos θ
 * (textbook, from memory; the inverse of reference-values.md section 10).
 *
 * @param attitude angles in rad, unwrapped
 * @param rates body rates in any unit
 * @returns per axis, `gain` as rate over angle rate; absent where there is too little to compare
 */
export function compareAttitudeWithRates(
  attitude: PerAxis<Series>,
  rates: PerAxis<Series>,
): PerAxis<Agreement> {
  const best: PerAxis<Agreement> = {};
  for (const stretch of [1, 5]) {
    const found = compareAtWindow(attitude, rates, stretch);
    for (const axis of ['roll', 'pitch', 'yaw'] as const) {
      const each = found[axis];
      if (each && Math.abs(each.correlation) > Math.abs(best[axis]?.correlation ?? 0)) best[axis] = each;
    }
  }
  return best;
}

/** Compares two sets of body rates over windows, like `compareAttitudeWithRates`; `gain` is second over first. */
export function compareRates(first: PerAxis<Series>, second: PerAxis<Series>): PerAxis<Agreement> {
  const all = [...Object.values(first), ...Object.values(second)];
  const edges = windowEdges(all, 1);
  const result: PerAxis<Agreement> = {};
  for (const axis of ['roll', 'pitch', 'yaw'] as const) {
    const [a, b] = [first[axis], second[axis]];
    if (!a || !b || !edges) continue;
    const agreement = correlate(meanOver(a, edges), meanOver(b, edges));
    if (agreement) result[axis] = agreement;
  }
  return result;
}

function compareAtWindow(
  attitude: PerAxis<Series>,
  rates: PerAxis<Series>,
  stretch: number,
): PerAxis<Agreement> {
  const angles = Object.values(attitude);
  const edges = windowEdges([...angles, ...Object.values(rates)], stretch);
  if (!edges || angles.length === 0) return {};
  const n = edges.startS.length;
  const sample = (axis: AxisName, at: Float64Array): Float64Array =>
    attitude[axis] ? interpolate(attitude[axis], at) : new Float64Array(n);
  const [phi0, theta0, psi0] = [
    sample('roll', edges.startS),
    sample('pitch', edges.startS),
    sample('yaw', edges.startS),
  ];
  const [phi1, theta1, psi1] = [
    sample('roll', edges.endS),
    sample('pitch', edges.endS),
    sample('yaw', edges.endS),
  ];
  const p = new Float64Array(n);
  const q = new Float64Array(n);
  const r = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    const phi = (phi0[i]! + phi1[i]!) / 2;
    const theta = (theta0[i]! + theta1[i]!) / 2;
    const usable = Math.abs(theta) < STEEP;
    const [dPhi, dTheta, dPsi] = [phi1[i]! - phi0[i]!, theta1[i]! - theta0[i]!, psi1[i]! - psi0[i]!];
    const over = usable ? 1 / edges.windowS : NaN;
    p[i] = limit((dPhi - dPsi * Math.sin(theta)) * over);
    q[i] = limit((dTheta * Math.cos(phi) + dPsi * Math.sin(phi) * Math.cos(theta)) * over);
    r[i] = limit((-dTheta * Math.sin(phi) + dPsi * Math.cos(phi) * Math.cos(theta)) * over);
  }
  const result: PerAxis<Agreement> = {};
  for (const [axis, angleRate] of [
    ['roll', p],
    ['pitch', q],
    ['yaw', r],
  ] as const) {
    const rate = rates[axis];
    if (!rate || !attitude[axis]) continue;
    const agreement = correlate(angleRate, meanOver(rate, edges));
    if (agreement) result[axis] = agreement;
  }
  return result;
}

function limit(rate: number): number {
  return Math.abs(rate) < FASTEST ? rate : NaN;
}

interface Edges {
  readonly startS: Float64Array;
  readonly endS: Float64Array;
  readonly windowS: number;
}

function windowEdges(series: readonly Series[], stretch: number): Edges | null {
  let [from, to, step] = [-Infinity, Infinity, SHORTEST_S];
  for (const { timeS } of series) {
    if (timeS.length < 2) return null;
    from = Math.max(from, timeS[0]!);
    to = Math.min(to, timeS.at(-1)!);
    step = Math.max(step, (timeS.at(-1)! - timeS[0]!) / (timeS.length - 1));
  }
  const windowS = step * stretch;
  const all = Math.floor((to - from) / windowS);
  if (!(all >= LEAST_WINDOWS)) return null;
  const n = Math.min(all, WINDOW_LIMIT);
  const startS = new Float64Array(n);
  for (let i = 0; i < n; i++) startS[i] = from + Math.floor((i * all) / n) * windowS;
  return { startS, endS: startS.map((time) => time + windowS), windowS };
}

/** Linear interpolation; NaN inside gaps (more than three mean steps) and beside missing values. */
function interpolate({ timeS, values }: Series, at: Float64Array): Float64Array {
  const result = new Float64Array(at.length);
  const widest = (4 * (timeS.at(-1)! - timeS[0]!)) / (timeS.length - 1);
  let i = 0;
  for (let k = 0; k < at.length; k++) {
    while (i < timeS.length - 2 && timeS[i + 1]! <= at[k]!) i++;
    const width = timeS[i + 1]! - timeS[i]!;
    const share = (at[k]! - timeS[i]!) / width;
    result[k] = width > widest ? NaN : values[i]! + share * (values[i + 1]! - values[i]!);
  }
  return result;
}

/** Mean of a series over windows, from its running integral. */
function meanOver(series: Series, edges: Edges): Float64Array {
  const { timeS, values } = series;
  const integral = new Float64Array(timeS.length);
  let last = 0;
  for (let i = 1; i < timeS.length; i++) {
    const [a, b] = [values[i - 1]!, values[i]!];
    const mean = a - a === 0 && b - b === 0 ? (a + b) / 2 : last;
    last = mean;
    integral[i] = integral[i - 1]! + mean * (timeS[i]! - timeS[i - 1]!);
  }
  const running = { timeS, values: integral };
  const end = interpolate(running, edges.endS);
  return interpolate(running, edges.startS).map((start, k) => (end[k]! - start) / edges.windowS);
}

/** Correlation and ratio of standard deviations over the windows where both are known. */
function correlate(a: Float64Array, b: Float64Array): Agreement | null {
  let [n, meanA, meanB] = [0, 0, 0];
  for (let i = 0; i < a.length; i++) {
    if (!(a[i]! - a[i]! === 0) || !(b[i]! - b[i]! === 0)) continue;
    n++;
    meanA += a[i]!;
    meanB += b[i]!;
  }
  if (n < LEAST_WINDOWS) return null;
  meanA /= n;
  meanB /= n;
  let [aa, bb, ab] = [0, 0, 0];
  for (let i = 0; i < a.length; i++) {
    if (!(a[i]! - a[i]! === 0) || !(b[i]! - b[i]! === 0)) continue;
    const [x, y] = [a[i]! - meanA, b[i]! - meanB];
    aa += x * x;
    bb += y * y;
    ab += x * y;
  }
  if (!(aa > 0) || !(bb > 0)) return null;
  return { gain: Math.sqrt(bb / aa), correlation: ab / Math.sqrt(aa * bb), deviation: Math.sqrt(aa / n) };
}

/**
 * Unwraps angles across a full turn, in place.
 *
 * @param turn a full turn in the unit of the values
 */
export function unwrapAngles(values: Float64Array, turn: number): void {
  let shift = 0;
  let last = NaN;
  for (let i = 0; i < values.length; i++) {
    const value = values[i]!;
    if (!(value - value === 0)) continue;
    const step = value - last;
    if (step > turn / 2) shift -= turn * Math.round(step / turn);
    else if (step < -turn / 2) shift -= turn * Math.round(step / turn);
    last = value;
    values[i] = value + shift;
  }
}
