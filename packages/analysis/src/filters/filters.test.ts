/** Coefficients, widths, lags and delays against published tables and closed forms. */
import { describe, expect, test } from 'vitest';
import { near } from '../../../../tests/support/near.js';
import { argument } from '../control/complex.js';
import {
  biquadPowerGain,
  biquadResponse,
  chainResponse,
  cookbookQFromOctaves,
  dcDelayS,
  designLowPass,
  designNotch,
  exchangeFilter,
  exchangeLowPass,
  phaseLagDeg,
  runFilters,
  runTrackingNotch,
  widthInOtherDefinitionHz,
  type Biquad,
  type NotchDefinition,
} from './index.js';

const DEG = 180 / Math.PI;

/** Distance of the two frequencies at which a filter lets a share of the power through, by halving. */
function widthAt(filter: Biquad, centreHz: number, fs: number, power = 0.5): number {
  const edge = (far: number): number => {
    let [inside, outside] = [centreHz, far];
    for (let i = 0; i < 80; i++) {
      const middle = (inside + outside) / 2;
      if (biquadPowerGain(filter, middle, fs) < power) inside = middle;
      else outside = middle;
    }
    return inside;
  };
  return edge(fs / 2) - edge(0);
}

describe('notches for the same Q in both definitions', () => {
  // Centre, Q, sample rate; then b0, b1, a2 and −3 dB width of SciPy's iirnotch and of the Audio EQ Cookbook, computed with SciPy 1.10.
  const table: [number, number, number, [number, number, number, number], [number, number, number, number]][] = [
    [60, 30, 200, [0.96953125, 0.59920327, 0.93906251, 2], [0.98439639, 0.60839043, 0.96879278, 1.00902]],
    [80, 3, 1000, [0.92253276, -1.61684324, 0.84506552, 26.6667], [0.92567541, -1.62235109, 0.85135082, 25.5031]],
    [80, 3, 4000, [0.97948276, -1.94351849, 0.95896552, 26.6667], [0.97953854, -1.94362918, 0.95907709, 26.5927]],
    [100, 5, 1000, [0.94080930, -1.52226142, 0.88161859, 20], [0.94448459, -1.52820817, 0.88896918, 18.6883]],
    [120, 3, 400, [0.75476272, 0.46646902, 0.50952545, 40], [0.86317813, 0.53347343, 0.72635627, 20.0155]],
  ]; // prettier-ignore
  test.each(table)(
    '%d Hz, Q %d at %d Hz: coefficients to 1e-7, widths to 0.01 Hz',
    (f0, q, fs, exact, cookbook) => {
      const cases: [NotchDefinition, readonly number[]][] = [
        ['exact-width', exact],
        ['cookbook', cookbook],
      ];
      for (const [definition, [b0, b1, a2, width]] of cases) {
        const filter = designNotch({ centreHz: f0, widthHz: f0 / q, depthDb: null, definition }, fs);
        near(filter.b0, b0!, 1e-7 * 0.51, `${definition} b0`);
        near(filter.b1, b1!, 1e-7 * 0.51, `${definition} b1`);
        near(filter.a2, a2!, 1e-7 * 0.51, `${definition} a2`);
        expect([filter.b2, filter.a1]).toEqual([filter.b0, filter.b1]);
        near(widthAt(filter, f0, fs), width!, 0.01, `${definition} width`);
      }
    },
  );

  test('the −3 dB points of the published example lie at 58.99490 and 60.99490 Hz', () => {
    const filter = designNotch({ centreHz: 60, widthHz: 2, depthDb: null }, 200);
    near(biquadPowerGain(filter, 58.9949, 200), 0.5, 1e-5);
    near(biquadPowerGain(filter, 60.9949, 200), 0.5, 1e-5);
  });

  test.each([null, 40, 20, 12, 6.1])(
    'the exact width is exact at a depth of %s dB, and the depth is the depth',
    (depthDb) => {
      const filter = designNotch({ centreHz: 90, widthHz: 30, depthDb }, 400);
      near(widthAt(filter, 90, 400), 30, 1e-6);
      near(biquadPowerGain(filter, 90, 400), depthDb === null ? 0 : 10 ** (-depthDb / 10), 1e-12);
      near(biquadPowerGain(filter, 0, 400), 1, 1e-12);
      near(biquadPowerGain(filter, 200, 400), 1, 1e-12);
    },
  );

  test('a notch of 4 dB has no points at −3 dB worth naming: its width is that at half its depth', () => {
    const filter = designNotch({ centreHz: 90, widthHz: 30, depthDb: 4 }, 400);
    near(widthAt(filter, 90, 400, 10 ** -0.2), 30, 1e-6);
  });

  test.each([null, 30, 12])(
    'the width in the other definition gives the same filter, depth %s dB',
    (depthDb) => {
      for (const definition of ['exact-width', 'cookbook'] as const) {
        const other = definition === 'cookbook' ? 'exact-width' : 'cookbook';
        const design = { centreHz: 120, widthHz: 40, depthDb, definition };
        const one = designNotch(design, 400);
        const two = designNotch(
          { ...design, widthHz: widthInOtherDefinitionHz(design, 400), definition: other },
          400,
        );
        for (const key of ['b0', 'b1', 'b2', 'a1', 'a2'] as const) near(two[key], one[key], 1e-12, key);
      }
    },
  );

  test('a tenth of an octave by the cookbook reaches from 57.900 to 62.056 Hz around 60 at 200 Hz', () => {
    const q = cookbookQFromOctaves(0.1, 60, 200);
    const filter = designNotch({ centreHz: 60, widthHz: 60 / q, depthDb: null, definition: 'cookbook' }, 200);
    near(biquadPowerGain(filter, 57.9, 200), 0.5, 2e-3);
    near(biquadPowerGain(filter, 62.056, 200), 0.5, 2e-3);
  });

  test.each([
    [{ centreHz: 200, widthHz: 10, depthDb: null }, /centre between 0 and 200 Hz/],
    [{ centreHz: 50, widthHz: 0, depthDb: null }, /width between 0 and 200 Hz/],
    [{ centreHz: 50, widthHz: 10, depthDb: 0 }, /depth above 0 dB/],
  ])('refuses %o', (design, message) => {
    expect(() => designNotch(design, 400)).toThrow(message);
  });
});

