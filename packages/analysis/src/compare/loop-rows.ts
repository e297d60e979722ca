/** Margins, damping, response and rejection of gusts, hover by hover, with paired evidence for each step. */
import type { AxisName } from '@settle/parser';
import { AIM, SAFE } from '../identification/gain-search.js';
import { MODEL_STD, spread } from '../identification/describe-axis.js';
import type { AxisLoopsOverHovers, HoverLoops } from './axis-loops.js';
import type { Candidate } from './candidate.js';
import type { HoverSummary } from './hover-summary.js';
import type { StepEvidence } from './judge.js';
import { FAR_DB, loopMetrics, type LoopMetrics } from './loop-metrics.js';
import { plausiblePlants } from './plant-pool.js';
import { differenceP } from '../statistics/index.js';

/** Damping ratio from which on motion counts as well damped: the least favourable that the search for oscillations lets pass. */
const WELL_DAMPED = 0.3;
/** Overshoot that does not matter, per cent, and sensitivity peak (M_s up to 1.7: K. J. Åström and T. Hägglund 1995, from memory). */
const SMALL_OVERSHOOT_PCT = 15;
const SMALL_PEAK = 1.7;

interface LoopQuantity {
  readonly metric: string;
  readonly unit: string;
  /** null: not to be had. */
  readonly valueOf: (m: LoopMetrics) => number | null;
  /** More is better, and enough is enough: beyond what is wanted there is no better or worse. */
  readonly goodness: (m: LoopMetrics) => number | null;
  /** The goodness where enough is never enough; absent: the goodness itself has no such end. */
  readonly unended?: (m: LoopMetrics) => number | null;
  /** Of the goodness. */
  readonly bound: number;
  /** What few numbers miss of a value, and of a difference between two loops of one plant: a least part, and a share of it. */
  readonly modelStd: number;
  readonly differenceStd: { readonly least: number; readonly share: number };
  readonly loop: 'rate' | 'attitude';
  /** Goodness of a loop that keeps a swing going, and how uncertain that is; null: none to speak of. */
  readonly onVerge: { readonly goodness: number; readonly std: number } | null;
  /** Why a value says nothing of how good a loop is; null: it does. */
  readonly saysNothing?: (m: LoopMetrics) => string | null;
}

/** How quick a loop is that nearly swings by itself is no virtue, and to lose that no fault. */
const aboutToSwing = (m: LoopMetrics): string | null =>
  (m.rateGainMarginDb ?? Infinity) < SAFE.gainMarginDb ||
  (m.ratePhaseMarginDeg ?? Infinity) < SAFE.phaseMarginDeg
    ? `one of the two rate loops keeps less than ${String(SAFE.gainMarginDb)} dB or ${String(SAFE.phaseMarginDeg)}°: it nearly swings by itself, and how quick it is then says nothing`
    : null;

const wanted = (value: number | null, enough: number): number | null =>
  value === null ? null : Math.min(enough, value);

/** No limit found is as good as enough; of a loop that is not stable nothing is known then. */
const margin = (value: number | null, stable: boolean | null, enough: number): number | null =>
  value === null ? (stable === true ? enough : null) : Math.min(enough, value);

const GUST_METRIC = 'angle per gust';

