/**
 * Least-squares fit of one or several sinusoids, steady or growing exponentially, with standard deviations.
 *
 * Model, t_r the reference time:
 *   x(t) = offset + slope·(t − t_r) + Σ A·e^{g(t − t_r)}·cos(2πf(t − t_r) + φ)
 *
 * In white Gaussian noise this is the maximum-likelihood estimate, which reaches the Cramér–Rao bound. Frequencies and
 * growth rates are found by Gauss–Newton steps with the linear parameters solved anew at each step (variable projection:
 * G. Golub and V. Pereyra, SIAM J. Numer. Anal. 10(2), 1973; step of L. Kaufman, BIT 15, 1975).
 */
import { solveLeastSquares, type LeastSquares } from './least-squares.js';
import { fillPhasor } from './phasor.js';
import { localNoiseVariance } from './tone-noise.js';

export interface ToneFitOptions {
  /** Let each amplitude grow or decay exponentially. Default false. */
  readonly growth?: boolean;
  /** Fitted along with the tones. Default the mean. */
  readonly trend?: 'none' | 'mean' | 'linear';
  /** Time at which amplitude and phase are stated, s on the record's clock. Default the middle, where they are best known. */
  readonly referenceS?: number;
  /** How far a frequency may end from its start, Hz. Default 1.5/T, T the record's length. */
  readonly searchHz?: number;
  /**
   * Where the noise level behind the standard deviations comes from. `local` (default): from the residual's spectrum
   * within 8/T of the tone, right for coloured noise and for band-limited records; `white` where the record leaves
   * too few bins. `white`: from the whole residual, the textbook answer, too small or too large when the noise is not white.
   */
  readonly noise?: 'local' | 'white';
}

export interface ToneStart {
  readonly frequencyHz: number;
  /** Keep this frequency (and no growth); amplitude and phase are still fitted. Default false. */
  readonly fixed?: boolean;
}

export interface Tone {
  readonly frequencyHz: number;
  /** 0 when the frequency was fixed, as is `growthStdPerS` when growth was not fitted. */
  readonly frequencyStdHz: number;
  /** Peak amplitude at the reference time, unit of the record. */
  readonly amplitude: number;
  readonly amplitudeStd: number;
  /** Of the cosine at the reference time, −π … π. */
  readonly phaseRad: number;
  readonly phaseStdRad: number;
  /** Slope of the log envelope, 1/s; 0 when not fitted. */
  readonly growthPerS: number;
  readonly growthStdPerS: number;
}

export interface FitBasis {
  readonly referenceS: number;
  readonly offset: number;
  readonly slopePerS: number;
  readonly residualSumOfSquares: number;
  /** residualSumOfSquares over the samples less the fitted parameters. */
  readonly residualVariance: number;
  /** Samples used: those that are not NaN. */
  readonly samples: number;
  readonly parameters: number;
}

export interface ToneFit extends Tone, FitBasis {}
export interface TonesFit extends FitBasis {
  /** In the order of the starts. */
  readonly tones: readonly Tone[];
}
export interface NoFit {
  /** Why there is no answer. */
  readonly unavailable: string;
}

/**
 * Fits one tone to a uniformly sampled record whose first sample is at time 0.
 *
 * The start may be up to one bin (1/T) away: the neighbourhood is searched before the refinement.
 *
 * @param x samples; NaN marks a missing one
 * @param startHz for instance the largest bin of a spectrum
 * @returns {@link NoFit} where the record is too short or constant, or holds no tone near the start
 * @throws RangeError on an infinite sample or a sample rate or start that is not positive
 */
export function fitTone(
  x: ArrayLike<number>,
  sampleRateHz: number,
  startHz: number,
  options: ToneFitOptions = {},
): ToneFit | NoFit {
  return single(fit(uniformRecord(x, sampleRateHz), [{ frequencyHz: startHz }], options, true));
}

/** As {@link fitTone} for samples at any strictly increasing times `timeS`, s. */
export function fitToneAtTimes(
  timeS: ArrayLike<number>,
  x: ArrayLike<number>,
  startHz: number,
  options: ToneFitOptions = {},
): ToneFit | NoFit {
  return single(fit(timedRecord(timeS, x), [{ frequencyHz: startHz }], options, true));
}

