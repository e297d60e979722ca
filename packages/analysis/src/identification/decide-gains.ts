/** Which factors on the gains of one axis its identified loops call for, as far as their uncertainty allows. */
import { shownByStick } from './fit-plant.js';
import type { AxisIdentification } from './identify.js';
import {
  AIM,
  largestAttitudeFactor,
  largestRateFactor,
  predict,
  REQUIRED,
  tune,
  type GainFactors,
} from './gain-search.js';
import type { BothMargins } from './loop-model.js';

export interface GainDecision {
  /** null: leave the gains as they are. */
  readonly factors: GainFactors | null;
  /** Margins with today's gains and with the advised ones. */
  readonly today: BothMargins;
  readonly expected: BothMargins;
  /** What the expected rate loop keeps, at the least, with four in five of the plausible plants. */
  readonly expectedAtLeast: { readonly gainMarginDb: number | null; readonly phaseMarginDeg: number | null };
  /** Rate crossover today over the one that meets the aim. */
  readonly crossoverShare: number | null;
  readonly why: 'margins-met' | 'too-tight' | 'too-loose' | 'attitude-too-tight' | 'attitude-too-loose';
  /** Share of the plausible plants with which each loop keeps the requirement today. */
  readonly kept: { readonly rate: number; readonly attitude: number };
  /** What other factors on all rate gains of the advice would give. */
  readonly trade: readonly {
    readonly factor: number;
    readonly gainMarginDb: number | null;
    readonly phaseMarginDeg: number | null;
  }[];
  /** Something held the change back. */
  readonly limited: string | null;
}

/** Margins that the next gains keep even with the plants that are worse than four in five. */
const KEPT = { gainMarginDb: 6.3, phaseMarginDeg: 46 } as const;
const WORST_SHARE = 0.2;
/** However uncertain the plant, gains go no lower than this share of what suits the likeliest: too loose is a danger too. */
const MOST_CAUTION = { instrument: 0.7, oscillation: 0.5, weakStick: 0.85 } as const;
/** Margins above the requirement by this much need no change. */
const COMFORTABLE = { gainMarginDb: 6.7, phaseMarginDeg: 47 } as const;
/** Rate loops slower than this share of what the aim allows are worth raising. */
const SLOW_SHARE = 0.72;
/** Largest changes: raising is bounded harder than lowering. Common practice, no source. */
const LARGEST_RAISE = { instrument: 10, oscillation: 1.25 } as const;
const LARGEST_ATTITUDE_RAISE = { instrument: 2.5, oscillation: 1.25 } as const;
/** I and D may follow P up by more where the sticks have shown the plant. */
const LARGEST_TERM_RAISE = { instrument: 8, oscillation: 2 } as const;
/** Alternatives shown beside the advice. */
const TRADE = [0.7, 1, 1.4];
const SMALLEST = 0.01;
const LARGEST = 10;

const bounded = (factor: number): number => Math.max(SMALLEST, Math.min(LARGEST, factor));

