/** The plants of all axes from what the hover shows of each, and what the axes say of one another. */
import { AXES, type AxisName } from '@settle/parser';
import {
  drawParameters,
  fitPlants,
  normalOf,
  parametersOf,
  shows,
  type AxisEvidence,
  type PlantFit,
  type PlantNormal,
} from './fit-plant.js';
import type { EachAxis } from '../per-axis.js';
import type { PlantParameters } from './plant-model.js';
import { NOTHING_KNOWN, PRIOR, type FitPriors, type Known } from './prior.js';

export interface AxisFit {
  readonly plant: PlantParameters;
  readonly draws: readonly PlantParameters[];
  readonly normal: PlantNormal;
}

/**
 * The plant of an axis that sticks and swings show none of: good for a careful step, never for a margin. `motion`: the shape of
 * its motion in gusts tells it; `other-axes`: no more is known than that it hangs on the same rotors.
 */
export interface SupposedPlant {
  readonly plant: PlantParameters;
  readonly draws: readonly PlantParameters[];
  readonly from: 'motion' | 'other-axes';
}

/** Standard deviation of ln τ between the rotors' thrust (roll, pitch) and their torque (yaw). */
const OTHER_ROTOR_EFFECT = 0.25;
/** Of ln d: bus, gyro filter and controller step are the same for all axes. */
const OTHER_DELAY = 0.15;
/**
 * ln of one axis' effectiveness over another's. Roll and pitch have the same rotors on arms that grow with what they have to
 * turn: within a factor of 1.6. Torque is a small part of thrust times arm: yaw has a sixth, within a factor of 2
 * (common practice, no source).
 */
const ROLL_PITCH_RATIO: Known = [0, Math.log(1.6)];
const YAW_RATIO: Known = [Math.log(1 / 6), Math.log(2)];
/** Roll and pitch fitted together. */
const ALIKE: FitPriors = { ...NOTHING_KNOWN, lnRatio: ROLL_PITCH_RATIO };

/**
 * Roll and pitch share the rotors' thrust and are fitted together; yaw, which is their torque, starts from what they say. How strong
 * one axis is bounds how strong another can be.
 */
export function fitAll(evidence: Readonly<EachAxis<AxisEvidence>>): EachAxis<AxisFit | null> {
  const out: EachAxis<AxisFit | null> = { roll: null, pitch: null, yaw: null };
  const take = (axes: readonly AxisName[], known: FitPriors): PlantFit | null => {
    if (axes.length === 0) return null;
    const { fit, fits } = fitTogether(
      axes.map((axis) => evidence[axis]),
      known,
    );
    axes.forEach((axis, a) => (out[axis] = fits[a]!));
    return fit;
  };
  const read = (axis: AxisName): boolean => shows(evidence[axis]) || evidence[axis].motion !== null;
  const thrust = (['roll', 'pitch'] as const).filter(read);
  // What strong sticks show is not bent by what is read from gusts.
  const moved = thrust.filter((axis) => evidence[axis].bands.length > 0);
  const first = take(moved.length > 0 ? moved : thrust, ALIKE);
  const strong = (moved.length > 0 ? moved : thrust).map((axis) => out[axis]!);
  if (moved.length > 0)
    take(
      thrust.filter((axis) => !moved.includes(axis)),
      { ...rotorsKnown(first, true), lnEffectiveness: strong.map((fit) => ratioTo(fit, ROLL_PITCH_RATIO)) },
    );
  if (read('yaw'))
    take(['yaw'], {
      ...rotorsKnown(first),
      lnEffectiveness: strong.length === 0 ? [] : [yawBeside(strong)],
    });
  return out;
}

/**
 * Lag and delay as another axis tells them.
 *
 * @param same both turn by the rotors' thrust
 */
function rotorsKnown(fit: PlantFit | null, same = false): FitPriors {
  if (fit === null) return NOTHING_KNOWN;
  const passedOn = (place: number, differs: number, [, most]: Known): Known => [
    fit.parameters[place]!,
    Math.min(most, Math.sqrt(fit.covariance.get(place, place) + differs ** 2)),
  ];
  return {
    ...NOTHING_KNOWN,
    lnLag: passedOn(0, same ? 0 : OTHER_ROTOR_EFFECT, PRIOR.lnLag),
    lnDelay: passedOn(1, same ? 0 : OTHER_DELAY, PRIOR.lnDelay),
  };
}

