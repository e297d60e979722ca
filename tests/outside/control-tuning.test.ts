/** Ultimate points and tuning rules: published rules and worked examples, numbers computed independently with Python. */
import { describe, expect, test } from 'vitest';
import {
  absolute,
  add,
  complex,
  findLoopMargins,
  findUltimatePoint,
  halfRule,
  multiply,
  relayGain,
  scale,
  simcPi,
  transferFunctionAt,
  tyreusLuyben,
  zieglerNichols,
  type Complex,
  type LoopMargins,
  type Tuning,
} from '../../packages/analysis/src/control/index.js';
import { available, near } from '../support/near.js';

const RADS = 2 * Math.PI;
const band = { lowestRadS: 1e-3, highestRadS: 1e3 };
const CUBED = [1, 3, 3, 1];

describe('ultimate points (computed)', () => {
  test.each([
    ['1/(s + 1)³', [1], CUBED, 0, 0, 8, 1.7320508, 3.6275987],
    ['1/(s(s + 1)²)', [1], [1, 2, 1, 0], 0, 1, 2, 1, RADS],
    ['e^(−s)/s', [1], [1, 0], 1, 1, Math.PI / 2, Math.PI / 2, 4],
    ['e^(−s)/(s + 1)', [1], [1, 1], 1, 0, 2.261826, 2.028758, 3.09706],
  ])('%s', (_name, num, den, delayS, polesAtOrigin, gain, omega, period) => {
    const point = available(
      findUltimatePoint({ ...band, response: (w) => transferFunctionAt(num, den, w, delayS), polesAtOrigin }),
    );
    near(point.gain, gain, 1e-6);
    near(point.frequencyHz * RADS, omega, 1e-6);
    near(point.periodS, period, 1e-6);
  });

  test('a loop that no gain brings to oscillate has none, and says so', () => {
    expect(findUltimatePoint({ ...band, response: (w) => transferFunctionAt([1], [1, 1], w) })).toEqual({
      unavailable: 'no gain within the band makes this loop oscillate',
    });
    expect(
      findUltimatePoint({
        ...band,
        response: (w) => transferFunctionAt([1], [1, -1, 0], w),
        unstablePoles: 1,
        polesAtOrigin: 1,
      }),
    ).toEqual({ unavailable: 'no proportional gain makes this loop stable' });
    expect(findUltimatePoint({ ...band, response: (w) => transferFunctionAt([-1], [1, 1], w) })).toEqual({
      unavailable: 'at its highest gain this loop diverges without oscillating',
    });
  });
});

describe('a relay around 1/(s + 1)³ reads an ultimate gain of 7.81, not 8: the harmonics that it ignores', () => {
  test('describing function: amplitude 0.159155 at the ultimate gain', () => {
    near(absolute(relayGain(1, 0.159155)), 8, 1e-4);
  });

  test('simulated: period 3.680 s, amplitude 0.1631, ultimate gain 7.807', () => {
    const { periodS, amplitude } = relayCycle();
    near(periodS, 3.67975, 0.01 * 3.67975);
    near(amplitude, 0.16306, 0.01 * 0.16306);
    const gain = absolute(relayGain(1, amplitude));
    near(gain, 7.808, 0.01 * 7.808);
    // The bias is there: −2.4 % in gain, +1.4 % in period.
    near(gain / 8 - 1, -0.024, 0.002);
    near(periodS / 3.6275987 - 1, 0.0144, 0.002);
  });
});

