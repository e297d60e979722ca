/** Demands whose effect has the wrong sign or goes to the wrong axis. */
import { AXES, type AxisName, type Flight, type Interval, type Signal } from '@settle/parser';
import type { Phase } from '../diagnosis.js';
import { axisSignals } from '../oscillation/axis-signals.js';
import { indexAtOrAfter, motorSignals, smoothed } from '../signals.js';
import { demandEffect, effectRecord, type DemandEffect } from './demand-effect.js';

/** An axis of the body that does not follow its own demand the right way round. */
export interface WrongAxis {
  readonly axis: AxisName;
  /** Chance that this is so. */
  readonly chance: number;
  /** Whose demand turns it, and which way round; likeliest first, with the chance of each. */
  readonly turnedBy: readonly { readonly demand: AxisName; readonly sign: 1 | -1; readonly chance: number }[];
}

export interface SignStudy {
  readonly interval: Interval;
  readonly effect: DemandEffect;
  /** Chance that something is wrong, and the axes that show it; empty where none does by itself. */
  readonly chance: number;
  readonly isWrong: boolean;
  readonly axes: readonly WrongAxis[];
  /** The aircraft never got clear of the ground: weight far off centre can tip it over against its demands as well. */
  readonly neverClear: boolean;
}

/** Beyond either of these the aircraft is not under control, rad/s and rad. */
const LOST_RATE = { roll: 12, pitch: 12, yaw: 4 };
const SPINNING = { roll: 12, pitch: 12, yaw: 25 };
const LOST_TILT = Math.PI / 3;
/** The stretch before that. */
const STRETCH_S = 2.5;
/** Slower than this everywhere, the stretch has not begun, rad/s; this long before it still counts. */
const AT_REST = 0.15;
const LEAD_IN_S = 0.1;
/** Roll and pitch that have held an aircraft in the air for so long are connected rightly. */
const PROVEN_S = 3;
/** So do these that have held it within a small tilt for less, up to shortly before it was lost, s and rad. */
const HELD_S = 1.2;
const HELD_TILT = 0.25;
const BEFORE_LOST_S = 0.3;
/** After that the stretch goes on for so long. */
const RECOVERS_S = 2;
/** All three demands being right must be this unlikely before anything is said, and one of them right before it is named. */
const EXCLUDED = 0.03;
const NAMED = 0.05;
/** And the best way must leave no more than this of the acceleration of the axis that moved most. */
const EXPLAINED_LEFT = 0.15;
/** An axis tells something only where it moved this much, rad/s, and where the best answer leaves no more than this share. */
const TELLS_RATE = 1;
const TELLS_LEFT = 0.3;
/** What turns an axis instead is worth a word above this. */
const WORTH_A_WORD = 0.1;
/** Higher than this above the ground, m. */
const CLEAR_M = 0.15;

/** @returns null where the flight never left control, or does not show what the demands do */
export function studySigns(flight: Flight, phases: readonly Phase[]): SignStudy | null {
  const lostS = lostSince(flight, LOST_RATE);
  if (lostS === null) return null;
  const clearS = clearSince(flight, phases, lostS);
  const proven = lostS - clearS > PROVEN_S || heldUpright(flight, clearS, lostS - BEFORE_LOST_S);
  // A gust that turns the nose is over soon, and a sound aircraft recovers: both must be seen.
  const endS = proven
    ? Math.min(lostS + RECOVERS_S, flight.durationS, lostSince(flight, SPINNING) ?? flight.durationS)
    : lostS;
  // On the ground only what moves tells anything; in the air everything does, calm flight above all.
  const startS = Math.min(movingSince(flight, lostS), Math.max(clearS, lostS - STRETCH_S));
  const interval = { startS, endS };
  const record = effectRecord(flight, interval);
  const effect = record === null ? null : demandEffect(record, interval, clearS, proven);
  if (effect === null) return null;
  // What a gust does no way of connecting explains either.
  const main = AXES.reduce((a, b) => (effect.peakRate[b] > effect.peakRate[a] ? b : a));
  const isWrong = effect.right < EXCLUDED && effect.leftOver[main].best < EXPLAINED_LEFT;
  const axes = isWrong ? AXES.flatMap((axis) => judge(effect, axis)) : [];
  return { interval, effect, chance: 1 - effect.right, isWrong, axes, neverClear: clearS > lostS - 0.1 };
}

function judge(effect: DemandEffect, axis: AxisName): WrongAxis[] {
  if (effect.peakRate[axis] < TELLS_RATE || effect.leftOver[axis].best > TELLS_LEFT) return [];
  const ways = effect.ways.filter((way) => way.turns === axis);
  const isRight = (way: { demand: AxisName; sign: number }): boolean => way.demand === axis && way.sign === 1;
  const right = ways.find(isRight)!.chance;
  if (right > NAMED) return [];
  const turnedBy = ways
    .filter((way) => !isRight(way) && way.careful > WORTH_A_WORD)
    .sort((a, b) => b.careful - a.careful)
    .map(({ demand, sign, careful }) => ({ demand, sign, chance: careful }));
  return [{ axis, chance: 1 - right, turnedBy }];
}