/** @returns null where the axis has no identified loop */
export function decideGains(id: AxisIdentification): GainDecision | null {
  const { plant, margins, controller } = id;
  if (plant === null || margins === null || margins.rate === null || controller === null) return null;
  const strong = shownByStick(id.evidence);
  const kind = strong ? 'instrument' : 'oscillation';
  const caution = MOST_CAUTION[id.evidence.gain?.from === 'weak-stick' ? 'weakStick' : kind];
  const balanced = tune(id, plant);
  const tuned = tune(id, plant, AIM, LARGEST_TERM_RAISE[kind]) ?? balanced;
  if (tuned === null || balanced === null) return null;
  const crossover = margins.rate.crossoverHz;
  const bestCrossover = balanced.margins.rate?.crossoverHz ?? null;
  const share = crossover === null || bestCrossover === null ? null : crossover / bestCrossover;
  const same = { P: 1, I: 1, D: 1, attitude: 1 };
  const kept = shareOfDraws(id, same, REQUIRED);
  const rateFine =
    meets(margins.rate, COMFORTABLE) && kept.rate >= 1 - WORST_SHARE && share !== null && share >= SLOW_SHARE;
  const attitudeFine =
    margins.attitude === null || (meets(margins.attitude, COMFORTABLE) && kept.attitude >= 1 - WORST_SHARE);
  if (rateFine && attitudeFine)
    return {
      factors: null,
      today: margins,
      expected: margins,
      expectedAtLeast: atLeast(id, same),
      crossoverShare: share,
      why: 'margins-met',
      kept,
      trade: [],
      limited: null,
    };
  let limited: string | null = null;
  let factors: GainFactors = same;
  if (!rateFine) {
    const shape = tuned.factors;
    // The same shape, no faster than nearly all plausible plants allow.
    const scaled = (k: number): GainFactors => ({
      P: k * shape.P,
      I: k * shape.I,
      D: k * shape.D,
      attitude: 1,
    });
    const cautious = quantile(
      id.draws.map((draw) => largestRateFactor(id, draw, shape, KEPT) ?? 0),
      WORST_SHARE,
    );
    const k = Math.min(1, Math.max(cautious, caution));
    const raise = LARGEST_RAISE[kind];
    factors = scaled(k);
    if (factors.P > raise) {
      // I and D in the balance they have in the end, not cut along with P.
      const most = LARGEST_TERM_RAISE[kind];
      const inBalance = (of: 'I' | 'D'): number =>
        Math.min(most, (raise * balanced.factors[of]) / balanced.factors.P);
      factors = { P: raise, I: inBalance('I'), D: inBalance('D'), attitude: 1 };
      limited = `raising P is limited to ${String(raise)} times in one step`;
    } else if (tuned !== balanced && tuned.factors.P < 0.9 * balanced.factors.P)
      limited = `raising I and D is limited to ${String(LARGEST_TERM_RAISE[kind])} times in one step, so P is lower than it will be in the end`;
    factors = { ...factors, P: bounded(factors.P), I: bounded(factors.I), D: bounded(factors.D) };
  }
  if (controller.attitude !== null) {
    const mean = largestAttitudeFactor(id, plant, factors, AIM);
    const cautious = quantile(
      id.draws.map((draw) => largestAttitudeFactor(id, draw, factors, KEPT) ?? 0),
      WORST_SHARE,
    );
    const k = Math.min(mean ?? 0, Math.max(cautious, caution * (mean ?? 0)));
    // An attitude loop that is merely slow harms nobody.
    if (k > 0)
      factors = { ...factors, attitude: Math.min(Math.max(k, SMALLEST), LARGEST_ATTITUDE_RAISE[kind]) };
    if (attitudeFine && rateFine) factors = same;
  }
  const expected = predict(id, plant, factors);
  // Nothing is advised that would not meet the requirement with the likeliest plant.
  if (expected === null || !meets(expected.rate, REQUIRED)) return null;
  if (expected.attitude !== null && !meets(expected.attitude, REQUIRED)) return null;
  const why = !rateFine
    ? meets(margins.rate, COMFORTABLE) && kept.rate >= 1 - WORST_SHARE
      ? 'too-loose'
      : 'too-tight'
    : factors.attitude < 1
      ? 'attitude-too-tight'
      : 'attitude-too-loose';
  const trade = TRADE.map((factor) => {
    const f = { ...factors, P: factors.P * factor, I: factors.I * factor, D: factors.D * factor };
    const m = predict(id, plant, f)?.rate ?? null;
    return { factor, gainMarginDb: m?.gainMarginDb ?? null, phaseMarginDeg: m?.phaseMarginDeg ?? null };
  });
  return {
    factors,
    today: margins,
    expected,
    expectedAtLeast: atLeast(id, factors),
    crossoverShare: share,
    why,
    kept,
    trade,
    limited,
  };
}

