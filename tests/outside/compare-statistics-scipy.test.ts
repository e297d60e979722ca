/** Bootstrap, multiple comparison and tests of differences against SciPy, run live, and against published examples. */
import { expect, test } from 'vitest';
import {
  benjaminiHochbergAdjusted,
  blockLengthFor,
  bootstrapMeans,
  bootstrapStd,
  correlationTime,
  differenceP,
  equivalenceP,
  holmAdjusted,
  studentProbability,
} from '../../packages/analysis/src/statistics/index.js';
import { near } from '../support/near.js';
import { randomSource } from '../support/random.js';
import { scipy } from '../support/scipy.js';

/**
 * The fifteen p-values of the heart attack study in Y. Benjamini and Y. Hochberg, J. R. Statist. Soc. B 57, 1995, section 4 (from
 * memory): at 0.05 their procedure rejects the first four, Bonferroni's and Holm's the first three.
 */
const PUBLISHED = [
  0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.324, 0.4262, 0.5719, 0.6528,
  0.759, 1,
];

test('the published fifteen p-values: four rejected by Benjamini and Hochberg, three by Holm', () => {
  expect(benjaminiHochbergAdjusted(PUBLISHED).filter((p) => p <= 0.05)).toHaveLength(4);
  expect(holmAdjusted(PUBLISHED).filter((p) => p <= 0.05)).toHaveLength(3);
});

test('adjusted p-values are those of false_discovery_control (from SciPy 1.11 on) or its step-up definition, and Holm’s those of his', (context) => {
  const random = randomSource(10_500);
  const families = [
    PUBLISHED,
    ...Array.from({ length: 30 }, (_, i) => Array.from({ length: 1 + i }, () => random.uniform() ** 3)),
  ];
  const answer = scipy<{ bh: number[]; holm: number[] }[]>(
    `
def holm(p):
    order = np.argsort(p); m = len(p); out = np.empty(m)
    for rank, i in enumerate(order):
        out[i] = min(1.0, max((m - k) * p[order[k]] for k in range(rank + 1)))
    return out.tolist()
def step_up(p):
    order = np.argsort(p); m = len(p); out = np.empty(m)
    for rank, i in enumerate(order):
        out[i] = min(1.0, min(m / (k + 1) * p[order[k]] for k in range(rank, m)))
    return out
bh = getattr(stats, 'false_discovery_control', step_up)
answer = [{'bh': bh(np.array(p)).tolist(), 'holm': holm(np.array(p))} for p in data]`,
    families,
    context,
  );
  families.forEach((family, f) => {
    benjaminiHochbergAdjusted(family).forEach((p, i) => near(p, answer[f]!.bh[i]!, 1e-12));
    holmAdjusted(family).forEach((p, i) => near(p, answer[f]!.holm[i]!, 1e-12));
  });
});

test('p-values of a difference and of equivalence are tails of norm, and t approaches them', (context) => {
  const cases = [0, 0.3, 1, 1.96, 3, 5].flatMap((d) => [0.2, 1, 2.5].map((std) => ({ d, std, bound: 1.5 })));
  const answer = scipy<{ two: number; tost: number; t: number }[]>(
    `
answer = [{'two': float(2 * stats.norm.sf(abs(c['d']) / c['std'])),
           'tost': float(max(stats.norm.sf((c['d'] + c['bound']) / c['std']), stats.norm.cdf((c['d'] - c['bound']) / c['std']))),
           't': float(2 * stats.t.sf(abs(c['d']) / c['std'], 12))} for c in data]`,
    cases,
    context,
  );
  cases.forEach(({ d, std, bound }, i) => {
    near(differenceP(d, std), answer[i]!.two, 1e-10);
    near(differenceP(-d, std), answer[i]!.two, 1e-10);
    near(equivalenceP(d, std, bound), answer[i]!.tost, 1e-10);
    near(2 * (1 - studentProbability(d / std, 12)), answer[i]!.t, 1e-9);
  });
});

test('blocks of one sample give the standard error of stats.bootstrap, of a mean and of a root mean square', (context) => {
  const values = randomSource(10_501)
    .normals(300)
    .map((v) => 2 + v + 0.3 * v * v);
  const squares = values.map((v) => v * v);
  const answer = scipy<{ mean: number; rms: number }>(
    `
x = np.array(data)
rng = np.random.default_rng(1)
one = lambda f: float(stats.bootstrap((x,), f, n_resamples=4000, method='percentile', random_state=rng).standard_error)
answer = {'mean': one(np.mean), 'rms': one(lambda x, axis=-1: np.sqrt(np.mean(x**2, axis=axis)))}`,
    values,
    context,
  );
  const rows = bootstrapMeans([values, squares], { blockLength: 1, resamples: 4000 });
  // Each standard error is itself good to 1/√8000: five of their differences.
  near(bootstrapStd(rows, ([m]) => m!) / answer.mean, 1, 0.08);
  near(bootstrapStd(rows, ([, s]) => Math.sqrt(s!)) / answer.rms, 1, 0.08);
});

test('of a first-order process the blocks find the standard error of the mean that theory gives, single samples do not', () => {
  const rho = 0.9;
  const n = 2000;
  const theory = Math.sqrt((1 + rho) / (1 - rho) / n);
  const random = randomSource(10_502);
  const ratios = { stationary: 0, moving: 0, single: 0 };
  const records = 40;
  for (let r = 0; r < records; r++) {
    let state = random.normal();
    const x = Float64Array.from(
      { length: n },
      () => (state = rho * state + Math.sqrt(1 - rho * rho) * random.normal()),
    );
    const blockLength = blockLengthFor(n, correlationTime(x));
    const error = (kind: 'stationary' | 'moving', length: number): number =>
      bootstrapStd(bootstrapMeans([x], { blockLength: length, kind, seed: r + 1 }), ([m]) => m!) /
      theory /
      records;
    ratios.stationary += error('stationary', blockLength);
    ratios.moving += error('moving', blockLength);
    ratios.single += error('stationary', 1);
  }
  // Blocks of finite length lose a little of the correlation (Künsch 1989: bias of the order of one over the block length).
  near(ratios.stationary, 0.95, 0.12, 'stationary blocks over theory');
  near(ratios.moving, 0.95, 0.12, 'moving blocks over theory');
  near(ratios.single, Math.sqrt((1 - rho) / (1 + rho)), 0.03, 'single samples over theory');
});
