/** Relations of frequency-response estimates that the other comparisons of spectra leave out (numbers computed independently). */
import { expect, test } from 'vitest';
import {
  coherence,
  crossSpectralDensity,
  effectiveSegmentCount,
  frequencyResponseH1,
  powerSpectralDensity,
  windowSamples,
} from '../../packages/analysis/src/spectrum/index.js';
import { near } from '../support/near.js';
import { randomSource } from '../support/random.js';

test.each([
  [5, 0.7635],
  [10, 0.7443],
  [20, 0.7352],
])(
  'Hann segments at half overlap, %i segment lengths: the random error is %d of that of as many apart',
  (lengths, factor) => {
    // M. Tischler and R. Remple (from memory) have √0.55 = 0.742 whatever the length.
    const window = windowSamples('hann', 1024, 'periodic');
    const effective = effectiveSegmentCount(window, 512, 2 * lengths - 1);
    near(Math.sqrt(lengths / effective), factor, 5.1e-5);
  },
);

test('Sxy/Sxx over Syy/Syx is the coherence, and both have the same phase (Ono Sokki, technical terms)', () => {
  const source = randomSource(73);
  const x = source.normals(6000);
  const y = x.map((value, i) => value - 0.6 * (x[i - 1] ?? 0) + 0.8 * source.normal());
  const options = { segmentLength: 256 };
  const h1 = frequencyResponseH1(x, y, 100, options);
  const output = powerSpectralDensity(y, 100, options).values;
  const yx = crossSpectralDensity(y, x, 100, options);
  const gamma2 = coherence(x, y, 100, options).values;
  let largest = 0;
  for (let k = 2; k < output.length - 1; k++) {
    const h2 = output[k]! / Math.hypot(yx.re[k]!, yx.im[k]!);
    near(h1.magnitude[k]! / h2, gamma2[k]!, 1e-9);
    near(Math.sin((h1.phaseRad[k]! + Math.atan2(yx.im[k]!, yx.re[k]!)) / 2), 0, 1e-9);
    largest = Math.max(largest, 1 - gamma2[k]!);
  }
  expect(largest).toBeGreaterThan(0.1); // the noise makes the two differ
});
