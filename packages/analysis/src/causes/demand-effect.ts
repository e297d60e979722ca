/**
 * What each axis' demand does to the body: angular acceleration per unit demand, three by three, from any stretch of
 * controlled flight, above all from the second in which an aircraft tips over.
 */
import { AXES, type AxisName, type ChannelName, type Flight, type Interval } from '@settle/parser';
import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import { applyStops } from '../identification/applied-demand.js';
import { askedDemands } from '../identification/flown-record.js';
import { axisSignals } from '../oscillation/axis-signals.js';
import { evenRecord, smoothed, interpolate } from '../signals.js';
import { eachAxis } from '../per-axis.js';

/** One way in which the demand of one axis may move one axis of the body. */
export interface Way {
  readonly demand: AxisName;
  readonly turns: AxisName;
  readonly sign: 1 | -1;
}

export interface DemandEffect {
  /** Chance, of all 48 ways in which three demands can each turn one axis, either way round, of the right one. */
  readonly right: number;
  /**
   * Chance of each way of each demand; and the same with half the weight on what the log says, for a choice between
   * wrong ways: demands that grow together are told apart less surely than right from wrong.
   */
  readonly ways: readonly (Way & { readonly chance: number; readonly careful: number })[];
  /** Angular acceleration (mean square) that the best way leaves unexplained, and that the right one leaves, as shares. */
  readonly leftOver: Readonly<Record<AxisName, { readonly best: number; readonly right: number }>>;
  /** Largest body rate and angular acceleration in the stretch. */
  readonly peakRate: Readonly<Record<AxisName, number>>;
  readonly rows: number;
  /** Which channels were used, in words. */
  readonly from: string;
}

/** Rates and demands on one even clock. */
export interface EffectRecord {
  readonly startS: number;
  readonly stepS: number;
  readonly rates: Readonly<Record<AxisName, Float64Array>>;
  readonly demands: Readonly<Record<AxisName, Float64Array>>;
  /** Roll and pitch, rad; zero where not logged. */
  readonly angles: Readonly<Record<'roll' | 'pitch', Float64Array>>;
  readonly from: string;
}

/** Demands this long before the stretch still act in it, and show what the motors make of them. */
const BEFORE_S = 4;

/** @returns null where rates or demands of an axis are not logged */
export function effectRecord(flight: Flight, interval: Interval): EffectRecord | null {
  const within = { startS: Math.max(0, interval.startS - BEFORE_S), endS: interval.endS };
  const main = axisSignals(flight, 'roll').rate;
  const even = main === null ? null : evenRecord(main, within);
  if (even === null || even.values.length < 8) return null;
  const stepS = 1 / even.sampleRateHz;
  const clock = Float64Array.from(even.values, (_, i) => even.startS + i * stepS);
  const onClock = (channel: ChannelName): Float64Array | null => {
    const signal = flight.signals.get(channel);
    return signal === undefined ? null : interpolate(signal.clock.timeS, signal.values, clock);
  };
  const rates = eachAxis((axis) => {
    const rate = axisSignals(flight, axis).rate;
    return rate === null ? null : interpolate(rate.clock.timeS, rate.values, clock);
  });
  const { perAxis: asked, from } = askedDemands(onClock);
  if (AXES.some((axis) => rates[axis] === null || asked[axis] === null)) return null;
  const applied = applyStops(flight, within, clock, asked, from);
  const level = new Float64Array(clock.length);
  return {
    startS: even.startS,
    stepS,
    rates: rates as Record<AxisName, Float64Array>,
    demands: applied.perAxis as Record<AxisName, Float64Array>,
    angles: {
      roll: onClock('attitude.roll.measured') ?? level,
      pitch: onClock('attitude.pitch.measured') ?? level,
    },
    from: applied.from,
  };
}