/**
 * Fits several tones at once. Each start must be within about half a bin (0.5/T) of its tone; no search is made.
 *
 * @returns {@link NoFit} also when two tones run into each other
 */
export function fitTones(
  x: ArrayLike<number>,
  sampleRateHz: number,
  starts: readonly (number | ToneStart)[],
  options: ToneFitOptions = {},
): TonesFit | NoFit {
  return fit(uniformRecord(x, sampleRateHz), starts.map(asStart), options, false);
}

/** As {@link fitTones} for samples at any strictly increasing times `timeS`, s. */
export function fitTonesAtTimes(
  timeS: ArrayLike<number>,
  x: ArrayLike<number>,
  starts: readonly (number | ToneStart)[],
  options: ToneFitOptions = {},
): TonesFit | NoFit {
  return fit(timedRecord(timeS, x), starts.map(asStart), options, false);
}

/** Value of a fitted model at time `timeS`, trend included. */
export function toneModelAt(fitted: TonesFit | ToneFit, timeS: number): number {
  const t = timeS - fitted.referenceS;
  let value = fitted.offset + fitted.slopePerS * t;
  for (const tone of 'tones' in fitted ? fitted.tones : [fitted]) {
    const phase = 2 * Math.PI * tone.frequencyHz * t + tone.phaseRad;
    value += tone.amplitude * Math.exp(tone.growthPerS * t) * Math.cos(phase);
  }
  return value;
}

/** Samples without the missing ones. Inside, time runs in half record lengths from the middle: −1 … 1. */
interface SampledRecord {
  readonly timeS: Float64Array;
  readonly x: Float64Array;
  /** Frequencies must stay below it; Infinity for free times, which have no single limit. */
  readonly nyquistHz: number;
  readonly equallySpaced: boolean;
}

function uniformRecord(x: ArrayLike<number>, sampleRateHz: number): SampledRecord {
  if (!(sampleRateHz > 0 && Number.isFinite(sampleRateHz))) {
    throw new RangeError(`sampleRateHz must be positive, got ${sampleRateHz}`);
  }
  return present((i) => i / sampleRateHz, x, sampleRateHz / 2);
}

function timedRecord(timeS: ArrayLike<number>, x: ArrayLike<number>): SampledRecord {
  if (timeS.length !== x.length) throw new RangeError(`${timeS.length} times for ${x.length} samples`);
  const record = present((i) => timeS[i]!, x, Infinity);
  for (let i = 1; i < record.timeS.length; i++) {
    if (!(record.timeS[i]! > record.timeS[i - 1]!)) throw new RangeError('times must increase strictly');
  }
  return record;
}

function present(timeAt: (i: number) => number, x: ArrayLike<number>, nyquistHz: number): SampledRecord {
  const times: number[] = [];
  const values: number[] = [];
  for (let i = 0; i < x.length; i++) {
    const value = x[i]!;
    if (Number.isNaN(value)) continue;
    if (!Number.isFinite(value)) throw new RangeError(`sample ${i} is infinite`);
    times.push(timeAt(i));
    values.push(value);
  }
  const equallySpaced = Number.isFinite(nyquistHz) && values.length === x.length;
  return { timeS: Float64Array.from(times), x: Float64Array.from(values), nyquistHz, equallySpaced };
}

function asStart(start: number | ToneStart): ToneStart {
  return typeof start === 'number' ? { frequencyHz: start } : start;
}

function single(result: TonesFit | NoFit): ToneFit | NoFit {
  if ('unavailable' in result) return result;
  const { tones, ...basis } = result;
  return { ...basis, ...tones[0]! };
}

/** Problem in scaled time; a tone's frequency becomes radians and its growth nepers per half record. */
interface Problem {
  readonly time: Float64Array;
  /** Step of the scaled time; null when the samples are not equally spaced. */
  readonly step: number | null;
  readonly x: Float64Array;
  readonly trendColumns: number;
  readonly free: readonly boolean[];
  readonly growth: boolean;
}

