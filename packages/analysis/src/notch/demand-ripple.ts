/**
 * The ripple that vibration makes in the demand of an axis: power of the gyro above the lowest frequency that counts as vibration,
 * times what the existing filters and the controller's P and D make of it, split into parts that a filter treats alike.
 *
 * Amplitude is √2·RMS, the amplitude of the one sine of the same power and the definition that oscillations have too. Of several
 * lines and noise together the highest peaks are larger; a peak would depend on how long one looks.
 */
import { AXES, type AxisName, type Flight, type Interval } from '@settle/parser';
import { BODY_AXIS_OF } from '../oscillation/axis-signals.js';
import type { SensorSpectrum, StudiedLine, VibrationStudy } from '../vibration/vibration-study.js';
import {
  controllerPowerGain,
  demandGainOf,
  loggedPowerGain,
  scaledGain,
  type DemandGain,
} from './demand-gain.js';
import { existingPowerGain, type ExistingFilters } from './existing-filters.js';
import { RIPPLE_TARGET, type PerAxis } from './plan-types.js';
import type { AxisController } from '../identification/controller.js';
import { lineSamples, SAMPLES, type SpeedSamples } from './speed-samples.js';

export interface RipplePart {
  readonly axis: AxisName;
  readonly frequencyHz: number;
  /** Of the demand today, (share of full demand)². */
  readonly power: number;
  /** Of the gyro as it reaches the controller today, (rad/s)². */
  readonly gyroPower: number;
  /** Moment it belongs to; null for the background, which is there at all of them. */
  readonly moment: number | null;
  /** Index into {@link RippleModel.lines}; null for the background. */
  readonly line: number | null;
}

export interface RippleModel {
  readonly axes: readonly AxisName[];
  readonly parts: readonly RipplePart[];
  /** Gyro lines that make up the parts: vibration that is what it seems. */
  readonly lines: readonly StudiedLine[];
  /** Lines folded down from above half the log's rate: not in the parts, for no filter of this log's making fits them. */
  readonly folded: readonly StudiedLine[];
  /** √2·RMS of what the folded ones make at the frequency they appear at, per axis. */
  readonly foldedRipple: PerAxis<number>;
  readonly target: number;
  /** Where the way from gyro to demand comes from. */
  readonly gainFrom: PerAxis<string>;
  readonly gains: PerAxis<DemandGain>;
  readonly assumptions: readonly string[];
}

export interface RippleInput {
  readonly flight: Flight;
  readonly hover: Interval;
  readonly study: VibrationStudy;
  /** Of the next hover, and that the logged one was flown with. */
  readonly controllers: PerAxis<AxisController>;
  readonly flown: PerAxis<AxisController>;
  readonly swinging: ReadonlySet<AxisName>;
  readonly existing: ExistingFilters;
  readonly speeds: SpeedSamples | null;
  readonly filterRateHz: number;
  readonly rippleTarget?: number | undefined;
}

/** Parts of the background per axis; a notch must not fall between two. */
const BACKGROUND_PARTS = 64;
/** Bins on either side of a line that its window's main lobe reaches into. */
const MAIN_LOBE_BINS = 2;
/** Model and log further apart than this: something between gyro and demand is not known, and the log is right. */
const DISAGREE = 1.5;

export function modelRipple(input: RippleInput): RippleModel {
  const gyroLines = input.study.lines.filter(
    (line) => line.sensor === 'gyro' && line.kind !== 'control-loop',
  );
  const lines = gyroLines.filter((line) => line.kind !== 'alias');
  const folded = gyroLines.filter((line) => line.kind === 'alias');
  const target = input.rippleTarget ?? RIPPLE_TARGET;
  const assumptions: string[] = [];
  const parts: RipplePart[] = [];
  const gains: Partial<Record<AxisName, DemandGain>> = {};
  const foldedRipple: Partial<Record<AxisName, number>> = {};
  const axes = AXES.filter((axis) => {
    const spectrum = spectrumOf(input.study, axis);
    if (spectrum === null && !lines.some((line) => line.axis === BODY_AXIS_OF[axis])) return false;
    const decided = decideGain(axis, input, lines, spectrum, assumptions);
    if (decided === null) return false;
    gains[axis] = decided.gain;
    parts.push(...decided.parts);
    const power = folded
      .filter((line) => line.axis === BODY_AXIS_OF[axis])
      .reduce((sum, line) => sum + line.rms ** 2 * throughAt(decided.gain, input, line.frequencyHz), 0);
    if (power > 0) foldedRipple[axis] = Math.sqrt(2 * power);
    return true;
  });
  const gainFrom = Object.fromEntries(axes.map((axis) => [axis, gains[axis]!.from])) as PerAxis<string>;
  return { axes, parts, lines, folded, foldedRipple, target, gainFrom, gains, assumptions };
}

/** √2·RMS per axis; `powerGain` is what proposed filters leave of each part. */
export function rippleOf(model: RippleModel, powerGain?: ArrayLike<number>): PerAxis<number> {
  const power: Partial<Record<AxisName, number>> = Object.fromEntries(model.axes.map((axis) => [axis, 0]));
  model.parts.forEach((part, i) => {
    power[part.axis] = power[part.axis]! + part.power * (powerGain?.[i] ?? 1);
  });
  return Object.fromEntries(model.axes.map((axis) => [axis, Math.sqrt(2 * power[axis]!)]));
}

