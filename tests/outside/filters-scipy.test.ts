/** Filters against SciPy, run live: iirnotch, butter, freqz, lfilter. */
import { expect, test } from 'vitest';
import {
  chainResponse,
  dcDelayS,
  designLowPass,
  designNotch,
  runFilters,
} from '../../packages/analysis/src/filters/index.js';
import { near } from '../support/near.js';
import { randomSource } from '../support/random.js';
import { scipy } from '../support/scipy.js';

const FIELDS = ['b0', 'b1', 'b2', 'a1', 'a2'] as const;

test('two hundred random notches and low-passes have the coefficients of iirnotch and butter', (context) => {
  const random = randomSource(10_400);
  const cases = Array.from({ length: 200 }, () => {
    const fs = 100 * 40 ** random.uniform();
    return {
      fs,
      f0: fs * (0.01 + 0.47 * random.uniform()),
      q: 40 ** random.uniform(),
      order: random.uniform() < 0.5 ? 1 : 2,
    };
  }).filter(({ fs, f0, q }) => f0 / q < 0.45 * fs);
  const answer = scipy<{ notch: number[]; low: number[] }[]>(
    `
def flat(b, a):
    b = list(b) + [0.0] * (3 - len(b)); a = list(a) + [0.0] * (3 - len(a))
    return b + a[1:]
answer = [{'notch': flat(*signal.iirnotch(c['f0'], c['q'], fs=c['fs'])),
           'low': flat(*signal.butter(c['order'], c['f0'], fs=c['fs']))} for c in data]`,
    cases,
    context,
  );
  expect(cases.length).toBeGreaterThan(150);
  cases.forEach(({ fs, f0, q, order }, i) => {
    const notch = designNotch({ centreHz: f0, widthHz: f0 / q, depthDb: null }, fs);
    const low = designLowPass(f0, order as 1 | 2, fs);
    FIELDS.forEach((field, k) => {
      near(notch[field], answer[i]!.notch[k]!, 1e-10, `notch ${field}`);
      near(low[field], answer[i]!.low[k]!, 1e-10, `low-pass ${field}`);
    });
  });
});

test('a chain has the response of freqz and the delay of group_delay, and runs like lfilter', (context) => {
  const fs = 400;
  const chain = [
    designLowPass(60, 2, fs),
    designNotch({ centreHz: 55, widthHz: 11, depthDb: 24 }, fs),
    designNotch({ centreHz: 110, widthHz: 30, depthDb: null, definition: 'cookbook' }, fs),
  ];
  const x = randomSource(10_401)
    .normals(600)
    .map((v) => 3 + v);
  const frequencies = [0.5, 3, 8, 20, 54, 56, 100, 111, 180];
  const answer = scipy<{ re: number[]; im: number[]; delay: number; zero: number[]; steady: number[] }>(
    `
b = np.array([1.0]); a = np.array([1.0]); zero = np.array(data['x']); steady = np.array(data['x'])
for f in data['chain']:
    fb = [f['b0'], f['b1'], f['b2']]; fa = [1.0, f['a1'], f['a2']]
    b = np.polymul(b, fb); a = np.polymul(a, fa)
    zero = signal.lfilter(fb, fa, zero)
    steady = signal.lfilter(fb, fa, steady, zi=signal.lfilter_zi(fb, fa) * steady[0])[0]
h = signal.freqz(b, a, worN=data['frequencies'], fs=data['fs'])[1]
delay = signal.group_delay((b, a), w=[1e-3], fs=data['fs'])[1][0] / data['fs']
answer = {'re': h.real.tolist(), 'im': h.imag.tolist(), 'delay': float(delay), 'zero': zero.tolist(), 'steady': steady.tolist()}`,
    { chain, x, frequencies, fs },
    context,
  );
  frequencies.forEach((hz, i) => {
    const h = chainResponse(chain, hz, fs);
    near(h.re, answer.re[i]!, 1e-10);
    near(h.im, answer.im[i]!, 1e-10);
  });
  near(dcDelayS(chain, fs), answer.delay, 1e-9);
  runFilters(chain, x, 'zero').forEach((value, i) => near(value, answer.zero[i]!, 1e-10));
  runFilters(chain, x, 'steady').forEach((value, i) => near(value, answer.steady[i]!, 1e-10));
});