/** When control is first lost: a tilt beyond 60° or a body rate no hover has. */
function lostSince(flight: Flight, limits: Readonly<Record<AxisName, number>>): number | null {
  let first = Number.POSITIVE_INFINITY;
  const look = (signal: Signal | null, limit: number): void => {
    if (signal === null) return;
    const { timeS } = signal.clock;
    const width = Math.max(1, Math.round(0.03 * signal.clock.sampleRateHz));
    const values = smoothed(signal.values, width);
    for (let i = 0; i < values.length && timeS[i]! < first; i++)
      if (Math.abs(values[i]!) > limit) first = timeS[i]!;
  };
  for (const axis of AXES) look(axisSignals(flight, axis).rate, limits[axis]);
  for (const axis of ['roll', 'pitch'] as const) look(axisSignals(flight, axis).attitude, LOST_TILT);
  return Number.isFinite(first) ? first : null;
}

/** Roll and pitch stay small for long enough somewhere in the air: wrongly connected they would not. */
function heldUpright(flight: Flight, fromS: number, toS: number): boolean {
  const angles = (['roll', 'pitch'] as const).map((axis) => axisSignals(flight, axis).attitude);
  if (angles.some((signal) => signal === null) || toS - fromS < HELD_S) return false;
  const leant = angles
    .flatMap((signal) => {
      const { timeS } = signal!.clock;
      const out: number[] = [];
      for (let i = indexAtOrAfter(timeS, fromS); i < timeS.length && timeS[i]! < toS; i++)
        if (Math.abs(signal!.values[i]!) > HELD_TILT) out.push(timeS[i]!);
      return out;
    })
    .sort((a, b) => a - b);
  let since = fromS;
  for (const at of [...leant, toS]) {
    if (at - since > HELD_S) return true;
    since = at;
  }
  return false;
}

/** Since when the aircraft has moved without coming to rest, up to the time at which it was lost. */
function movingSince(flight: Flight, lostS: number): number {
  let startS = Math.max(0, lostS - STRETCH_S);
  const restedS: number[] = [];
  for (const axis of AXES) {
    const { rate } = axisSignals(flight, axis);
    if (rate === null) continue;
    const { timeS, sampleRateHz } = rate.clock;
    const values = smoothed(rate.values, Math.max(1, Math.round(0.1 * sampleRateHz)));
    let i = indexAtOrAfter(timeS, lostS) - 1;
    while (i > 0 && Math.abs(values[i]!) > AT_REST) i--;
    restedS.push(timeS[Math.max(0, i)]!);
  }
  // The first axis to move starts it.
  if (restedS.length > 0)
    startS = Math.max(startS, Math.min(...restedS.filter((t) => t < lostS - 0.05), lostS) - LEAD_IN_S);
  return startS;
}

/** Motors that turn like this share of what they do later carry nothing yet. */
const IDLE_SHARE = 0.5;

/** Clear of the ground since, by height; else by the phases; the end where neither shows it. */
function clearSince(flight: Flight, phases: readonly Phase[], endS: number): number {
  if (startsInFlight(flight, phases, endS)) return 0;
  const height = flight.signals.get('height');
  if (height !== undefined) {
    const { timeS } = height.clock;
    const ground = height.values[0] ?? 0;
    for (let i = 0; i < timeS.length && timeS[i]! < endS; i++)
      if (height.values[i]! - ground > CLEAR_M) return timeS[i]!;
    return endS;
  }
  const clear = phases.find((phase) => phase.kind === 'hover' && phase.startS > 0 && phase.startS < endS);
  return clear?.startS ?? endS;
}

function startsInFlight(flight: Flight, phases: readonly Phase[], endS: number): boolean {
  const motors = motorSignals(flight);
  const throttle = flight.signals.get('throttle');
  const signals = motors.length > 0 ? motors : throttle === undefined ? [] : [throttle];
  if (signals.length === 0) return phases[0]?.kind === 'hover';
  const mean = (fromS: number, toS: number): number => {
    let sum = 0;
    let count = 0;
    for (const { clock, values } of signals)
      for (let i = indexAtOrAfter(clock.timeS, fromS); i < values.length && clock.timeS[i]! < toS; i++) {
        sum += values[i]!;
        count++;
      }
    return count === 0 ? 0 : sum / count;
  };
  return mean(0, 0.1) > IDLE_SHARE * mean(endS - 0.3, endS);
}
