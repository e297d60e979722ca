/** Which factors on the gains of one axis its identified loops call for, as far as their uncertainty allows. */
import type { Complex } from '../control/complex.js';
import type { AxisIdentification } from './identify.js';
import { drawnMargins } from './drawn-margins.js';
import { loopsOf } from './identify.js';
import {
  AIM,
  attitudeLoopWith,
  largestAttitudeFactor,
  largestFactor,
  predict,
  rateLoopWith,
  REQUIRED,
  SAFE,
  tune,
  type GainFactors,
  type MarginTarget,
} from './gain-search.js';
import { boundsOf, OFTEN_CUT, shownBy, TARGETS, targetsOf, type ShownBy } from './gain-bounds.js';
import { marginsOf, type BothMargins } from './loop-model.js';
import type { PlantParameters } from './plant-model.js';

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
  /** `near-structure`: the margins would do, were it not for something of the structure that they do not know of. */
  readonly why:
    | 'margins-met'
    | 'too-tight'
    | 'too-loose'
    | 'near-structure'
    | 'attitude-too-tight'
    | 'attitude-too-loose';
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

const WORST_SHARE = 0.2;
const NEARLY_EVERY = 0.05;

/** Alternatives shown beside the advice. */
const TRADE = [0.7, 1, 1.4];
const SMALLEST = 0.01;
const LARGEST = 10;

/** A gain margin as uncertain as this, dB, is as good as unknown; a share of plants that miss the requirement which speaks all the same. */
const UNKNOWN_DB = 9;
const UNHELD = 0.8;

/** Half the distance between the 16th and 84th percentile of the drawn gain margins of the rate loop today, dB; 0 where too few have one. */
function gainSpreadDb(id: AxisIdentification): number {
  const known = drawnMargins(id).flatMap(({ margins }) => margins.rate?.gainMarginDb ?? []);
  return known.length < id.draws.length / 2 ? 0 : (quantile(known, 0.84) - quantile(known, 0.16)) / 2;
}

const bounded = (factor: number): number => Math.max(SMALLEST, Math.min(LARGEST, factor));

/** @returns null where the axis has no identified loop */
export function decideGains(id: AxisIdentification): GainDecision | null {
  return decide(id, shownBy(id));
}

/**
 * Of plants that are only supposed, so many must miss the requirement before an axis is lowered as they call for: where its demand
 * shakes too much for any doubt, where another axis keeps the motors at their stops, so that this one may be calm for that alone,
 * and where it shakes more than in a quiet aircraft.
 */
const MISSING = { restless: 0.5, cut: 0.6, uneasy: 0.85 } as const;
/** And where so many keep it, a restless demand comes from elsewhere. */
const HARDLY_TIGHT = 0.8;
/** No further than this at once: the axis may be another than the others say. */
const LEAST_FACTOR = 0.1;

/**
 * For an axis whose plant neither sticks nor swings show: what its motion in gusts calls for, else, where its demand shakes or the
 * stops cut it, what the other axes say of it. With nothing of its own a calm axis is left alone, whatever the others say: a loop far
 * too tight would not be calm.
 *
 * @param rule what the motion alone calls for
 * @returns the decision, or the rule as far as what is supposed does not speak against it
 */