/** Both sides of the equation are smoothed twice over this time: what is faster is shaking and noise. */
const SMOOTH_S = 0.03;
/** One equation per this time, of which so many carry the knowledge of one. */
const SPACING_S = 0.02;
const ROWS_PER_FACT = 2.5;
const FEWEST_ROWS = 8;
/** Rotors' lag and everything that delays, tried in turn, s. */
const LAGS_S = [0.02, 0.035, 0.055, 0.08, 0.11];
const DELAYS_S = [0, 0.012, 0.025, 0.04];
/** What is known before the log, as standard deviations around zero (common practice, no source). */
const PRIOR = {
  /** Weight off centre and steady wind, and the demands that should not turn this axis, over the effect of the one that does. */
  offsetShares: [
    { share: 0.2, cost: 0 },
    { share: 0.8, cost: 3.2 },
  ],
  couplingShare: 0.1,
  /** The body's own attitude, 1/s², and its damping, 1/s. */
  attitude: 4,
  damping: 1.5,
  /** Legs on the ground hold against what the rotors do. */
  groundOffset: { roll: 25, pitch: 25, yaw: 6 },
  groundAttitude: 60,
  groundDamping: 6,
  /** Products of the other two rates: (Iy − Iz)/Ix and its like. */
  gyroscopic: { roll: 1, pitch: 1, yaw: 0.5 },
} as const;
/** Effects tried, rad/s² per unit demand: the usual one of each axis times these; a factor e^0.7 is one standard deviation. */
const USUAL_EFFECT = { roll: 90, pitch: 90, yaw: 18 } as const;
const EFFECT_FACTORS = [0.3, 0.5, 0.75, 1.1, 1.6, 2.4, 3.6];
const LN_EFFECT_STD = 0.7;
/** Gusts and what the equations neglect: at least this, rad/s², and this share of the largest acceleration; likely not much more. */
const LEAST_NOISE = { roll: 4, pitch: 4, yaw: 2 } as const;
const MODEL_ERROR = 0.05;
/** Legs that touch the ground do what no equation here says, rad/s². */
const GROUND_NOISE = { roll: 7, pitch: 7, yaw: 3 } as const;
const LN_NOISE_STD = 0.6;
const NOISE_FACTORS = [1, 1.5, 2.2, 3.3, 5, 7.5, 11];
/** Share of another axis' largest acceleration that always leaks into one. */
const LEAK = 0.03;
/** An aircraft that got out of control is connected rightly with this chance before anything else is known (judgement). */
const RIGHT_BEFORE = 0.8;

/**
 * @param interval rows from it; earlier samples only feed the lag
 * @param clearS when the aircraft is clear of the ground
 * @param proven it has flown so long before that roll and pitch are right
 * @returns null with fewer than eight equations
 */
export function demandEffect(
  record: EffectRecord,
  interval: Interval,
  clearS: number,
  proven: boolean,
): DemandEffect | null {
  const { stepS, startS } = record;
  const width = Math.max(1, Math.round(SMOOTH_S / stepS));
  const calm = (x: Float64Array): Float64Array => smoothed(smoothed(x, width), width);
  const rates = AXES.map((axis) => calm(record.rates[axis]));
  const accels = rates.map((rate) => slopeOf(rate, stepS));
  const angles = [calm(record.angles.roll), calm(record.angles.pitch), null];
  const hop = Math.max(1, Math.round(SPACING_S / stepS));
  const rows: number[] = [];
  const first = Math.max(1, Math.ceil((interval.startS - startS) / stepS));
  const last = Math.min(rates[0]!.length - 2, Math.floor((interval.endS - startS) / stepS));
  for (let i = last; i >= first; i -= hop) rows.unshift(i);
  if (rows.length < FEWEST_ROWS) return null;
  const leak =
    LEAK *
    Math.max(...accels.map((accel) => rows.reduce((most, i) => Math.max(most, Math.abs(accel[i]!)), 0)));
  const equations = AXES.map((_, a) =>
    axisEquations(a, rows, rates, accels[a]!, angles[a]!, leak, (i) => startS + i * stepS < clearS),
  );
  const scored: { logChance: number; ways: readonly number[]; fits: readonly Fit[] }[] = [];
  for (const lagS of LAGS_S)
    for (const delayS of DELAYS_S) {
      const acting = AXES.map((axis) => calm(lagged(record.demands[axis], stepS, lagS, delayS)));
      const driven = acting.map((x) => rows.map((i) => x[i]!));
      // By axis turned, then by demand, then by sign.
      const fits = AXES.map((_, a) =>
        [0, 1, 2].map((d) => [1, -1].map((sign) => fitWay(equations[a]!, driven, d, sign))),
      );
      for (const ways of ASSIGNMENTS) {
        const prior = before(ways, proven);
        if (prior === 0) continue;
        const used = ways.map((way, a) => fits[a]![way >> 1]![way & 1]!);
        scored.push({
          logChance: -0.5 * used.reduce((sum, fit) => sum + fit.cost, 0) + Math.log(prior),
          ways,
          fits: used,
        });
      }
    }
  return summarise(record, rows, rates, scored);
}