/** Three first-order lags in a row, each solved exactly over a step of constant relay output; switching interpolated. */
function relayCycle(): { periodS: number; amplitude: number } {
  const step = 0.0005;
  const decay = Math.exp(-step);
  let [a, b, c, t] = [0.3, 0, 0, 0];
  let output = -1;
  let peak = 0;
  const rises: number[] = [];
  const peaks: number[] = [];
  while (rises.length < 30) {
    const before = c;
    // x′ = −x + input for each lag; the chain 1/(s+1)^k has the kernel t^(k−1)e^(−t)/(k−1)!.
    const [a0, b0, c0] = [a - output, b - output, c - output];
    a = output + decay * a0;
    b = output + decay * (b0 + step * a0);
    c = output + decay * (c0 + step * b0 + (step * step * a0) / 2);
    t += step;
    peak = Math.max(peak, c);
    if (before < 0 && c >= 0) {
      rises.push(t - (step * c) / (c - before));
      peaks.push(peak);
      peak = 0;
    }
    output = c > 0 ? -1 : 1;
  }
  return { periodS: (rises[29]! - rises[19]!) / 10, amplitude: peaks[29]! };
}

describe('rules around the ultimate point of 1/(s + 1)³', () => {
  const ultimate = { gain: 8, periodS: 3.6275987 };

  const judge = (tuning: Tuning): LoopMargins => {
    const controller = (omega: number): Complex => {
      const integral = tuning.integralTimeS === null ? 0 : -1 / (tuning.integralTimeS * omega);
      return scale(complex(1, integral + (tuning.derivativeTimeS ?? 0) * omega), tuning.kp);
    };
    return available(
      findLoopMargins({
        ...band,
        response: (omega) => multiply(controller(omega), transferFunctionAt([1], CUBED, omega)),
        unstablePoles: 0,
        polesAtOrigin: tuning.integralTimeS === null ? 0 : 1,
      }),
    );
  };

  test.each([
    // Ziegler and Nichols 1942; Tyreus and Luyben 1992. Gains and times, then margins of the loop, all computed.
    ['Ziegler–Nichols P', zieglerNichols(ultimate, 'P'), 4, null, null, 27.14, 2.0, 3.0],
    ['Ziegler–Nichols PI', zieglerNichols(ultimate, 'PI'), 3.6, 3.023, null, 14.78, 1.523, 4.925],
    ['Ziegler–Nichols PID', zieglerNichols(ultimate, 'PID'), 4.8, 1.8138, 0.45345, 30.62, null, 2.132],
    ['Tyreus–Luyben PI', tyreusLuyben(ultimate, 'PI'), 2.5, 7.98072, null, 44.09, 2.805, 2.113],
    ['Tyreus–Luyben PID', tyreusLuyben(ultimate, 'PID'), 3.63636, 7.98072, 0.57581, 56.35, null, 1.475],
  ])('%s', (_name, tuning, kp, integral, derivative, phaseMarginDeg, gainMargin, peak) => {
    near(tuning.kp, kp, 1e-4);
    if (integral === null) expect(tuning.integralTimeS).toBeNull();
    else near(tuning.integralTimeS, integral, 1e-4);
    if (derivative === null) expect(tuning.derivativeTimeS).toBeNull();
    else near(tuning.derivativeTimeS, derivative, 1e-4);
    const m = judge(tuning);
    expect(m.stable).toBe(true);
    near(m.phaseMarginDeg, phaseMarginDeg, 0.0051);
    near(m.sensitivityPeak, peak, 0.00051);
    if (gainMargin !== null) near(10 ** (m.gainMarginDb! / 20), gainMargin, 0.00051);
    // An ideal derivative leaves two poles more than zeros: no gain is too high.
    else expect(m.gainMarginDb).toBeNull();
  });

  test('Ziegler–Nichols PI in parallel form is kp 0.45·Ku, ki 0.54·Ku/Tu (Åström and Murray, *Feedback Systems*, errata)', () => {
    const { kp, integralTimeS } = zieglerNichols(ultimate, 'PI');
    near(kp / integralTimeS!, (0.54 * ultimate.gain) / ultimate.periodS, 1e-12);
  });
});

