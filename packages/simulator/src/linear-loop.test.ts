import { describe, expect, test } from 'vitest';
import { add, complex, magnitude, type Complex } from './complex.js';
import { defaultConfig } from './config.js';
import { axisLoop, closedLoopPolesZ, makeResponses, type AxisLoop } from './linear-loop.js';
import { eigenvalues, holdEquivalent, matrixExponential } from './matrix.js';
import { filterResponse, lowPass, notch } from './filters.js';

describe('eigenvalues', () => {
  test('of a companion matrix are the roots 1, 2, 3 and ±4i', () => {
    // (s−1)(s−2)(s−3)(s²+16) = s⁵ − 6s⁴ + 27s³ − 102s² + 176s − 96
    const c = [6, -27, 102, -176, 96];
    const found = eigenvalues(c.map((_, i) => c.map((__, j) => (i === 0 ? c[j]! : i === j + 1 ? 1 : 0))));
    const wanted = [complex(1), complex(2), complex(3), complex(0, 4), complex(0, -4)];
    for (const w of wanted) {
      const nearest = Math.min(...found.map((f) => Math.hypot(f.re - w.re, f.im - w.im)));
      expect(nearest).toBeLessThan(1e-9);
    }
  });

  test('of a defective chain of zeros are found as zeros to the root of the rounding', () => {
    const n = 6;
    const chain = Array.from({ length: n }, (_, i) =>
      Array.from({ length: n }, (__, j) => (j === i + 1 ? 1 : 0)),
    );
    for (const e of eigenvalues(chain)) expect(magnitude(e)).toBeLessThan(0.02);
  });
});

describe('sampling', () => {
  test('the exponential of a rotation generator turns', () => {
    const e = matrixExponential([
      [0, -2],
      [2, 0],
    ]);
    expect(e[0]![0]).toBeCloseTo(Math.cos(2), 12);
    expect(e[1]![0]).toBeCloseTo(Math.sin(2), 12);
  });

  test('a double integrator held for T gains T²/2 and T', () => {
    const { phi, gamma } = holdEquivalent(
      [
        [0, 1],
        [0, 0],
      ],
      [0, 1],
      0.1,
    );
    expect(phi[0]![1]).toBeCloseTo(0.1, 14);
    expect(gamma[0]).toBeCloseTo(0.005, 14);
    expect(gamma[1]).toBeCloseTo(0.1, 14);
  });
});

describe('filters', () => {
  const at = (hz: number, rateHz: number): Complex =>
    complex(Math.cos((2 * Math.PI * hz) / rateHz), Math.sin((2 * Math.PI * hz) / rateHz));

  test.each([1, 2] as const)(
    'a low-pass of order %i is 3 dB down at its cutoff and passes steady values',
    (order) => {
      const f = lowPass(60, order, 1 / 400);
      expect(magnitude(filterResponse(f, at(60, 400)))).toBeCloseTo(Math.SQRT1_2, 9);
      expect(magnitude(filterResponse(f, at(1e-6, 400)))).toBeCloseTo(1, 6);
    },
  );

  test('a notch is as deep as asked at its centre', () => {
    const f = notch(80, 20, 26, 1 / 400);
    expect(20 * Math.log10(magnitude(filterResponse(f, at(80, 400))))).toBeCloseTo(-26, 6);
    expect(magnitude(filterResponse(f, at(5, 400)))).toBeCloseTo(1, 2);
  });
});

describe('poles and responses, computed by different routes, agree', () => {
  const variants: [string, (loop: AxisLoop) => AxisLoop][] = [
    ['default', (l) => l],
    ['delay of several steps', (l) => ({ ...l, delayS: 0.0117 })],
    ['feed-forward', (l) => ({ ...l, rate: { ...l.rate, kff: 0.05 } })],
    ['static instability', (l) => ({ ...l, instability: 6 })],
    ['flexible mode', (l) => ({ ...l, flexibleMode: { frequencyHz: 28, dampingRatio: 0.02, gain: 0.2 } })],
  ];
  test.each(variants)('%s: 1 + L vanishes at every pole of either loop', (_, change) => {
    const loop = change(axisLoop(defaultConfig(), 'roll'));
    const responses = makeResponses(loop);
    const check = (poles: readonly Complex[], of: 'rate' | 'attitude'): void => {
      const judged = poles.filter((z) => magnitude(z) > 0.2);
      expect(judged.length).toBeGreaterThan(3);
      for (const z of judged) {
        const l = responses(z)[of];
        // Near a pole of L itself both are large: measure against the loop's size.
        expect(magnitude(add(complex(1), l)) / (1 + magnitude(l))).toBeLessThan(1e-5);
      }
    };
    check(closedLoopPolesZ(loop, { rateFactor: 1, attitudeFactor: 0, position: false }), 'rate');
    check(closedLoopPolesZ(loop, { rateFactor: 1, attitudeFactor: 1, position: false }), 'attitude');
  });
});
