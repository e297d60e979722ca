/** From a hover to the plants, controllers and margins of its axes. */
import { AXES, type AxisName, type ChannelName, type Flight, type Interval } from '@settle/parser';
import type { Complex } from '../control/complex.js';
import { BODY_AXIS_OF } from '../oscillation/axis-signals.js';
import { evenRecord, firstSignal } from '../signals.js';
import type { OutsideDrive } from './driven-axis.js';
import { applyStops, interpolate, type AppliedDemands } from './applied-demand.js';
import { controllerOf, type AxisController, type DeclaredController } from './controller.js';
import { instrumentBands, oscillationEquations, type AxisRecord } from './evidence.js';
import { fitAll, supposePlants, type AxisFit, type SupposedPlant } from './fit-axes.js';
import { shownByStick, shows, type AxisEvidence, type PlantNormal } from './fit-plant.js';
import { marginsOf, type AxisLoops, type BothMargins } from './loop-model.js';
import { gainFromGusts } from './loose-loop.js';
import type { GainEstimate } from './gain-estimate.js';
import { gainFromLargeSwing } from './large-swing.js';
import { motionOf, type Motion } from './motion.js';
import type { PlantParameters } from './plant-model.js';
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

export interface AxisIdentification {
  readonly axis: AxisName;
  readonly controller: AxisController | null;
  /** null: nothing in the hover shows it. */
  readonly plant: PlantParameters | null;
  /** Plants as likely as the best one, for the uncertainty of whatever follows from them. */
  readonly draws: readonly PlantParameters[];
  /** Where there is no plant: what may be supposed of it. */
  readonly supposed: SupposedPlant | null;
  /** The fit behind them, for pooling it with those of other hovers; null without a plant. */
  readonly normal: PlantNormal | null;
  readonly gyroDelayS: number;
  /** Response at ω of filters to be added before the next hover; null: none. Today's margins are without. */
  readonly addedFilters: ((omega: number) => Complex) | null;
  readonly margins: BothMargins | null;
  readonly evidence: AxisEvidence;
  /** Oscillations no rigid aircraft could have, Hz; they are kept out of the plant. */
  readonly bendingHz: readonly number[];
  /** Share of the hover in which the stops cut this axis' demand. */
  readonly cutShare: number;
  readonly from: string;
  readonly motion: Motion;
  /** Why there is no plant. */
  readonly why: string | null;
}

/** Above this an oscillation is not believed to be a rigid body's (common practice, no source). */
export const HIGHEST_LOOP_HZ = 22;
/** Below this the structure of such an aircraft does not ring (common practice, no source). */
export const LOWEST_STRUCTURE_HZ = 9;
/** What no rotor and no airframe of this kind has, rad/s² per full demand and s (common practice, no source). */
const STRAINED = { effectiveness: 450, lagS: 0.018 };

/** Whether a plant is what comes out when a bending structure is taken for a rigid body. */
function isStrained(plant: PlantParameters): boolean {
  return plant.effectiveness > STRAINED.effectiveness || plant.lagS < STRAINED.lagS;
}

/** Bands an instrument must show a plant in. */
const FEWEST_BANDS = 3;

/**
 * @param untilUpset the hover and what followed it up to where the aircraft tipped over; null when it did not
 * @returns null where the log has no rates
 */