describe('phase', () => {
  // Lag of the analogue notch below its centre, degrees, x = f/f0 in 0.1, 0.2, 0.25, 0.5, 0.75; atan((x/Q)/(1 − x²)).
  test.each([
    [1, [5.7679, 11.7683, 14.9314, 33.6901, 59.7436]],
    [2, [2.8913, 5.9469, 7.5946, 18.4349, 40.6013]],
    [3, [1.9284, 3.9725, 5.0796, 12.5288, 29.7449]],
    [5, [1.1573, 2.3859, 3.0529, 7.5946, 18.9246]],
    [10, [0.5787, 1.1935, 1.5275, 3.8141, 9.7276]],
  ])('Q %d: the lag table, at a sample rate so high that the filter is the analogue one', (q, lags) => {
    const filter = designNotch({ centreHz: 100, widthHz: 100 / q, depthDb: null }, 1e6);
    [0.1, 0.2, 0.25, 0.5, 0.75].forEach((x, i) => near(phaseLagDeg([filter], 100 * x, 1e6), lags[i]!, 1e-4));
  });

  test('pole damping 0.5, zero damping 0.05: −20 dB, 29.8760° at half and 13.4039° at a quarter of the centre', () => {
    const filter = designNotch({ centreHz: 100, widthHz: 100, depthDb: 20, definition: 'cookbook' }, 1e6);
    near(phaseLagDeg([filter], 50, 1e6), 29.876, 1e-4);
    near(phaseLagDeg([filter], 25, 1e6), 13.4039, 1e-4);
    near(biquadPowerGain(filter, 100, 1e6), 0.01, 1e-9);
  });

  test('cookbook notch, 80 Hz, Q 3 at 1000 Hz: published gains and phases', () => {
    const filter = designNotch(
      { centreHz: 80, widthHz: 80 / 3, depthDb: null, definition: 'cookbook' },
      1000,
    );
    for (const [hz, db, degrees] of [
      [10, -0.00744, -2.37181],
      [20, -0.03267, -4.96632],
      [40, -0.19874, -12.21008],
      [60, -1.15802, -28.93337],
    ] as const) {
      near(10 * Math.log10(biquadPowerGain(filter, hz, 1000)), db, 5.1e-6);
      near(argument(biquadResponse(filter, hz, 1000)) * DEG, degrees, 5.1e-6);
    }
  });

  test('second-order Butterworth, 80 Hz: 2.81349 ms of delay at zero frequency, −20.6626° at 20 Hz', () => {
    const filter = designLowPass(80, 2, 1e5);
    near(dcDelayS([filter], 1e5), 2.81349e-3, 1e-8);
    near(phaseLagDeg([filter], 20, 1e5), 20.6626, 1e-3);
  });

  test('a delay of n samples is what the formula says it is, and chains add up', () => {
    const twoSamples: Biquad = { b0: 0, b1: 0, b2: 1, a1: 0, a2: 0 };
    near(dcDelayS([twoSamples, twoSamples], 100), 0.04, 1e-15);
    const chain = [designLowPass(60, 2, 400), designNotch({ centreHz: 55, widthHz: 12, depthDb: 20 }, 400)];
    near(argument(chainResponse(chain, 6, 400)) * DEG, -phaseLagDeg(chain, 6, 400), 1e-9);
    near(phaseLagDeg(chain, 0.01, 400) / 360 / 0.01, dcDelayS(chain, 400), 1e-7);
  });

  test('second-order Butterworth, 1 kHz at 48 kHz: the published coefficients', () => {
    const f = designLowPass(1000, 2, 48000);
    near(f.b0, 0.00391613, 5.1e-9);
    near(f.b1, 0.00783225, 5.1e-9);
    near(f.a1, -1.81534108, 5.1e-9);
    near(f.a2, 0.83100559, 5.1e-9);
  });
});

