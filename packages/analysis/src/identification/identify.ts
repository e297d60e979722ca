/** From a hover to the plants, controllers and margins of its axes. */
import { AXES, type AxisName, type Flight, type Interval } from '@settle/parser';
import { complex, type Complex } from '../control/complex.js';
import { eachAxis } from '../per-axis.js';
import type { AppliedDemands } from './applied-demand.js';
import type { AxisController, DeclaredController } from './controller.js';
import { fitAll, supposePlants, type AxisFit, type SupposedPlant } from './fit-axes.js';
import { shownByStick, shows, type AxisEvidence, type PlantNormal } from './fit-plant.js';
import { controllerOnClock, recordOver } from './flown-record.js';
import { gainOfRunaway, gatherEvidence, motionInGusts, type KnownOscillation } from './gather-evidence.js';
import { judged, marginsOf, rateLoopAt, type AxisLoops, type BothMargins } from './loop-model.js';
import { motionOf, type Motion } from './motion.js';
import type { PlantParameters } from './plant-model.js';
import { rateSpectra, structuralPeak, type StructuralPeak } from './structural-peak.js';

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
  /** Something of the structure that gusts shake: the plant does not know of it either. */
  readonly structuralPeak: StructuralPeak | null;
  /** Share of the hover in which the stops cut this axis' demand. */
  readonly cutShare: number;
  readonly from: string;
  readonly motion: Motion;
  /** Why there is no plant. */
  readonly why: string | null;
}

/** Below this the structure of such an aircraft does not ring (common practice, no source). */
export const LOWEST_STRUCTURE_HZ = 9;
/** What no rotor and no airframe of this kind has, rad/s² per full demand and s (common practice, no source). */
const STRAINED = { effectiveness: 450, lagS: 0.018 };

const NO_EVIDENCE: AxisEvidence = { bands: [], equations: [], gain: null, motion: null };

/** Whether a plant is what comes out when a bending structure is taken for a rigid body. */
function isStrained(plant: PlantParameters): boolean {
  return plant.effectiveness > STRAINED.effectiveness || plant.lagS < STRAINED.lagS;
}

/**
 * @param untilUpset the hover, where it was short with the take-off before it, and what followed up to where the aircraft tipped
 *   over; null when it did not
 * @returns null where the log has no rates
 */
export function identifyAxes(
  flight: Flight,
  hover: Interval,
  untilUpset: Interval | null,
  oscillations: readonly KnownOscillation[],
  declared: DeclaredController | null,
): Readonly<Record<AxisName, AxisIdentification>> | null {
  const hovered = recordOver(flight, hover, hover);
  // A hover of a blink shows its runaway all the same.
  const flown = hovered ?? (untilUpset === null ? null : recordOver(flight, untilUpset, untilUpset));
  if (flown === null) return null;
  const { stepS, rates, asked, applied } = flown;
  const controllers = eachAxis((axis) => controllerOnClock(flown, axis, declared));
  const rigid = oscillations.filter((o) => !o.bends);
  const evidence = eachAxis((axis) =>
    hovered === null ? NO_EVIDENCE : gatherEvidence(hovered, axis, controllers[axis], rigid),
  );
  const whole =
    untilUpset === null || hovered === null ? flown : (recordOver(flight, untilUpset, hover) ?? flown);
  for (const axis of AXES)
    if (!shows(evidence[axis]) && !whole.applied.stopsUnknown)
      evidence[axis] = { ...evidence[axis], gain: gainOfRunaway(whole, axis) };
  if (hovered !== null)
    for (const axis of AXES)
      if (evidence[axis].bands.length === 0)
        evidence[axis] = {
          ...evidence[axis],
          motion: motionInGusts(hovered, axis, controllers[axis], oscillations),
        };
  const bending = eachAxis((axis) =>
    oscillations.filter((o) => o.axis === axis && o.bends).map((o) => o.frequencyHz),
  );
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
  }
  if (AXES.some((axis) => bending[axis].length > 0)) fits = fitAll(evidence);
  // Where a swing alone calls for an aircraft that does not exist, it shows no plant.
  for (const axis of AXES)
    if (!shownByStick(evidence[axis]) && fits[axis] !== null && isStrained(fits[axis].plant))
      fits[axis] = null;
  const supposed = supposePlants(evidence, fits);
  const shown = eachAxis((axis) => (shows(evidence[axis]) ? fits[axis] : null));
  const spectra = rateSpectra(rates, stepS);
  const swings = oscillations.filter((o) => o.selfSustained);
  return eachAxis((axis) =>
    describe(
      axis,
      controllers[axis],
      shown[axis],
      supposed[axis],
      evidence[axis],
      bending[axis],
      structuralPeak(axis, spectra, rigidLoop(shown[axis], controllers[axis]), swings),
      applied,
      declared,
      motionOf(rates[axis], asked[axis], flown.onClock(`stick.${axis}`), stepS),
      flight.signals.has(`stick.${axis}`),
      oscillations.some((o) => o.axis === axis && o.selfSustained),
    ),
  );
}

/** L(jω) of the rate loop of an aircraft that does not bend; null where it is not known. */
function rigidLoop(
  fit: AxisFit | null,
  controller: AxisController | null,
): ((omega: number) => Complex) | null {
  if (fit === null || controller === null) return null;
  const loops = judged({ plant: fit.plant, controller, gyroDelayS: 0, addedFilters: null });
  return (omega) => rateLoopAt(loops, complex(0, omega));
}

function describe(
  axis: AxisName,
  controller: AxisController | null,
  fit: AxisFit | null,
  supposed: SupposedPlant | null,
  evidence: AxisEvidence,
  bendingHz: readonly number[],
  peak: StructuralPeak | null,
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
    structuralPeak: peak,
    cutShare: applied.cutShare[axis],
    motion,
    from: `${applied.from}; ${[
      ...(evidence.bands.length > 0 ? [`stick movements in ${String(evidence.bands.length)} bands`] : []),
      ...(evidence.gain === null
        ? []
        : evidence.gain.from === 'weak-stick'
          ? ['what little the stick moved among the gusts']
          : ['the swing that ran away']),
      ...(evidence.motion === null ? [] : ['its motion in gusts']),
      ...(evidence.equations.length > 0 ? ['the oscillation itself'] : []),
    ].join(' and ')}`,
    why:
      applied.perAxis[axis] === null
        ? 'no demand of this axis is logged, nor its terms; log the demand or the proportional, integral and derivative terms'
        : fit === null && applied.stopsUnknown && swings
          ? 'it swings by itself and the motor commands are not logged with the demands, so what the stops take away is not seen; log the motor commands'
          : fit === null
            ? `nothing but gusts is seen to move this axis, and ${evidence.motion === null ? 'gusts alone do not show a plant' : 'what the shape of its motion says is good for a careful change of gains, not for a margin'}; ${sticksLogged ? '' : 'log the sticks and '}fly small single stick movements in a calm hover`
            : null,
  };
}

/** Today's loops. */
export function loopsOf(id: AxisIdentification, plant: PlantParameters): AxisLoops | null {
  return id.controller === null
    ? null
    : { plant, controller: id.controller, gyroDelayS: id.gyroDelayS, addedFilters: null };
}
