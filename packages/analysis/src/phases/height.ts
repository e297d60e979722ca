import type { Flight, Interval, Signal } from '@settle/parser';
import type { Phase } from '../diagnosis.js';
import { indexAtOrAfter, quantile } from '../signals.js';
import type { PoweredStretch } from './powered-stretch.js';

/** Clear of the ground, above the height it stood at; m. */
export const CLEAR_M = 0.15;
/** A height that wanders more than this on the ground cannot tell when the aircraft is clear. */
const NOISY_M = 0.08;

function heights(signal: Signal, interval: Interval): Float64Array {
  const first = indexAtOrAfter(signal.clock.timeS, interval.startS);
  const end = indexAtOrAfter(signal.clock.timeS, interval.endS);
  return signal.values.slice(first, end);
}

function standingHeight(signal: Signal, interval: Interval): number | null {
  const values = heights(signal, interval);
  if (values.length < 3) return null;
  if (quantile(values, 0.9) - quantile(values, 0.1) > 2 * NOISY_M) return null;
  return quantile(values, 0.5);
}

/**
 * When a powered stretch is clear of the ground, from the height channel.
 *
 * @returns null without a height channel, or when it is too rough or never rises
 */
export function refineByHeight(flight: Flight, air: PoweredStretch): Interval | null {
  const signal = flight.signals.get('height');
  if (signal === undefined) return null;
  const before = air.touchesStart
    ? null
    : standingHeight(signal, { startS: air.startS - 2, endS: air.startS });
  const after = air.touchesEnd ? null : standingHeight(signal, { startS: air.endS, endS: air.endS + 2 });
  const ground = before ?? after;
  if (ground === null) return null;
  const startS = air.touchesStart ? air.startS : crossing(signal, air, ground + CLEAR_M, 'first');
  // After a landing on its side or back the aircraft lies lower than it stood; ground that falls away is rarer.
  const landed = Math.max(ground, after ?? ground);
  const endS = air.touchesEnd ? air.endS : crossing(signal, air, landed + CLEAR_M, 'last');
  if (startS === null || endS === null || endS <= startS) return null;
  return { startS, endS };
}

/** The first rise through, or the last fall through, a height within a stretch; between samples by a straight line. */
function crossing(signal: Signal, within: Interval, level: number, which: 'first' | 'last'): number | null {
  const { timeS } = signal.clock;
  const first = indexAtOrAfter(timeS, within.startS);
  const end = indexAtOrAfter(timeS, within.endS);
  const indices: number[] = [];
  for (let i = first; i < end; i++) if (Number.isFinite(signal.values[i]!)) indices.push(i);
  if (which === 'last') indices.reverse();
  for (let n = 0; n < indices.length; n++) {
    const i = indices[n]!;
    if (signal.values[i]! <= level) continue;
    const j = n > 0 ? indices[n - 1]! : i;
    const a = signal.values[j]!;
    const b = signal.values[i]!;
    return j === i || a === b ? timeS[i]! : timeS[j]! + ((level - a) / (b - a)) * (timeS[i]! - timeS[j]!);
  }
  return null;
}

/**
 * Phases from height alone: the log starts or ends on a level plateau, and rises clearly above it.
 *
 * @returns null without a height channel, or when the log shows no ground
 */
export function airborneFromHeight(flight: Flight): Phase[] | null {
  const signal = flight.signals.get('height');
  if (signal === undefined) return null;
  const { timeS } = signal.clock;
  if (timeS.length < 10) return null;
  const firstS = timeS[0]!;
  const lastS = timeS[timeS.length - 1]!;
  const top = quantile(signal.values, 0.9);
  const atStart = standingHeight(signal, { startS: firstS, endS: firstS + 0.5 });
  const atEnd = standingHeight(signal, { startS: lastS - 0.5, endS: lastS + 1e-6 });
  const lowest = quantile(signal.values, 0.01);
  const stands = (h: number | null): h is number =>
    h !== null && h < lowest + NOISY_M && top > h + 3 * CLEAR_M;
  const startGround = stands(atStart) ? atStart : null;
  const endGround = stands(atEnd) ? atEnd : null;
  if (startGround === null && endGround === null) return null;
  const all = { startS: firstS, endS: lastS + 1e-6 };
  const startS = startGround === null ? 0 : crossing(signal, all, startGround + CLEAR_M, 'first');
  const endS = endGround === null ? flight.durationS : crossing(signal, all, endGround + CLEAR_M, 'last');
  if (startS === null || endS === null || endS <= startS) return null;
  const phases: Phase[] = [];
  if (startS > 0) phases.push({ kind: 'ground', startS: 0, endS: startS });
  phases.push({ kind: 'hover', startS, endS });
  if (endS < flight.durationS) phases.push({ kind: 'ground', startS: endS, endS: flight.durationS });
  return phases;
}