interface State {
  readonly omega: readonly number[];
  readonly growth: readonly number[];
  readonly solution: LeastSquares;
}

const MAX_ITERATIONS = 80;
/** Radians or nepers over half a record: far below any standard deviation that can be met. */
const STEP_DONE = 1e-10;
/** Share of the residual: a step that gains less moves by less than 1e-5 standard deviations for 1000 samples. */
const GAIN_DONE = 1e-13;
/** A tone that grows more than e^8 over half the record is a spike at one end, not an oscillation. */
const MAX_GROWTH = 8;

function fit(
  record: SampledRecord,
  starts: readonly ToneStart[],
  options: ToneFitOptions,
  search: boolean,
): TonesFit | NoFit {
  const { timeS, x } = record;
  const n = x.length;
  const growth = options.growth ?? false;
  const trendColumns = { none: 0, mean: 1, linear: 2 }[options.trend ?? 'mean'];
  const free = starts.map((start) => !(start.fixed ?? false));
  const freeTones = free.filter(Boolean).length;
  const parameters = 2 * starts.length + trendColumns + freeTones * (growth ? 2 : 1);
  if (starts.length === 0) throw new RangeError('no tone to fit');
  for (const { frequencyHz } of starts) {
    if (!(frequencyHz > 0)) throw new RangeError(`a tone starts at a positive frequency, got ${frequencyHz}`);
  }
  if (n <= parameters) return { unavailable: `${n} samples cannot determine ${parameters} parameters` };
  if (isConstant(x)) return { unavailable: 'the record does not change' };

  const middleS = (timeS[0]! + timeS[n - 1]!) / 2;
  const halfS = (timeS[n - 1]! - timeS[0]!) / 2;
  const lengthS = (2 * halfS * n) / (n - 1);
  const problem: Problem = {
    time: timeS.map((t) => (t - middleS) / halfS),
    step: record.equallySpaced ? 2 / (n - 1) : null,
    x,
    trendColumns,
    free,
    growth,
  };
  let startsHz = starts.map((start) => start.frequencyHz);
  if (search && free[0]) startsHz = [searchStart(problem, startsHz[0]!, lengthS, halfS, record.nyquistHz)];
  const state = refine(
    problem,
    startsHz.map((f) => 2 * Math.PI * f * halfS),
    (Math.PI * halfS) / lengthS,
  );
  if (state === null)
    return { unavailable: 'the tones cannot be told apart from each other or from the trend' };

  const searchHz = options.searchHz ?? 1.5 / lengthS;
  for (const [k, omega] of state.omega.entries()) {
    const frequencyHz = omega / (2 * Math.PI * halfS);
    if (Math.abs(frequencyHz - starts[k]!.frequencyHz) > searchHz || frequencyHz >= record.nyquistHz) {
      return { unavailable: `no tone within ${searchHz.toPrecision(3)} Hz of ${starts[k]!.frequencyHz} Hz` };
    }
    if (Math.abs(state.growth[k]!) > MAX_GROWTH) {
      return {
        unavailable: 'the amplitude is that of a spike at one end of the record, not of an oscillation',
      };
    }
  }
  return describe(problem, state, { middleS, halfS, lengthS, nyquistHz: record.nyquistHz }, options);
}

/** To rounding: a constant must not be taken for a very small tone. */
function isConstant(x: Float64Array): boolean {
  let least = Infinity;
  let most = -Infinity;
  for (const value of x) {
    if (value < least) least = value;
    if (value > most) most = value;
  }
  return most - least <= 1e-13 * Math.max(Math.abs(least), Math.abs(most));
}

/** Best of nine frequencies up to one bin either side, by residual. */
function searchStart(
  problem: Problem,
  startHz: number,
  lengthS: number,
  halfS: number,
  nyquistHz: number,
): number {
  let best = startHz;
  let least = Infinity;
  for (let step = -4; step <= 4; step++) {
    const frequencyHz = startHz + step / (4 * lengthS);
    // Below half a cycle a tone is hardly more than a trend and would always win.
    if (frequencyHz <= 0.5 / lengthS || frequencyHz >= nyquistHz) continue;
    const solution = solveLinear(problem, [2 * Math.PI * frequencyHz * halfS], [0]);
    if (solution !== null && solution.residualSumOfSquares < least) {
      least = solution.residualSumOfSquares;
      best = frequencyHz;
    }
  }
  return best;
}

