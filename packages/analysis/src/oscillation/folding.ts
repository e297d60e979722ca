import { FRAME_HZ, sizeOf, type AxisLine, type PreparedSignal } from './find-axis.js';
import { bandAmplitude, measureLine } from './measure.js';
import { relate } from './relations.js';

/** Why a line of the rate is not motion of a rigid aircraft. */
export interface Folded {
  /** `bends`: the loop takes part in it through something that gives; `folded`: vibration that a slow log folds down. */
  readonly kind: 'folded' | 'bends';
  /** Sentences with numbers. */
  readonly evidence: readonly string[];
  /** How far the demand swings with it, share of full demand; null where no demand is logged fast enough. */
  readonly demandAmplitude: number | null;
}

/** A real line's angle would have to stand this many standard deviations above the angle's own noise to be missed. */
const VISIBLE = 4;
/** Less than this share of the angle that the rate calls for is not the same motion. */
const ANGLE_SHARE = 0.5;
/** Coherence of rate and angle that a small line needs. */
const SMALL_COHERENCE = 0.8;
/** Vibration shakes another axis at least this much as far. */
const ALIKE_SHARE = 0.4;
/** A faster log of the same sensor must show the line at least this large. */
const FASTER_SHARE = 0.5;
const FASTER_RATIO = 1.5;
/** A demand that swings this far with a line, share of full demand, takes part in it. */
export const TAKES_PART = 0.05;
const DEMAND_COHERENCE = 0.8;
/** Only motion faster than this could have been folded down: beyond what rotors and frames of such aircraft do at any size. */
const NOTHING_SHAKES_HZ = 250;

/**
 * Tells whether a line of the body rate is faster motion folded down by a slow log, or vibration of the sensor: the
 * attitude does not move as the rate says it must (rate over 2πf), or a faster log of the gyro does not show it.
 *
 * @param faster the same axis' gyro, where it is logged faster than the rate
 * @param otherAxes body rates of the other axes
 * Where folding is ruled out and the demand swings with the line, the loop takes part in it though the attitude does not: the gyro
 * sits on something that bends. That is an oscillation, and no vibration to be filtered out of a log.
 *
 * @param demand of the axis
 * @returns null when the line is real, or when neither check can be made
 */
export function findFolding(
  line: AxisLine,
  faster: PreparedSignal | null,
  otherAxes: readonly PreparedSignal[],
  demand: PreparedSignal | null,
): Folded | null {
  if (line.from !== 'rate') return null;
  const evidence: string[] = [];
  const angle = line.attitude === null ? null : missingAngle(line, line.attitude);
  if (angle !== null) evidence.push(angle);
  let confirmed = false;
  let notInFaster = false;
  if (faster !== null && faster.sampleRateHz > FASTER_RATIO * line.prepared.sampleRateHz) {
    const startS = Math.max(0, line.startS - faster.startS);
    const seen = bandAmplitude(faster.spectrum, line.frequencyHz, startS, line.endS - faster.startS);
    confirmed = seen >= FASTER_SHARE * line.rateAmplitude;
    notInFaster = !confirmed;
    if (notInFaster)
      evidence.push(
        `the gyro, logged at ${faster.sampleRateHz.toFixed(0)} Hz, shows only ${pct(seen / line.rateAmplitude)} of it there`,
      );
  }
  const unsure = evidence.length === 0 ? unconfirmed(line, confirmed, otherAxes) : null;
  if (unsure !== null) evidence.push(unsure);
  if (evidence.length === 0) return null;
  const demandAmplitude = demandWith(line, demand);
  if (
    demandAmplitude !== null &&
    demandAmplitude >= TAKES_PART &&
    (confirmed || line.prepared.sampleRateHz - line.frequencyHz > NOTHING_SHAKES_HZ) &&
    !notInFaster
  )
    return {
      kind: 'bends',
      demandAmplitude,
      evidence: [
        ...evidence,
        `the demand swings with it by ±${pct(demandAmplitude)} of full demand, and no faster motion is folded down to it: the sensor sits on something that bends`,
      ],
    };
  return { kind: 'folded', evidence, demandAmplitude };
}

/** How far the demand swings with a line, share of full demand, 0 without steady phase; null where it cannot be seen. */
function demandWith(line: AxisLine, demand: PreparedSignal | null): number | null {
  const relation = demand === null ? null : relate(line, demand);
  if (relation === null) return null;
  return relation.coherence < Math.max(DEMAND_COHERENCE, relation.coherenceByChance)
    ? 0
    : relation.gain * line.measured.amplitude;
}

function missingAngle(line: AxisLine, attitude: PreparedSignal): string | null {
  const relation = relate(line, attitude);
  if (relation === null) return null;
  const expected = 1 / (2 * Math.PI * line.frequencyHz);
  const together = relation.gain * Math.sqrt(relation.coherence);
  if (together > ANGLE_SHARE * expected) return null;
  const { backgroundAmplitude } = measureLine(
    attitude.spectrum,
    line.frequencyHz,
    Math.max(0, line.startS - attitude.startS),
    Math.min(attitude.durationS, line.endS - attitude.startS),
  );
  const independent = Math.max(1, 0.4 * line.frequencyHz * (line.endS - line.startS));
  const noise = backgroundAmplitude / line.rateAmplitude / Math.sqrt(2 * independent);
  if (expected < VISIBLE * noise) return null;
  return `the attitude shows only ${pct(together / expected)} of the swing that such a rate means`;
}

/**
 * Lines too small to matter much are believed only where the attitude moves with them. Where no attitude log is fast
 * enough to show it, a fast one is believed unless another axis shakes alike: a loop rings on its axis, vibration on all.
 */
function unconfirmed(
  line: AxisLine,
  confirmed: boolean,
  otherAxes: readonly PreparedSignal[],
): string | null {
  if (sizeOf(line) !== 'small' || confirmed) return null;
  if (line.attitude !== null) {
    const relation = relate(line, line.attitude);
    if (relation === null || relation.coherence >= SMALL_COHERENCE) return null;
    return `so small a swing can be vibration: the attitude moves with it only with coherence ${relation.coherence.toFixed(2)}`;
  }
  if (line.frequencyHz < FRAME_HZ) return null;
  let alike = 0;
  for (const other of otherAxes) {
    const amplitude = bandAmplitude(
      other.spectrum,
      line.frequencyHz,
      line.startS - other.startS,
      line.endS - other.startS,
    );
    alike = Math.max(alike, amplitude / line.rateAmplitude);
  }
  if (alike < ALIKE_SHARE) return null;
  return `so small and fast a swing can be vibration folded down: another axis shakes ${pct(alike)} as far, and the attitude is not logged fast enough to tell`;
}

function pct(share: number): string {
  return `${(100 * share).toFixed(0)} %`;
}
