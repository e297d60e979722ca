/** Margins and step metrics against NumPy and SciPy, run live on the same loops. */
import { describe, expect, test } from 'vitest';
import {
  findLoopMargins,
  stepMetrics,
  transferFunctionAt,
  type LoopMargins,
  type StepMetrics,
} from '../../packages/analysis/src/control/index.js';
import { available, near } from '../support/near.js';
import { multiplyPolynomials } from '../support/polynomial.js';
import { randomLoop } from '../support/random-loop.js';
import { randomSource } from '../support/random.js';
import { scipy } from '../support/scipy.js';

interface Loop {
  readonly name: string;
  readonly numerator: number[];
  readonly denominator: number[];
  readonly delayS: number;
  readonly unstablePoles: number;
  readonly polesAtOrigin: number;
}

/**
 * The other way round: stability from the roots of the closed-loop polynomial for a row of gains, halved down at each turn. A
 * delay is an all-pass of 12th order there (Padé), good to 1e-9 at the frequencies that matter. Gain crossings are imaginary
 * roots of N(s)N(−s) − D(s)D(−s); the sensitivity comes from a dense grid.
 */
const TRUTH = `
from math import factorial

def pade(delay, n=12):
    c = [factorial(2*n - k) * factorial(n) / (factorial(2*n) * factorial(k) * factorial(n - k)) * delay**k for k in range(n + 1)]
    den = np.array(c[::-1]); num = np.array([v * (-1)**k for k, v in enumerate(c)][::-1])
    return num, den

def mirror(p):
    return np.array([v * (-1)**k for k, v in enumerate(p[::-1])][::-1])

def truth(loop):
    N, D, tau = np.array(loop['numerator']), np.array(loop['denominator']), loop['delayS']
    pn, pd = pade(tau) if tau > 0 else (np.ones(1), np.ones(1))
    A, B = np.polymul(D, pd), np.polymul(N, pn)
    poles = lambda g: np.roots(np.polyadd(A, g * B))
    stable_at = lambda g: bool(np.all(poles(g).real < 0))
    stable = stable_at(1.0)
    def turn(direction):
        gains = 10 ** (direction * np.linspace(0, 3, 1501))
        previous = 1.0
        for g in gains[1:]:
            if stable_at(g) != stable:
                a, b = previous, g
                for _ in range(60):
                    m = np.sqrt(a * b)
                    if stable_at(m) == stable: a = m
                    else: b = m
                return b
            previous = g
        return None
    higher, lower = turn(1), turn(-1)
    up, down = (higher, lower) if stable else (lower, higher)
    omega = None
    if up is not None:
        p = poles(up); omega = float(abs(p[np.argmin(np.abs(p.real))].imag))
    at = lambda w: np.polyval(N, 1j*w) / np.polyval(D, 1j*w) * np.exp(-1j*w*tau)
    roots = np.roots(np.polysub(np.polymul(N, mirror(N)), np.polymul(D, mirror(D))))
    crossings = [r.imag for r in roots if r.imag > 0 and abs(r.real) < 1e-6 * abs(r)]
    phases = [(float(np.angle(-at(w), deg=True)), float(w)) for w in crossings]
    chosen = None
    if phases:
        if stable: chosen = min(((abs(p), w) for p, w in phases))
        else:
            worst = min(phases)
            chosen = worst if worst[0] < 0 else None
    peak = None
    if stable:
        w = np.logspace(-3, 5, 400001); d = np.abs(1 + at(w)); i = int(np.argmin(d))
        i = min(max(i, 1), len(w) - 2)
        best = optimize.minimize_scalar(lambda x: abs(1 + at(np.exp(x))), bounds=(np.log(w[i-1]), np.log(w[i+1])), method='bounded', options=dict(xatol=1e-12))
        peak = float(1 / min(best.fun, d.min(), 1.0))  # 1: where L has died away
    db = lambda g: None if g is None else float(20 * np.log10(g))
    return dict(stable=stable, up=db(up), down=None if down is None else -db(down), omega=omega,
      phase=None if chosen is None else chosen[0], crossover=None if chosen is None else chosen[1], peak=peak)

answer = [truth(loop) for loop in data]
`;

