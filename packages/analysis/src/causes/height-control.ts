/** Height control lost: the throttle is low and the aircraft does not come down, or the stops add lift of their own. */
import type { Flight, Interval, Signal } from '@settle/parser';
import { stopsOf } from '../motor-stops.js';
import type { Finding } from '../diagnosis.js';
import { firstSignal, indexAtOrAfter, interpolate, motorSignals, smoothed } from '../signals.js';

/** Averages over this time: the rotors' lag and a swing are over in it. */
const AVERAGE_S = 0.5;
/** A throttle this low asks for a quick descent of any aircraft that can carry a load (common practice, no source). */
const LOW_THROTTLE = 0.15;
/** Falling more slowly than this, m/s, is not coming down; and lift above this share of the weight holds it up. */
const COMES_DOWN = 0.25;
const HOLDS_UP = 0.97;
/** For so long, s: shorter ones are the rotors spinning down. */
const LASTS_S = 0.5;
/** Added by the stops to the mean command: worth a word, and a fault. */
const RAISED = { note: 0.04, fault: 0.1 };
const GRAVITY = 9.80665;
/** A throttle channel that the mean command follows but for this belongs to it. */
const SAME_THROTTLE = 0.05;

/** @returns nothing without a throttle, or where neither motors, height nor accelerometer show what it does */
export function heightFindings(flight: Flight, hover: Interval): Finding[] {
  const throttle = firstSignal(flight, 'throttle', 'stick.throttle');
  if (throttle === null || hover.endS - hover.startS < 2 * LASTS_S) return [];
  const raised = raisedBy(flight, throttle, hover);
  const stuck = heldUp(flight, throttle, hover);
  if (stuck !== null)
    return [
      {
        id: 'height-control-lost',
        axis: null,
        severity: 'danger',
        confidence: raised !== null && raised.mean > RAISED.note ? 0.9 : 0.7,
        summary: `with the throttle at ${pct(stuck.throttle)} it does not come down for ${stuck.lastsS.toFixed(1)} s`,
        evidence: [stuck.evidence, ...(raised === null ? [] : raised.evidence)],
      },
    ];
  if (raised === null || raised.mean < RAISED.note) return [];
  return [
    {
      id: 'height-control-lost',
      axis: null,
      severity: raised.mean > RAISED.fault ? 'fault' : 'note',
      confidence: 0.85,
      summary: `the motors' stops add ${pct(raised.mean)} of full command to what the throttle asks: little is left to come down with`,
      evidence: raised.evidence,
    },
  ];
}

interface HeldUp {
  readonly throttle: number;
  readonly lastsS: number;
  readonly evidence: string;
}

/** The longest time with a low throttle and no descent. */
function heldUp(flight: Flight, throttle: Signal, hover: Interval): HeldUp | null {
  const vertical = verticalOf(flight);
  if (vertical === null) return null;
  const { timeS, sampleRateHz } = throttle.clock;
  const calm = smoothed(throttle.values, Math.max(1, Math.round(AVERAGE_S * sampleRateHz)));
  // The rotors need a moment to follow the throttle down.
  let best: HeldUp | null = null;
  let since: number | null = null;
  for (let i = indexAtOrAfter(timeS, hover.startS); i < timeS.length && timeS[i]! <= hover.endS; i++) {
    const at = timeS[i]!;
    const low = calm[i]! <= LOW_THROTTLE && throttle.values[i]! <= LOW_THROTTLE;
    if (!low || !vertical.holds(at)) {
      since = null;
      continue;
    }
    since ??= at;
    if (at - since < LASTS_S || (best !== null && at - since <= best.lastsS)) continue;
    best = {
      throttle: calm[i]!,
      lastsS: at - since,
      evidence: `from ${since.toFixed(1)} to ${at.toFixed(1)} s the throttle is at ${pct(calm[i]!)}, and ${vertical.describe(since, at)}`,
    };
  }
  return best;
}

interface Vertical {
  readonly holds: (timeS: number) => boolean;
  readonly describe: (fromS: number, toS: number) => string;
}

function verticalOf(flight: Flight): Vertical | null {
  const height = flight.signals.get('height');
  if (height !== undefined && height.clock.sampleRateHz >= 5) {
    const width = Math.max(1, Math.round(AVERAGE_S * height.clock.sampleRateHz));
    const calm = smoothed(height.values, width);
    const { timeS } = height.clock;
    const at = (t: number): number => calm[Math.min(calm.length - 1, indexAtOrAfter(timeS, t))]!;
    const climb = (t: number): number => (at(t + AVERAGE_S / 2) - at(t - AVERAGE_S / 2)) / AVERAGE_S;
    return {
      holds: (t) => climb(t) > -COMES_DOWN,
      describe: (a, b) => `the height goes from ${at(a).toFixed(1)} to ${at(b).toFixed(1)} m`,
    };
  }
  const accel = flight.signals.get('accel.z');
  if (accel === undefined) return null;
  const calm = smoothed(accel.values, Math.max(1, Math.round(AVERAGE_S * accel.clock.sampleRateHz)));
  const { timeS } = accel.clock;
  const lift = (t: number): number => -calm[Math.min(calm.length - 1, indexAtOrAfter(timeS, t))]! / GRAVITY;
  return {
    holds: (t) => lift(t) > HOLDS_UP,
    describe: (a, b) => `the rotors lift ${lift((a + b) / 2).toFixed(2)} times the weight`,
  };
}

/** How far the mean motor command stands above the throttle because motors cannot go below their low stop. */
function raisedBy(
  flight: Flight,
  throttle: Signal,
  hover: Interval,
): { mean: number; evidence: readonly string[] } | null {
  const motors = motorSignals(flight);
  if (motors.length < 3 || throttle.channel !== 'throttle') return null;
  const { timeS } = motors[0]!.clock;
  const first = indexAtOrAfter(timeS, hover.startS);
  const end = indexAtOrAfter(timeS, hover.endS);
  if (end - first < 20) return null;
  const asked = interpolate(throttle.clock.timeS, throttle.values, timeS.slice(first, end));
  const stops = motors.map((motor) => stopsOf(motor, hover));
  let sum = 0;
  let atStop = 0;
  let free = 0;
  let freeDifference = 0;
  let used = 0;
  for (let i = first; i < end; i++) {
    const values = motors.map((motor) => motor.values[i] ?? Number.NaN);
    if (!values.every(Number.isFinite)) continue;
    used++;
    const difference = values.reduce((total, v) => total + v / motors.length, 0) - asked[i - first]!;
    sum += difference;
    const touches = values.some((v, m) => {
      const { low, high } = stops[m]!;
      return (low !== null && v - low < 0.005) || (high !== null && high - v < 0.005);
    });
    if (touches) atStop++;
    else {
      free++;
      freeDifference += difference;
    }
  }
  if (used === 0 || atStop === 0) return null;
  // Off the stops the mean command is the throttle, or the throttle channel is not what the mixer gets.
  if (free >= 10 && Math.abs(freeDifference / free) > SAME_THROTTLE) return null;
  const offset = free >= 10 ? freeDifference / free : 0;
  const mean = sum / used - offset;
  return {
    mean,
    evidence: [
      `the mean motor command stands ${pct(mean)} of full command above the throttle, with a motor on a stop for ${pct(atStop / used)} of the hover`,
    ],
  };
}

function pct(share: number): string {
  return `${(100 * share).toFixed(0)} %`;
}
