import type { Flight, Interval } from '@settle/parser';
import type { Phase } from '../diagnosis.js';
import { firstSignal, indexAtOrAfter, quantile } from '../signals.js';
import { clearByAccelerometer } from './climb.js';
import { airborneFromHeight, refineByHeight } from './height.js';
import type { PoweredStretch } from './powered-stretch.js';
import { CARRIES_SHARE, motorsNeverTurn, powerRecord, TURNS_SHARE, type PowerRecord } from './power.js';

export interface PhaseReport {
  readonly phases: readonly Phase[];
  /** Which channels told the phases apart. */
  readonly decidedBy: string;
}

/** Power lower than needed for less than this is a dip in flight, not a landing. */
const DIP_S = 0.4;
/** Power at this share of the hover level lifts the aircraft off. */
const LIFT_SHARE = 0.97;
/** Power at this share is about to. */
const NEAR_LIFT_SHARE = 0.9;
/** Power at this share of the hover level means the aircraft stands again. */
const DROP_SHARE = 0.8;
/** Time from lift-off until clear of the ground, and from there to the touch-down, where nothing tells (no source). */
const CLIMB_CLEAR_S = 0.6;
const LAND_CLEAR_S = 0.3;
/** Beyond this tilt a hover has gone wrong. */
const UPSET_RAD = Math.PI / 3;

/**
 * Splits a flight into ground, take-off, hover, landing and upset.
 *
 * Take-off lasts from throttle-up until the aircraft is clear of the ground (0.15 m where height is logged), hover from
 * there until it comes that low again, landing until the rotors idle. Motor commands decide, else throttle, else how much
 * the inertial sensors shake; a height channel sharpens the edges. With none of them the whole record counts as hover; with
 * motors that are never told to turn it is ground.
 *
 * @param only an interval the caller declares to be hover
 */
export function findPhases(flight: Flight, only?: Interval): PhaseReport {
  if (only !== undefined) {
    const startS = Math.max(0, only.startS);
    const endS = Math.min(flight.durationS, only.endS);
    return { phases: [{ kind: 'hover', startS, endS }], decidedBy: 'the interval asked for' };
  }
  const power = powerRecord(flight);
  const byHeight = airborneFromHeight(flight);
  if (byHeight === null && motorsNeverTurn(flight))
    return {
      phases: [{ kind: 'ground', startS: 0, endS: flight.durationS }],
      decidedBy: `motor commands: never above ${(100 * TURNS_SHARE).toFixed(0)} %`,
    };
  if (power === null || power.idleLevel === null) {
    if (byHeight !== null) return { phases: withUpsets(flight, byHeight), decidedBy: 'height' };
    const decidedBy =
      power === null
        ? 'no channel tells ground from flight: the whole record counts as hover'
        : `${power.from}: never low enough for the ground, so the whole record counts as hover`;
    return { phases: withUpsets(flight, [{ kind: 'hover', startS: 0, endS: flight.durationS }]), decidedBy };
  }
  const phases: Phase[] = [];
  let groundS = 0;
  for (const air of airborneByPower(power, flight.durationS)) {
    const hover = refineByHeight(flight, air) ?? {
      startS: air.touchesStart
        ? air.startS
        : (clearByAccelerometer(flight, air) ?? air.liftS + CLIMB_CLEAR_S),
      endS: air.touchesEnd ? air.endS : air.dropS - LAND_CLEAR_S,
    };
    if (hover.endS <= hover.startS) continue;
    if (air.startS > groundS) phases.push({ kind: 'ground', startS: groundS, endS: air.startS });
    if (hover.startS > air.startS) phases.push({ kind: 'takeoff', startS: air.startS, endS: hover.startS });
    phases.push({ kind: 'hover', ...hover });
    if (air.endS > hover.endS) phases.push({ kind: 'landing', startS: hover.endS, endS: air.endS });
    groundS = air.endS;
  }
  if (flight.durationS > groundS + 0.05)
    phases.push({ kind: 'ground', startS: groundS, endS: flight.durationS });
  const height = flight.signals.has('height') ? ' and height' : '';
  return { phases: withUpsets(flight, phases), decidedBy: power.from + height };
}