/** For each axis turned, twice the number of the demand that turns it, plus one where it does so the wrong way round. */
const ASSIGNMENTS: readonly (readonly number[])[] = [
  [0, 1, 2],
  [0, 2, 1],
  [1, 0, 2],
  [1, 2, 0],
  [2, 0, 1],
  [2, 1, 0],
].flatMap((order) => Array.from({ length: 8 }, (_, s) => order.map((d, a) => 2 * d + ((s >> a) & 1))));

const isRight = (ways: readonly number[]): boolean => ways.every((way, a) => way === 2 * a);

/** Rotors that all turn the wrong way are the commonest mistake of all (judgement). */
const YAW_TURNED_WEIGHT = 6;

/** Chance of an assignment before the log is looked at. */
function before(ways: readonly number[], proven: boolean): number {
  if (isRight(ways)) return RIGHT_BEFORE;
  const rollAndPitchRight = ways[0] === 0 && ways[1] === 2;
  if (proven) return rollAndPitchRight ? 1 - RIGHT_BEFORE : 0;
  const weight = rollAndPitchRight ? YAW_TURNED_WEIGHT : 1;
  return ((1 - RIGHT_BEFORE) * weight) / (ASSIGNMENTS.length - 2 + YAW_TURNED_WEIGHT);
}

function summarise(
  record: EffectRecord,
  rows: readonly number[],
  rates: readonly Float64Array[],
  scored: readonly { logChance: number; ways: readonly number[]; fits: readonly Fit[] }[],
): DemandEffect {
  const best = scored.reduce((a, b) => (b.logChance > a.logChance ? b : a));
  const right = scored.filter((s) => isRight(s.ways)).reduce((a, b) => (b.logChance > a.logChance ? b : a));
  let total = 0;
  let rightTotal = 0;
  let carefulTotal = 0;
  const chance = AXES.map(() => new Float64Array(6));
  const careful = AXES.map(() => new Float64Array(6));
  for (const s of scored) {
    const weight = Math.exp(s.logChance - best.logChance);
    total += weight;
    if (isRight(s.ways)) rightTotal += weight;
    const half = Math.sqrt(weight);
    carefulTotal += half;
    s.ways.forEach((way, a) => {
      chance[a]![way] = chance[a]![way]! + weight;
      careful[a]![way] = careful[a]![way]! + half;
    });
  }
  return {
    right: rightTotal / total,
    ways: AXES.flatMap((turns, a) =>
      Array.from(chance[a]!, (weight, way) => ({
        demand: AXES[way >> 1]!,
        turns,
        sign: (way & 1) === 0 ? (1 as const) : (-1 as const),
        chance: weight / total,
        careful: careful[a]![way]! / carefulTotal,
      })),
    ),
    leftOver: eachAxis((axis) => {
      const a = AXES.indexOf(axis);
      return { best: best.fits[a]!.leftOver, right: right.fits[a]!.leftOver };
    }),
    peakRate: eachAxis((axis) =>
      rows.reduce((most, i) => Math.max(most, Math.abs(rates[AXES.indexOf(axis)]![i]!)), 0),
    ),
    rows: rows.length,
    from: record.from,
  };
}

