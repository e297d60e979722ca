/**
 * Second-order relations, logarithmic decrement, describing functions: tables computed independently with Python; published
 * examples where named.
 */
import { describe, expect, test } from 'vitest';
import {
  absolute,
  argument,
  bandwidthRatio,
  clippedShare,
  clippedSineHarmonic,
  dampingOfDecrement,
  dampingOfHalfPowerWidth,
  dampingOfOvershootPct,
  dampingOfPhaseMarginDeg,
  decrementOfDamping,
  decrementOfPeaks,
  findLoopMargins,
  modeOfPole,
  overshootPctOfDamping,
  peakTimeRatio,
  phaseMarginDegOfDamping,
  relayGain,
  resonantFrequencyRatio,
  resonantPeak,
  saturationGain,
  saturationGainOfShare,
  saturationRatioOfGain,
  saturationRatioOfShare,
  transferFunctionAt,
} from '../../packages/analysis/src/control/index.js';
import { available, near } from '../support/near.js';

describe('second-order system, every column within half a unit of its last digit', () => {
  test.each([
    [0.1, 72.9248, 11.4206, 0.63148, 1.54277, 5.02519, 3.15742],
    [0.2, 52.6621, 22.6023, 1.28255, 1.50958, 2.55155, 3.20637],
    [0.3, 37.2326, 33.2725, 1.97597, 1.45369, 1.74714, 3.29328],
    [0.4, 25.3827, 43.1176, 2.74221, 1.37452, 1.36386, 3.42776],
    [0.5, 16.3034, 51.8273, 3.6276, 1.27202, 1.1547, 3.6276],
    [0.6, 9.478, 59.1873, 4.71239, 1.14824, 1.04167, 3.92699],
    [0.7, 4.5988, 65.1564, 6.15875, 1.01005, 1.0002, 4.39911],
    [0.8, 1.5165, 69.86, 8.37758, 0.8709, 1, 5.23599],
  ])(
    'damping ratio %d: overshoot %d %%, phase margin %d°, decrement %d, bandwidth %d, peak %d, peak time %d',
    (damping, overshoot, margin, decrement, bandwidth, peak, peakTime) => {
      near(overshootPctOfDamping(damping), overshoot, 5.1e-5);
      near(phaseMarginDegOfDamping(damping), margin, 5.1e-5);
      near(decrementOfDamping(damping), decrement, 5.1e-6);
      near(bandwidthRatio(damping), bandwidth, 5.1e-6);
      near(resonantPeak(damping), peak, 5.1e-6);
      near(peakTimeRatio(damping), peakTime, 5.1e-6);
      // And back.
      near(dampingOfOvershootPct(overshoot), damping, 1e-5);
      near(dampingOfPhaseMarginDeg(margin), damping, 1e-5);
      near(dampingOfDecrement(decrement), damping, 1e-5);
    },
  );

  test.each([
    [5, 0.69011],
    [10, 0.59116],
    [15, 0.51693],
    [20, 0.45595],
    [25, 0.40371],
    [30, 0.35786],
  ])('an overshoot of %d %% belongs to a damping ratio of %d', (overshoot, damping) => {
    near(dampingOfOvershootPct(overshoot), damping, 5.1e-6);
  });

  test('the phase margin of its loop is what the Nyquist curve gives, at any damping', () => {
    for (const damping of [0.05, 0.3, 0.9, 2]) {
      const m = available(
        findLoopMargins({
          response: (omega) => transferFunctionAt([9], [1, 6 * damping, 0], omega),
          unstablePoles: 0,
          polesAtOrigin: 1,
          lowestRadS: 0.001,
          highestRadS: 1000,
        }),
      );
      near(m.phaseMarginDeg, phaseMarginDegOfDamping(damping), 1e-6);
    }
  });

  test('gain at the resonant and at the bandwidth frequency is what the formulas say', () => {
    for (const damping of [0.1, 0.4, 0.65]) {
      const gain = (u: number): number => absolute(transferFunctionAt([1], [1, 2 * damping, 1], u));
      near(gain(resonantFrequencyRatio(damping)!), resonantPeak(damping), 1e-12);
      near(gain(bandwidthRatio(damping)), Math.SQRT1_2, 1e-12);
    }
    expect(resonantFrequencyRatio(0.8)).toBeNull();
  });

  test('overshoot of 0 or above 100 % tells no damping ratio; phase margins from 90° belong to no such loop', () => {
    expect(() => dampingOfOvershootPct(0)).toThrow('tells no damping ratio');
    expect(() => dampingOfOvershootPct(101)).toThrow('tells no damping ratio');
    expect(() => dampingOfPhaseMarginDeg(90)).toThrow('belongs to no second-order loop');
    expect(() => decrementOfDamping(1)).toThrow('there are no periods');
  });
});