function airborneByPower(power: PowerRecord, durationS: number): PoweredStretch[] {
  const { values, sampleRateHz, startS, hoverLevel } = power;
  const idle = power.idleLevel ?? 0;
  const time = (i: number): number => startS + i / sampleRateHz;
  const carries = (i: number): boolean => values[i]! >= CARRIES_SHARE * hoverLevel;
  const stretches: { first: number; end: number }[] = [];
  for (let i = 0; i < values.length; i++) {
    if (!carries(i)) continue;
    const before = stretches[stretches.length - 1];
    if (before !== undefined && i - before.end <= DIP_S * sampleRateHz) before.end = i + 1;
    else stretches.push({ first: i, end: i + 1 });
  }
  const nearIdle = idle + 0.1 * (hoverLevel - idle);
  const result: PoweredStretch[] = [];
  for (const { first, end } of stretches) {
    let nearLift = first;
    while (nearLift < end - 1 && values[nearLift]! < NEAR_LIFT_SHARE * hoverLevel) nearLift++;
    let lift = nearLift;
    while (lift < end - 1 && values[lift]! < LIFT_SHARE * hoverLevel) lift++;
    let drop = end - 1;
    while (drop > lift && values[drop]! < DROP_SHARE * hoverLevel) drop--;
    let up = first;
    while (up > 0 && values[up - 1]! > nearIdle) up--;
    let down = end - 1;
    while (down < values.length - 1 && values[down]! > nearIdle) down++;
    const touchesStart = first === 0;
    const touchesEnd = end === values.length;
    result.push({
      startS: touchesStart ? 0 : time(up),
      endS: touchesEnd ? durationS : time(down),
      nearLiftS: touchesStart ? 0 : time(nearLift),
      liftS: touchesStart ? 0 : time(lift),
      dropS: touchesEnd ? durationS : time(drop),
      touchesStart,
      touchesEnd,
    });
  }
  return result;
}

/** Cuts a phase where the aircraft tips beyond 60°: from there to the end of the phase it is an upset. */
function withUpsets(flight: Flight, phases: readonly Phase[]): Phase[] {
  const roll = firstSignal(flight, 'attitude.roll.measured');
  const pitch = firstSignal(flight, 'attitude.pitch.measured');
  if (roll === null && pitch === null) return [...phases];
  const tippedAt = (interval: Interval): number | null => {
    let at: number | null = null;
    for (const signal of [roll, pitch]) {
      if (signal === null) continue;
      const { timeS } = signal.clock;
      const level = restLevel(signal.values);
      for (
        let i = indexAtOrAfter(timeS, interval.startS);
        i < timeS.length && timeS[i]! < interval.endS;
        i++
      ) {
        if (Math.abs(signal.values[i]! - level) > UPSET_RAD) {
          at = Math.min(at ?? Number.POSITIVE_INFINITY, timeS[i]!);
          break;
        }
      }
    }
    return at;
  };
  const out: Phase[] = [];
  for (const phase of phases) {
    const at = tippedAt(phase);
    if (at === null) {
      out.push(phase);
      continue;
    }
    if (at > phase.startS) out.push({ ...phase, endS: at });
    out.push({ kind: 'upset', startS: at, endS: phase.endS });
  }
  return out;
}

/** Unwrapped angles may stand whole turns off. */
function restLevel(values: Float64Array): number {
  const turn = 2 * Math.PI;
  return Math.round(quantile(values, 0.5) / turn) * turn;
}

/** The hover the analyses look at: the longest. Null when there is none. */
export function longestHover(phases: readonly Phase[]): Phase | null {
  let best: Phase | null = null;
  for (const phase of phases)
    if (phase.kind === 'hover' && (best === null || phase.endS - phase.startS > best.endS - best.startS))
      best = phase;
  return best;
}