const QUANTITIES: readonly LoopQuantity[] = [
  {
    metric: 'rate loop gain margin',
    unit: 'dB',
    loop: 'rate',
    valueOf: (m) => m.rateGainMarginDb,
    unended: (m) => m.rateGainMarginDb,
    goodness: (m) => margin(m.rateGainMarginDb, m.rateStable, AIM.gainMarginDb),
    bound: 1,
    modelStd: MODEL_STD.rate.gainDb,
    differenceStd: { least: 0.1, share: 0.08 },
    onVerge: null,
  },
  {
    metric: 'rate loop phase margin',
    unit: 'deg',
    loop: 'rate',
    valueOf: (m) => m.ratePhaseMarginDeg,
    unended: (m) => m.ratePhaseMarginDeg,
    goodness: (m) => margin(m.ratePhaseMarginDeg, m.rateStable, AIM.phaseMarginDeg),
    bound: 5,
    modelStd: MODEL_STD.rate.phaseDeg,
    differenceStd: { least: 0.5, share: 0.1 },
    onVerge: null,
  },
  {
    metric: 'attitude loop gain margin',
    unit: 'dB',
    loop: 'attitude',
    valueOf: (m) => m.attitudeGainMarginDb,
    unended: (m) => m.attitudeGainMarginDb,
    goodness: (m) => margin(m.attitudeGainMarginDb, m.attitudeStable, AIM.gainMarginDb),
    bound: 1,
    modelStd: MODEL_STD.attitude.gainDb,
    differenceStd: { least: 0.1, share: 0.12 },
    onVerge: { goodness: 0, std: 1 },
  },
  {
    metric: 'attitude loop phase margin',
    unit: 'deg',
    loop: 'attitude',
    valueOf: (m) => m.attitudePhaseMarginDeg,
    unended: (m) => m.attitudePhaseMarginDeg,
    goodness: (m) => margin(m.attitudePhaseMarginDeg, m.attitudeStable, AIM.phaseMarginDeg),
    bound: 5,
    modelStd: MODEL_STD.attitude.phaseDeg,
    differenceStd: { least: 0.5, share: 0.12 },
    onVerge: { goodness: 0, std: 5 },
  },
  {
    metric: 'damping ratio',
    unit: '1',
    loop: 'attitude',
    valueOf: (m) => m.dampingRatio,
    unended: (m) => m.dampingRatio,
    goodness: (m) => wanted(m.dampingRatio, WELL_DAMPED),
    bound: 0.04,
    modelStd: 0.025,
    differenceStd: { least: 0.005, share: 0.12 },
    onVerge: { goodness: 0, std: 0.03 },
  },
  {
    metric: 'sensitivity peak of the rate loop',
    unit: '1',
    loop: 'rate',
    valueOf: (m) => m.rateSensitivityPeak,
    goodness: (m) =>
      m.rateSensitivityPeak === null ? null : -Math.log(Math.max(SMALL_PEAK, m.rateSensitivityPeak)),
    bound: Math.log(1.15),
    modelStd: 0.05,
    differenceStd: { least: 0.02, share: 0.12 },
    onVerge: null,
  },
  {
    metric: 'bandwidth',
    unit: 'Hz',
    loop: 'rate',
    valueOf: (m) => m.bandwidthHz,
    goodness: (m) => (m.bandwidthHz === null || aboutToSwing(m) !== null ? null : Math.log(m.bandwidthHz)),
    bound: Math.log(1.15),
    modelStd: 0.05,
    differenceStd: { least: 0.02, share: 0.12 },
    onVerge: null,
    saysNothing: aboutToSwing,
  },
  {
    metric: 'overshoot',
    unit: '%',
    loop: 'rate',
    valueOf: (m) => m.overshootPct,
    goodness: (m) => (m.overshootPct === null ? null : -Math.max(SMALL_OVERSHOOT_PCT, m.overshootPct)),
    bound: 5,
    modelStd: 2,
    differenceStd: { least: 0.5, share: 0.12 },
    onVerge: null,
  },
  {
    metric: GUST_METRIC,
    unit: 'deg per deg/s²',
    loop: 'attitude',
    valueOf: (m) => m.gustResponse,
    goodness: (m) => (m.gustResponse === null ? null : -Math.log(m.gustResponse)),
    bound: Math.log(1.15),
    modelStd: 0.0,
    differenceStd: { least: 0.02, share: 0.1 },
    onVerge: null,
  },
];

export function loopRows(loops: AxisLoopsOverHovers, hovers: readonly HoverSummary[]): Candidate[] {
  const trusted = loops.hovers.map((own, h) => trustOf(own, hovers[h]!, loops.axis));
  return QUANTITIES.flatMap((quantity) => rowOf(quantity, loops, hovers, trusted));
}