export function decideOnSupposed(
  id: AxisIdentification,
  rule: RuleDecision | null,
): { supposed: GainDecision | null; rule: RuleDecision | null } {
  const loops = id.supposed === null ? null : loopsOf(id, id.supposed.plant);
  if (id.supposed === null || loops === null || rule?.why === 'bends') return { supposed: null, rule };
  const { plant, draws, from } = id.supposed;
  const restless = rule?.why === 'restless';
  const cut = id.cutShare > OFTEN_CUT && !swingsFar(id);
  const uneasy = id.motion.fastDemandStd > UNEASY_DEMAND && !swingsFar(id);
  if (from === 'other-axes' && !restless && !cut && !uneasy) return { supposed: null, rule };
  // Where the stops cut for another axis' swing, the motion tells little: nothing is raised on it, and what is calm is not lowered.
  if (from === 'motion' && cut && !restless && !uneasy) return { supposed: null, rule: null };
  const supposed = { ...id, plant, draws, margins: marginsOf(loops) };
  const decision = decide(supposed, from);
  if (decision === null) return { supposed: null, rule };
  if (from === 'motion') return { supposed: decision, rule: null };
  const { factors } = decision;
  if (decision.kept.rate >= HARDLY_TIGHT) return { supposed: null, rule: null };
  const missing = restless ? MISSING.restless : cut ? MISSING.cut : MISSING.uneasy;
  if (factors === null || factors.P >= 1 || decision.kept.rate > 1 - missing) return { supposed: null, rule };
  if (factors.P >= LEAST_FACTOR) return { supposed: decision, rule };
  const k = LEAST_FACTOR / factors.P;
  const least = {
    P: k * factors.P,
    I: Math.min(1, k * factors.I),
    D: Math.min(1, k * factors.D),
    attitude: factors.attitude,
  };
  const expected = predict(supposed, plant, least);
  if (expected === null) return { supposed: null, rule };
  const limited = `lowering by what other axes say is limited to ${String(LEAST_FACTOR)} times in one step`;
  return {
    supposed: {
      ...decision,
      factors: least,
      expected,
      expectedAtLeast: atLeast(supposed, least),
      trade: [],
      limited,
    },
    rule,
  };
}