/** Everything of one axis' equations of motion but the demands. */
interface AxisEquations {
  readonly axis: AxisName;
  readonly accel: readonly number[];
  readonly columns: readonly (readonly number[])[];
  readonly prior: readonly number[];
  readonly least: number;
  /** Columns that can only hold back: what they do has no positive coefficient. */
  readonly holding: readonly number[];
  /** Of each row, 1 in the air. */
  readonly weights: readonly number[];
}

function axisEquations(
  a: number,
  rows: readonly number[],
  rates: readonly Float64Array[],
  accel: Float64Array,
  angle: Float64Array | null,
  leak: number,
  onGround: (i: number) => boolean,
): AxisEquations {
  const axis = AXES[a]!;
  const near = rows.some(onGround);
  const b = rates[(a + 1) % 3]!;
  const c = rates[(a + 2) % 3]!;
  const y = rows.map((i) => accel[i]!);
  const peak = y.reduce((most, v) => Math.max(most, Math.abs(v)), 0);
  const columns: (readonly number[])[] = [
    rows.map(() => 1),
    rows.map((i) => rates[a]![i]!),
    rows.map((i) => b[i]! * c[i]!),
  ];
  const prior: number[] = [Number.NaN, PRIOR.damping, PRIOR.gyroscopic[axis]];
  // Two demands that should not turn this axis come first.
  const holding: number[] = [3];
  const add = (column: readonly number[], std: number, holds: boolean): void => {
    columns.push(column);
    prior.push(std);
    if (holds) holding.push(columns.length + 1);
  };
  if (angle !== null)
    add(
      rows.map((i) => angle[i]!),
      PRIOR.attitude,
      false,
    );
  if (near) {
    const ground = rows.map((i) => (onGround(i) ? 1 : 0));
    add(ground, PRIOR.groundOffset[axis], false);
    add(
      rows.map((i, k) => ground[k]! * rates[a]![i]!),
      PRIOR.groundDamping,
      true,
    );
    if (angle !== null)
      add(
        rows.map((i, k) => ground[k]! * angle[i]!),
        PRIOR.groundAttitude,
        true,
      );
  }
  const least = Math.max(LEAST_NOISE[axis], MODEL_ERROR * peak, leak);
  const grounded = Math.min(1, least / GROUND_NOISE[axis]);
  const weights = rows.map((i) => (onGround(i) ? grounded : 1));
  const weighted = (column: readonly number[]): number[] => column.map((v, k) => v * weights[k]!);
  return { axis, accel: weighted(y), columns: columns.map(weighted), prior, holding, least, weights };
}

interface Fit {
  readonly leftOver: number;
  /** Minus twice the logarithm of the chance, but for a constant. */
  readonly cost: number;
}

/** How well one demand, one way round, explains one axis. */
function fitWay(e: AxisEquations, driven: readonly (readonly number[])[], d: number, sign: number): Fit {
  let best: Fit | null = null;
  const weighted = (k: number): number[] => driven[k]!.map((v, i) => v * e.weights[i]!);
  const main = weighted(d);
  const x = [...[0, 1, 2].filter((k) => k !== d).map(weighted), ...e.columns];
  const rows = dot(e.weights, e.weights);
  const all = e.accel.reduce((sum, v) => sum + v * v, 0);
  for (const factor of EFFECT_FACTORS)
    for (const offset of PRIOR.offsetShares) {
      const effect = factor * USUAL_EFFECT[e.axis];
      const y = e.accel.map((v, k) => v - sign * effect * main[k]!);
      const std = [
        PRIOR.couplingShare * effect,
        PRIOR.couplingShare * effect,
        offset.share * effect,
        ...e.prior.slice(1),
      ];
      const unlikely = (Math.log(factor) / LN_EFFECT_STD) ** 2 + offset.cost;
      let noise = 1.5 * e.least;
      let cost = 0;
      let residual = 0;
      for (let round = 0; round < 2; round++) {
        const solved = solveHolding(x, y, std, e.holding, noise);
        residual = solved.residual;
        const chosen = likelyNoise(residual / rows, rows / ROWS_PER_FACT, e.least);
        noise = chosen.noise;
        cost = unlikely + chosen.cost;
        solved.mean.forEach((m, k) => (cost += (m / std[k]!) ** 2));
      }
      if (best === null || cost < best.cost) best = { leftOver: residual / Math.max(1e-9, all), cost };
    }
  return best!;
}

