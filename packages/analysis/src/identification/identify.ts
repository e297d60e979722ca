/** From a hover to the plants, controllers and margins of its axes. */
import { AXES, type AxisName, type ChannelName, type Flight, type Interval } from '@settle/parser';
import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import { add, complex, divide, multiply, scale, type Complex } from '../control/complex.js';
import { BODY_AXIS_OF } from '../oscillation/axis-signals.js';
import { evenRecord, firstSignal, smoothed } from '../signals.js';
import { applyStops, interpolate, type AppliedDemands } from './applied-demand.js';
import { controllerAt, controllerOf, type AxisController, type DeclaredController } from './controller.js';
import { instrumentBands, oscillationEquations, shapedBands, type AxisRecord } from './evidence.js';
import { fitPlants, parametersOf, PRIOR, type AxisEvidence, type PlantFit } from './fit-plant.js';
import { marginsOf, type AxisLoops, type BothMargins } from './loop-model.js';
import { plantAt, type PlantParameters } from './plant-model.js';

/** An oscillation the loop may be read from. */
export interface KnownOscillation {
  readonly axis: AxisName;
  readonly frequencyHz: number;
  readonly startS: number;
  readonly endS: number;
  readonly selfSustained: boolean;
  readonly dampingRatio: number | null;
}

export interface AxisIdentification {
  readonly axis: AxisName;
  readonly controller: AxisController | null;
  /** null: nothing in the hover shows it. */
  readonly plant: PlantParameters | null;
  /** Plants as likely as the best one, for the uncertainty of whatever follows from them. */
  readonly draws: readonly PlantParameters[];
  readonly gyroDelayS: number;
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

/** How an axis moves, whatever makes it. */
export interface Motion {
  /** Standard deviation of the rate below some 5 Hz, rad/s. */
  readonly rateStd: number;
  /** Mean frequency of that motion (from its derivative), Hz. */
  readonly rateHz: number;
  /** Mean frequency of the demand asked, Hz, and the standard deviation of what of it is faster than some 5 Hz. */
  readonly demandHz: number;
  readonly fastDemandStd: number;
}

/** Above this an oscillation is not believed to be a rigid body's. */
const HIGHEST_LOOP_HZ = 22;
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
const DRAWS = 48;
/** Standard deviation of ln τ between the rotors' thrust (roll, pitch) and their torque (yaw). */
const OTHER_ROTOR_EFFECT = 0.25;

export function identifyAxes(
  flight: Flight,
  hover: Interval,
  oscillations: readonly KnownOscillation[],
  declared: DeclaredController | null,
): Readonly<Record<AxisName, AxisIdentification>> | null {
  const clockSignal = firstSignal(
    flight,
    ...AXES.flatMap((axis): ChannelName[] => [`rate.${axis}.measured`, `gyro.${BODY_AXIS_OF[axis]}`]),
  );
  if (clockSignal === null) return null;
  const even = evenRecord(clockSignal, hover);
  if (even === null || even.values.length < 60) return null;
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
  const controllers = Object.fromEntries(
    AXES.map((axis) => [axis, controllerOnClock(axis, rates[axis], onClock, stepS, declared)]),
  ) as Record<AxisName, AxisController | null>;
  const evidence = Object.fromEntries(
    AXES.map((axis) => [
      axis,
      gatherEvidence(
        axis,
        rates[axis],
        applied,
        controllers[axis],
        onClock,
        even.startS,
        stepS,
        oscillations,
      ),
    ]),
  ) as Record<AxisName, AxisEvidence>;
  const bending: Record<AxisName, number[]> = { roll: [], pitch: [], yaw: [] };
  let fits = fitAll(evidence);
  for (const axis of AXES) {
    const fast = evidence[axis].equations.filter((e) => e.s.im > LOWEST_STRUCTURE_HZ * 2 * Math.PI);
    const fit = fits[axis];
    if (fast.length === 0 || fit === null || !isStrained(fit.plant)) continue;
    bending[axis] = fast.map((e) => e.s.im / (2 * Math.PI));
    evidence[axis] = {
      ...evidence[axis],
      equations: evidence[axis].equations.filter((e) => !fast.includes(e)),
    };
  }
  if (AXES.some((axis) => bending[axis].length > 0)) fits = fitAll(evidence);
  return Object.fromEntries(
    AXES.map((axis) => [
      axis,
      describe(
        axis,
        controllers[axis],
        fits[axis],
        evidence[axis],
        bending[axis],
        applied,
        declared,
        motionOf(rates[axis], asked.perAxis[axis], stepS),
        flight.signals.has(`stick.${axis}`),
      ),
    ]),
  ) as unknown as Record<AxisName, AxisIdentification>;
}

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
  if (rate === null || demand === null) return { bands: [], equations: [] };
  const record: AxisRecord = { startS, stepS, rate, demand, instrument: onClock(`stick.${axis}`) };
  const bands = instrumentBands(record);
  const equations = oscillations
    .filter((o) => o.axis === axis && o.frequencyHz < HIGHEST_LOOP_HZ)
    .flatMap((o) =>
      oscillationEquations(
        record,
        o.frequencyHz,
        o.startS,
        o.endS,
        o.selfSustained ? 0 : Math.max(0.1, 2 * (o.dampingRatio ?? 0.05)),
      ),
    );
  if (bands.length >= FEWEST_BANDS) return { bands, equations };
  const reference = referenceByStick(axis, onClock, stepS);
  if (reference === null || controller === null) return { bands: [], equations };
  return { bands: shapedBands(record, reference, likelyShapes(controller)), equations };
}

