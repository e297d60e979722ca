/** Motors on their stops: which, for how long, and what drives them there. */
import type { Flight, Interval } from '@settle/parser';
import { stopsOf } from '../motor-stops.js';
import type { AxisStudy } from '../axis-study.js';
import type { Actuators, Finding } from '../diagnosis.js';
import { indexAtOrAfter, motorSignals } from '../signals.js';

/** Motors this long on a stop leave the loops without authority (common practice, no source). */
const STOP_FAULT_SHARE = 0.02;
const MEASURED = 0.95;
/** A command within this of its extreme stands on the stop. */
const AT_STOP = 0.004;
/** Mean commands beyond these leave little room by themselves (common practice, no source). */
const HEAVY = 0.7;
const LIGHT = 0.15;
/** Steady demand that takes a large part of a motor's room. */
const TRIM_LARGE = 0.15;
/** An oscillation on the stops for this share of its time is what drives the motors there. */
const DRIVES_SHARE = 0.02;

export interface SaturationContext {
  readonly flight: Flight;
  readonly hover: Interval;
  readonly studies: readonly AxisStudy[];
  readonly actuators: Actuators;
}

export function saturationFindings({ flight, hover, studies, actuators }: SaturationContext): Finding[] {
  const named = actuators.motors.flatMap((motor, i) => [
    ...(motor.lowStopShare > STOP_FAULT_SHARE
      ? [`motor ${String(i + 1)} stood on its low stop for ${pct(motor.lowStopShare)} of the hover`]
      : []),
    ...(motor.highStopShare > STOP_FAULT_SHARE
      ? [`motor ${String(i + 1)} stood on its high stop for ${pct(motor.highStopShare)} of the hover`]
      : []),
  ]);
  if (named.length === 0) return [];
  const any = anyOnStop(flight, hover);
  return [
    {
      id: 'motor-saturation',
      axis: null,
      severity: 'fault',
      confidence: MEASURED,
      summary: 'motors run into their stops in hover',
      evidence: [
        ...named,
        ...(any === null ? [] : [`at least one motor stood on a stop for ${pct(any)} of the hover`]),
        ...drivers(studies, actuators),
      ],
    },
  ];
}

/** What explains it, each with its figure; a plain sentence where nothing does. */
function drivers(studies: readonly AxisStudy[], actuators: Actuators): string[] {
  const out = studies.flatMap((study) =>
    study.oscillations
      .filter((o) => o.follows === null && (o.clippedShare ?? 0) > DRIVES_SHARE)
      .map(
        (o) =>
          `the ${study.axis} swing at ${o.frequencyHz.toFixed(2)} Hz, ${o.rateAmplitudeDegS.toFixed(0)} deg/s, drives them there: on a stop for ${pct(o.clippedShare!)} of its time`,
      ),
  );
  const n = actuators.motors.length;
  const mean = actuators.motors.reduce((sum, m) => sum + m.mean / n, 0);
  if (mean > HEAVY)
    out.push(
      `the mean command is ${pct(mean)} of full: too heavy for these rotors, or too weak a battery, leaves no room upwards`,
    );
  if (mean < LIGHT) out.push(`the mean command is only ${pct(mean)} of full: the low stop is near by itself`);
  for (const study of studies) {
    const trim = actuators.trim[study.axis];
    if (trim !== null && Math.abs(trim) >= TRIM_LARGE)
      out.push(`the steady ${study.axis} demand of ${pct(Math.abs(trim))} takes its share of the room`);
  }
  return out.length === 0
    ? [
        'no oscillation, steady demand or mean command explains it: gusts, stick movements or vibration in the demand do',
      ]
    : out;
}

function anyOnStop(flight: Flight, hover: Interval): number | null {
  const motors = motorSignals(flight);
  const { timeS } = motors[0]?.clock ?? {};
  if (timeS === undefined) return null;
  const stops = motors.map((motor) => stopsOf(motor, hover));
  let count = 0;
  let touched = 0;
  for (let i = indexAtOrAfter(timeS, hover.startS); i < timeS.length && timeS[i]! <= hover.endS; i++) {
    count++;
    const touches = motors.some((motor, m) => {
      const v = motor.values[i] ?? Number.NaN;
      const { low, high } = stops[m]!;
      return (
        (low !== null && Math.abs(v - low) <= AT_STOP) || (high !== null && Math.abs(v - high) <= AT_STOP)
      );
    });
    if (touches) touched++;
  }
  return count === 0 ? null : touched / count;
}

function pct(share: number): string {
  return `${(100 * share).toFixed(0)} %`;
}