function rowOf(
  quantity: LoopQuantity,
  loops: AxisLoopsOverHovers,
  hovers: readonly HoverSummary[],
  trusted: readonly Trust[],
): Candidate[] {
  const { axis } = loops;
  const values = loops.hovers.map((own, h) =>
    own.best === null || trusted[h]![quantity.loop] !== null ? null : quantity.valueOf(own.best),
  );
  const std = loops.hovers.map((own, h) => {
    const s = values[h] === null ? null : spread(own.draws.map(quantity.valueOf));
    return s === null ? null : Math.hypot(s, quantity.modelStd);
  });
  const steps = loops.hovers.map((later, h): StepEvidence | null => {
    if (h === 0) return null;
    const earlier = loops.hovers[h - 1]!;
    const [before, after] = [trusted[h - 1]!, trusted[h]!];
    const swings = [before, after].map((trust) => trust.swings && quantity.loop === 'attitude');
    if (swings.some((own) => own)) return againstSwing(quantity, earlier, later, before, after);
    if (quantity.metric === GUST_METRIC && earlier.plant === null && later.plant === null)
      return whateverPlant(quantity, hovers[h - 1]!, hovers[h]!, axis);
    const doubt = after[quantity.loop] ?? before[quantity.loop];
    return doubt !== null ? null : paired(quantity, earlier, later, hovers, h, axis);
  });
  if (values.every((v) => v === null) && steps.every((s) => s === null)) return [];
  const silence = (h: number): string | null => {
    const { best } = loops.hovers[h]!;
    return best === null ? null : (quantity.saysNothing?.(best) ?? null);
  };
  return [
    {
      row: {
        metric: quantity.metric,
        unit: quantity.unit,
        axis,
        group: 'loops',
        values,
        std: std.map((s, h) => (quantity.unit === 'dB' && values[h]! >= FAR_DB ? null : s)),
        ...(quantity.unit === 'dB' ? { ceiling: FAR_DB } : {}),
        from: fromWords(loops, hovers),
      },
      steps,
      notes: loops.hovers.map((_, h) =>
        h === 0
          ? null
          : (trusted[h]![quantity.loop] ?? trusted[h - 1]![quantity.loop] ?? silence(h - 1) ?? silence(h)),
      ),
      comparableAcrossBuilds: false,
    },
  ];
}

/** Of draws that have no value in either hover no more than this share may be left out. */
const MOST_LEFT_OUT = 0.2;

/** With the same plants in both hovers what is uncertain about the plant falls out of the difference. */
function paired(
  quantity: LoopQuantity,
  earlier: HoverLoops,
  later: HoverLoops,
  hovers: readonly HoverSummary[],
  h: number,
  axis: AxisName,
): StepEvidence | null {
  const a = earlier.best === null ? null : quantity.goodness(earlier.best);
  const b = later.best === null ? null : quantity.goodness(later.best);
  if (a === null || b === null) return null;
  const differences = later.draws.flatMap((draw, i) => {
    const before = earlier.draws[i] === undefined ? null : quantity.goodness(earlier.draws[i]);
    const after = quantity.goodness(draw);
    return before === null || after === null ? [] : [after - before];
  });
  if (differences.length < (1 - MOST_LEFT_OUT) * later.draws.length || differences.length < 8) return null;
  const mean = differences.reduce((sum, v) => sum + v, 0) / differences.length;
  const variance = differences.reduce((sum, v) => sum + (v - mean) ** 2, 0) / (differences.length - 1);
  const gain = b - a;
  const { least, share } = quantity.differenceStd;
  // Where the likeliest plant and the mean of all likely ones disagree, the quantity jumps and neither is to be trusted.
  const std = Math.hypot(Math.sqrt(variance), gain - mean, least, share * gain);
  return {
    gain,
    std: Math.min(std, unendedStd(quantity, earlier, later, gain, differences) ?? Infinity),
    bound: quantity.bound,
    doubt:
      toldForOne(hovers[h - 1]!, hovers[h]!) ??
      (quantity.metric === GUST_METRIC ? contradicted(hovers[h - 1]!, hovers[h]!, axis) : null),
  };
}

