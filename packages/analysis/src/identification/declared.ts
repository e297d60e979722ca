/** What a gains file tells, in the units of the calculation. */
import type { GainsFile } from '@settle/parser';
import type { DeclaredController, DeclaredGains } from './controller.js';
import { eachAxis } from '../per-axis.js';

/**
 * Gains whose unit is declared are converted; those without a unit are taken as they stand and must be confirmed by a logged
 * term; those in another unit are left out.
 */
export function declaredController(file: GainsFile): DeclaredController {
  const { rate, attitude } = file;
  const factor = rate.unit.toSi ?? 1;
  const outer = attitude.unit.toSi ?? 1;
  const known = (value: number | null, unit: typeof rate.unit, by: number): number | null =>
    value === null || unit.unit === 'other' ? null : value * by;
  return {
    rate: eachAxis((axis): DeclaredGains => {
      const g = rate.axes[axis];
      return {
        kp: known(g.kp, rate.unit, factor),
        ki: known(g.ki, rate.unit, factor),
        kd: known(g.kd, rate.unit, factor),
        kff: known(g.kff, rate.unit, factor),
      };
    }),
    attitude: eachAxis((axis) => known(attitude.axes[axis].kp, attitude.unit, outer)),
    rateUnitDeclared: rate.unit.declared,
    attitudeUnitDeclared: attitude.unit.declared,
    derivativeLowPassHz: file.filters.derivativeLowPassHz,
    gyroLowPassHz: file.filters.gyroLowPassHz,
    loopRateHz: file.loopRateHz,
  };
}
