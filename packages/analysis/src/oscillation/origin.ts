import type { Flight } from '@settle/parser';
import type { Origin } from '../diagnosis.js';
import { indexAtOrAfter } from '../signals.js';
import { prepareSignal, type AxisLine } from './find-axis.js';
import type { AxisSignals } from './axis-signals.js';
import { relate, type Relation } from './relations.js';

export interface OriginDecision {
  readonly origin: Origin;
  readonly confidence: number;
  readonly evidence: readonly string[];
}

/** A reference that only echoes the motion is smaller than this share of it, or follows it. */
const REFERENCE_SHARE = 0.5;
const COHERENT = 0.8;
/** A leading reference is ahead by less than half a turn; near 0 or 180° the order cannot be told. */
const LEAD_DEG = [3, 150] as const;
/** A stick that moves less than this is at rest. */
const STICK_STILL = 0.01;

/**
 * Says whether the motion was asked for: the attitude reference swings at the line's frequency and leads the attitude.
 *
 * The rate reference proves nothing in an attitude mode: the attitude loop makes it from the measured attitude.
 * What drives a reference is told by the sticks and the mode channel; without them it is `outer-loop`.
 */
export function decideOrigin(flight: Flight, signals: AxisSignals, line: AxisLine): OriginDecision {
  const evidence: string[] = [];
  const interval = { startS: line.startS - 4 / line.frequencyHz, endS: line.endS + 4 / line.frequencyHz };
  const stick = prepareSignal(signals.stick, interval);
  const stickRelation = stick === null ? null : relate(line, stick);
  const stickAmplitude = stickRelation === null ? null : stickRelation.gain * line.measured.amplitude;
  const reference = prepareSignal(signals.attitudeReference, interval);
  const attitude = prepareSignal(signals.attitude, interval);
  if (reference === null || attitude === null || line.attitudeAmplitude === null) {
    evidence.push(
      'no attitude reference is logged with the attitude, so whether the motion was asked for cannot be told',
    );
    return unknownFrom(evidence);
  }
  const asked = relate(line, reference);
  const got = relate(line, attitude);
  if (asked === null || got === null) return unknownFrom(evidence);
  const share = asked.gain / Math.max(1e-12, got.gain);
  const leadDeg = turn(asked.leadDeg - got.leadDeg);
  const coherent = asked.coherence > Math.max(COHERENT, asked.coherenceByChance);
  const described =
    `the attitude reference swings ${pct(share)} as far as the attitude at ${line.frequencyHz.toFixed(2)} Hz` +
    (coherent
      ? `, ${Math.abs(leadDeg).toFixed(0)}° ${leadDeg >= 0 ? 'ahead of' : 'behind'} it`
      : ', without steady phase');
  evidence.push(described);
  const leads = leadDeg > LEAD_DEG[0] && leadDeg < LEAD_DEG[1];
  if (!(share > REFERENCE_SHARE && coherent && leads)) {
    if (share < 0.2)
      evidence.push(
        'the motion was not asked for by the attitude reference: it arises inside the attitude or rate loop, in the structure or from outside',
      );
    return unknownFrom(evidence);
  }
  return whoAsks(flight, line, stickAmplitude, stickRelation, evidence);
}

function whoAsks(
  flight: Flight,
  line: AxisLine,
  stickAmplitude: number | null,
  stick: Relation | null,
  evidence: string[],
): OriginDecision {
  const mode = modeDuring(flight, line);
  if (mode !== null) evidence.push(`the mode channel says “${mode}”`);
  if (stickAmplitude === null || stick === null)
    return {
      origin: 'outer-loop',
      confidence: 0.9,
      evidence: [...evidence, 'the sticks are not logged, so position loop and pilot cannot be told apart'],
    };
  const moves = stickAmplitude > STICK_STILL && stick.coherence > Math.max(COHERENT, stick.coherenceByChance);
  if (moves) {
    evidence.push(`the stick moves with it, ${pct(stickAmplitude)} of full deflection`);
    return { origin: 'pilot', confidence: 0.9, evidence };
  }
  evidence.push(
    `the stick moves ${stickAmplitude < STICK_STILL ? 'less than 1 % of full deflection' : 'without steady phase'} at that frequency`,
  );
  return { origin: 'position-loop', confidence: 0.9, evidence };
}

function unknownFrom(evidence: readonly string[]): OriginDecision {
  return { origin: 'unknown', confidence: 0, evidence };
}

function turn(deg: number): number {
  return deg - 360 * Math.round(deg / 360);
}

function pct(share: number): string {
  return `${(100 * share).toFixed(0)} %`;
}

/** The mode that held for most of the line's interval. */
function modeDuring(flight: Flight, line: AxisLine): string | null {
  const signal = flight.signals.get('mode');
  if (signal?.labels === undefined) return null;
  const { timeS } = signal.clock;
  const counts = new Map<number, number>();
  for (let i = indexAtOrAfter(timeS, line.startS); i < timeS.length && timeS[i]! <= line.endS; i++)
    counts.set(signal.values[i]!, (counts.get(signal.values[i]!) ?? 0) + 1);
  let best: number | null = null;
  for (const [value, count] of counts) if (best === null || count > (counts.get(best) ?? 0)) best = value;
  return best === null ? null : (signal.labels[best] ?? null);
}
