/** What gains are aimed at, and how far they go in one step, by what showed the plant. */
import { AIM, type MarginTarget } from './gain-search.js';
import type { AxisIdentification } from './identify.js';

/** What showed the plant. */
export type ShownBy = 'sticks' | 'weak-stick' | 'oscillation' | 'motion' | 'other-axes';

export function shownBy({ evidence: { bands, gain, motion } }: AxisIdentification): ShownBy {
  if (bands.length > 0) return 'sticks';
  if (motion !== null && gain?.from !== 'weak-stick') return 'motion';
  return gain?.from === 'weak-stick' ? gain.from : 'oscillation';
}

/** Where the stops cut a demand for more than this share of the hover, what gets through shows less of the axis. */
export const OFTEN_CUT = 0.1;

export interface StepBounds {
  /** However uncertain the plant, gains go no lower than this share of what suits the likeliest: too loose is a danger too. */
  readonly mostCaution: number;
  /** Largest factors on P, on the attitude gain, and on I and D, which may follow P up by more where sticks have shown the plant. */
  readonly P: number;
  readonly attitude: number;
  readonly terms: number;
  /** Smallest factor on any gain; 0: none. */
  readonly least: number;
}

/**
 * Largest changes: raising is bounded harder than lowering (common practice, no source). A good loop has 0.45 to 1.25 times the
 * gain that leaves 8 dB; 0.75 is the middle of that (as a ratio), and more caution loses at one end what it gains at the
 * other. Where a swing or another axis is all there is, stability comes first: the next hover shall bear stick movements.
 */
const BOUNDS: Readonly<Record<ShownBy, StepBounds>> = {
  sticks: { mostCaution: 0.75, P: 10, attitude: 2.5, terms: 8, least: 0 },
  'weak-stick': { mostCaution: 0.75, P: 10, attitude: 2.5, terms: 8, least: 0 },
  oscillation: { mostCaution: 0.7, P: 2, attitude: 1.5, terms: 3, least: 0 },
  motion: { mostCaution: 0.75, P: 6, attitude: 2, terms: 5, least: 0 },
  'other-axes': { mostCaution: 0.7, P: 1, attitude: 1, terms: 1, least: 0 },
};
/** On the motion in gusts nothing goes up while the stops cut the demand. */
const WHILE_CUT = { P: 1, attitude: 1, terms: 1 } as const;
/** A stick that moves by more than this was flown, not only held (standard deviation, −1…1; judgement). */
const FLOWN_STICK = 0.025;
/** Where a stick was flown and yet did not show through the gusts, the gusts rule, and what they tell of the plant is the less sure. */
const IN_STRONG_GUSTS = { P: 1.6, attitude: 1.5, terms: 2 } as const;
/**
 * What held together while a stick was flown is not far from stable: without strong bands of the stick and without a swing of its own
 * no gain of it comes down further than this at once.
 */
const HELD = 0.4;

export function boundsOf({ cutShare, motion, evidence }: AxisIdentification, by: ShownBy): StepBounds {
  const flown = motion.stickStd > FLOWN_STICK;
  const held =
    flown && by !== 'sticks' && evidence.equations.length === 0 && evidence.gain?.from !== 'large-swing';
  const most = { ...BOUNDS[by], least: held ? HELD : 0 };
  if (by !== 'motion') return most;
  if (cutShare > OFTEN_CUT) return { ...most, ...WHILE_CUT };
  return flown ? { ...most, ...IN_STRONG_GUSTS } : most;
}

export interface Targets {
  readonly aim: MarginTarget;
  /** Of a loop that is to be raised. */
  readonly raiseAim: MarginTarget;
  /** Kept even with the plants that are worse than four in five. */
  readonly kept: MarginTarget;
  /** Margins above the requirement by this much need no change. */
  readonly comfortable: MarginTarget;
  /** Rate loops slower than this share of what {@link AIM} allows are worth raising. */
  readonly slowShare: number;
}

export const TARGETS: Targets = {
  aim: AIM,
  raiseAim: AIM,
  kept: { gainMarginDb: 6.8, phaseMarginDeg: 48 },
  comfortable: { gainMarginDb: 7, phaseMarginDeg: 48 },
  slowShare: 0.72,
};
/**
 * Where gusts shake something of the structure, the gain limit may lie there and not where a rigid aircraft has it: so much more
 * gain margin is aimed at, and a slower loop is good enough (judgement).
 */
const FOR_STRUCTURE_DB = 4;
const SLOW_ENOUGH = 0.58;
/** What shows the phase by its shape alone gets so much more to spare (judgement). */
const FOR_SHAPE_DEG = 4;
/** And goes up to so much more gain margin: now and then gusts make a plant look half as strong as it is (simulated hovers). */
const FOR_SHAPE_DB = 3;

export function targetsOf({ cutShare, structuralPeak }: AxisIdentification, by: ShownBy): Targets {
  const db = structuralPeak === null ? 0 : FOR_STRUCTURE_DB;
  const deg = by === 'other-axes' || (by === 'motion' && cutShare > OFTEN_CUT) ? FOR_SHAPE_DEG : 0;
  const more = (target: MarginTarget, phase: number): MarginTarget => ({
    gainMarginDb: target.gainMarginDb + db,
    phaseMarginDeg: target.phaseMarginDeg + phase,
  });
  const aim = more(TARGETS.aim, deg);
  const byShape = by === 'motion' ? FOR_SHAPE_DB : 0;
  return {
    aim,
    raiseAim: { ...aim, gainMarginDb: aim.gainMarginDb + byShape },
    kept: more(TARGETS.kept, 0),
    comfortable: more(TARGETS.comfortable, 0),
    slowShare: structuralPeak === null && by !== 'motion' ? TARGETS.slowShare : SLOW_ENOUGH,
  };
}
