/**
 * Attitude bandwidth and phase delay (ADS-33E-PRF; Ham, Gardner and Tischler). Numbers computed independently with Python; the
 * OH-58D models are those of Ham et al., Table 3, whose text calls the hover roll response gain margin limited. Level boundaries
 * are from memory only and are no limits here.
 */
import { describe, expect, test } from 'vitest';
import {
  findAttitudeBandwidth,
  limitingBandwidth,
  transferFunctionAt,
} from '../../packages/analysis/src/control/index.js';
import { frequencyResponseH1 } from '../../packages/analysis/src/spectrum/index.js';
import { available, near } from '../support/near.js';
import { randomSource } from '../support/random.js';

const RADS = 2 * Math.PI;

const TABLE = [
  {
    name: '5 e^(−0.1s)/(s(s + 5))',
    numerator: [5],
    denominator: [1, 5, 0],
    delayS: 0.1,
    command: 'rate',
    crossover: 6.53271,
    phaseLimited: 2.77984,
    gainLimited: 4.14648,
    atTwiceDeg: -233.918,
    phaseDelayS: 0.07203,
    bandwidth: 2.78,
    limitedBy: 'phase',
  },
  {
    name: '25 e^(−0.05s)/(s² + 7s + 25), attitude command',
    numerator: [25],
    denominator: [1, 7, 25],
    delayS: 0.05,
    command: 'attitude',
    crossover: 12.13957,
    phaseLimited: 6.9113,
    gainLimited: 8.41775,
    atTwiceDeg: -232.799,
    phaseDelayS: 0.03795,
    bandwidth: 6.911,
    limitedBy: 'phase',
  },
  {
    name: 'OH-58D roll: 0.988 e^(−0.051s)/(s(s² + s/0.155 + 55.35))',
    numerator: [0.988],
    denominator: [1, 1 / 0.155, 55.35, 0],
    delayS: 0.051,
    command: 'rate',
    crossover: 6.42378,
    phaseLimited: 4.00364,
    gainLimited: 2.76733,
    atTwiceDeg: -270.47,
    phaseDelayS: 0.1229,
    bandwidth: 2.767,
    limitedBy: 'gain',
  },
  {
    name: 'OH-58D quasi-steady: 0.184 e^(−0.155s)/(s(s + 9.27))',
    numerator: [0.184],
    denominator: [1, 9.27, 0],
    delayS: 0.155,
    command: 'rate',
    crossover: 6.28857,
    phaseLimited: 3.02934,
    gainLimited: 3.55584,
    atTwiceDeg: -255.304,
    phaseDelayS: 0.1045,
    bandwidth: 3.029,
    limitedBy: 'phase',
  },
] as const;

describe('attitude bandwidth of computed systems, all within 1e-4 (0.5 % is what the tables ask)', () => {
  test.each(TABLE)('$name: $bandwidth rad/s, $limitedBy limited', (row) => {
    const b = available(
      findAttitudeBandwidth(
        {
          response: (omega) => transferFunctionAt(row.numerator, row.denominator, omega, row.delayS),
          lowestRadS: 0.05,
          highestRadS: 100,
        },
        row.command,
      ),
    );
    near(b.phaseCrossoverHz * RADS, row.crossover, 1e-4 * row.crossover, 'phase crossover');
    near(b.phaseLimitedHz! * RADS, row.phaseLimited, 1e-4 * row.phaseLimited, 'phase limit');
    near(b.gainLimitedHz! * RADS, row.gainLimited, 1e-4 * row.gainLimited, 'gain limit');
    near(b.phaseAtTwiceDeg, row.atTwiceDeg, 1e-3, 'phase at twice the crossover');
    near(b.phaseDelayS, row.phaseDelayS, 1e-4 * row.phaseDelayS + 5e-6, 'phase delay');
    near(b.bandwidthHz! * RADS, row.bandwidth, 5e-4, 'bandwidth');
    expect(b.limitedBy).toBe(row.limitedBy);
  });
});