describe('exchanging a filter for another', () => {
  const frequencies = [0, 3, 20, 55, 120, 199];
  test.each([1, 2] as const)('a low-pass of order %d', (order) => {
    const there = designLowPass(80, order, 400);
    const wanted = designLowPass(35, order, 400);
    const exchange = exchangeLowPass(there, wanted);
    for (const hz of frequencies)
      near(
        biquadPowerGain(exchange, hz, 400) * biquadPowerGain(there, hz, 400),
        biquadPowerGain(wanted, hz, 400),
        1e-12,
      );
  });

  test('a notch of finite depth; one of complete depth is refused', () => {
    const there = designNotch({ centreHz: 60, widthHz: 10, depthDb: 25 }, 400);
    const wanted = designNotch({ centreHz: 64, widthHz: 25, depthDb: 30 }, 400);
    const [undo, next] = exchangeFilter(there, wanted);
    for (const hz of [0, 20, 60, 64, 150])
      near(
        biquadPowerGain(undo!, hz, 400) * biquadPowerGain(next!, hz, 400) * biquadPowerGain(there, hz, 400),
        biquadPowerGain(wanted, hz, 400),
        1e-12,
      );
    const complete = designNotch({ centreHz: 60, widthHz: 10, depthDb: null }, 400);
    expect(() => exchangeFilter(complete, wanted)).toThrow(/completely/);
  });
});

describe('filters run over signals', () => {
  const fs = 400;
  const tone = (hz: number, n: number, level = 0): Float64Array =>
    Float64Array.from({ length: n }, (_, i) => level + Math.sin((2 * Math.PI * hz * i) / fs + 1));
  const rms = (x: Float64Array): number => Math.sqrt(x.reduce((s, v) => s + v * v, 0) / x.length);

  test('a constant goes through unchanged from the first sample', () => {
    const chain = [designLowPass(30, 2, fs), designNotch({ centreHz: 60, widthHz: 10, depthDb: null }, fs)];
    for (const value of runFilters(chain, new Float64Array(50).fill(7))) near(value, 7, 1e-9);
  });

  test('a tone at the centre is gone from the start, a slow one stays with the gain and lag of the response', () => {
    const notch = designNotch({ centreHz: 60, widthHz: 20, depthDb: null }, fs);
    expect(rms(runFilters([notch], tone(60, 400)).slice(0, 40))).toBeLessThan(0.01);
    const { re, im } = biquadResponse(notch, 5, fs);
    const out = runFilters([notch], tone(5, 800));
    out.forEach((value, i) => {
      const angle = (2 * Math.PI * 5 * i) / fs;
      near(value, re * Math.sin(angle + 1) + im * Math.cos(angle + 1), 0.005);
    });
  });

  test('nothing before the record, when asked: the impulse response starts with b0', () => {
    const filter = designLowPass(30, 2, fs);
    const out = runFilters([filter], [1, 0, 0, 0], 'zero');
    near(out[0], filter.b0, 1e-15);
    near(out[1], filter.b1 - filter.a1 * filter.b0, 1e-15);
  });

  test('a tracking notch with a constant centre is the fixed one', () => {
    const x = tone(57, 500, 2);
    const fixed = runFilters([designNotch({ centreHz: 60, widthHz: 15, depthDb: 24 }, fs)], x);
    const tracking = runTrackingNotch(
      { relativeWidth: 0.25, depthDb: 24 },
      x,
      new Float64Array(500).fill(60),
      fs,
    );
    tracking.forEach((value, i) => near(value, fixed[i]!, 1e-12));
  });

  test('a tone that glides from 50 to 80 Hz is followed: more than 35 dB gone, where a fixed notch at 65 Hz leaves half', () => {
    const n = 4000;
    const hz = Float64Array.from({ length: n }, (_, i) => 50 + (30 * i) / n);
    let phase = 0;
    const x = hz.map((f) => Math.sin(1 + (phase += (2 * Math.PI * f) / fs)));
    const tracked = runTrackingNotch({ relativeWidth: 0.1, depthDb: null }, x, hz, fs);
    const fixed = runFilters([designNotch({ centreHz: 65, widthHz: 6.5, depthDb: null }, fs)], x);
    expect(rms(tracked) / rms(x)).toBeLessThan(10 ** (-35 / 20));
    expect(rms(fixed) / rms(x)).toBeGreaterThan(0.5);
  });

  test('a missing centre holds the last one; without any the signal is left alone', () => {
    const x = tone(60, 200);
    const holes = Float64Array.from({ length: 200 }, (_, i) => (i % 3 === 0 ? Number.NaN : 60));
    const whole = runTrackingNotch(
      { relativeWidth: 0.3, depthDb: null },
      x,
      new Float64Array(200).fill(60),
      fs,
    );
    expect(runTrackingNotch({ relativeWidth: 0.3, depthDb: null }, x, holes, fs)).toEqual(whole);
    expect(runTrackingNotch({ relativeWidth: 0.3, depthDb: null }, x, holes.fill(Number.NaN), fs)).toEqual(x);
    expect(() => runTrackingNotch({ relativeWidth: 0.3, depthDb: null }, x, [60], fs)).toThrow(/1 centre/);
  });
});