function decide(id: AxisIdentification, by: ShownBy): GainDecision | null {
  const { plant, margins, controller } = id;
  // Margins of today's loop may lie beyond what they are traced in: a loop that far off is too tight.
  if (plant === null || margins === null || controller === null) return null;
  const shaken = id.structuralPeak;
  const { aim: plainAim, raiseAim, kept: wanted, comfortable, slowShare } = targetsOf(id, by);
  const same = { P: 1, I: 1, D: 1, attitude: 1 };
  const kept = shareOfDraws(id, same, REQUIRED);
  const keeps = (target: MarginTarget): boolean =>
    meets(margins.rate, target) && kept.rate >= 1 - WORST_SHARE;
  const most = boundsOf(id, by);
  const fastest = tune(id, plant);
  // What is as good as unknown changes nothing, but for a loop that hardly any plausible plant holds.
  if (by !== 'sticks' && kept.rate > 1 - UNHELD && gainSpreadDb(id) > UNKNOWN_DB) return null;
  const alike = (a: MarginTarget, b: MarginTarget): boolean =>
    a.gainMarginDb === b.gainMarginDb && a.phaseMarginDeg === b.phaseMarginDeg;
  const plain = alike(plainAim, AIM) ? fastest : tune(id, plant, plainAim);
  const aim = (plain?.factors.P ?? 0) > 1 ? raiseAim : plainAim;
  const balanced = alike(aim, plainAim) ? plain : tune(id, plant, aim);
  const tuned = tune(id, plant, aim, most.terms) ?? balanced;
  if (tuned === null || balanced === null || fastest === null) return null;
  const crossover = margins.rate?.crossoverHz ?? null;
  const bestCrossover = fastest.margins.rate?.crossoverHz ?? null;
  const share = crossover === null || bestCrossover === null ? null : crossover / bestCrossover;
  const rateFine = keeps(comfortable) && share !== null && share >= slowShare;
  const attitudeFine =
    margins.attitude === null ||
    (meets(margins.attitude, TARGETS.comfortable) && kept.attitude >= 1 - WORST_SHARE);
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
  let limited =
    shaken === null
      ? aim === raiseAim && raiseAim.gainMarginDb > AIM.gainMarginDb
        ? `what only the motion in gusts has shown is raised to ${String(aim.gainMarginDb)} dB of gain margin instead of ${String(AIM.gainMarginDb)} dB`
        : null
      : `something of the structure shakes this axis at ${shaken.frequencyHz.toFixed(1)} Hz (${shaken.riseDb.toFixed(0)} dB above what lies around it), and what it does to the loop is not identified: ${String(aim.gainMarginDb)} dB are aimed at there instead of ${String(AIM.gainMarginDb)} dB`;
  let factors: GainFactors = same;
  if (!rateFine) {
    // The same shape, no faster than nearly all plausible plants allow.
    const stepOf = (shape: GainFactors): { k: number; safe: boolean } => {
      const loops = id.draws.map((draw) => rateLoopWith(id, draw, shape));
      const wary = Math.min(1, Math.max(keptBy(loops, wanted, WORST_SHARE), most.mostCaution));
      if (wary * Math.max(shape.P, shape.I, shape.D) <= 1) return { k: wary, safe: true };
      const bound = keptBy(loops, SAFE, NEARLY_EVERY);
      // What goes up must be safe with nearly every plant; what comes down need not come further for it.
      return { k: Math.min(wary, Math.max(bound, 1 / shape.P)), safe: bound >= wary };
    };
    // Where the likeliest loop is as it should be and only unsure, it is taken down as a whole, and no term of it goes up.
    const unsure = meets(margins.rate, comfortable) && share !== null && share >= slowShare;
    let shape = unsure ? same : tuned.factors;
    let step = stepOf(shape);
    if (!step.safe && Math.max(shape.I, shape.D) > 1) {
      // Then I and D stay where they are, and P is found around them.
      const plain = tune(id, plant, aim, 1);
      if (plain !== null) {
        shape = plain.factors;
        step = stepOf(shape);
      }
    }
    const { k } = step;
    if (!step.safe) limited = 'raising is limited to what nearly every plausible plant bears';
    // Where P may not rise as it should, I and D that should not come down stay.
    const follow = (by: number, whole: number): number => (step.safe ? by : Math.max(by, Math.min(1, whole)));
    const scaled = (by: number): GainFactors => ({
      P: by * shape.P,
      I: follow(by * shape.I, shape.I),
      D: follow(by * shape.D, shape.D),
      attitude: 1,
    });
    const raise = most.P;
    factors = scaled(k);
    if (factors.P > raise) {
      // I and D in the balance they have in the end, not cut along with P; while P stops short, no term of a loop that keeps its
      // margins comes down, for it may be what makes the loop as fast as it is.
      const lowest = keeps(TARGETS.comfortable) ? 1 : 0;
      const inBalance = (of: 'I' | 'D'): number =>
        Math.max(lowest, Math.min(most.terms, (raise * balanced.factors[of]) / balanced.factors.P));
      factors = { P: raise, I: inBalance('I'), D: inBalance('D'), attitude: 1 };
      limited =
        raise === 1
          ? 'nothing is raised on what little this hover shows of the axis'
          : `raising P is limited to ${String(raise)} times in one step`;
    } else if (tuned !== balanced && tuned.factors.P < 0.9 * balanced.factors.P)
      limited =
        most.terms === 1
          ? 'I and D are not raised on what little this hover shows of the axis, so P is lower than it will be in the end'
          : `raising I and D is limited to ${String(most.terms)} times in one step, so P is lower than it will be in the end`;
    factors = { ...factors, P: bounded(factors.P), I: bounded(factors.I), D: bounded(factors.D) };
  }
  if (controller.attitude !== null) {
    const mean = largestAttitudeFactor(id, plant, factors, AIM);
    const loops = id.draws.map((draw) => attitudeLoopWith(id, draw, factors));
    const cautious = keptBy(loops, TARGETS.kept, WORST_SHARE);
    // What does not swing and keeps the requirement with the likeliest plant is not lowered for a few degrees that gusts alone speak of.
    const enough = by === 'motion' && (largestAttitudeFactor(id, plant, factors, REQUIRED) ?? 0) >= 1;
    const wary = Math.max(
      enough ? 1 : 0,
      Math.min(mean ?? 0, Math.max(cautious, most.mostCaution * (mean ?? 0))),
    );
    const k = wary <= 1 ? wary : Math.min(wary, Math.max(1, keptBy(loops, SAFE, NEARLY_EVERY)));
    // An attitude loop that is merely slow harms nobody.
    if (k > 0) factors = { ...factors, attitude: Math.min(Math.max(k, SMALLEST), most.attitude) };
    if (attitudeFine && rateFine) factors = same;
  }
  const least = (factor: number): number => Math.max(factor, Math.min(1, most.least));
  if (Math.min(factors.P, factors.I, factors.D, factors.attitude) < most.least)
    limited = `what held together while a stick was flown comes down to no less than ${String(most.least)} times in one step`;
  factors = {
    P: least(factors.P),
    I: least(factors.I),
    D: least(factors.D),
    attitude: least(factors.attitude),
  };
  const expected = predict(id, plant, factors);
  // Nothing is advised that would not meet the requirement with the likeliest plant.
  if (expected === null || !meets(expected.rate, REQUIRED)) return null;
  if (expected.attitude !== null && !meets(expected.attitude, REQUIRED)) return null;
  const why = !rateFine
    ? keeps(TARGETS.comfortable)
      ? factors.P < 1
        ? 'near-structure'
        : 'too-loose'
      : 'too-tight'
    : factors.attitude < 1
      ? 'attitude-too-tight'
      : 'attitude-too-loose';
  return {
    factors,
    today: margins,
    expected,
    expectedAtLeast: atLeast(id, factors),
    crossoverShare: share,
    why,
    kept,
    trade: tradeOf(id, plant, factors),
    limited,
  };
}