/** Effectiveness of the plants that a weak instrument is shaped for, rad/s². */
const LIKELY_EFFECTIVENESS = [4, 8, 16, 32, 64, 128, 256];

/** Demand per attitude reference in closed loop, for plants of any effectiveness. */
function likelyShapes(controller: AxisController): ((omega: number) => Complex)[] {
  return LIKELY_EFFECTIVENESS.map((effectiveness) => (omega) => {
    const s = complex(0, omega);
    const g = plantAt(
      {
        effectiveness,
        lagS: Math.exp(PRIOR.lnLag[0]),
        delayS: Math.exp(PRIOR.lnDelay[0]),
        filterShare: PRIOR.filterShare[0],
        dampingPerS: PRIOR.damping[0],
        instabilityPerS2: 0,
      },
      s,
    );
    const c = controllerAt(controller, s);
    const outer = scale(add(c, complex(controller.kff)), controller.attitude ?? 1);
    const loop = add(multiply(c, g), divide(multiply(outer, g), s));
    return divide(outer, add(complex(1), loop));
  });
}

/** The attitude reference, where the stick alone moves it: in proportion, or on yaw as its rate. */
function referenceByStick(
  axis: AxisName,
  onClock: (channel: ChannelName) => Float64Array | null,
  stepS: number,
): Float64Array | null {
  const stick = onClock(`stick.${axis}`);
  const reference = onClock(`attitude.${axis}.reference`);
  if (stick === null || reference === null) return null;
  const width = Math.max(1, Math.round(0.2 / stepS));
  const moved =
    axis === 'yaw' ? reference.map((v, i) => (i < width ? 0 : v - reference[i - width]!)) : reference;
  const cause =
    axis === 'yaw' ? smoothed(stick, width).map((_, i, all) => all[Math.max(0, i - (width >> 1))]!) : stick;
  let xy = 0;
  let xx = 0;
  let yy = 0;
  const mean = (x: Float64Array): number => x.reduce((sum, v) => sum + v / x.length, 0);
  const mx = mean(cause);
  const my = mean(moved);
  for (let i = width; i < stick.length; i++) {
    xy += (cause[i]! - mx) * (moved[i]! - my);
    xx += (cause[i]! - mx) ** 2;
    yy += (moved[i]! - my) ** 2;
  }
  return xx > 0 && yy > 0 && xy * xy > 0.9 * xx * yy ? reference : null;
}

interface AxisFit {
  readonly plant: PlantParameters;
  readonly draws: readonly PlantParameters[];
}

/** Roll and pitch share the rotors' thrust and are fitted together; yaw, which is their torque, starts from what they say. */
function fitAll(evidence: Readonly<Record<AxisName, AxisEvidence>>): Record<AxisName, AxisFit | null> {
  const shows = (axis: AxisName): boolean =>
    evidence[axis].bands.length + evidence[axis].equations.length > 0;
  const out: Record<AxisName, AxisFit | null> = { roll: null, pitch: null, yaw: null };
  const take = (axes: readonly AxisName[], lag: readonly [number, number]): PlantFit | null => {
    const used = axes.filter(shows);
    if (used.length === 0) return null;
    const fit = fitPlants(
      used.map((axis) => evidence[axis]),
      lag,
    );
    const draws = drawParameters(fit);
    used.forEach((axis, a) => {
      out[axis] = { plant: parametersOf(fit.parameters, a), draws: draws.map((p) => parametersOf(p, a)) };
    });
    return fit;
  };
  const passOn = (fit: PlantFit | null): readonly [number, number] =>
    fit === null
      ? PRIOR.lnLag
      : [
          fit.parameters[0]!,
          Math.min(PRIOR.lnLag[1], Math.sqrt(fit.covariance.get(0, 0) + OTHER_ROTOR_EFFECT ** 2)),
        ];
  if (shows('roll') || shows('pitch')) {
    const fit = take(['roll', 'pitch'], PRIOR.lnLag);
    take(['yaw'], passOn(fit));
  } else take(['yaw'], PRIOR.lnLag);
  return out;
}

