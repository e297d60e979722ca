/** Spectra, windows, quantiles and a tone against SciPy, run live on the same seeded numbers. */
import { describe, expect, test } from 'vitest';
import {
  coherence,
  crossSpectralDensity,
  decimate,
  fitTone,
  powerSpectralDensity,
  windowSamples,
  WINDOW_NAMES,
  type WelchOptions,
  type WindowName,
} from '../../packages/analysis/src/spectrum/index.js';
import {
  chiSquareProbability,
  chiSquareQuantile,
  fProbability,
  fQuantile,
  normalQuantile,
  studentProbability,
  studentQuantile,
} from '../../packages/analysis/src/statistics/index.js';
import { randomSource } from '../support/random.js';
import { scipy } from '../support/scipy.js';

const SCIPY_NAME: Readonly<Record<WindowName, string>> = {
  rectangular: 'boxcar',
  hann: 'hann',
  hamming: 'hamming',
  blackman: 'blackman',
  blackmanHarris: 'blackmanharris',
  nuttall: 'nuttall',
  flatTop: 'flattop',
};

/** Largest difference over the largest magnitude of the reference; the difference itself where all of that is 0. */
function relativeDifference(ours: ArrayLike<number>, reference: readonly number[]): number {
  expect(ours.length).toBe(reference.length);
  let difference = 0;
  let size = 0;
  reference.forEach((value, i) => {
    difference = Math.max(difference, Math.abs(ours[i]! - value));
    size = Math.max(size, Math.abs(value));
  });
  return size > 0 ? difference / size : difference;
}

test('get_window: every window, periodic and symmetric, 1 to 1000 samples', (context) => {
  const lengths = [1, 2, 3, 8, 127, 1000];
  const reference = scipy<[number[], number[]][][]>(
    `
answer = [[[signal.get_window(name, n, fftbins).tolist() for fftbins in (True, False)]
           for n in data['lengths']] for name in data['names']]
`,
    { names: WINDOW_NAMES.map((name) => SCIPY_NAME[name]), lengths },
    context,
  );
  WINDOW_NAMES.forEach((name, k) => {
    lengths.forEach((length, i) => {
      const [periodic, symmetric] = reference[k]![i]!;
      expect(relativeDifference(windowSamples(name, length, 'periodic'), periodic)).toBeLessThan(1e-14);
      expect(relativeDifference(windowSamples(name, length, 'symmetric'), symmetric)).toBeLessThan(1e-14);
    });
  });
});

const CASES: readonly (WelchOptions & { readonly title: string })[] = [
  { title: 'defaults', segmentLength: 256 },
  { title: '1000 per segment (no power of two)', segmentLength: 1000 },
  { title: 'odd prime length, 75 % overlap', segmentLength: 331, overlap: 0.75, window: 'blackmanHarris' },
  {
    title: 'linear detrending, no overlap',
    segmentLength: 512,
    overlap: 0,
    detrend: 'linear',
    window: 'hamming',
  },
  {
    title: 'no detrending, flat-top spectrum',
    segmentLength: 400,
    detrend: 'none',
    window: 'flatTop',
    scaling: 'spectrum',
  },
  { title: 'one rectangular segment of everything', segmentLength: 5003, window: 'rectangular' },
  {
    title: 'Nuttall, a third overlap, spectrum',
    segmentLength: 128,
    overlap: 1 / 3,
    window: 'nuttall',
    scaling: 'spectrum',
  },
  { title: 'Blackman, even more overlap', segmentLength: 100, overlap: 0.9, window: 'blackman' },
];