/** What other factors on all rate gains would give. */
export function tradeOf(
  id: AxisIdentification,
  plant: PlantParameters,
  factors: GainFactors,
): GainDecision['trade'] {
  return TRADE.map((factor) => {
    const f = { ...factors, P: factors.P * factor, I: factors.I * factor, D: factors.D * factor };
    const m = predict(id, plant, f)?.rate ?? null;
    return { factor, gainMarginDb: m?.gainMarginDb ?? null, phaseMarginDeg: m?.phaseMarginDeg ?? null };
  });
}

/** Factor on a loop's gain that all but a share of the plausible plants bear. */
function keptBy(loops: readonly (readonly Complex[])[], target: MarginTarget, share: number): number {
  return quantile(
    loops.map((loop) => largestFactor(loop, target) ?? 0),
    share,
  );
}

export function meets(
  m: BothMargins['rate'],
  target: { gainMarginDb: number; phaseMarginDeg: number },
): boolean {
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
export function atLeast(id: AxisIdentification, factors: GainFactors): GainDecision['expectedAtLeast'] {
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
const RESTLESS_DEMAND = { any: 0.2, shakenYaw: 0.45 };
/** This much bears out what other axes say of the loop, but proves nothing alone: gusts and noise through gains that are as they should be reach it. */
const UNEASY_DEMAND = 0.12;
/** A swing this large and slow, rad/s and Hz, may drive the demand from stop to stop (judgement): the RMS of ±60 deg/s. */
const LARGE_SWING = (42 * Math.PI) / 180;
const SLOW_SWING_HZ = 2.5;
/** Gain margin of a loop that is not what shakes its demand, dB. */
const LOOSE_DB = 10;
const WANDERS_FACTOR = 1.6;
const RESTLESS_FACTOR = 0.5;

/** The edges of a slow swing that the stops cut look restless; less gain is no cure for it. */
const swingsFar = ({ motion: { rateStd, rateHz } }: AxisIdentification): boolean =>
  rateStd > LARGE_SWING && rateHz < SLOW_SWING_HZ;

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
  const most = othersSwing && id.axis === 'yaw' ? RESTLESS_DEMAND.shakenYaw : RESTLESS_DEMAND.any;
  const loose = id.margins?.rate?.stable === true && (id.margins.rate.gainMarginDb ?? Infinity) > LOOSE_DB;
  if (!swingsFar(id) && !loose && fastDemandStd > most)
    return { factors: all(RESTLESS_FACTOR), why: 'restless' };
  if (id.plant === null && id.axis !== 'yaw' && rateHz < WANDERS_HZ && rateStd > WANDERS_RATE)
    return { factors: all(WANDERS_FACTOR), why: 'wanders' };
  return null;
}