describe('logarithmic decrement', () => {
  test('13 % left after 100 periods: 0.020402, damping ratio 0.003247 (published exercise on a torsional pendulum)', () => {
    const decrement = decrementOfPeaks(100, 13, 100);
    near(decrement, 0.020402, 5e-7);
    near(dampingOfDecrement(decrement), 0.003247, 5e-7);
  });

  test.each([
    ['10 to 3 in 5 periods', 10, 3, 5, 0.240795, 0.038296],
    ['half each period', 1, 0.5, 1, 0.693147, 0.109653],
    ['a quarter each period', 1, 0.25, 1, 1.386294, 0.215454],
  ])('%s (computed)', (_name, first, later, periods, decrement, damping) => {
    near(decrementOfPeaks(first, later, periods), decrement, 5.1e-7);
    near(dampingOfDecrement(decrementOfPeaks(first, later, periods)), damping, 5.1e-7);
  });

  test('growth gives a negative damping ratio', () => {
    near(dampingOfDecrement(decrementOfPeaks(0.5, 1, 1)), -0.109653, 5.1e-7);
  });

  test('a free decay with damping ratio 0.05 at 3 Hz, 1000 samples a second, gives 0.05 to 1e-5', () => {
    const omega = 2 * Math.PI * 3;
    const damped = omega * Math.sqrt(1 - 0.05 ** 2);
    const y = Array.from({ length: 4000 }, (_, i) => {
      const t = i / 1000;
      return Math.exp(-0.05 * omega * t) * Math.cos(damped * t);
    });
    const peaks = y.filter(
      (value, i) => i > 0 && i + 1 < y.length && value > y[i - 1]! && value >= y[i + 1]!,
    );
    near(dampingOfDecrement(decrementOfPeaks(peaks[0]!, peaks[9]!, 9)), 0.05, 1e-5);
  });

  test.each([
    [0.01, 0.010002],
    [0.05, 0.050252],
    [0.1, 0.102062],
  ])('the half-power width of a damping ratio of %d reads %d (computed)', (damping, reading) => {
    // |H|² is half its peak where u² = 1 − 2ζ² ± 2ζ√(1 − ζ²).
    const centre = 1 - 2 * damping ** 2;
    const width = 2 * damping * Math.sqrt(1 - damping ** 2);
    const [low, high] = [Math.sqrt(centre - width), Math.sqrt(centre + width)];
    const gain = (u: number): number => absolute(transferFunctionAt([1], [1, 2 * damping, 1], u));
    near(gain(low) / resonantPeak(damping), Math.SQRT1_2, 1e-9);
    near(gain(high) / resonantPeak(damping), Math.SQRT1_2, 1e-9);
    near(dampingOfHalfPowerWidth(low, high, resonantFrequencyRatio(damping)!), reading, 5.1e-7);
  });
});