describe('welch, csd and coherence on two related noises with a tone and a drift', () => {
  const source = randomSource(99);
  const rate = 412.5;
  const x = Float64Array.from(
    { length: 5003 },
    (_, i) => source.normal() + 0.7 * Math.sin(0.31 * i) + 0.001 * i + 3,
  );
  const y = Float64Array.from(x, (value, i) => 0.4 * value - 0.9 * (x[i - 2] ?? 0) + 0.5 * source.normal());

  test.for(CASES)('$title', (options, context) => {
    const reference = scipy<{
      f: number[];
      xx: number[];
      re: number[];
      im: number[];
      gamma: number[] | null;
    }>(
      `
x, y = np.array(data['x']), np.array(data['y'])
options = dict(fs=data['rate'], window=data['window'], nperseg=data['n'], noverlap=data['noverlap'], detrend=data['detrend'])
f, xx = signal.welch(x, scaling=data['scaling'], **options)
_, xy = signal.csd(x, y, scaling=data['scaling'], **options)
gamma = signal.coherence(x, y, **options)[1].tolist() if data['n'] < len(x) else None
answer = dict(f=f.tolist(), xx=xx.tolist(), re=xy.real.tolist(), im=xy.imag.tolist(), gamma=gamma)
`,
      {
        x,
        y,
        rate,
        window: SCIPY_NAME[options.window ?? 'hann'],
        n: options.segmentLength,
        noverlap: Math.floor((options.overlap ?? 0.5) * options.segmentLength! + 1e-9),
        detrend: { none: false, mean: 'constant', linear: 'linear' }[options.detrend ?? 'mean'],
        scaling: options.scaling ?? 'density',
      },
      context,
    );
    const power = powerSpectralDensity(x, rate, options);
    const cross = crossSpectralDensity(x, y, rate, options);
    expect(relativeDifference(power.frequenciesHz, reference.f)).toBeLessThan(1e-14);
    expect(relativeDifference(power.values, reference.xx)).toBeLessThan(1e-11);
    expect(relativeDifference(cross.re, reference.re)).toBeLessThan(1e-11);
    expect(relativeDifference(cross.im, reference.im)).toBeLessThan(1e-11);
    // Bin by bin too: a small bin must not hide behind a large one. Detrended to nothing, zero frequency is rounding only.
    power.values.forEach((value, k) => {
      if (k > 1) expect(Math.abs(value / reference.xx[k]! - 1)).toBeLessThan(1e-9);
    });
    if (reference.gamma === null) return;
    const gamma = coherence(x, y, rate, options).values;
    gamma.forEach((value, k) => {
      if (k > 1) expect(Math.abs(value / reference.gamma![k]! - 1)).toBeLessThan(1e-9);
    });
  });
});

describe('quantiles and probabilities', () => {
  const probabilities = [1e-6, 1e-4, 0.005, 0.025, 0.05, 0.3, 0.5, 0.9, 0.975, 0.995, 0.9999, 1 - 1e-6];
  const degrees = [1, 2, 3.892, 10, 19.048, 121.363, 1000];

  test('chi2.ppf, f.ppf, norm.ppf within 1e-9; chi2.cdf and f.cdf within 1e-10', (context) => {
    const reference = scipy<{
      chi2: number[][];
      f: number[][][];
      norm: number[];
      chi2cdf: number[][];
      fcdf: number[][];
    }>(
      `
P, D = np.array(data['p']), data['d']
X = np.array([0.1, 0.7, 1.0, 2.5, 8.0])
answer = dict(chi2=[stats.chi2.ppf(P, d).tolist() for d in D],
  f=[[stats.f.ppf(P, a, b).tolist() for b in D[1:]] for a in D],
  norm=stats.norm.ppf(P).tolist(),
  chi2cdf=[stats.chi2.cdf(X, d).tolist() for d in D],
  fcdf=[stats.f.cdf(X, d, 7.5).tolist() for d in D])
`,
      { p: probabilities, d: degrees },
      context,
    );
    const agree = (ours: number, expected: number): void =>
      expect(Math.abs(ours - expected)).toBeLessThanOrEqual(1e-9 * Math.abs(expected));
    probabilities.forEach((p, i) => {
      agree(normalQuantile(p), reference.norm[i]!);
      degrees.forEach((nu, j) => {
        agree(chiSquareQuantile(p, nu), reference.chi2[j]![i]!);
        degrees.slice(1).forEach((other, k) => agree(fQuantile(p, nu, other), reference.f[j]![k]![i]!));
      });
    });
    [0.1, 0.7, 1.0, 2.5, 8.0].forEach((x, i) =>
      degrees.forEach((nu, j) => {
        expect(Math.abs(chiSquareProbability(x, nu) - reference.chi2cdf[j]![i]!)).toBeLessThan(1e-10);
        expect(Math.abs(fProbability(x, nu, 7.5) - reference.fcdf[j]![i]!)).toBeLessThan(1e-10);
      }),
    );
  });

  test('t.cdf within 1e-10, and the t quantile is where SciPy’s t.cdf is p', (context) => {
    // Not t.ppf: in SciPy 1.10 it is itself 4e-9 off where t.cdf is right to rounding.
    const rows = degrees.flatMap((nu) =>
      probabilities.map((p) => ({ p, nu, quantile: studentQuantile(p, nu) })),
    );
    const reference = scipy<number[]>(
      `answer = [float(stats.t.cdf(row['quantile'], row['nu'])) for row in data]`,
      rows,
      context,
    );
    rows.forEach(({ p, nu, quantile }, i) => {
      expect(Math.abs(reference[i]! - p)).toBeLessThan(1e-9 * Math.min(p, 1 - p));
      expect(Math.abs(studentProbability(quantile, nu) - reference[i]!)).toBeLessThan(1e-10);
    });
  });
});