function likelyNoise(meanSquare: number, facts: number, least: number): { noise: number; cost: number } {
  let best = { noise: least, cost: Number.POSITIVE_INFINITY };
  for (const factor of NOISE_FACTORS) {
    const noise = factor * least;
    const cost =
      2 * facts * Math.log(noise) +
      (facts * meanSquare) / noise ** 2 +
      (Math.log(factor) / LN_NOISE_STD) ** 2;
    if (cost < best.cost) best = { noise, cost };
  }
  return best;
}

/** As {@link solve}, with columns that only hold back taken out where they would push. */
function solveHolding(
  x: readonly (readonly number[])[],
  y: readonly number[],
  std: readonly number[],
  holding: readonly number[],
  noise: number,
): { mean: number[]; residual: number } {
  let used = std;
  for (let round = 0; ; round++) {
    const solved = solve(x, y, used, noise);
    const pushing = holding.filter((k) => solved.mean[k]! > 1e-3 * std[k]!);
    if (pushing.length === 0 || round === 2) return solved;
    used = used.map((v, k) => (pushing.includes(k) ? 1e-6 * v : v));
  }
}

/** Least squares with a normal prior; rows count as fewer facts than there are. */
function solve(
  x: readonly (readonly number[])[],
  y: readonly number[],
  std: readonly number[],
  noise: number,
): { mean: number[]; residual: number } {
  const size = x.length;
  const weight = 1 / (noise * noise * ROWS_PER_FACT);
  const normal = Matrix.zeros(size, size);
  const right = Matrix.zeros(size, 1);
  for (let i = 0; i < size; i++) {
    for (let j = 0; j <= i; j++) {
      const value = weight * dot(x[i]!, x[j]!) + (i === j ? 1 / std[i]! ** 2 : 0);
      normal.set(i, j, value);
      normal.set(j, i, value);
    }
    right.set(i, 0, weight * dot(x[i]!, y));
  }
  const mean = new CholeskyDecomposition(normal).solve(right).to1DArray();
  let residual = 0;
  for (let k = 0; k < y.length; k++) {
    let left = y[k]!;
    for (let i = 0; i < size; i++) left -= mean[i]! * x[i]![k]!;
    residual += left * left;
  }
  return { mean, residual };
}

function dot(a: readonly number[], b: readonly number[]): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i]! * b[i]!;
  return sum;
}

/** Central differences. */
export function slopeOf(x: Float64Array, stepS: number): Float64Array {
  return x.map((_, i) => {
    const before = Math.max(0, i - 1);
    const after = Math.min(x.length - 1, i + 1);
    return (x[after]! - x[before]!) / ((after - before) * stepS);
  });
}

/** A demand as the rotors give it: late by the delay, then through their first-order lag. */
export function lagged(demand: Float64Array, stepS: number, lagS: number, delayS: number): Float64Array {
  const late = delayS / stepS;
  const keep = Math.exp(-stepS / lagS);
  const out = new Float64Array(demand.length);
  let state = demand[0] ?? 0;
  for (let i = 0; i < demand.length; i++) {
    const place = Math.max(0, i - late);
    const low = Math.floor(place);
    const value =
      demand[low]! + (place - low) * (demand[Math.min(low + 1, demand.length - 1)]! - demand[low]!);
    state = value + (state - value) * keep;
    out[i] = state;
  }
  return out;
}
