/** Stability and its limits by counting turns of the frequency response, against the roots of the closed-loop polynomial. */
import { describe, expect, test } from 'vitest';
import {
  absolute,
  divide,
  findLoopMargins,
  marginsOnGrid,
  polynomialAt,
  transferFunctionAt,
  unitPhasor,
  type LoopMargins,
} from '../../packages/analysis/src/control/index.js';
import { available, near } from '../support/near.js';
import { addPolynomials, multiplyPolynomials, polynomialRoots } from '../support/polynomial.js';
import { randomLoop, type RationalLoop } from '../support/random-loop.js';
import { randomSource } from '../support/random.js';

const BAND = { lowestRadS: 1e-2, highestRadS: 1e6 };

const closedLoop = (loop: Pick<RationalLoop, 'numerator' | 'denominator'>, gain: number): number[] =>
  addPolynomials(
    loop.denominator,
    loop.numerator.map((c) => c * gain),
  );

/** Largest real part of a closed-loop pole over its distance from 0. */
const worstPole = (loop: RationalLoop, gain: number): number =>
  Math.max(...polynomialRoots(closedLoop(loop, gain)).map((p) => p.re / Math.max(absolute(p), 1e-12)));

const isStable = (loop: RationalLoop, gain: number): boolean => worstPole(loop, gain) < 0;

const judge = (loop: RationalLoop): LoopMargins =>
  available(
    findLoopMargins({
      ...BAND,
      ...loop,
      response: (omega) => transferFunctionAt(loop.numerator, loop.denominator, omega),
    }),
  );

const factor = (db: number): number => 10 ** (db / 20);

describe('200 random loops with poles and zeros on both sides and up to three poles at 0', () => {
  const source = randomSource(2026);
  const loops = Array.from({ length: 200 }, () => randomLoop(source));
  const judged = loops.map((loop) => ({ loop, m: judge(loop) }));

  test('stable says what the closed-loop poles say, of all 200', () => {
    const wrong = judged.filter(({ loop, m }) => m.stable !== isStable(loop, 1));
    expect(wrong.map(({ loop }) => loop)).toEqual([]);
    const stable = judged.filter(({ m }) => m.stable).length;
    // The sample must hold both kinds, and loops with two limits, to mean anything.
    expect(stable).toBeGreaterThan(40);
    expect(stable).toBeLessThan(160);
    const conditional = judged.filter(({ m }) => m.stable && m.gainReductionMarginDb !== null).length;
    expect(conditional).toBeGreaterThan(5);
  });

  test('0.001 dB short of each limit the loop is as it was, 0.001 dB beyond it has turned', () => {
    let limits = 0;
    for (const { loop, m } of judged) {
      for (const [db, sign] of [
        [m.gainMarginDb, 1],
        [m.gainReductionMarginDb, -1],
      ] as const) {
        if (db === null) continue;
        limits++;
        const outwards = sign * Math.sign(db);
        expect(isStable(loop, factor(sign * db - outwards * 1e-3)), 'short of it').toBe(m.stable);
        expect(isStable(loop, factor(sign * db + outwards * 1e-3)), 'beyond it').toBe(!m.stable);
      }
    }
    expect(limits).toBeGreaterThan(80);
  });

  test('between the limits, or up to 60 dB where there is none, nothing turns', () => {
    for (const { loop, m } of judged) {
      // A limit of an unstable loop is a stable range on that side; its own side ends there.
      const up =
        (m.stable ? m.gainMarginDb : m.gainReductionMarginDb === null ? null : -m.gainReductionMarginDb) ??
        60;
      const down =
        (m.stable ? m.gainReductionMarginDb : m.gainMarginDb === null ? null : -m.gainMarginDb) ?? 60;
      for (const share of [0.02, 0.2, 0.4, 0.6, 0.8, 0.98]) {
        expect(isStable(loop, factor(up * share)), `${up * share} dB up`).toBe(m.stable);
        expect(isStable(loop, factor(-down * share)), `${down * share} dB down`).toBe(m.stable);
      }
    }
  });

  test('at the limit a closed-loop pole lies on the imaginary axis at the frequency that is named', () => {
    let checked = 0;
    for (const { loop, m } of judged) {
      if (m.gainMarginDb === null) continue;
      const omega = 2 * Math.PI * m.phaseCrossoverHz!;
      const pole = polynomialRoots(closedLoop(loop, factor(m.gainMarginDb))).reduce((a, b) =>
        Math.abs(b.re) + Math.abs(Math.abs(b.im) - omega) < Math.abs(a.re) + Math.abs(Math.abs(a.im) - omega)
          ? b
          : a,
      );
      near(pole.re, 0, 1e-4 * Math.max(1, omega));
      near(Math.abs(pole.im), omega, 1e-4 * Math.max(1, omega));
      checked++;
    }
    expect(checked).toBeGreaterThan(50);
  });

  test('from a table of 1200 points: the same verdicts, limits within 0.05 dB', () => {
    const omega = Array.from({ length: 1200 }, (_, i) => 1e-2 * 1e8 ** (i / 1199));
    for (const { loop, m } of judged) {
      const values = omega.map((w) => transferFunctionAt(loop.numerator, loop.denominator, w));
      const table = available(
        marginsOnGrid({ ...loop, omega, re: values.map((v) => v.re), im: values.map((v) => v.im) }),
      );
      expect(table.stable).toBe(m.stable);
      if (m.gainMarginDb === null) expect(table.gainMarginDb).toBeNull();
      else near(table.gainMarginDb, m.gainMarginDb, 0.05);
      if (m.phaseMarginDeg === null) expect(table.phaseMarginDeg).toBeNull();
      else near(table.phaseMarginDeg, m.phaseMarginDeg, 0.3);
    }
  });
});

