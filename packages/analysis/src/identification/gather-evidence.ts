/** What a hover shows of the plant of an axis, each kind of evidence only where it can be trusted. */
import { AXES, type AxisName } from '@settle/parser';
import type { AxisController } from './controller.js';
import { outsideDrive } from './driven-axis.js';
import { instrumentBands, oscillationEquations, type AxisRecord } from './evidence.js';
import { effectivenessStd, type AxisEvidence } from './fit-plant.js';
import type { FlownRecord } from './flown-record.js';
import { gainFromLargeSwing } from './large-swing.js';
import { plantInGusts, type GustEvidence, type Mover } from './plant-in-gusts.js';
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
  /** By the stick or an outer loop: the stick itself then shows the plant better, for it knows nothing of the gusts. */
  readonly asked: boolean;
  readonly dampingRatio: number | null;
}

/** Above this an oscillation is not believed to be a rigid body's (common practice, no source). */
export const HIGHEST_LOOP_HZ = 22;
/** Bands an instrument must show a plant in. */
const FEWEST_BANDS = 3;
/**
 * And how well they must tell its ln K: where a stick moves the demand of a weak loop only at frequencies at which the body hardly
 * answers, noise fits as well, and the motion as a whole says more.
 */
const MOST_STD = 0.35;

const tellsEffectiveness = (shown: AxisEvidence): boolean => effectivenessStd(shown) < MOST_STD;

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
  if (rate === null || demand === null) return { bands: [], equations: [], gain: null, motion: null };
  const record: AxisRecord = { startS, stepS, rate, demand, instrument: onClock(`stick.${axis}`) };
  const bands = instrumentBands(record);
  // What holds a swing at its size is most often the motors' stops. Where they are not seen, the demand asked is not what
  // the motors did, and the ratio of rate to demand is nobody's plant.
  const equations = oscillations
    .filter(
      (o) => o.axis === axis && o.frequencyHz < HIGHEST_LOOP_HZ && !(o.asked && bands.length >= FEWEST_BANDS),
    )
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
  if (bands.length >= FEWEST_BANDS) {
    const shown = { bands, equations, gain: null, motion: null };
    if (tellsEffectiveness(shown)) return shown;
  }
  const none = { bands: [], equations, gain: null, motion: null };
  const reference = referenceByStick(axis, onClock, stepS);
  if (reference === null || controller === null) return none;
  // Where the stops take much of the time, what gets through them has little to do with what was asked.
  if (applied.cutShare[axis] > MOST_CUT) return none;
  const drive = outsideDrive(axis, reference, demand, controller, onClock);
  return drive === null ? none : { ...none, gain: gainFromWeakStick(record, drive, controller) };
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

/** An axis that turns by more than this beside another, rad/s RMS, pushes it in ways of its own: ±127 deg/s (judgement). */
const LARGE_TURNS = (90 * Math.PI) / 180;
/** Share of another axis' angular acceleration that may come over through rotors, mass and frame (common practice, no source). */
const COMES_OVER = 0.1;

/** @param oscillations of all axes; a swing that sustains itself has no likeness to what gusts make of a stable loop */
export function motionInGusts(
  { startS, stepS, rates, applied, onClock }: FlownRecord,
  axis: AxisName,
  controller: AxisController | null,
  oscillations: readonly KnownOscillation[],
): GustEvidence | null {
  const rate = rates[axis];
  const demand = applied.perAxis[axis];
  const reference = referenceByStick(axis, onClock, stepS);
  if (rate === null || demand === null || controller === null || reference === null) return null;
  if (applied.stopsUnknown) return null;
  if (oscillations.some((o) => o.axis === axis && (o.selfSustained || o.bends))) return null;
  const drive = outsideDrive(axis, reference, demand, controller, onClock);
  if (drive === null) return null;
  const others = AXES.filter((other) => other !== axis).flatMap((other) => rates[other] ?? []);
  if (others.some((values) => rootMeanSquare(values) > LARGE_TURNS)) return null;
  const movers: Mover[] = others.map((values) => ({ values, isRate: true, most: COMES_OVER }));
  // A body that turns about two axes at once turns about the third: at most by the product of both rates.
  const [a, b] = others;
  if (a !== undefined && b !== undefined)
    movers.push({ values: a.map((v, i) => v * b[i]!), isRate: false, most: 1 });
  const swings = oscillations.filter((o) => o.axis !== axis && o.selfSustained);
  return plantInGusts(
    { startS, stepS, rate, demand, instrument: null },
    drive,
    controller,
    movers,
    swings.map((o) => o.frequencyHz),
    applied.cutShare[axis],
  );
}

function rootMeanSquare(values: Float64Array): number {
  return Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / Math.max(1, values.length));
}