/** √2·RMS on one axis with another controller than the one the model is made for. */
export function rippleAs(
  model: RippleModel,
  axis: AxisName,
  madeFor: AxisController,
  other: AxisController,
  powerGain?: ArrayLike<number>,
): number {
  const power = model.parts.reduce((sum, part, i) => {
    if (part.axis !== axis) return sum;
    const ratio =
      controllerPowerGain(other, part.frequencyHz) / controllerPowerGain(madeFor, part.frequencyHz);
    return sum + part.power * ratio * (powerGain?.[i] ?? 1);
  }, 0);
  return Math.sqrt(2 * power);
}

export const worstOf = (ripple: PerAxis<number>): number => Math.max(0, ...Object.values(ripple));

/** Through the controller where it is known, unless the log shows that something else stands between. */
function decideGain(
  axis: AxisName,
  input: RippleInput,
  lines: readonly StudiedLine[],
  spectrum: SensorSpectrum | null,
  assumptions: string[],
): { gain: DemandGain; parts: RipplePart[] } | null {
  const { flight, hover } = input;
  const next = input.controllers[axis];
  const gain = demandGainOf(flight, hover, axis, next);
  if (gain === null) return null;
  const partsBy = (some: DemandGain): RipplePart[] => partsOf(axis, input, lines, spectrum, some);
  const known = { gain, parts: partsBy(gain) };
  const flown = input.flown[axis];
  // The limits that hold a swing fill its demand with more than the gyro’s vibration makes of it.
  const logged = next === undefined || input.swinging.has(axis) ? null : loggedPowerGain(flight, hover, axis);
  if (next === undefined || flown === undefined || logged === null) return known;
  const ratio = Math.sqrt(
    totalPower(partsBy(logged)) / totalPower(partsBy(demandGainOf(flight, hover, axis, flown)!)),
  );
  if (!Number.isFinite(ratio) || (ratio < DISAGREE && ratio > 1 / DISAGREE)) return known;
  assumptions.push(
    `${axis}: the logged demand holds ${ratio.toFixed(2)} times the vibration that the known gains and filters make of the gyro’s, so something between them is not known; what the log shows is used${flown === next ? '' : ', and what the new gains make more or less of it'}`,
  );
  const scaled = flown === next ? logged : scaledGain(logged, flown, next);
  return { gain: scaled, parts: partsBy(scaled) };
}

const totalPower = (parts: readonly RipplePart[]): number => parts.reduce((sum, part) => sum + part.power, 0);

export function spectrumOf(study: VibrationStudy, axis: AxisName): SensorSpectrum | null {
  return study.spectra.find((s) => s.sensor === 'gyro' && s.axis === BODY_AXIS_OF[axis]) ?? null;
}

const throughAt = (gain: DemandGain, input: RippleInput, hz: number): number =>
  gain.powerGain(hz) * existingIn(gain, input, hz);

const existingIn = (gain: DemandGain, input: RippleInput, hz: number): number =>
  gain.includesFilters ? 1 : existingPowerGain(input.existing, hz, input.filterRateHz);

function partsOf(
  axis: AxisName,
  input: RippleInput,
  lines: readonly StudiedLine[],
  spectrum: SensorSpectrum | null,
  gain: DemandGain,
): RipplePart[] {
  const part = (
    frequencyHz: number,
    loggedPower: number,
    moment: number | null,
    line: number | null,
  ): RipplePart => ({
    axis,
    frequencyHz,
    power: loggedPower * throughAt(gain, input, frequencyHz),
    gyroPower: loggedPower * existingPowerGain(input.existing, frequencyHz, input.filterRateHz),
    moment,
    line,
  });
  const out: RipplePart[] = [];
  lines.forEach((line, index) => {
    if (line.axis !== BODY_AXIS_OF[axis]) return;
    lineSamples(line, input.speeds).forEach((hz, k) => {
      // The gain through the log is known where the line is, not where it might wander to.
      const nominal = part(gain.includesFilters ? line.frequencyHz : hz, line.rms ** 2 / SAMPLES, k, index);
      out.push({ ...nominal, frequencyHz: hz });
    });
  });
  if (spectrum !== null)
    for (const { hz, power } of backgroundOf(spectrum, input.study)) out.push(part(hz, power, null, null));
  return out;
}

/** Density integrated over steps of frequency; under lines the floor stands for it. */
function backgroundOf(spectrum: SensorSpectrum, study: VibrationStudy): { hz: number; power: number }[] {
  const { frequencyHz, density, floor } = spectrum;
  const binHz = frequencyHz.length > 1 ? frequencyHz[1]! - frequencyHz[0]! : 0;
  const own = study.lines.filter((line) => line.sensor === 'gyro' && line.axis === spectrum.axis);
  const top = frequencyHz[frequencyHz.length - 1] ?? 0;
  const stepHz = Math.max(binHz, (top - study.lowestHz) / BACKGROUND_PARTS);
  const sums = new Map<number, { power: number; moment: number }>();
  for (let k = 0; k < frequencyHz.length; k++) {
    const hz = frequencyHz[k]!;
    if (hz < study.lowestHz) continue;
    const reach = MAIN_LOBE_BINS * binHz;
    const underLine = own.some((line) => hz >= line.lowHz - reach && hz <= line.highHz + reach);
    const level = underLine ? Math.min(density[k]!, floor[k]!) : density[k]!;
    if (!(level > 0)) continue;
    const at = Math.floor((hz - study.lowestHz) / stepHz);
    const sum = sums.get(at) ?? { power: 0, moment: 0 };
    sums.set(at, { power: sum.power + level * binHz, moment: sum.moment + level * binHz * hz });
  }
  return [...sums.values()].map(({ power, moment }) => ({ hz: moment / power, power }));
}