test('60 random sampled loops: the verdict of the poles inside the unit circle, the limits where it turns', () => {
  const source = randomSource(2027);
  let limits = 0;
  for (let run = 0; run < 60; run++) {
    const pole = (): number[] => {
      const radius = 0.3 + 0.65 * source.uniform();
      const angle = Math.PI * source.uniform();
      return source.uniform() < 0.4
        ? [1, -2 * radius + 1]
        : [1, -2 * radius * Math.cos(angle), radius * radius];
    };
    const integrators = source.uniform() < 0.5 ? 1 : 0;
    const denominator = multiplyPolynomials(
      ...Array.from({ length: integrators }, () => [1, -1]),
      pole(),
      pole(),
    );
    const zero = 0.9 * (2 * source.uniform() - 1);
    const gain = 0.01 * 300 ** source.uniform();
    const numerator = [gain, -gain * zero];
    const stableAt = (k: number): boolean =>
      polynomialRoots(closedLoop({ numerator, denominator }, k)).every((p) => absolute(p) < 1);
    const m = available(
      findLoopMargins({
        response: (omega) => {
          const z = unitPhasor(omega * 0.01);
          return divide(polynomialAt(numerator, z), polynomialAt(denominator, z));
        },
        unstablePoles: 0,
        polesAtOrigin: integrators,
        lowestRadS: 0.05,
        highestRadS: Math.PI / 0.01,
        endsReal: true,
      }),
    );
    expect(m.stable, `run ${run}`).toBe(stableAt(1));
    if (m.gainMarginDb === null) continue;
    limits++;
    const outwards = Math.sign(m.gainMarginDb);
    expect(stableAt(factor(m.gainMarginDb - outwards * 1e-3)), `run ${run}: short of it`).toBe(m.stable);
    expect(stableAt(factor(m.gainMarginDb + outwards * 1e-3)), `run ${run}: beyond it`).toBe(!m.stable);
  }
  expect(limits).toBeGreaterThan(30);
});

