/** Gain changes as advice: factors per term, grouped in steps, with what the next hover should show. */
import { AXES, type AxisName } from '@settle/parser';
import type { Advice } from '../diagnosis.js';
import {
  decideGains,
  decideOnSupposed,
  ruleOfThumb,
  type GainDecision,
  type RuleDecision,
} from './decide-gains.js';
import { shownByStick } from './fit-plant.js';
import type { SupposedPlant } from './fit-axes.js';
import type { AxisIdentification } from './identify.js';
import { OFTEN_CUT } from './gain-bounds.js';
import { AIM, largestAttitudeFactor, predict, type GainFactors } from './gain-search.js';

export interface AxisDecision {
  readonly axis: AxisName;
  readonly id: AxisIdentification;
  readonly measured: GainDecision | null;
  /** On a plant that is only supposed, and goes before the rule; null: there is a measured one, or no change is called for. */
  readonly supposed: GainDecision | null;
  readonly rule: RuleDecision | null;
}

export function decideAll(ids: Readonly<Record<AxisName, AxisIdentification>>): AxisDecision[] {
  return AXES.map((axis) => {
    const id = ids[axis];
    const measured = id.bendingHz.length > 0 ? null : decideGains(id);
    // The swing of one axis drives the motors of all to their stops, and shakes the demands of the others with them.
    const othersSwing = AXES.some((other) => other !== axis && ids[other].evidence.equations.length > 0);
    if (measured !== null) return { axis, id, measured, supposed: null, rule: null };
    return { axis, id, measured, ...decideOnSupposed(id, ruleOfThumb(id, othersSwing)) };
  });
}

export interface GainAdviceContext {
  readonly decisions: readonly AxisDecision[];
  /** The hover ended in an upset: nothing may be raised. */
  readonly upset: boolean;
  /** Axes with a resonance of the structure that nothing explains: nothing is raised there either. */
  readonly bending: ReadonlySet<AxisName>;
}

/** A factor this near 1 is no change. */
const NO_CHANGE = 0.03;
/** Where nothing may be raised, what is left must be stable with this share of the plausible plants. */
const SURE_SHARE = 0.8;

export function adviseGains({ decisions, upset, bending }: GainAdviceContext): Advice[] {
  return decisions.flatMap(({ axis, id: flown, measured: shown, supposed: given, rule: plain }) => {
    // After an upset nothing is changed but what an identified plant bears.
    const supposed = upset && flown.supposed?.from !== 'motion' ? null : given;
    const rule = upset || supposed !== null ? null : plain;
    const measured = shown ?? supposed;
    const from = supposed === null ? null : (flown.supposed?.from ?? null);
    const id: AxisIdentification =
      from === null ? flown : { ...flown, plant: flown.supposed!.plant, draws: flown.supposed!.draws };
    const wanted = measured?.factors ?? rule?.factors ?? null;
    if (wanted === null || id.controller === null) return [];
    const raises = Math.max(wanted.P, wanted.I, wanted.D, wanted.attitude) > 1 + NO_CHANGE;
    if (!raises || !(upset || bending.has(axis))) return adviceOf(axis, id, wanted, measured, rule, from);
    if (!bending.has(axis) && shown !== null && tippedForWeakness(id, shown))
      return adviceOf(axis, id, wanted, shown, null, null);
    // No gain goes up; what can come down does, if that alone is a stable aircraft.
    const lowered = {
      P: Math.min(1, wanted.P),
      I: Math.min(1, wanted.I),
      D: Math.min(1, wanted.D),
      attitude: Math.min(1, wanted.attitude),
    };
    if (measured === null || id.plant === null) return [];
    // Less of anything in a loop that is too loose could tip it over, but for an attitude gain that is too much for it.
    if (measured.why === 'too-loose' || wanted.P > 1 + NO_CHANGE + LITTLE_RAISE) {
      if (upset || measured.kept.attitude > 1 - SURE_SHARE) return [];
      const attitude = largestAttitudeFactor(id, id.plant, SAME, AIM) ?? 1;
      Object.assign(lowered, SAME, { attitude: Math.min(1, Math.max(attitude, LEAST_ATTITUDE)) });
    }
    const expected = predict(id, id.plant, lowered);
    if (expected === null || stableShare(id, lowered) < SURE_SHARE) return [];
    return adviceOf(axis, id, lowered, { ...measured, factors: lowered, expected, trade: [] }, null, from);
  });
}

/** Share of the plausible plants with which both loops are stable. */
function stableShare(id: AxisIdentification, f: GainFactors): number {
  const stable = id.draws.filter((draw) => {
    const m = predict(id, draw, f);
    return m?.rate?.stable === true && m.attitude?.stable !== false;
  });
  return stable.length / id.draws.length;
}

/**
 * Whether an aircraft tipped over because this axis was held too weakly, as its own swing shows: the demand that explains the swing
 * turned the body the right way and met no stop, hardly any plausible plant holds with today's gains, and nearly every one does
 * with those that are called for. Then less of them all would be the danger.
 */
function tippedForWeakness(id: AxisIdentification, { factors, why }: GainDecision): boolean {
  if (factors === null || id.cutShare > OFTEN_CUT) return false;
  const loose = why === 'too-loose' || factors.P > 1 + LITTLE_RAISE;
  return loose && stableShare(id, SAME) < 1 - SURE_SHARE && stableShare(id, factors) >= SURE_SHARE;
}

const SAME: GainFactors = { P: 1, I: 1, D: 1, attitude: 1 };
/** An attitude gain is not taken down further in one step. */
const LEAST_ATTITUDE = 0.3;
/** A loop that calls for more P than this is too loose: reducing anything there could tip it over. */
const LITTLE_RAISE = 0.5;

