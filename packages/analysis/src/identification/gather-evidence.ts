/** What a hover shows of the plant of an axis, each kind of evidence only where it can be trusted. */
import { AXES, type AxisName } from '@settle/parser';
import type { EachAxis } from '../per-axis.js';
import type { AxisController } from './controller.js';
import { outsideDrive } from './driven-axis.js';
import { instrumentBands, oscillationEquations, type AxisRecord } from './evidence.js';
import type { AxisEvidence } from './fit-plant.js';
import type { FlownRecord } from './flown-record.js';
import type { GainEstimate } from './gain-estimate.js';
import { gainFromLargeSwing } from './large-swing.js';
import { gainFromGusts } from './loose-loop.js';
import { motionOf } from './motion.js';
import { referenceByStick } from './stick-reference.js';
import { gainFromWeakStick } from './weak-stick.js';

/** An oscillation the loop may be read from. */
export interface KnownOscillation {
  readonly axis: AxisName;
  readonly frequencyHz: number;
  readonly startS: number;
  readonly endS: number;
  readonly selfSustained: boolean;
  /** Something bends: no part of it shows a rigid aircraft. */
  readonly bends: boolean;
  readonly dampingRatio: number | null;
}

/** Above this an oscillation is not believed to be a rigid body's (common practice, no source). */
export const HIGHEST_LOOP_HZ = 22;
/** Bands an instrument must show a plant in. */
const FEWEST_BANDS = 3;
/** Share of the hover in which the stops may cut a demand that a weak stick is read from. */
const MOST_CUT = 0.3;

/** Sticks and swings; what a runaway or gusts show is asked for apart. */
export function gatherEvidence(
  { startS, stepS, rates, applied, onClock }: FlownRecord,
  axis: AxisName,
  controller: AxisController | null,
  oscillations: readonly KnownOscillation[],
): AxisEvidence {
  const rate = rates[axis];
  const demand = applied.perAxis[axis];
  if (rate === null || demand === null) return { bands: [], equations: [], gain: null };
  const record: AxisRecord = { startS, stepS, rate, demand, instrument: onClock(`stick.${axis}`) };
  const bands = instrumentBands(record);
  // What holds a swing at its size is most often the motors' stops. Where they are not seen, the demand asked is not what
  // the motors did, and the ratio of rate to demand is nobody's plant.
  const equations = oscillations
    .filter((o) => o.axis === axis && o.frequencyHz < HIGHEST_LOOP_HZ)
    .filter((o) => !(applied.stopsUnknown && o.selfSustained))
    .flatMap((o) =>
      oscillationEquations(
        record,
        o.frequencyHz,
        o.startS,
        o.endS,
        o.selfSustained ? 0 : Math.max(0.1, 2 * (o.dampingRatio ?? 0.05)),
      ),
    );
  if (bands.length >= FEWEST_BANDS) return { bands, equations, gain: null };
  const reference = referenceByStick(axis, onClock, stepS);
  if (reference === null || controller === null) return { bands: [], equations, gain: null };
  // Where the stops take much of the time, what gets through them has little to do with what was asked.
  if (applied.cutShare[axis] > MOST_CUT) return { bands: [], equations, gain: null };
  const drive = outsideDrive(axis, reference, demand, controller, onClock);
  return { bands: [], equations, gain: drive === null ? null : gainFromWeakStick(record, drive, controller) };
}

export function gainOfRunaway(
  { startS, stepS, rates, applied }: FlownRecord,
  axis: AxisName,
): AxisEvidence['gain'] {
  const rate = rates[axis];
  const demand = applied.perAxis[axis];
  return rate === null || demand === null
    ? null
    : gainFromLargeSwing({ startS, stepS, rate, demand, instrument: null });
}

/** Share of the hover in which the stops may cut a demand whose loop is read from gusts. */
const MOST_CUT_IN_GUSTS = 0.1;

export function gainOfGusts(
  { startS, stepS, rates, applied, onClock }: FlownRecord,
  axis: AxisName,
  controller: AxisController | null,
): GainEstimate | null {
  const rate = rates[axis];
  const demand = applied.perAxis[axis];
  const reference = referenceByStick(axis, onClock, stepS);
  if (rate === null || demand === null || controller === null || reference === null) return null;
  if (applied.cutShare[axis] > MOST_CUT_IN_GUSTS || applied.stopsUnknown) return null;
  if (movedByOthers(rates, axis, stepS)) return null;
  const drive = outsideDrive(axis, reference, demand, controller, onClock);
  return drive === null
    ? null
    : gainFromGusts({ startS, stepS, rate, demand, instrument: null }, drive, controller);
}

/** What the other axes may do to this one, over its own angular acceleration (RMS), beyond which gusts are not all that moves it. */
const MOST_FROM_OTHERS = 0.3;
/** Share of another axis' angular acceleration that may come over through rotors, mass and frame (common practice, no source). */
const COMES_OVER = 0.1;

/** Whether a swing of the other axes, through coupling or as a turning body, moves this one. */
function movedByOthers(
  rates: Readonly<EachAxis<Float64Array | null>>,
  axis: AxisName,
  stepS: number,
): boolean {
  const acceleration = (values: Float64Array | null): number => {
    const { rateStd, rateHz } = motionOf(values, null, stepS);
    return 2 * Math.PI * rateHz * rateStd;
  };
  const own = acceleration(rates[axis]);
  const others = AXES.filter((other) => other !== axis).map((other) => rates[other]);
  const [a, b] = others;
  // A body that turns about two axes at once turns about the third: at most by the product of both rates.
  const turned =
    a == null || b == null
      ? 0
      : motionOf(
          a.map((v, i) => v * b[i]!),
          null,
          stepS,
        ).rateStd;
  const coupled = COMES_OVER * Math.hypot(...others.map(acceleration));
  return Math.hypot(turned, coupled) > MOST_FROM_OTHERS * own;
}