describe('SIMC (S. Skogestad, J. Process Control 13, 2003; worked examples from memory, recomputed)', () => {
  test('1/((s + 1)(0.2s + 1)): half rule 1.1 and 0.1 s, gain 5.5, integral time 0.8 s', () => {
    const model = halfRule({ lagsS: [1, 0.2] }, 1);
    near(model.lagsS[0], 1.1, 1e-12);
    near(model.delayS, 0.1, 1e-12);
    const pi = simcPi({ gain: 1, lagS: model.lagsS[0]!, delayS: model.delayS });
    near(pi.kp, 5.5, 1e-9);
    near(pi.integralTimeS, 0.8, 1e-12);
  });

  test('(−0.3s + 1)(0.08s + 1)/((2s + 1)(s + 1)(0.4s + 1)(0.2s + 1)(0.05s + 1)³', () => {
    const process = { lagsS: [0.05, 2, 0.4, 0.05, 1, 0.2, 0.05], inverseS: [0.3], leadsS: [0.08] };
    const first = halfRule(process, 1);
    near(first.delayS, 1.47, 1e-12);
    near(first.lagsS[0], 2.5, 1e-12);
    const second = halfRule(process, 2);
    near(second.lagsS[0], 2, 1e-12);
    near(second.lagsS[1], 1.2, 1e-12);
    near(second.delayS, 0.77, 1e-12);
    const pi = simcPi({ gain: 1, lagS: first.lagsS[0]!, delayS: first.delayS });
    near(pi.kp, 0.85034, 5e-6);
    near(pi.integralTimeS, 2.5, 1e-12);
  });

  test.each([
    [2, 8, 1, 2, 8],
    [1, 10, 1, 5, 8],
  ])('gain %d, lag %d s, delay %d s: kp %d, integral time %d s', (gain, lagS, delayS, kp, integral) => {
    const pi = simcPi({ gain, lagS, delayS });
    near(pi.kp, kp, 1e-12);
    near(pi.integralTimeS, integral, 1e-12);
  });

  test.each([
    // Margins of the paper’s table (from memory, reproduced): integral time = lag, and 8 delays for an integrating process.
    ['lag 2 s, delay 1 s', { gain: 3, lagS: 2, delayS: 1 }, 3.14, 61.4, 1.59, 2.14],
    ['integrating, delay 1 s', { slope: 0.7, delayS: 1 }, 2.96, 46.9, 1.7, 1.59],
  ])('%s: gain margin about 3', (_name, process, gainMargin, phaseMarginDeg, peak, delayMargin) => {
    const pi = simcPi(process);
    const plant = 'slope' in process ? [[process.slope], [1, 0]] : [[process.gain], [process.lagS, 1]];
    const m = available(
      findLoopMargins({
        ...band,
        response: (omega) =>
          multiply(
            scale(add(complex(1), complex(0, -1 / (pi.integralTimeS! * omega))), pi.kp),
            transferFunctionAt(plant[0]!, plant[1]!, omega, process.delayS),
          ),
        unstablePoles: 0,
        polesAtOrigin: 'slope' in process ? 2 : 1,
      }),
    );
    near(10 ** (m.gainMarginDb! / 20), gainMargin, 0.0051);
    near(m.phaseMarginDeg, phaseMarginDeg, 0.051);
    near(m.sensitivityPeak, peak, 0.0051);
    near((m.phaseMarginDeg! * Math.PI) / 180 / (m.crossoverHz! * RADS), delayMargin, 0.0051);
  });

  test('processes that the rules are not made for are refused', () => {
    expect(() => halfRule({ lagsS: [1, 0.1], leadsS: [0.5] }, 1)).toThrow('leads outweigh the delay');
    expect(() => halfRule({ lagsS: [1] }, 2)).toThrow('order 2 needs as many lags, not 1');
    expect(() => simcPi({ gain: 1, lagS: 1, delayS: 0 })).toThrow('are not above 0');
    expect(() => simcPi({ gain: 0, lagS: 1, delayS: 1 })).toThrow('a gain that is not 0');
    expect(() => zieglerNichols({ gain: 0, periodS: 1 }, 'P')).toThrow('no ultimate cycle');
  });
});
