import { describe, it } from 'vitest';
import { near } from '../../../../tests/support/near.js';
import { absolute, argument, complex } from '../control/complex.js';
import { plantAt, type PlantParameters } from './plant-model.js';

const PURE: PlantParameters = {
  effectiveness: 50,
  lagS: 0,
  delayS: 0,
  filterShare: 0,
  dampingPerS: 0,
  instabilityPerS2: 0,
};

describe('plantAt', () => {
  it('is K/s of a body without lag, delay or damping: 50/(5j) = −10j', () => {
    const g = plantAt(PURE, complex(0, 5));
    near(g.re, 0, 1e-12);
    near(g.im, -10, 1e-12);
  });

  it('has half the power and 45° more lag where ω τ = 1', () => {
    const g = plantAt({ ...PURE, lagS: 0.2 }, complex(0, 5));
    near(absolute(g), 10 / Math.SQRT2, 1e-12);
    near(argument(g), (-135 * Math.PI) / 180, 1e-12);
  });

  it('keeps its size and lags by ω d behind a plain delay: 0.1 s at 5 rad/s is half a radian', () => {
    const g = plantAt({ ...PURE, delayS: 0.1 }, complex(0, 5));
    near(absolute(g), 10, 1e-12);
    near(argument(g), -Math.PI / 2 - 0.5, 1e-12);
  });

  it('splits the delay into a filter and the rest: half of 0.4 s at 5 rad/s is 45° and √½, and 1 rad', () => {
    const g = plantAt({ ...PURE, delayS: 0.4, filterShare: 0.5 }, complex(0, 5));
    near(absolute(g), 10 / Math.SQRT2, 1e-12);
    near(argument(g), -Math.PI / 2 - Math.PI / 4 - 1 + 2 * Math.PI, 1e-12);
  });

  it('turns K/s into K/(s + c) with damping: 50/(5 + 5j) = 5 − 5j', () => {
    const g = plantAt({ ...PURE, dampingPerS: 5 }, complex(0, 5));
    near(g.re, 5, 1e-12);
    near(g.im, -5, 1e-12);
  });

  it('is K s/(s² − i): at s = 5j with i = 25 it is 250j/−50 = −5j, and at s = 10 it is 500/75', () => {
    const g = plantAt({ ...PURE, instabilityPerS2: 25 }, complex(0, 5));
    near(g.re, 0, 1e-12);
    near(g.im, -5, 1e-12);
    near(plantAt({ ...PURE, instabilityPerS2: 25 }, complex(10)).re, 500 / 75, 1e-12);
  });

  it('has a pole where the instability puts it: it grows without bound towards s = √i', () => {
    const at = (s: number): number => absolute(plantAt({ ...PURE, instabilityPerS2: 4 }, complex(s)));
    // K s/(s² − 4) near s = 2 is K/(2 (s − 2)) to first order.
    near(at(2 + 1e-6) * 1e-6, 25, 1e-4);
  });

  it('of a growing motion is weaker than of a steady one: s = 2 + 5j has |s| = √29, not 5', () => {
    near(absolute(plantAt(PURE, complex(2, 5))), 50 / Math.sqrt(29), 1e-12);
  });
});