/** Gains read from a log are not sure enough to be set against gains that were told. */
function toldForOne(earlier: HoverSummary, later: HoverSummary): string | null {
  if ((earlier.gains === null) === (later.gains === null)) return null;
  const untold = earlier.gains === null ? earlier : later;
  return `the gains and filters of ${untold.name} are not told, and those read from its log are not sure enough to stand beside told ones`;
}

/** With this share of the plants the change must matter. */
const MATTERS_SHARE = 0.9;

/**
 * How far a margin stands from what is wanted may be known poorly, and how much it changed well: twice the gain is 6 dB less with
 * any plant. Where the change would matter with nearly all plants, the error of the change itself is what counts.
 */
function unendedStd(
  { unended, bound, differenceStd }: LoopQuantity,
  earlier: HoverLoops,
  later: HoverLoops,
  gain: number,
  differences: readonly number[],
): number | null {
  if (unended === undefined || earlier.best === null || later.best === null || Math.abs(gain) < bound)
    return null;
  const mattering = differences.filter((d) => d * Math.sign(gain) > bound / 2).length;
  if (mattering < MATTERS_SHARE * differences.length) return null;
  const [a, b] = [unended(earlier.best), unended(later.best)];
  if (a === null || b === null || Math.sign(b - a) !== Math.sign(gain)) return null;
  const changes = later.draws.flatMap((draw, i) => {
    const before = earlier.draws[i] === undefined ? null : unended(earlier.draws[i]);
    const after = unended(draw);
    return before === null || after === null ? [] : [after - before];
  });
  const own = spread(changes);
  if (own === null || changes.length < MATTERS_SHARE * later.draws.length) return null;
  const mean = changes.reduce((sum, v) => sum + v, 0) / changes.length;
  const { least, share } = differenceStd;
  // The same number of standard errors, on the scale of what matters.
  return (Math.abs(gain) * Math.hypot(own, b - a - mean, least, share * (b - a))) / Math.abs(b - a);
}

/** Fewer plants than this that both loops are stable with say nothing. */
const FEWEST_PLANTS = 12;

/**
 * No hover shows the plant, but both were flown without a swing, so both loops are stable: over all plants that this is so for, how
 * much less (or more) would gusts move the aircraft? Twice the gain rejects gusts better whatever the plant.
 */
function whateverPlant(
  quantity: LoopQuantity,
  earlier: HoverSummary,
  later: HoverSummary,
  axis: AxisName,
): StepEvidence | null {
  const [a, b] = [earlier.axes[axis], later.axes[axis]];
  if (a.controller === null || b.controller === null) return null;
  const swings = [earlier, later].some((h) =>
    h.diagnosis.axes[axis].oscillations.some((o) => o.follows === null),
  );
  if (swings) return null;
  const [before, after] = [
    { controller: a.controller, gyroDelayS: a.gyroDelayS },
    { controller: b.controller, gyroDelayS: b.gyroDelayS },
  ];
  const differences = plausiblePlants().flatMap((plant) => {
    const [x, y] = [before, after].map((loop) => quantity.goodness(loopMetrics(loop, plant, [])));
    return x == null || y == null ? [] : [y - x];
  });
  if (differences.length < FEWEST_PLANTS) return null;
  const gain = differences.reduce((sum, v) => sum + v, 0) / differences.length;
  const variance = differences.reduce((sum, v) => sum + (v - gain) ** 2, 0) / (differences.length - 1);
  return { gain, std: Math.hypot(Math.sqrt(variance), 0.1 * gain, 0.02), bound: quantity.bound, doubt: null };
}