interface Truth {
  readonly stable: boolean;
  readonly up: number | null;
  readonly down: number | null;
  readonly omega: number | null;
  readonly phase: number | null;
  readonly crossover: number | null;
  readonly peak: number | null;
}

const judge = (loop: Loop): LoopMargins =>
  available(
    findLoopMargins({
      ...loop,
      response: (omega) => transferFunctionAt(loop.numerator, loop.denominator, omega, loop.delayS),
      lowestRadS: 1e-2,
      highestRadS: loop.delayS > 0 ? 1e4 : 1e6,
    }),
  );

const HAND_MADE: readonly Loop[] = [
  {
    name: 'conditionally stable: 3(s + 1)²/s³ with lags',
    numerator: multiplyPolynomials([3], [1, 1], [1, 1]),
    denominator: multiplyPolynomials([1, 0, 0, 0], [0.05, 1], [0.02, 1]),
    delayS: 0,
    unstablePoles: 0,
    polesAtOrigin: 3,
  },
  {
    name: 'unstable plant, stable between two gains, with a delay',
    numerator: [6],
    denominator: multiplyPolynomials([1, -2], [0.05, 1]),
    delayS: 0.04,
    unstablePoles: 1,
    polesAtOrigin: 0,
  },
  {
    name: 'the same with too little gain',
    numerator: [1.5],
    denominator: multiplyPolynomials([1, -2], [0.05, 1]),
    delayS: 0.04,
    unstablePoles: 1,
    polesAtOrigin: 0,
  },
  {
    name: 'the same with too much gain',
    numerator: [40],
    denominator: multiplyPolynomials([1, -2], [0.05, 1]),
    delayS: 0.04,
    unstablePoles: 1,
    polesAtOrigin: 0,
  },
  {
    name: 'rate loop with integral term, motor lag and delay',
    numerator: multiplyPolynomials([14], [1, 2.5]),
    denominator: multiplyPolynomials([1, 0, 0], [0.045, 1]),
    delayS: 0.018,
    unstablePoles: 0,
    polesAtOrigin: 2,
  },
  {
    name: 'the same with three times the gain: unstable',
    numerator: multiplyPolynomials([84], [1, 2.5]),
    denominator: multiplyPolynomials([1, 0, 0], [0.045, 1]),
    delayS: 0.018,
    unstablePoles: 0,
    polesAtOrigin: 2,
  },
  {
    name: 'a light structural mode above the crossover',
    numerator: multiplyPolynomials([12 * 80 ** 2], [1, 0.5]),
    denominator: multiplyPolynomials([1, 0, 0], [1, 2 * 0.02 * 80, 80 ** 2]),
    delayS: 0.006,
    unstablePoles: 0,
    polesAtOrigin: 2,
  },
  {
    name: 'an unstable pair of poles in slow motion under a fast loop',
    numerator: [20, 4],
    denominator: multiplyPolynomials([1, -0.3, 0.4], [0.03, 1]),
    delayS: 0.02,
    unstablePoles: 2,
    polesAtOrigin: 0,
  },
  {
    name: 'positive feedback below its limit',
    numerator: [-0.4],
    denominator: multiplyPolynomials([1, 1], [0.2, 1]),
    delayS: 0,
    unstablePoles: 0,
    polesAtOrigin: 0,
  },
];

function randomLoops(): Loop[] {
  const source = randomSource(313);
  return Array.from({ length: 16 }, (_, i) => {
    const delayS = i % 2 === 0 ? 0 : 0.005 * 8 ** source.uniform();
    return { name: `random ${i}${delayS > 0 ? ' with delay' : ''}`, ...randomLoop(source), delayS };
  });
}