function adviceOf(
  axis: AxisName,
  id: AxisIdentification,
  f: GainFactors,
  measured: GainDecision | null,
  rule: RuleDecision | null,
  supposed: SupposedPlant['from'] | null,
): Advice[] {
  const c = id.controller!;
  const because = [
    ...(supposed === null ? [] : [SUPPOSED[supposed]]),
    ...reasons(measured, rule, id.addedFilters !== null),
  ];
  const expected = measured?.expected ?? null;
  const expect =
    expected?.rate?.gainMarginDb == null || expected.rate.phaseMarginDeg === null
      ? null
      : [
          {
            axis,
            gainMarginDb: expected.rate.gainMarginDb,
            phaseMarginDeg: expected.rate.phaseMarginDeg,
            oscillationHz: null,
          },
        ];
  const basis: Advice['basis'] =
    measured === null || supposed === 'other-axes'
      ? 'rule-of-thumb'
      : supposed === 'motion' || shownByStick(id.evidence)
        ? 'margins'
        : 'ultimate-cycle';
  const one = (
    loop: 'rate' | 'attitude',
    term: 'P' | 'I' | 'D',
    factor: number,
    from: number | null,
  ): Advice[] => {
    if (Math.abs(factor - 1) <= NO_CHANGE || from === 0) return [];
    return [
      {
        step: 1,
        kind: 'gain',
        axis,
        loop,
        term,
        factor,
        ...(from === null ? {} : { from, to: from * factor }),
        basis,
        because,
        watchFor: watchFor(
          factor,
          loop,
          measured?.today.rate?.stable === false || measured?.today.attitude?.stable === false,
        ),
        text: `${factor < 1 ? 'Lower' : 'Raise'} the ${axis} ${loop} loop’s ${term} gain to ${factor.toFixed(2)} times what it is`,
        ...(expect === null ? {} : { expect }),
      },
    ];
  };
  return [
    ...one('rate', 'P', f.P, c.kp),
    ...one('rate', 'I', f.I, c.ki),
    ...one('rate', 'D', f.D, c.kd),
    ...one('attitude', 'P', f.attitude, c.attitude),
  ];
}

const SUPPOSED: Readonly<Record<SupposedPlant['from'], string>> = {
  motion:
    'only gusts move this axis; the shape of its motion tells what its loops make of them, and so the plant, if gusts are as smooth as they are taken to be: good for this step, not for a margin',
  'other-axes':
    'this axis shows nothing of its own; it hangs on the same rotors as those that do, and its effectiveness is taken to be like theirs within a factor of two',
};

function watchFor(factor: number, loop: 'rate' | 'attitude', unsafe: boolean): string {
  if (factor < 1)
    return 'a sluggish aircraft that wanders and is slow to level: land, and say so with the next log';
  if (unsafe)
    return 'a buzz, a shake or a swing that is not gone at once: land, and leave it on the ground until the new log is read';
  return loop === 'rate'
    ? 'a fast buzz or a shake after a stick movement: land at once and go back to the old gains'
    : 'a slow swing after a stick movement: land and go back to the old gains';
}

function reasons(measured: GainDecision | null, rule: RuleDecision | null, filtered: boolean): string[] {
  if (rule !== null)
    return [
      rule.why === 'bends'
        ? 'the loop keeps a bending part of the structure ringing; less gain at that frequency lets it come to rest, and mending the part is better'
        : rule.why === 'wanders'
          ? 'the axis wanders slowly and far, more slowly than its loop should hold it; what its rotors can do could not be identified, so the step is small'
          : 'the demand changes faster and by more than anybody flies, so the gains stir it up; what the rotors can do could not be identified, so the step is a plain half',
    ];
  if (measured === null) return [];
  const { today, expected, expectedAtLeast, crossoverShare, limited, trade } = measured;
  const describe = (m: GainDecision['today']['rate']): string =>
    m === null
      ? 'unknown'
      : `${m.stable ? '' : 'unstable, '}${m.gainMarginDb === null ? 'no gain limit' : `${m.gainMarginDb.toFixed(1)} dB`} and ${m.phaseMarginDeg === null ? 'no phase crossing' : `${m.phaseMarginDeg.toFixed(0)}°`}`;
  return [
    `margins of the rate loop today: ${describe(today.rate)}; with these gains${filtered ? ' and the filters advised beside them' : ''}: ${describe(expected.rate)}, and with four in five of the plants that fit the log no less than ${expectedAtLeast.gainMarginDb?.toFixed(1) ?? '–'} dB and ${expectedAtLeast.phaseMarginDeg?.toFixed(0) ?? '–'}° (wanted: 8 dB and 50°, required: 6 dB and 45°)`,
    ...(today.attitude === null
      ? []
      : [
          today.rate?.stable === false
            ? `margins of the attitude loop with these gains: ${describe(expected.attitude)}`
            : `margins of the attitude loop today: ${describe(today.attitude)}; with these gains: ${describe(expected.attitude)}`,
        ]),
    ...(crossoverShare === null
      ? []
      : [
          `the rate loop crosses over at ${(100 * crossoverShare).toFixed(0)} % of the frequency that the wanted margins allow`,
        ]),
    ...(trade.length === 0
      ? []
      : [
          `all rate gains of this advice times: ${trade
            .map(
              (t) =>
                `${t.factor.toFixed(2)} gives ${t.gainMarginDb === null ? '–' : t.gainMarginDb.toFixed(1)} dB and ${t.phaseMarginDeg === null ? '–' : t.phaseMarginDeg.toFixed(0)}°`,
            )
            .join('; ')}`,
        ]),
    ...(limited === null ? [] : [limited]),
  ];
}