/** One of the hovers had a swing that sustained itself: whatever a model says of its attitude loop, it had no margin. */
function againstSwing(
  { onVerge, goodness, bound, loop }: LoopQuantity,
  earlier: HoverLoops,
  later: HoverLoops,
  before: Trust,
  after: Trust,
): StepEvidence | null {
  if (onVerge === null || (before.swings && after.swings)) return null;
  const [calm, trust] = before.swings ? [later, after] : [earlier, before];
  if (calm.best === null || trust[loop] !== null) return null;
  const value = goodness(calm.best);
  const std = spread(calm.draws.map(goodness));
  if (value === null || std === null) return null;
  const gain = value - onVerge.goodness;
  return { gain: before.swings ? gain : -gain, std: Math.hypot(std, onVerge.std), bound, doubt: null };
}

/** The motion met per disturbance changed otherwise than the loops say. */
const CONTRADICTION_P = 0.01;

function contradicted(earlier: HoverSummary, later: HoverSummary, axis: AxisName): string | null {
  const a = earlier.axes[axis].modelCheck;
  const b = later.axes[axis].modelCheck;
  if (a?.std == null || b?.std == null || !(a.value > 0) || !(b.value > 0)) return null;
  const change = Math.log(b.value / a.value);
  const std = Math.hypot(a.std / a.value, b.std / b.value, 0.1);
  return differenceP(change, std) < CONTRADICTION_P
    ? `the motion met per disturbance changed by a factor of ${(b.value / a.value).toFixed(2)} beyond what the identified loops explain`
    : null;
}

interface Trust {
  /** Why what the model says of each loop is not believed; null: it is. */
  readonly rate: string | null;
  readonly attitude: string | null;
  /** A swing of its own loops sustained itself. */
  readonly swings: boolean;
}

/** Surer than this that a swing is the loops' own. */
const SURE_OF_SWING = 0.8;

/** dB on either side of the limit within which a rate loop may as well be on the other side of it. */
const VERGE_DB = 2;
/** A standard deviation this large says nothing about a margin, dB. */
const USELESS_DB = 6;

function trustOf(own: HoverLoops, hover: HoverSummary, axis: AxisName): Trust {
  if (own.best === null) {
    const why =
      own.plant === null
        ? 'nothing in these hovers shows this axis’ plant'
        : 'the controller’s gains are not known';
    return { rate: why, attitude: why, swings: false };
  }
  const wide = spread(own.draws.map((m) => m.rateGainMarginDb));
  if (wide !== null && wide > USELESS_DB) {
    const why = `the gain margin is uncertain by ${wide.toFixed(0)} dB`;
    return { rate: why, attitude: why, swings: false };
  }
  const bending = hover.diagnosis.axes[axis].oscillations.find(
    (o) => o.origin === 'structure' && o.follows === null,
  );
  if (bending !== undefined) {
    const why = `something bends at ${bending.frequencyHz.toFixed(1)} Hz, which the identified loops do not know of`;
    return { rate: why, attitude: why, swings: false };
  }
  const { rateGainMarginDb, attitudeStable } = own.best;
  const swing = hover.diagnosis.axes[axis].oscillations.find(
    (o) =>
      (o.origin === 'rate-loop' || o.origin === 'attitude-loop') &&
      o.follows === null &&
      (o.regime === 'growing' || o.regime === 'limit-cycle'),
  );
  const swings = swing !== undefined && swing.confidence >= SURE_OF_SWING;
  if (rateGainMarginDb !== null && Math.abs(rateGainMarginDb) < VERGE_DB)
    return { rate: null, attitude: 'the rate loop inside it is on the verge of stability', swings };
  if (swing !== undefined && attitudeStable === true)
    return {
      swings,
      rate: null,
      attitude: `its swing at ${swing.frequencyHz.toFixed(2)} Hz sustains itself, but the identified loop is stable`,
    };
  return { rate: null, attitude: null, swings: false };
}

function fromWords(loops: AxisLoopsOverHovers, hovers: readonly HoverSummary[]): string {
  const pooled = [...new Set(loops.hovers.flatMap((own) => own.pooledFrom))].map((h) => hovers[h]!.name);
  return `plant pooled over ${pooled.join(', ')}, each hover’s own controller`;
}