/** Gauss–Newton with step halving; null when the columns become dependent. */
function refine(problem: Problem, startOmega: readonly number[], maxStep: number): State | null {
  let omega = [...startOmega];
  let growth = startOmega.map(() => 0);
  let solution = solveLinear(problem, omega, growth);
  if (solution === null) return null;
  for (let iteration = 0; iteration < MAX_ITERATIONS; iteration++) {
    const full = solveFull(problem, omega, growth, solution);
    if (full === null) return null;
    let [omegaStep, growthStep] = splitStep(problem, full.coefficients);
    const largest = Math.max(...omegaStep.map(Math.abs), ...growthStep.map((g) => Math.abs(g)));
    if (largest < STEP_DONE) break;
    // What the step can still gain, by the linear model: once it is nothing, this step is the last.
    const gain = solution.residualSumOfSquares - full.residualSumOfSquares;
    const last = gain <= GAIN_DONE * solution.residualSumOfSquares;
    const limit = Math.min(1, maxStep / largest);
    omegaStep = omegaStep.map((v) => v * limit);
    growthStep = growthStep.map((v) => v * limit);
    let better: LeastSquares | null = null;
    let scale = 1;
    for (; scale > (last ? 0.6 : 1e-4); scale /= 2) {
      const tried = solveLinear(
        problem,
        omega.map((v, k) => v + scale * omegaStep[k]!),
        growth.map((v, k) => v + scale * growthStep[k]!),
      );
      if (tried !== null && tried.residualSumOfSquares <= solution.residualSumOfSquares) {
        better = tried;
        break;
      }
    }
    if (better === null) break; // at the bottom, to rounding
    omega = omega.map((v, k) => v + scale * omegaStep[k]!);
    growth = growth.map((v, k) => v + scale * growthStep[k]!);
    solution = better;
    if (last) break;
  }
  return { omega, growth, solution };
}

function solveLinear(
  problem: Problem,
  omega: readonly number[],
  growth: readonly number[],
): LeastSquares | null {
  return solveLeastSquares(linearColumns(problem, omega, growth), problem.x);
}

/** Order: cosine and sine of each tone, then 1 and time. */
function linearColumns(
  problem: Problem,
  omega: readonly number[],
  growth: readonly number[],
): Float64Array[] {
  const { time } = problem;
  const n = time.length;
  const columns: Float64Array[] = [];
  for (let k = 0; k < omega.length; k++) {
    const cosine = new Float64Array(n);
    const sine = new Float64Array(n);
    fillPhasor(time, problem.step, omega[k]!, growth[k]!, cosine, sine);
    columns.push(cosine, sine);
  }
  if (problem.trendColumns > 0) columns.push(new Float64Array(n).fill(1));
  if (problem.trendColumns > 1) columns.push(time);
  return columns;
}

/** All parameters at once, against the residual of the linear solution: the last coefficients are the step. */
function solveFull(
  problem: Problem,
  omega: readonly number[],
  growth: readonly number[],
  solution: LeastSquares,
): LeastSquares | null {
  const columns = linearColumns(problem, omega, growth);
  const { time } = problem;
  const tones = omega.length;
  for (let k = 0; k < tones; k++) {
    if (!problem.free[k]) continue;
    const a = solution.coefficients[2 * k]!;
    const b = solution.coefficients[2 * k + 1]!;
    const cosine = columns[2 * k]!;
    const sine = columns[2 * k + 1]!;
    columns.push(time.map((t, i) => t * (b * cosine[i]! - a * sine[i]!)));
    if (problem.growth) columns.push(time.map((t, i) => t * (a * cosine[i]! + b * sine[i]!)));
  }
  return solveLeastSquares(columns, solution.residual);
}

