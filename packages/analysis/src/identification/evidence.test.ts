import { describe, expect, it } from 'vitest';
import {
  CONTROLLER,
  doublets,
  flyLinearLoop,
  heldPlant,
  PLANT,
} from '../../../../tests/support/made-loop.js';
import { near } from '../../../../tests/support/near.js';
import { randomSource } from '../../../../tests/support/random.js';
import {
  absolute,
  complex,
  divide,
  exponential,
  multiply,
  scale,
  subtract,
  type Complex,
} from '../control/complex.js';
import { instrumentBands, oscillationEquations, type AxisRecord } from './evidence.js';
import { plantAt } from './plant-model.js';

const LOOP = {
  plant: PLANT,
  kp: CONTROLLER.kp,
  ki: CONTROLLER.ki,
  attitude: 4,
  gyroNoise: 0.004,
  durationS: 30,
} as const;

describe('instrumentBands', () => {
  it('show the plant where the sticks move: what it leaves of each is as large as the noise around it, no more', () => {
    const truth = heldPlant(PLANT);
    const ratios: number[] = [];
    for (let seed = 1; seed <= 6; seed++) {
      const bands = instrumentBands(flyLinearLoop({ ...LOOP, stick: doublets(0.1), gust: 1, seed }));
      expect(bands.length).toBeGreaterThanOrEqual(10);
      for (const band of bands) {
        const left = (rate: Complex, omega: number, demand: Complex): number =>
          absolute(subtract(rate, multiply(plantAt(truth, complex(0, omega)), demand))) ** 2;
        const noise = band.rates.map((rate, i) => left(rate, band.omegas[i]!, band.demands[i]!));
        const level = noise.reduce((sum, v) => sum + v, 0) / noise.length;
        ratios.push(left(band.rate, band.s.im, band.demand) / level);
      }
    }
    // Squares of complex Gaussian noise over their mean: exponential with mean 1, above 5 in 0.7 %.
    const mean = ratios.reduce((sum, v) => sum + v, 0) / ratios.length;
    near(mean, 1, 0.3);
    expect(ratios.filter((v) => v > 5).length / ratios.length).toBeLessThan(0.03);
  });

  it('are none in gusts alone, with nothing outside to go by', () => {
    const record = flyLinearLoop({ ...LOOP, stick: () => 0, gust: 3, seed: 4 });
    expect(instrumentBands(record)).toEqual([]);
    expect(instrumentBands({ ...record, instrument: null })).toEqual([]);
  });

  it('show chance in fewer than one band in 500 when the instrument does not move the aircraft', () => {
    let found = 0;
    for (let seed = 0; seed < 40; seed++) {
      const record = flyLinearLoop({ ...LOOP, stick: () => 0, gust: 3, seed, durationS: 20 });
      const idle = randomSource(900 + seed).normals(record.rate.length);
      const bands = instrumentBands({ ...record, instrument: idle });
      // Three are needed for a plant.
      expect(bands.length).toBeLessThan(2);
      found += bands.length;
    }
    // 29 bands of 0.4 Hz from 0.35 to 12 Hz in each.
    expect(found / (40 * 29)).toBeLessThan(1 / 500);
  });

  it('are none where the sticks only tremble below the gusts', () => {
    const record = flyLinearLoop({ ...LOOP, stick: doublets(0.002), gust: 6, seed: 5 });
    expect(instrumentBands(record)).toEqual([]);
  });
});

describe('oscillationEquations', () => {
  /** Rate e^(st), demand e^(st)/ratio. */
  function swing(s: { re: number; im: number }, ratio: { re: number; im: number }): AxisRecord {
    const at = (size: { re: number; im: number }) =>
      Float64Array.from({ length: 1600 }, (_, k) => multiply(size, exponential(scale(s, k * 0.005 - 4))).re);
    return {
      startS: 0,
      stepS: 0.005,
      rate: at(complex(1)),
      demand: at(divide(complex(1), ratio)),
      instrument: null,
    };
  }

  it.each([
    ['steady', 0],
    ['growing', 0.5],
    ['dying', -0.4],
  ])('find complex frequency and ratio of a %s exponential to a thousandth', (_, growth) => {
    const s = complex(growth, 2 * Math.PI * 3.1);
    const ratio = complex(-2, -5);
    const equations = oscillationEquations(swing(s, ratio), 3.1, 0, 8, 0);
    expect(equations).toHaveLength(3);
    for (const e of equations) {
      near(absolute({ re: e.s.re - s.re, im: e.s.im - s.im }) / absolute(s), 0, 1e-3, 's');
      const off = divide(divide(e.rate, e.demand), ratio);
      near(absolute({ re: off.re - 1, im: off.im }), 0, 1e-3, 'ratio');
    }
  });

  it('find the frequency although the line was told 3 % wrong', () => {
    const s = complex(0, 2 * Math.PI * 3.1);
    for (const e of oscillationEquations(swing(s, complex(0, -4)), 3.1 * 1.03, 0, 8, 0)) {
      near(e.s.im / s.im, 1, 1e-3);
      near(e.s.re / s.im, 0, 1e-3);
    }
  });

  it('are less sure of a line that gusts keep alive than of one that keeps itself alive', () => {
    const record = swing(complex(0, 2 * Math.PI * 3.1), complex(0, -4));
    const own = oscillationEquations(record, 3.1, 0, 8, 0)[0]!;
    const driven = oscillationEquations(record, 3.1, 0, 8, 0.3)[0]!;
    // 1.5 % of model error against that and 30 %.
    near(driven.variance / own.variance, (0.015 ** 2 + 0.3 ** 2) / 0.015 ** 2, 2);
  });

  it('are none when the swing lasts less than three windows of two and a half cycles', () => {
    const record = swing(complex(0, 2 * Math.PI * 3.1), complex(0, -4));
    expect(oscillationEquations(record, 3.1, 2, 3, 0)).toEqual([]);
  });
});