describe('margins', () => {
  test('hand-made and random loops, with and without delay: every number that NumPy gives, and no other', (context) => {
    const loops = [...HAND_MADE, ...randomLoops()];
    const truths = scipy<Truth[]>(TRUTH, loops, context);
    let numbers = 0;
    const same = (ours: number | null, theirs: number | null, tolerance: number, what: string): void => {
      // NumPy searched 60 dB to both sides.
      if (theirs === null) {
        expect(ours === null || Math.abs(ours) > 59.9, `${what} ${String(ours)} where NumPy finds none`).toBe(
          true,
        );
        return;
      }
      numbers++;
      near(ours, theirs, tolerance, what);
    };
    loops.forEach((loop, i) => {
      const truth = truths[i]!;
      const m = judge(loop);
      expect(m.stable, loop.name).toBe(truth.stable);
      same(m.gainMarginDb, truth.up, 1e-4, `${loop.name}: gain margin`);
      same(m.gainReductionMarginDb, truth.down, 1e-4, `${loop.name}: gain reduction margin`);
      same(m.phaseMarginDeg, truth.phase, 1e-4, `${loop.name}: phase margin`);
      same(m.sensitivityPeak, truth.peak, 1e-5 * (truth.peak ?? 1), `${loop.name}: sensitivity peak`);
      if (truth.crossover !== null) {
        near(
          m.crossoverHz! * 2 * Math.PI,
          truth.crossover,
          1e-6 * truth.crossover,
          `${loop.name}: crossover`,
        );
      }
      if (truth.omega !== null) {
        near(
          m.phaseCrossoverHz! * 2 * Math.PI,
          truth.omega,
          1e-4 * truth.omega + 1e-6,
          `${loop.name}: phase crossover`,
        );
      }
    });
    const kinds = truths.map(({ stable, down }) => `${stable}${down !== null}`);
    // All four kinds are there: stable or not, limited below or not.
    expect(new Set(kinds).size).toBe(4);
    expect(numbers).toBeGreaterThan(40);
  });
});

describe('step metrics', () => {
  test('a dozen random closed loops from 600 samples, against SciPy’s step response on 60 000: 0.5 %', (context) => {
    const source = randomSource(314);
    const systems = Array.from({ length: 12 }, (_, i) => {
      const parts = [
        [1, 0.5 + 2 * source.uniform()],
        [1, 2 * (0.1 + 0.4 * source.uniform()) * 2, 4],
      ];
      if (source.uniform() < 0.5) parts.push([1, 1 + 3 * source.uniform()]);
      const denominator = multiplyPolynomials(...parts);
      const zero = 1 + 3 * source.uniform();
      const numerator = i % 3 === 0 ? [-0.4 * zero, 2 * zero] : [0.4 * zero, 2 * zero];
      return { numerator, denominator, endS: 24 };
    });
    const reference = scipy<
      (StepMetrics & { timeS: number[]; value: number[]; final: number; lowest: number })[]
    >(
      `
answer = []
for system in data:
    t = np.linspace(0, system['endS'], 60001)
    _, y = signal.step((system['numerator'], system['denominator']), T=t)
    final = system['numerator'][-1] / system['denominator'][-1]
    u = y / final
    outside = np.nonzero(np.abs(u - 1) > 0.02)[0]
    peak = int(np.argmax(u))
    answer.append(dict(timeS=t[::100].tolist(), value=y[::100].tolist(), final=float(final),
      riseTimeS=float(t[np.argmax(u >= 0.9)] - t[np.argmax(u >= 0.1)]), settlingTimeS=float(t[outside[-1] + 1]),
      overshootPct=float(max(0, 100 * (u[peak] - 1))), undershootPct=float(max(0, -100 * u.min())),
      peak=float(y[peak]), peakTimeS=float(t[peak])))
`,
      systems,
      context,
    );
    reference.forEach((truth, i) => {
      const m = stepMetrics({ timeS: truth.timeS, value: truth.value, finalValue: truth.final });
      near(m.riseTimeS, truth.riseTimeS!, 0.005 * truth.riseTimeS! + 0.0008, `${i}: rise time`);
      near(m.settlingTimeS, truth.settlingTimeS!, 0.005 * truth.settlingTimeS!, `${i}: settling time`);
      near(m.overshootPct, truth.overshootPct, 0.02, `${i}: overshoot`);
      near(m.undershootPct, truth.undershootPct, 0.02, `${i}: undershoot`);
      near(m.peak, truth.peak, 1e-3 * truth.peak, `${i}: peak`);
      if (truth.overshootPct > 0.5)
        near(m.peakTimeS, truth.peakTimeS, 0.005 * truth.peakTimeS, `${i}: peak time`);
    });
    expect(reference.filter(({ overshootPct }) => overshootPct > 5).length).toBeGreaterThan(3);
    expect(reference.filter(({ undershootPct }) => undershootPct > 1).length).toBeGreaterThan(1);
  });
});
