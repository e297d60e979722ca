/** A gains file written out again, as it was or with changed gains. */

import { AXES } from './flight.js';
import type { AxisName } from './flight.js';
import type { AttitudeGains, GainsFile, LoopGains, RateGains } from './gains-file.js';

/** One gain to multiply. */
export interface GainChange {
  readonly axis: AxisName;
  readonly loop: 'rate' | 'attitude' | 'position';
  readonly term: 'P' | 'I' | 'D' | 'FF';
  /** Finite and above 0. */
  readonly factor: number;
}

const FIELDS = { P: 'kp', I: 'ki', D: 'kd', FF: 'kff' } as const;

/** @returns the gain a change is about, in the file's own unit; null when the file does not tell it */
export function gainToChange(
  gains: GainsFile,
  { axis, loop, term }: Omit<GainChange, 'factor'>,
): number | null {
  if (loop === 'rate') return gains.rate.axes[axis][FIELDS[term]];
  // A gains file has no position loop, and an attitude loop of one term.
  return loop === 'attitude' && term === 'P' ? gains.attitude.axes[axis].kp : null;
}

/**
 * Multiplies gains; several changes of one gain multiply. A gain the file does not tell stays so; everything else is kept.
 *
 * @throws RangeError for a factor that is not finite and above 0
 */
export function applyGainAdvice(gains: GainsFile, advice: readonly GainChange[]): GainsFile {
  return advice.reduce(applyOne, gains);
}

function applyOne(gains: GainsFile, change: GainChange): GainsFile {
  const { axis, loop, term, factor } = change;
  const gain = gainToChange(gains, change);
  if (!Number.isFinite(factor) || factor <= 0)
    throw new RangeError(`a gain cannot change by the factor ${String(factor)}`);
  if (gain === null) return gains;
  // Twelve digits: more than a gain has, fewer than show that 6.2 · 1.1 is 6.820000000000001 in binary.
  const changed = { [FIELDS[term]]: Number((gain * factor).toPrecision(12)) };
  if (loop === 'rate') return { ...gains, rate: withAxis(gains.rate, axis, changed) };
  return { ...gains, attitude: withAxis(gains.attitude, axis, changed) };
}

function withAxis<Gains extends object>(
  loop: LoopGains<Gains>,
  axis: AxisName,
  changed: Partial<Gains>,
): LoopGains<Gains> {
  return { ...loop, axes: { ...loop.axes, [axis]: { ...loop.axes[axis], ...changed } } };
}

/**
 * The JSON text of a gains file, ending in a line break: fields in the order of the contract, two spaces, what is not told
 * left out. `parseGains` gives the same gains back.
 */
export function formatGains(gains: GainsFile): string {
  const { filters } = gains;
  const value = {
    gains: {
      ...told({ unit: gains.writtenUnit }),
      rate: loopValue<RateGains>(gains.rate),
      attitude: loopValue<AttitudeGains>(gains.attitude),
    },
    filters: {
      ...told({ gyroLowPassHz: filters.gyroLowPassHz, derivativeLowPassHz: filters.derivativeLowPassHz }),
      ...told({
        notches:
          filters.notches?.map(({ centreHz, bandwidthHz, depthDb }) => ({
            centreHz,
            bandwidthHz,
            depthDb,
          })) ?? null,
      }),
      gyroTap: filters.gyroTap,
    },
    ...told({ loopRateHz: gains.loopRateHz }),
    configuration: gains.configuration,
  };
  return `${JSON.stringify(value, null, 2)}\n`;
}

function loopValue<Gains extends RateGains | AttitudeGains>(loop: LoopGains<Gains>): object {
  const axes = AXES.map((axis) => [axis, told(loop.axes[axis])] as const);
  return { ...told({ unit: loop.writtenUnit }), ...Object.fromEntries(axes) };
}

function told(fields: object): object {
  return Object.fromEntries(Object.entries(fields).filter(([, value]) => value !== null));
}
