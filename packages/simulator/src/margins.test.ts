import { describe, expect, test } from 'vitest';
import { complex, divide, exponential, magnitude, multiply, type Complex } from './complex.js';
import { findMargins, frequencyGrid, type MarginTruth } from './margins.js';
import { eigenvalues } from './matrix.js';

/** Value of a polynomial, highest power first. */
const polynomial = (c: readonly number[], s: Complex): Complex =>
  c.reduce<Complex>((sum, k) => ({ re: multiply(sum, s).re + k, im: multiply(sum, s).im }), complex(0));

/** Roots by the eigenvalues of the companion matrix. */
function roots(c: readonly number[]): Complex[] {
  const lead = c[0]!;
  const n = c.length - 1;
  return eigenvalues(
    Array.from({ length: n }, (_, i) =>
      Array.from({ length: n }, (__, j) => (i === 0 ? -c[j + 1]! / lead : i === j + 1 ? 1 : 0)),
    ),
  );
}

function convolve(a: readonly number[], b: readonly number[]): number[] {
  const out = Array.from({ length: a.length + b.length - 1 }, () => 0);
  a.forEach((x, i) => b.forEach((y, j) => (out[i + j] = out[i + j]! + x * y)));
  return out;
}

const closed = (numerator: readonly number[], denominator: readonly number[], gain: number): Complex[] => {
  const padded = [...Array.from({ length: denominator.length - numerator.length }, () => 0), ...numerator];
  return roots(denominator.map((d, i) => d + gain * padded[i]!));
};

function ofRational(numerator: readonly number[], denominator: readonly number[]): MarginTruth {
  return findMargins({
    response: (w) => divide(polynomial(numerator, complex(0, w)), polynomial(denominator, complex(0, w))),
    stableAt: (gain) => closed(numerator, denominator, gain).every((p) => p.re < 0),
    grid: frequencyGrid(1e-4, 1e4, 200),
    endsReal: false,
  });
}

const RADS = 2 * Math.PI;
const ratio = (db: number): number => 10 ** (db / 20);

// Systems and values: MathWorks `margin` documentation, Altair `margin` help, python-control's margin tests; recomputed
// with Octave and SciPy (gain margin, rad/s, degrees, rad/s; `digits`
// of the last are printed).
const table = [
  { name: '1/(s³+2s²+s)', n: [1], d: [1, 2, 1, 0], gm: 2, wpc: 1, pm: 21.38639, wgc: 0.682328, digits: 5 },
  { name: '4/(s+1)³', n: [4], d: [1, 3, 3, 1], gm: 2, wpc: 1.732051, pm: 27.14163, wgc: 1.232819, digits: 5 },
  {
    name: '10000/((s+10)(s+20)(s+30))',
    n: [10000],
    d: convolve(convolve([1, 10], [1, 20]), [1, 30]),
    gm: 6,
    wpc: 33.166248,
    pm: 90,
    wgc: 10,
    digits: 5,
  },
  {
    name: 'three gain crossings and a light resonance',
    n: [35, 3.5, 8.75],
    d: convolve(convolve([100, 1], [1, 0.22, 1]), [0.01, 0.008, 1]),
    gm: 2.2716,
    wpc: 10.0053,
    pm: 97.5941,
    wgc: 0.085,
    digits: 4,
  },
];