describe('a tone by optimize.least_squares', () => {
  test.for([
    ['steady', 0, false],
    ['growing', 0.35, true],
    ['decaying', -0.5, true],
  ] as const)(
    '%s: same optimum, and the standard deviations of its Jacobian',
    ([, growth, fitGrowth], context) => {
      const source = randomSource(17);
      const rate = 80;
      const x = Float64Array.from({ length: 400 }, (_, i) => {
        const t = i / rate;
        return (
          0.8 + Math.exp(growth * (t - 2.5)) * Math.cos(2 * Math.PI * 2.37 * t + 1) + 0.3 * source.normal()
        );
      });
      const ours = fitTone(x, rate, 2.3, { growth: fitGrowth, noise: 'white', referenceS: 2.5 });
      if ('unavailable' in ours) throw new Error(ours.unavailable);
      const reference = scipy<{ p: number[]; sd: number[]; rss: number }>(
        `
x = np.array(data['x']); t = np.arange(len(x)) / data['rate'] - 2.5
def residual(p):
    g = p[4] if len(p) > 4 else 0.0
    return p[3] + p[0] * np.exp(g * t) * np.cos(2 * np.pi * p[1] * t + p[2]) - x
start = [0.9, 2.36, data['phase'], 0.7] + ([0.0] if data['growth'] else [])
best = optimize.least_squares(residual, start, jac='3-point', xtol=1e-15, ftol=1e-15, gtol=1e-15)
rss = 2 * best.cost
sd = np.sqrt(np.diag(np.linalg.inv(best.jac.T @ best.jac)) * rss / (len(x) - len(start)))
answer = dict(p=best.x.tolist(), sd=sd.tolist(), rss=rss)
`,
        { x, rate, growth: fitGrowth, phase: 1 + 2 * Math.PI * 2.37 * 2.5 },
        context,
      );
      expect(Math.abs(ours.residualSumOfSquares / reference.rss - 1)).toBeLessThan(1e-12);
      expect(Math.abs(ours.amplitude - reference.p[0]!)).toBeLessThan(1e-7);
      expect(Math.abs(ours.frequencyHz - reference.p[1]!)).toBeLessThan(1e-8);
      expect(Math.abs(Math.sin((ours.phaseRad - reference.p[2]!) / 2))).toBeLessThan(1e-7);
      expect(Math.abs(ours.offset - reference.p[3]!)).toBeLessThan(1e-8);
      const stated = [ours.amplitudeStd, ours.frequencyStdHz, ours.phaseStdRad];
      stated.forEach((sd, i) => expect(Math.abs(sd / reference.sd[i]! - 1)).toBeLessThan(1e-5));
      if (fitGrowth) {
        expect(Math.abs(ours.growthPerS - reference.p[4]!)).toBeLessThan(1e-7);
        expect(Math.abs(ours.growthStdPerS / reference.sd[4]! - 1)).toBeLessThan(1e-5);
      }
    },
  );
});

test('thinning: inside the record, a long zero-phase filter of SciPy’s own design gives the same signal', (context) => {
  // Tones well inside the pass band and well inside the stop band, where any good filter must agree.
  const x = Float64Array.from(
    { length: 4000 },
    (_, i) => Math.sin(0.11 * i) + Math.cos(0.29 * i + 1) + 2 * Math.sin(1.9 * i) + 0.5 * Math.sin(2.8 * i),
  );
  const reference = scipy<number[]>(
    `
taps = signal.firwin(401, 1 / 4, window=('kaiser', 10.0))
answer = signal.fftconvolve(np.array(data), taps, mode='same')[::4].tolist()
`,
    x,
    context,
  );
  const ours = decimate(x, 4);
  expect(ours.length).toBe(reference.length);
  for (let i = 60; i < ours.length - 60; i++) expect(Math.abs(ours[i]! - reference[i]!)).toBeLessThan(2e-4);
});