describe('describing functions', () => {
  test.each([
    [1, 1],
    [1.5, 0.780898],
    [2, 0.608998],
    [3, 0.416417],
    [5, 0.25294],
    [10, 0.127111],
  ])('a sine of %d limits passes a saturation with gain %d', (ratio, gain) => {
    near(saturationGain(ratio), gain, 1e-6);
    near(saturationRatioOfGain(gain), ratio, 1e-4);
    if (ratio > 1) near(saturationRatioOfGain(saturationGain(ratio)), ratio, 1e-9);
  });

  test('below the limit nothing is lost; far beyond it the gain is that of a relay', () => {
    expect(saturationGain(0.3)).toBe(1);
    near(saturationGain(1e6) * 1e6, 4 / Math.PI, 1e-9);
  });

  test.each([
    [1.1, 0.0288, -0.0208, 0.2736],
    [1.5, 0.15, -0.0167, 0.5354],
    [2, 0.2263, 0.0453, 0.6667],
    [4, 0.3058, 0.1529, 0.8391],
  ])(
    'a sine of %d limits: third harmonic %d, fifth %d of the fundamental, share of samples clipped %d',
    (ratio, third, fifth, share) => {
      const first = clippedSineHarmonic(ratio, 1);
      near(clippedSineHarmonic(ratio, 3) / first, third, 5.1e-5);
      near(clippedSineHarmonic(ratio, 5) / first, fifth, 5.1e-5);
      near(clippedShare(ratio), share, 5.1e-5);
      near(saturationRatioOfShare(clippedShare(ratio)), ratio, 1e-12);
      near(saturationGainOfShare(clippedShare(ratio)), saturationGain(ratio), 1e-12);
      near(saturationGainOfShare(share), saturationGain(ratio), 1e-3);
    },
  );

  test('harmonics are those of the clipped samples themselves, even ones 0', () => {
    const count = 100_000;
    for (const ratio of [0.8, 1.3, 3]) {
      for (const order of [1, 2, 3, 4, 5, 7]) {
        let sum = 0;
        for (let i = 0; i < count; i++) {
          const angle = (2 * Math.PI * i) / count;
          sum += Math.max(-1, Math.min(1, ratio * Math.sin(angle))) * Math.sin(order * angle);
        }
        near(clippedSineHarmonic(ratio, order), (2 * sum) / count, 1e-8);
      }
    }
  });

  test('a relay with a hysteresis of 0.2 amplitudes: 4d/(πa), phase −11.537°', () => {
    const gain = relayGain(2, 5, 1);
    near(absolute(gain), (4 * 2) / (Math.PI * 5), 1e-12);
    near((argument(gain) * 180) / Math.PI, -11.537, 5e-4);
    near(argument(relayGain(2, 5)), 0, 0);
  });

  test('what no sine can do is refused', () => {
    expect(() => saturationGain(-1)).toThrow('is not 0 or more');
    expect(() => saturationRatioOfShare(1)).toThrow('is not in 0 … below 1');
    expect(() => saturationRatioOfGain(1.2)).toThrow('has no gain of 1.2');
    expect(() => clippedSineHarmonic(2, 1.5)).toThrow('no harmonic of order 1.5');
    expect(() => relayGain(1, 1, 2)).toThrow('no relay gain');
  });
});

describe('the published identification of a helicopter: OH-58D in hover, Ham, Gardner and Tischler, Tables 3 and 5', () => {
  // p/δ = 0.988 e^(−0.051s)/(s² + s/0.155 + 55.35), rad/s per % of stick.
  const natural = Math.sqrt(55.35);
  const mode = modeOfPole(-0.5 / 0.155, Math.sqrt(55.35 - (0.5 / 0.155) ** 2))!;

  test('its denominator has 7.4398 rad/s and a damping ratio of 0.4336: the text rounds it to 0.42', () => {
    near(mode.naturalRadS, 7.4398, 1e-4);
    near(mode.naturalRadS, natural, 1e-12);
    near(mode.damping, 0.43359, 1e-5);
    expect(Math.abs(mode.damping - 0.42)).toBeGreaterThan(0.01);
  });

  test('effective time constant 2ζ/ω 0.11656 s; the paper has 0.1163 and 8.6 1/s', () => {
    const effective = (2 * mode.damping) / mode.naturalRadS;
    near(effective, 0.11656, 1e-5);
    near(effective, 0.1163, 0.005 * 0.1163);
    near(1 / effective, 8.6, 0.05);
  });

  test('static gain 0.01785 rad/s per %: half the stick gives 0.8925 rad/s where the text prints 0.875', () => {
    const gain = absolute(transferFunctionAt([0.988], [1, 1 / 0.155, 55.35], 1e-6, 0.051));
    near(gain, 0.01785, 5e-7);
    near(50 * gain, 0.8925, 5e-5);
    expect(50 * gain - 0.875).toBeGreaterThan(0.015);
  });

  test.each([
    [-0.578, 0.349, 0.6752, 0.8561, 0.675, 0.856],
    [-2.916, 6.55, 7.1698, 0.4067, 7.17, 0.407],
    [-2.554, 3.877, 4.6426, 0.5501, 4.64, 0.55],
  ])(
    'eigenvalue %d ± %dj: %d rad/s, %d (printed %d, %d)',
    (re, im, omega, damping, printedOmega, printedDamping) => {
      const found = modeOfPole(re, im)!;
      near(found.naturalRadS, omega, 5.1e-5);
      near(found.damping, damping, 5.1e-5);
      near(found.naturalRadS, printedOmega, 0.005);
      near(found.damping, printedDamping, 5.1e-4);
    },
  );

  test('a pole at 0 has neither frequency nor damping; a growing one has negative damping', () => {
    expect(modeOfPole(0, 0)).toBeNull();
    near(modeOfPole(0.5, 1)!.damping, -0.5 / Math.sqrt(1.25), 1e-12);
  });
});