export function identifyAxes(
  flight: Flight,
  hover: Interval,
  untilUpset: Interval | null,
  oscillations: readonly KnownOscillation[],
  declared: DeclaredController | null,
): Readonly<Record<AxisName, AxisIdentification>> | null {
  const flown = recordOver(flight, hover, hover);
  if (flown === null) return null;
  const { startS, stepS, rates, asked, applied, onClock } = flown;
  const controllers = Object.fromEntries(
    AXES.map((axis) => [axis, controllerOnClock(axis, rates[axis], onClock, stepS, declared)]),
  ) as Record<AxisName, AxisController | null>;
  const rigid = oscillations.filter((o) => !o.bends);
  const evidence = Object.fromEntries(
    AXES.map((axis) => [
      axis,
      gatherEvidence(axis, rates[axis], applied, controllers[axis], onClock, startS, stepS, rigid),
    ]),
  ) as Record<AxisName, AxisEvidence>;
  const whole = untilUpset === null ? flown : (recordOver(flight, untilUpset, hover) ?? flown);
  for (const axis of AXES)
    if (!shows(evidence[axis]) && !whole.applied.stopsUnknown)
      evidence[axis] = { ...evidence[axis], gain: gainOfRunaway(whole, axis) };
  const gusts = perAxis((axis) =>
    shownByStick(evidence[axis]) ? null : gainOfGusts(flown, axis, controllers[axis]),
  );
  // A swing shows one frequency; the gusts' motion around it says whether its loop is far from the limit.
  for (const axis of AXES)
    if (shows(evidence[axis]) && gusts[axis] !== null)
      evidence[axis] = { ...evidence[axis], gain: gusts[axis] };
  const bending = Object.fromEntries(
    AXES.map((axis) => [
      axis,
      oscillations.filter((o) => o.axis === axis && o.bends).map((o) => o.frequencyHz),
    ]),
  ) as Record<AxisName, number[]>;
  let fits = fitAll(evidence);
  for (const axis of AXES) {
    const fast = evidence[axis].equations.filter((e) => e.s.im > LOWEST_STRUCTURE_HZ * 2 * Math.PI);
    const fit = fits[axis];
    if (fast.length === 0 || fit === null || !isStrained(fit.plant)) continue;
    bending[axis].push(...fast.map((e) => e.s.im / (2 * Math.PI)));
    evidence[axis] = {
      ...evidence[axis],
      equations: evidence[axis].equations.filter((e) => !fast.includes(e)),
    };
    if (evidence[axis].equations.length === 0 && evidence[axis].gain?.from === 'gusts')
      evidence[axis] = { ...evidence[axis], gain: null };
  }
  if (AXES.some((axis) => bending[axis].length > 0)) fits = fitAll(evidence);
  // Where a swing alone calls for an aircraft that does not exist, it shows no plant.
  for (const axis of AXES)
    if (!shownByStick(evidence[axis]) && fits[axis] !== null && isStrained(fits[axis].plant))
      fits[axis] = null;
  const supposed = supposePlants(evidence, fits, gusts);
  return Object.fromEntries(
    AXES.map((axis) => [
      axis,
      describe(
        axis,
        controllers[axis],
        fits[axis],
        supposed[axis],
        evidence[axis],
        bending[axis],
        applied,
        declared,
        motionOf(rates[axis], asked[axis], stepS),
        flight.signals.has(`stick.${axis}`),
        oscillations.some((o) => o.axis === axis && o.selfSustained),
      ),
    ]),
  ) as unknown as Record<AxisName, AxisIdentification>;
}

/** Rates and demands of all axes over an interval, on the clock of the rates. */
interface FlownRecord {
  readonly startS: number;
  readonly stepS: number;
  readonly rates: Readonly<Record<AxisName, Float64Array | null>>;
  readonly asked: Readonly<Record<AxisName, Float64Array | null>>;
  readonly applied: AppliedDemands;
  readonly onClock: (channel: ChannelName) => Float64Array | null;
}

const FEWEST_SAMPLES = 60;

/** @param hover where each motor's share is learnt */
function recordOver(flight: Flight, interval: Interval, hover: Interval): FlownRecord | null {
  const clockSignal = firstSignal(
    flight,
    ...AXES.flatMap((axis): ChannelName[] => [`rate.${axis}.measured`, `gyro.${BODY_AXIS_OF[axis]}`]),
  );
  if (clockSignal === null) return null;
  const even = evenRecord(clockSignal, interval);
  if (even === null || even.values.length < FEWEST_SAMPLES) return null;
  const stepS = 1 / even.sampleRateHz;
  const clock = Float64Array.from(even.values, (_, i) => even.startS + i * stepS);
  const onClock = (channel: ChannelName): Float64Array | null => {
    const signal = flight.signals.get(channel);
    return signal === undefined ? null : interpolate(signal.clock.timeS, signal.values, clock);
  };
  const rates = Object.fromEntries(
    AXES.map((axis) => [axis, onClock(`rate.${axis}.measured`) ?? onClock(`gyro.${BODY_AXIS_OF[axis]}`)]),
  ) as Record<AxisName, Float64Array | null>;
  const asked = askedDemands(onClock);
  const applied = applyStops(flight, hover, clock, asked.perAxis, asked.from);
  return { startS: even.startS, stepS, rates, asked: asked.perAxis, applied, onClock };
}