function meets(m: BothMargins['rate'], target: { gainMarginDb: number; phaseMarginDeg: number }): boolean {
  return (
    m?.stable === true &&
    (m.gainMarginDb ?? 99) >= target.gainMarginDb &&
    (m.phaseMarginDeg ?? 180) >= target.phaseMarginDeg
  );
}

/** Share of the plausible plants with which both loops keep the target. */
function shareOfDraws(
  id: AxisIdentification,
  factors: GainFactors,
  target: { gainMarginDb: number; phaseMarginDeg: number },
): { rate: number; attitude: number } {
  let rate = 0;
  let attitude = 0;
  for (const draw of id.draws) {
    const m = predict(id, draw, factors);
    if (meets(m?.rate ?? null, target)) rate++;
    if (m?.attitude === null || meets(m?.attitude ?? null, target)) attitude++;
  }
  return { rate: rate / id.draws.length, attitude: attitude / id.draws.length };
}

/** Margins of the rate loop that all but the worst fifth of the plausible plants keep. */
function atLeast(id: AxisIdentification, factors: GainFactors): GainDecision['expectedAtLeast'] {
  const drawn = id.draws.map((draw) => predict(id, draw, factors)?.rate ?? null);
  const low = (of: 'gainMarginDb' | 'phaseMarginDeg'): number | null => {
    const known = drawn.flatMap((m) => (m === null || m[of] === null ? [] : [m[of]]));
    return known.length < drawn.length / 2 ? null : quantile(known, WORST_SHARE);
  };
  return { gainMarginDb: low('gainMarginDb'), phaseMarginDeg: low('phaseMarginDeg') };
}

function quantile(values: readonly number[], share: number): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(share * (sorted.length - 1))] ?? 0;
}

/** Rules for an axis whose plant cannot be identified: small safe steps on what the motion itself shows. */
export interface RuleDecision {
  readonly factors: GainFactors;
  readonly why: 'wanders' | 'restless' | 'bends';
}

/** A loop of roll or pitch that holds its axis moves it faster than this, Hz, and less than this, rad/s. */
const WANDERS_HZ = 0.62;
const WANDERS_RATE = (9 * Math.PI) / 180;
/** A demand that changes by this share of full authority faster than anybody flies is stirred up by the gains. */
const RESTLESS_DEMAND = { alone: 0.12, shaken: 0.2, shakenYaw: 0.45 };
const WANDERS_FACTOR = 1.6;
const RESTLESS_FACTOR = 0.5;

/**
 * @param othersSwing another axis oscillates, and shakes this one's demand through the motors' stops
 * @returns null where the motion is not slow and large, and the demand not restless. Common practice, no source.
 */
export function ruleOfThumb(id: AxisIdentification, othersSwing: boolean): RuleDecision | null {
  if (id.controller === null) return null;
  if (id.bendingHz.length > 0) {
    const hasD = id.controller.kd > 0;
    return { factors: { P: hasD ? 0.7 : 0.5, I: hasD ? 0.7 : 0.5, D: 0.5, attitude: 1 }, why: 'bends' };
  }
  const { rateStd, rateHz, fastDemandStd } = id.motion;
  const all = (f: number): GainFactors => ({ P: f, I: f, D: f, attitude: 1 });
  const shaken = id.axis === 'yaw' ? RESTLESS_DEMAND.shakenYaw : RESTLESS_DEMAND.shaken;
  if (fastDemandStd > (othersSwing ? shaken : RESTLESS_DEMAND.alone))
    return { factors: all(RESTLESS_FACTOR), why: 'restless' };
  if (id.plant === null && id.axis !== 'yaw' && rateHz < WANDERS_HZ && rateStd > WANDERS_RATE)
    return { factors: all(WANDERS_FACTOR), why: 'wanders' };
  return null;
}