describe('loops that are not simply stable (limits by Routh’s criterion)', () => {
  const of = (numerator: number[], denominator: number[], unstablePoles: number, polesAtOrigin: number) =>
    judge({ numerator, denominator, unstablePoles, polesAtOrigin });
  const DB2 = 20 * Math.log10(2);

  test('16/(s + 1)³: 6.02 dB too much, the phase beyond 180°, no sensitivity peak', () => {
    const m = of([16], [1, 3, 3, 1], 0, 0);
    expect(m.stable).toBe(false);
    near(m.gainMarginDb, -DB2, 1e-9);
    near(m.phaseCrossoverHz, Math.sqrt(3) / (2 * Math.PI), 1e-9);
    expect(m.gainReductionMarginDb).toBeNull();
    expect(m.phaseMarginDeg).toBeLessThan(0);
    expect(m.sensitivityPeak).toBeNull();
  });

  test('8/(s + 1)³ is on the verge: not stable, margins of 0', () => {
    const m = of([8], [1, 3, 3, 1], 0, 0);
    expect(m.stable).toBe(false);
    near(m.gainMarginDb, 0, 1e-8);
    expect(m.sensitivityPeak).toBeNull();
  });

  test('1/s², which runs along the real axis through −1, is on the verge: not stable, and nothing infinite', () => {
    const m = of([1], [1, 0, 0], 0, 2);
    expect(m.stable).toBe(false);
    expect(m.sensitivityPeak).toBeNull();
  });

  test('(s + 1)²/s³ may lose 6.02 dB and gain any', () => {
    const m = of([1, 2, 1], [1, 0, 0, 0], 0, 3);
    expect(m.stable).toBe(true);
    near(m.gainReductionMarginDb, DB2, 1e-9);
    expect(m.gainMarginDb).toBeNull();
    expect(m.phaseCrossoverHz).toBeNull();
  });

  test('0.25(s + 1)²/s³ needs 6.02 dB more', () => {
    const m = of([0.25, 0.5, 0.25], [1, 0, 0, 0], 0, 3);
    expect(m.stable).toBe(false);
    near(m.gainReductionMarginDb, -DB2, 1e-9);
    expect(m.gainMarginDb).toBeNull();
  });

  test('2/(s − 1) may lose 6.02 dB, 0.5/(s − 1) needs that: divergence, a limit without oscillation', () => {
    const m = of([2], [1, -1], 1, 0);
    expect(m.stable).toBe(true);
    near(m.gainReductionMarginDb, DB2, 1e-6);
    expect(m.gainMarginDb).toBeNull();
    near(of([0.5], [1, -1], 1, 0).gainReductionMarginDb, -DB2, 1e-6);
  });

  test('−0.5/(s + 1), positive feedback: 6.02 dB up to divergence at frequency 0', () => {
    const m = of([-0.5], [1, 1], 0, 0);
    expect(m.stable).toBe(true);
    near(m.gainMarginDb, DB2, 1e-6);
    expect(m.phaseCrossoverHz).toBe(0);
    expect(m.phaseMarginDeg).toBeNull();
  });

  test('stable in two ranges of gain, neither of which holds 1: cut and rise are both named', () => {
    // K(s + 1)²(s + 0.01)²… of the kind 4 lags at 0 with leads: search by Routh is done by the roots here.
    const numerator = multiplyPolynomials([1, 2, 4], [1, 2, 4]).map((c) => 600 * c);
    const denominator = multiplyPolynomials([1, 0], [1, 1], [1, 1], [1, 4, 400], [1, 4, 400]);
    const loop = { numerator, denominator, unstablePoles: 0, polesAtOrigin: 1 };
    const gains = Array.from({ length: 801 }, (_, i) => 10 ** (-4 + i / 100));
    const verdicts = gains.map((g) => isStable(loop, g));
    const turns = gains.filter((_, i) => i > 0 && verdicts[i] !== verdicts[i - 1]);
    for (const g of turns) {
      // Whatever the gain, the limits are the nearest turns of the scan.
      const shifted = { ...loop, numerator: numerator.map((c) => c * g * 1.05) };
      const m = judge(shifted);
      expect(m.stable).toBe(isStable(loop, g * 1.05));
      const nearestBelow = m.stable
        ? m.gainReductionMarginDb
        : m.gainMarginDb === null
          ? null
          : -m.gainMarginDb;
      expect(Math.abs(nearestBelow! - 20 * Math.log10(1.05))).toBeLessThan(0.18); // the scan has steps of 0.2 dB
    }
    expect(turns.length).toBeGreaterThan(0);
  });

  test('0.5/(s + 1) crosses nothing: stable, no limits, no crossings', () => {
    expect(of([0.5], [1, 1], 0, 0)).toMatchObject({
      stable: true,
      gainMarginDb: null,
      gainReductionMarginDb: null,
      phaseMarginDeg: null,
      crossoverHz: null,
      phaseCrossoverHz: null,
    });
  });

  test('a resonance that pokes above 1 between two grid points is seen', () => {
    // Damping 0.0005 at 47 rad/s: 0.05 % wide, where the grid has steps of 4 %.
    const numerator = [0.02 * 47 * 47];
    const denominator = multiplyPolynomials([1, 0], [1, 2 * 0.0005 * 47, 47 * 47]);
    const m = judge({ numerator, denominator, unstablePoles: 0, polesAtOrigin: 1 });
    expect(m.stable).toBe(isStable({ numerator, denominator, unstablePoles: 0, polesAtOrigin: 1 }, 1));
    // Routh: K < 2ζω.
    near(m.gainMarginDb, 20 * Math.log10((2 * 0.0005 * 47) / 0.02), 1e-6);
  });

  test('a light pole beside a light zero, invisible from both sides, is seen when its frequency is named', () => {
    const pole = [1, 2 * 0.0005 * 50, 2500];
    const zero = [1, 2 * 0.0005 * 50.05, 50.05 ** 2];
    const loop = {
      numerator: multiplyPolynomials([60], zero),
      denominator: multiplyPolynomials([1, 0], pole, [0.02, 1]),
      unstablePoles: 0,
      polesAtOrigin: 1,
    };
    const m = available(
      findLoopMargins({
        ...BAND,
        ...loop,
        resonancesRadS: [50],
        response: (omega) => transferFunctionAt(loop.numerator, loop.denominator, omega),
      }),
    );
    expect(m.stable).toBe(isStable(loop, 1));
    const outwards = Math.sign(m.gainMarginDb!);
    expect(isStable(loop, factor(m.gainMarginDb! - outwards * 1e-3))).toBe(m.stable);
    expect(isStable(loop, factor(m.gainMarginDb! + outwards * 1e-3))).toBe(!m.stable);
  });
});