/** Bands of a stick are not as independent as their noise says: how much wider truth scatters (measured on simulated hovers). */
const BY_STICK = 1.3;

function fitTogether(
  evidence: readonly AxisEvidence[],
  known: FitPriors,
): { fit: PlantFit; fits: readonly AxisFit[] } {
  const fit = fitPlants(evidence, known);
  const draws = drawParameters(fit, evidence.some(({ bands }) => bands.length > 0) ? BY_STICK : 1);
  return {
    fit,
    fits: evidence.map((_, a) => ({
      plant: parametersOf(fit.parameters, a),
      draws: draws.map((p) => parametersOf(p, a)),
      normal: normalOf(fit, a, known),
    })),
  };
}

/**
 * Plants of the axes that sticks and swings show none of.
 *
 * @param fits of the axes that something was read of
 */
export function supposePlants(
  evidence: Readonly<EachAxis<AxisEvidence>>,
  fits: Readonly<EachAxis<AxisFit | null>>,
): EachAxis<SupposedPlant | null> {
  const out: EachAxis<SupposedPlant | null> = { roll: null, pitch: null, yaw: null };
  for (const axis of AXES) {
    const fit = fits[axis];
    if (fit !== null && !shows(evidence[axis])) out[axis] = { ...fit, from: 'motion' };
  }
  const seen = (axis: AxisName): boolean => fits[axis] !== null;
  if (AXES.every((axis) => fits[axis] !== null) || !AXES.some(seen)) return out;
  const used = (axis: AxisName): AxisEvidence =>
    fits[axis] === null ? { bands: [], equations: [], gain: null, motion: null } : evidence[axis];
  const suppose = (axis: AxisName, fit: AxisFit): void => {
    if (fits[axis] === null) out[axis] = { plant: fit.plant, draws: fit.draws, from: 'other-axes' };
  };
  const thrust: readonly AxisName[] = ['roll', 'pitch'];
  const shown = thrust.filter(seen);
  const torque = seen('yaw') ? fitTogether([used('yaw')], NOTHING_KNOWN) : null;
  // Rotors and filters first from where they show best: thrust, else torque.
  const first = fitTogether(
    (shown.length > 0 ? shown : thrust).map(used),
    shown.length > 0
      ? NOTHING_KNOWN
      : {
          ...rotorsKnown(torque!.fit),
          lnEffectiveness: thrust.map(() => ratioTo(torque!.fits[0]!, [-YAW_RATIO[0], YAW_RATIO[1]])),
        },
  );
  (shown.length > 0 ? shown : thrust).forEach((axis, a) => suppose(axis, first.fits[a]!));
  if (shown.length === 1) {
    const other = thrust.find((axis) => !seen(axis))!;
    const { fits: own } = fitTogether([used(other)], {
      ...rotorsKnown(first.fit, true),
      lnEffectiveness: [ratioTo(first.fits[0]!, ROLL_PITCH_RATIO)],
    });
    suppose(other, own[0]!);
  }
  if (fits.yaw === null) {
    const { fits: own } = fitTogether([used('yaw')], {
      ...rotorsKnown(first.fit),
      lnEffectiveness: [yawBeside(first.fits)],
    });
    suppose('yaw', own[0]!);
  }
  return out;
}

/** What the fits of roll, pitch or both say of the ln K of yaw. */
function yawBeside(thrust: readonly AxisFit[]): Known {
  const both = thrust.map((fit) => ratioTo(fit, YAW_RATIO));
  return [
    both.reduce((sum, [value]) => sum + value / both.length, 0),
    Math.max(...both.map(([, std]) => std)),
  ];
}

/** What an axis' fit says of the ln K of another. */
function ratioTo({ normal }: AxisFit, [mean, std]: Known): Known {
  return [normal.mean[3]! + mean, Math.hypot(std, Math.sqrt(normal.covariance[3]![3]!))];
}