describe('which limit counts: a published helicopter, C. Frost et al., AIAA 2002-4869 (as quoted in a secondary text)', () => {
  test.each([
    ['pitch', 2.31, 2.84, 2.31, 'gain'],
    ['roll', 2.77, 3.7, 2.77, 'gain'],
    ['yaw', 3.65, 1.5, 1.5, 'phase'],
  ] as const)('%s: gain %d, phase %d rad/s: %d, %s limited', (_axis, gain, phase, bandwidth, limitedBy) => {
    const limits = { gainLimitedHz: gain / RADS, phaseLimitedHz: phase / RADS };
    const rate = limitingBandwidth(limits, 'rate');
    near(rate.bandwidthHz! * RADS, bandwidth, 1e-12);
    expect(rate.limitedBy).toBe(limitedBy);
    // With attitude command the phase limit counts whatever the gain limit is.
    near(limitingBandwidth(limits, 'attitude').bandwidthHz! * RADS, phase, 1e-12);
  });
});

test('from data: 5 e^(−0.1s)/(s(s + 5)) from 1600 s of noise, bandwidth and phase delay within 5 %', () => {
  const step = 0.02;
  const source = randomSource(72);
  const drive = source.normals(80_000);
  const rate = new Float64Array(drive.length);
  const a = (1 - 2.5 * step) / (1 + 2.5 * step);
  const b = (2.5 * step) / (1 + 2.5 * step);
  for (let i = 6; i < drive.length; i++) rate[i] = a * rate[i - 1]! + b * (drive[i - 5]! + drive[i - 6]!);
  const noisy = rate.map((value) => value + 0.02 * source.normal());
  const h = frequencyResponseH1(drive, noisy, 1 / step, { segmentLength: 1024 });
  const omega: number[] = [];
  const re: number[] = [];
  const im: number[] = [];
  h.frequenciesHz.forEach((f, k) => {
    if (k === 0 || f * RADS > 20 || h.values[k]! < 0.6) return;
    // Rate to attitude: over jω.
    omega.push(f * RADS);
    re.push(h.im[k]! / (f * RADS));
    im.push(-h.re[k]! / (f * RADS));
  });
  const found = available(findAttitudeBandwidth({ omega, re, im }, 'rate'));
  near(found.bandwidthHz! * RADS, 2.77984, 0.05 * 2.77984, 'bandwidth');
  near(found.phaseCrossoverHz * RADS, 6.53271, 0.05 * 6.53271, 'phase crossover');
  near(found.gainLimitedHz! * RADS, 4.14648, 0.05 * 4.14648, 'gain limit');
  near(found.phaseDelayS, 0.07203, 0.05 * 0.07203, 'phase delay');
  expect(found.limitedBy).toBe('phase');
});

describe('what cannot be given', () => {
  test('a response that never lags by 180° has no bandwidth, and says up to where', () => {
    const found = findAttitudeBandwidth(
      { response: (omega) => transferFunctionAt([1], [1, 1], omega), lowestRadS: 0.1, highestRadS: 10 },
      'rate',
    );
    expect(found).toEqual({ unavailable: 'the attitude does not come to lag by 180° up to 1.59 Hz' });
  });

  test('a band that ends below twice the phase crossover gives no phase delay, and one that starts too high no limits', () => {
    const row = TABLE[0];
    const response = (omega: number) => transferFunctionAt(row.numerator, row.denominator, omega, row.delayS);
    const short = available(findAttitudeBandwidth({ response, lowestRadS: 0.1, highestRadS: 10 }, 'rate'));
    expect(short.phaseDelayS).toBeNull();
    expect(short.phaseAtTwiceDeg).toBeNull();
    const high = available(findAttitudeBandwidth({ response, lowestRadS: 5, highestRadS: 50 }, 'rate'));
    expect(high).toMatchObject({
      phaseLimitedHz: null,
      gainLimitedHz: null,
      bandwidthHz: null,
      limitedBy: null,
    });
    near(high.phaseCrossoverHz * RADS, 6.53271, 1e-3);
  });
});