function gainOfRunaway({ startS, stepS, rates, applied }: FlownRecord, axis: AxisName): AxisEvidence['gain'] {
  const rate = rates[axis];
  const demand = applied.perAxis[axis];
  return rate === null || demand === null
    ? null
    : gainFromLargeSwing({ startS, stepS, rate, demand, instrument: null });
}

/** Share of the hover in which the stops may cut a demand whose loop is read from gusts. */
const MOST_CUT_IN_GUSTS = 0.1;

function gainOfGusts(
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
  rates: Readonly<Record<AxisName, Float64Array | null>>,
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

const perAxis = <T>(of: (axis: AxisName) => T): Record<AxisName, T> => ({
  roll: of('roll'),
  pitch: of('pitch'),
  yaw: of('yaw'),
});

function controllerOnClock(
  axis: AxisName,
  rate: Float64Array | null,
  onClock: (channel: ChannelName) => Float64Array | null,
  stepS: number,
  declared: DeclaredController | null,
): AxisController | null {
  if (rate === null) return null;
  const record = {
    stepS,
    rate,
    reference: onClock(`rate.${axis}.reference`),
    proportional: onClock(`rate.${axis}.proportional`),
    integral: onClock(`rate.${axis}.integral`),
    derivative: onClock(`rate.${axis}.derivative`),
    feedForward: onClock(`rate.${axis}.feedforward`),
    demand: onClock(`rate.${axis}.demand`),
    attitude: onClock(`attitude.${axis}.measured`),
    attitudeReference: onClock(`attitude.${axis}.reference`),
  };
  return controllerOf(axis, record, declared);
}

/** The demand channel, else the sum of the logged terms. */
function askedDemands(onClock: (channel: ChannelName) => Float64Array | null): {
  perAxis: Record<AxisName, Float64Array | null>;
  from: string;
} {
  let from = 'the logged demands';
  const perAxis = Object.fromEntries(
    AXES.map((axis) => {
      const demand = onClock(`rate.${axis}.demand`);
      if (demand !== null) return [axis, demand];
      const terms = (['proportional', 'integral', 'derivative', 'feedforward'] as const).map((term) =>
        onClock(`rate.${axis}.${term}`),
      );
      if (terms[0] === null || terms[1] === null) return [axis, null];
      from = 'the sum of the logged terms';
      return [
        axis,
        terms[0]!.map((_, i) =>
          Math.max(
            -1,
            Math.min(
              1,
              terms.reduce((sum, term) => sum + (term === null ? 0 : term[i]!), 0),
            ),
          ),
        ),
      ];
    }),
  ) as Record<AxisName, Float64Array | null>;
  return { perAxis, from };
}

function gatherEvidence(
  axis: AxisName,
  rate: Float64Array | null,
  applied: AppliedDemands,
  controller: AxisController | null,
  onClock: (channel: ChannelName) => Float64Array | null,
  startS: number,
  stepS: number,
  oscillations: readonly KnownOscillation[],
): AxisEvidence {
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

/** Share of the hover in which the stops may cut a demand that a weak stick is read from. */
const MOST_CUT = 0.3;
/** A reference at its largest for this many samples has met a limit. */
const AT_LIMIT_SAMPLES = 3;
const AT_LIMIT = 0.999;
const NEAR_LIMIT = 0.97;

/**
 * The stick's reference, with what the controller's limits and the motors' stops took away on the way: these are measured, and
 * left out they would make the plant look weak.
 */
function outsideDrive(
  axis: AxisName,
  reference: Float64Array,
  applied: Float64Array,
  controller: AxisController,
  onClock: (channel: ChannelName) => Float64Array | null,
): OutsideDrive | null {
  const rateReference = onClock(`rate.${axis}.reference`);
  const angle = onClock(`attitude.${axis}.measured`);
  const terms = (['proportional', 'integral', 'derivative'] as const).map((term) =>
    onClock(`rate.${axis}.${term}`),
  );
  const asked = onClock(`rate.${axis}.demand`);
  const ka = controller.attitude;
  if (rateReference === null || angle === null || ka === null) return null;
  const forward = onClock(`rate.${axis}.feedforward`);
  const sum = (i: number): number | null => {
    const [p, q, r] = terms;
    if (p === null || q === null || r === null) return asked === null ? null : asked[i]!;
    return p![i]! + q![i]! + r![i]! + (forward?.[i] ?? 0);
  };
  const largest = rateReference.reduce((most, v) => Math.max(most, Math.abs(v)), 0);
  const limited = rateReference.filter((v) => Math.abs(v) > AT_LIMIT * largest).length >= AT_LIMIT_SAMPLES;
  return {
    reference,
    lostReference: rateReference.map((v, i) =>
      limited && Math.abs(v) > NEAR_LIMIT * largest ? v - ka * (reference[i]! - angle[i]!) : 0,
    ),
    lostDemand: applied.map((v, i) => v - (sum(i) ?? v)),
  };
}

function describe(
  axis: AxisName,
  controller: AxisController | null,
  fit: AxisFit | null,
  supposed: SupposedPlant | null,
  evidence: AxisEvidence,
  bendingHz: readonly number[],
  applied: AppliedDemands,
  declared: DeclaredController | null,
  motion: Motion,
  sticksLogged: boolean,
  swings: boolean,
): AxisIdentification {
  // A second-order filter lags by √2/ω, a first-order one by 1/ω, far below its corner. What the gyro's filters delay, the
  // attitude loop does not see; where nothing is told of them it is taken to see all of the delay, which is the careful side.
  const corner = declared?.gyroLowPassHz ?? null;
  const gyroDelayS = corner === null ? 0 : 1.2 / (2 * Math.PI * corner);
  const margins =
    controller === null || fit === null
      ? null
      : marginsOf({ plant: fit.plant, controller, gyroDelayS, addedFilters: null });
  return {
    axis,
    controller,
    plant: fit?.plant ?? null,
    draws: fit?.draws ?? [],
    supposed: controller === null ? null : supposed,
    normal: fit?.normal ?? null,
    gyroDelayS,
    addedFilters: null,
    margins,
    evidence,
    bendingHz,
    cutShare: applied.cutShare[axis],
    motion,
    from: `${applied.from}; ${[
      ...(evidence.bands.length > 0 ? [`stick movements in ${String(evidence.bands.length)} bands`] : []),
      ...(evidence.gain === null
        ? []
        : evidence.gain.from === 'weak-stick'
          ? ['what little the stick moved among the gusts']
          : evidence.gain.from === 'gusts'
            ? ['its motion in gusts']
            : ['the swing that ran away']),
      ...(evidence.equations.length > 0 ? ['the oscillation itself'] : []),
    ].join(' and ')}`,
    why:
      applied.perAxis[axis] === null
        ? 'no demand of this axis is logged, nor its terms; log the demand or the proportional, integral and derivative terms'
        : fit === null && applied.stopsUnknown && swings
          ? 'it swings by itself and the motor commands are not logged with the demands, so what the stops take away is not seen; log the motor commands'
          : fit === null
            ? `nothing but gusts is seen to move this axis, and gusts alone do not show a plant; ${sticksLogged ? '' : 'log the sticks and '}fly small single stick movements in a calm hover`
            : null,
  };
}

/** Today's loops. */
export function loopsOf(id: AxisIdentification, plant: PlantParameters): AxisLoops | null {
  return id.controller === null
    ? null
    : { plant, controller: id.controller, gyroDelayS: id.gyroDelayS, addedFilters: null };
}