function splitStep(problem: Problem, coefficients: Float64Array): [number[], number[]] {
  const omegaStep: number[] = [];
  const growthStep: number[] = [];
  let next = 2 * problem.free.length + problem.trendColumns;
  for (const free of problem.free) {
    omegaStep.push(free ? coefficients[next++]! : 0);
    growthStep.push(free && problem.growth ? coefficients[next++]! : 0);
  }
  return [omegaStep, growthStep];
}

interface Scaling {
  readonly middleS: number;
  readonly halfS: number;
  readonly lengthS: number;
  readonly nyquistHz: number;
}

/** From scaled parameters at the middle to physical ones at the reference, covariance carried along. */
function describe(
  problem: Problem,
  state: State,
  scaling: Scaling,
  options: ToneFitOptions,
): TonesFit | NoFit {
  const full = solveFull(problem, state.omega, state.growth, state.solution);
  if (full === null)
    return { unavailable: 'the tones cannot be told apart from each other or from the trend' };
  const { middleS, halfS } = scaling;
  const referenceS = options.referenceS ?? middleS;
  const shift = (referenceS - middleS) / halfS;
  const { coefficients, residual, residualSumOfSquares } = state.solution;
  const parameters = full.coefficients.length;
  const residualVariance = residualSumOfSquares / (problem.x.length - parameters);
  const toneCount = problem.free.length;
  const parametersOfTone = problem.free.map((free) => 2 + (free ? (problem.growth ? 2 : 1) : 0));

  let next = 2 * toneCount + problem.trendColumns;
  const tones: Tone[] = [];
  for (let k = 0; k < toneCount; k++) {
    const a = coefficients[2 * k]!;
    const b = coefficients[2 * k + 1]!;
    const amplitude = Math.hypot(a, b);
    const omega = state.omega[k]!;
    const growth = state.growth[k]!;
    const omegaAt = problem.free[k] ? next++ : -1;
    const growthAt = problem.free[k] && problem.growth ? next++ : -1;
    const variance =
      (options.noise ?? 'local') === 'white'
        ? residualVariance
        : (localNoiseVariance(
            problem.time,
            problem.step,
            residual,
            omega,
            state.omega,
            parametersOfTone,
            scaling.nyquistHz * 2 * Math.PI * halfS,
          ) ?? residualVariance);
    // Gradients over (a, b, omega, growth).
    const at = [2 * k, 2 * k + 1, omegaAt, growthAt];
    const std = (gradient: readonly number[]): number => {
      let total = 0;
      for (let i = 0; i < 4; i++) {
        for (let j = 0; j < 4; j++) {
          if (at[i]! >= 0 && at[j]! >= 0) {
            total += gradient[i]! * gradient[j]! * full.inverse.get(at[i]!, at[j]!);
          }
        }
      }
      return Math.sqrt(Math.max(0, variance * total));
    };
    const gain = Math.exp(growth * shift);
    tones.push({
      frequencyHz: omega / (2 * Math.PI * halfS),
      frequencyStdHz: std([0, 0, 1, 0]) / (2 * Math.PI * halfS),
      amplitude: amplitude * gain,
      amplitudeStd: gain * std([a / amplitude, b / amplitude, 0, amplitude * shift]),
      phaseRad: wrapped(Math.atan2(-b, a) + omega * shift),
      phaseStdRad: std([b / amplitude ** 2, -a / amplitude ** 2, shift, 0]),
      growthPerS: growth / halfS,
      growthStdPerS: std([0, 0, 0, 1]) / halfS,
    });
  }
  const slope = problem.trendColumns > 1 ? coefficients[2 * toneCount + 1]! : 0;
  return {
    tones,
    referenceS,
    offset: (problem.trendColumns > 0 ? coefficients[2 * toneCount]! : 0) + slope * shift,
    slopePerS: slope / halfS,
    residualSumOfSquares,
    residualVariance,
    samples: problem.x.length,
    parameters,
  };
}

function wrapped(angle: number): number {
  return angle - 2 * Math.PI * Math.round(angle / (2 * Math.PI));
}