/** Parameters drawn from the fit's normal distribution by a fixed, well spread sequence: the same log gives the same numbers. */
function drawParameters(fit: PlantFit): Float64Array[] {
  const size = fit.parameters.length;
  const symmetric = Matrix.add(fit.covariance, fit.covariance.transpose()).mul(0.5);
  for (let i = 0; i < size; i++) symmetric.set(i, i, symmetric.get(i, i) * (1 + 1e-9) + 1e-15);
  const root = new CholeskyDecomposition(symmetric).lowerTriangularMatrix;
  let state = 12345;
  const uniform = (): number => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return (state + 0.5) / 4294967296;
  };
  const draws: Float64Array[] = [];
  const spread = Math.sqrt(Math.max(1, fit.misfit));
  for (let d = 0; d < DRAWS; d += 2) {
    const z = Array.from({ length: size }, () => {
      const u = uniform();
      const v = uniform();
      return Math.sqrt(-2 * Math.log(u)) * Math.cos(2 * Math.PI * v);
    });
    for (const sign of [1, -1]) {
      const p = Float64Array.from(fit.parameters);
      for (let i = 0; i < size; i++)
        for (let j = 0; j <= i; j++) p[i] = p[i]! + sign * spread * root.get(i, j) * z[j]!;
      draws.push(p);
    }
  }
  return draws;
}

function describe(
  axis: AxisName,
  controller: AxisController | null,
  fit: AxisFit | null,
  evidence: AxisEvidence,
  bendingHz: readonly number[],
  applied: AppliedDemands,
  declared: DeclaredController | null,
  motion: Motion,
  sticksLogged: boolean,
): AxisIdentification {
  // A second-order filter lags by √2/ω, a first-order one by 1/ω, far below its corner.
  const corner = declared?.gyroLowPassHz ?? null;
  const gyroDelayS = corner === null ? 0.003 : 1.2 / (2 * Math.PI * corner);
  const margins =
    controller === null || fit === null ? null : marginsOf({ plant: fit.plant, controller, gyroDelayS });
  return {
    axis,
    controller,
    plant: fit?.plant ?? null,
    draws: fit?.draws ?? [],
    gyroDelayS,
    margins,
    evidence,
    bendingHz,
    cutShare: applied.cutShare[axis],
    motion,
    from: `${applied.from}; ${[
      ...(evidence.bands.length > 0 ? [`stick movements in ${String(evidence.bands.length)} bands`] : []),
      ...(evidence.equations.length > 0 ? ['the oscillation itself'] : []),
    ].join(' and ')}`,
    why:
      applied.perAxis[axis] === null
        ? 'no demand of this axis is logged, nor its terms; log the demand or the proportional, integral and derivative terms'
        : fit === null
          ? `nothing but gusts is seen to move this axis, and gusts alone do not show a plant; ${sticksLogged ? '' : 'log the sticks and '}fly small single stick movements in a calm hover`
          : null,
  };
}

export function loopsOf(id: AxisIdentification, plant: PlantParameters): AxisLoops | null {
  return id.controller === null ? null : { plant, controller: id.controller, gyroDelayS: id.gyroDelayS };
}

/** Two moving averages of this length let through what is slower than some 5 Hz. */
const SMOOTHING_S = 0.12;

function motionOf(rate: Float64Array | null, demand: Float64Array | null, stepS: number): Motion {
  const width = Math.max(1, Math.round(SMOOTHING_S / stepS));
  const slow = rate === null ? null : frequencyOf(smoothed(smoothed(rate, width), width), stepS);
  const asked = demand === null ? null : frequencyOf(smoothed(demand, 1), stepS);
  const calm = demand === null ? null : smoothed(smoothed(demand, width), width);
  const fast =
    demand === null
      ? null
      : frequencyOf(
          demand.map((v, i) => v - calm![i]!),
          stepS,
        );
  return {
    rateStd: slow?.std ?? 0,
    rateHz: slow?.hz ?? 0,
    demandHz: asked?.hz ?? 0,
    fastDemandStd: fast?.std ?? 0,
  };
}

/** Standard deviation, and that of the derivative over it: the mean frequency of a motion (S. O. Rice, 1944). */
function frequencyOf(values: Float64Array, stepS: number): { std: number; hz: number } {
  let mean = 0;
  for (const v of values) mean += v / values.length;
  let square = 0;
  let slope = 0;
  for (let i = 1; i < values.length; i++) {
    square += (values[i]! - mean) ** 2;
    slope += ((values[i]! - values[i - 1]!) / stepS) ** 2;
  }
  if (!(square > 0)) return { std: 0, hz: 0 };
  return { std: Math.sqrt(square / values.length), hz: Math.sqrt(slope / square) / (2 * Math.PI) };
}