describe('margins of published loops', () => {
  test.each(table)('$name', ({ n, d, gm, wpc, pm, wgc, digits }) => {
    const m = ofRational(n, d);
    expect(m.stable).toBe(true);
    expect(ratio(m.gainMarginDb!) / gm).toBeCloseTo(1, 4);
    expect((m.phaseCrossoverHz! * RADS) / wpc).toBeCloseTo(1, 4);
    expect(m.phaseMarginDeg! / pm).toBeCloseTo(1, 4);
    expect(m.crossoverHz! * RADS).toBeCloseTo(wgc, digits);
  });

  test('the resonant one comes within 0.5591 of −1 although its phase margin looks ample', () => {
    const m = ofRational(table[3]!.n, table[3]!.d);
    expect(1 / m.sensitivityPeak!).toBeCloseTo(0.5591, 3);
  });

  test('4/(s+1)³ has a sensitivity peak of 3.000', () => {
    expect(ofRational([4], [1, 3, 3, 1]).sensitivityPeak).toBeCloseTo(3, 3);
  });

  test('a sampled loop (Scilab p_margin): 2.0517, 13.5711°, 5.4374 and 4.3544 rad/s', () => {
    const n = [0.04798, 0.0464];
    const d = [1, -1.81, 0.9048];
    const at = (w: number): Complex => exponential(complex(0, 0.1 * w));
    const m = findMargins({
      response: (w) => divide(polynomial(n, at(w)), polynomial(d, at(w))),
      stableAt: (gain) => closed(n, d, gain).every((p) => magnitude(p) < 1),
      grid: frequencyGrid(1e-3, 10 * Math.PI * 0.99999, 200),
      endsReal: true,
    });
    expect(ratio(m.gainMarginDb!)).toBeCloseTo(2.051724, 4);
    expect(m.phaseMarginDeg).toBeCloseTo(13.571156, 3);
    expect(m.phaseCrossoverHz! * RADS).toBeCloseTo(5.437413, 4);
    expect(m.crossoverHz! * RADS).toBeCloseTo(4.354352, 4);
  });

  test('0.5 e^(−s)/s: gain margin π, 61.3521°, sensitivity peak 1.5905 (SIMC)', () => {
    const m = findMargins({
      response: (w) => divide(multiply(complex(0.5), exponential(complex(0, -w))), complex(0, w)),
      // Stable for gains below π/2 over 0.5 (Hayes' criterion for s + k e^(−s)).
      stableAt: (gain) => 0.5 * gain < Math.PI / 2,
      grid: frequencyGrid(1e-3, 100, 300),
      endsReal: false,
    });
    expect(ratio(m.gainMarginDb!)).toBeCloseTo(Math.PI, 4);
    expect(m.phaseMarginDeg).toBeCloseTo(61.3521, 3);
    expect(m.sensitivityPeak).toBeCloseTo(1.5905, 3);
  });
});

describe('loops that are not simply stable', () => {
  test('too much gain: the gain margin is negative by what has to go', () => {
    const m = ofRational([16], [1, 3, 3, 1]);
    expect(m.stable).toBe(false);
    expect(m.gainMarginDb).toBeCloseTo(-20 * Math.log10(2), 4);
    expect(m.phaseMarginDeg).toBeLessThan(0);
    expect(m.sensitivityPeak).toBeNull();
  });

  test('conditionally stable: both directions are limited', () => {
    // K (s+1)²/s³ is stable for K > 1/2 (Routh: s³ + K s² + 2K s + K, 2K² > K).
    const m = ofRational([1, 2, 1], [1, 0, 0, 0]);
    expect(m.stable).toBe(true);
    expect(m.gainReductionMarginDb).toBeCloseTo(20 * Math.log10(2), 4);
    expect(m.gainMarginDb).toBeNull();
  });

  test('an unstable plant with too little gain: the reduction margin is negative by what is missing', () => {
    // 0.5/(s−1): stable once the gain is doubled.
    const m = ofRational([0.5], [1, -1]);
    expect(m.stable).toBe(false);
    expect(m.gainReductionMarginDb).toBeCloseTo(-20 * Math.log10(2), 3);
    expect(m.gainMarginDb).toBeNull();
  });

  test('no crossing at all: no limits', () => {
    const m = ofRational([0.5], [1, 1]);
    expect(m).toMatchObject({
      stable: true,
      gainMarginDb: null,
      gainReductionMarginDb: null,
      phaseMarginDeg: null,
      crossoverHz: null,
    });
  });
});