describe('what cannot be judged', () => {
  const integrator = (omega: number) => transferFunctionAt([50], [1, 0], omega);

  test('a band that ends while the gain is above 1 is too short, and says up to where it goes', () => {
    expect(
      findLoopMargins({
        response: integrator,
        unstablePoles: 0,
        polesAtOrigin: 1,
        lowestRadS: 1,
        highestRadS: 40,
      }),
    ).toEqual({ unavailable: 'the loop gain is still above 1 at 6.37 Hz: higher frequencies are needed' });
  });

  test('a limit that lies beyond the gain at the end of the band is not claimed', () => {
    // 1/(s(s + 1)²) has its limit, 2, at 1 rad/s; a band up to 0.95 rad/s does not reach the crossing.
    const m = available(
      findLoopMargins({
        response: (omega) => transferFunctionAt([1], [1, 2, 1, 0], omega),
        unstablePoles: 0,
        polesAtOrigin: 1,
        lowestRadS: 0.01,
        highestRadS: 0.95,
      }),
    );
    expect(m.stable).toBe(true);
    expect(m.gainMarginDb).toBeNull();
  });

  test('a response that is not finite is named by its frequency', () => {
    expect(
      findLoopMargins({
        response: (omega) => (omega > 10 ? { re: NaN, im: 0 } : integrator(omega)),
        unstablePoles: 0,
        polesAtOrigin: 1,
        lowestRadS: 1,
        highestRadS: 100,
      }),
    ).toEqual({ unavailable: expect.stringMatching(/^the response is not finite at 1\.\d+ Hz$/) as string });
  });

  test('a table that starts where the phase is far from that of its poles at the origin is refused', () => {
    const omega = [3, 5, 8, 13, 21];
    const values = omega.map((w) => transferFunctionAt([30], [1, 3, 3, 1], w));
    const table = { omega, re: values.map((v) => v.re), im: values.map((v) => v.im) };
    expect(marginsOnGrid({ ...table, unstablePoles: 0, polesAtOrigin: 1 })).toEqual({
      unavailable:
        'at 0.477 Hz gain and phase do not yet run as 1 poles at the origin make them: lower frequencies are needed',
    });
  });

  test('counts that are no counts and frequencies that do not rise are refused', () => {
    const loop = {
      response: integrator,
      unstablePoles: 0,
      polesAtOrigin: 1,
      lowestRadS: 1,
      highestRadS: 100,
    };
    expect(() => findLoopMargins({ ...loop, unstablePoles: -1 })).toThrow(
      'unstablePoles must be a count, not -1',
    );
    expect(() => findLoopMargins({ ...loop, lowestRadS: 0 })).toThrow('frequencies must rise from above 0');
    expect(() =>
      marginsOnGrid({ omega: [1, 3, 2], re: [1, 1, 1], im: [0, 0, 0], unstablePoles: 0, polesAtOrigin: 0 }),
    ).toThrow('frequency 2 is 2 rad/s');
  });
});
