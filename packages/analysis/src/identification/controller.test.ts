import { describe, expect, it } from 'vitest';
import { near } from '../../../../tests/support/near.js';
import { randomSource } from '../../../../tests/support/random.js';
import { absolute, complex } from '../control/complex.js';
import {
  controllerAt,
  controllerOf,
  type AxisController,
  type ControllerRecord,
  type DeclaredController,
} from './controller.js';

const TRUE = { kp: 0.14, ki: 0.45, kd: 0.0042, kff: 0.06, attitude: 5.5 };

interface MadeTerms {
  readonly lowPassHz?: number | null;
  readonly gains?: Partial<typeof TRUE>;
  /** Measured noise on each logged term, as a share of its own standard deviation. */
  readonly noise?: number;
}

/** A controller of 400 Hz stepped by its difference equations, logged at 200 Hz. */
function madeTerms({ lowPassHz = 25, gains = {}, noise = 0 }: MadeTerms = {}): ControllerRecord {
  const { kp, ki, kd, kff, attitude: ka } = { ...TRUE, ...gains };
  const step = 1 / 400;
  const random = randomSource(77);
  const share = lowPassHz === null ? 1 : 1 - Math.exp(-2 * Math.PI * lowPassHz * step);
  const columns: Record<string, number[]> = {};
  const log = (name: string, value: number): void => {
    (columns[name] ??= []).push(value);
  };
  // Motions of several frequencies and a coloured one, as gusts make them.
  let gust = 0;
  let integral = 0;
  let smooth = 0;
  for (let k = 0; k < 400 * 20; k++) {
    const t = k * step;
    gust = 0.97 * gust + 0.05 * random.normal();
    const rate = 0.4 * Math.sin(2 * Math.PI * 1.3 * t) + 0.2 * Math.sin(2 * Math.PI * 4.1 * t + 1) + gust;
    const attitude = 0.05 * Math.sin(2 * Math.PI * 0.9 * t) + 0.02 * Math.sin(2 * Math.PI * 2.7 * t + 2);
    const attitudeReference = 0.1 * Math.sin(2 * Math.PI * 0.4 * t);
    const reference = ka * (attitudeReference - attitude);
    const error = reference - rate;
    integral += ki * error * step;
    const next = smooth + share * (error - smooth);
    const derivative = (kd * (next - smooth)) / step;
    smooth = next;
    if (k % 2 === 1) continue;
    log('rate', rate);
    log('reference', reference);
    log('attitude', attitude);
    log('attitudeReference', attitudeReference);
    log('proportional', kp * error);
    log('integral', integral);
    log('derivative', derivative);
    log('feedForward', kff * reference);
  }
  const column = (name: string): Float64Array => {
    const values = Float64Array.from(columns[name]!);
    if (noise === 0) return values;
    const rms = Math.hypot(...values) / Math.sqrt(values.length);
    return values.map((v) => v + noise * rms * random.normal());
  };
  return {
    stepS: 1 / 200,
    rate: Float64Array.from(columns['rate']!),
    reference: Float64Array.from(columns['reference']!),
    attitude: Float64Array.from(columns['attitude']!),
    attitudeReference: Float64Array.from(columns['attitudeReference']!),
    proportional: column('proportional'),
    integral: column('integral'),
    derivative: column('derivative'),
    demand: null,
    feedForward: column('feedForward'),
  };
}

const WITHOUT_TERMS = { proportional: null, integral: null, derivative: null, feedForward: null } as const;

function told(gains: Partial<typeof TRUE>, changes: Partial<DeclaredController> = {}): DeclaredController {
  const { kp, ki, kd, kff, attitude } = { ...TRUE, ...gains };
  const rate = { kp, ki, kd, kff };
  return {
    rate: { roll: rate, pitch: rate, yaw: rate },
    attitude: { roll: attitude, pitch: attitude, yaw: attitude },
    rateUnitDeclared: true,
    attitudeUnitDeclared: true,
    derivativeLowPassHz: null,
    gyroLowPassHz: null,
    loopRateHz: 400,
    ...changes,
  };
}

describe('controllerOf from logged terms', () => {
  it('finds P and attitude within 1 %, I, D and feed-forward within 2 %', () => {
    const c = controllerOf('roll', madeTerms(), null)!;
    near(c.kp, TRUE.kp, 0.01 * TRUE.kp, 'kp');
    near(c.attitude, TRUE.attitude, 0.01 * TRUE.attitude, 'attitude');
    near(c.ki, TRUE.ki, 0.02 * TRUE.ki, 'ki');
    near(c.kd, TRUE.kd, 0.02 * TRUE.kd, 'kd');
    near(c.kff, TRUE.kff, 0.02 * TRUE.kff, 'kff');
    expect(c.from).toBe('the logged terms');
    expect(c.stepS).toBe(1 / 200);
  });

  it('finds them within 2 % when each logged term carries 2 % of noise', () => {
    const c = controllerOf('roll', madeTerms({ noise: 0.02 }), null)!;
    near(c.kp, TRUE.kp, 0.02 * TRUE.kp, 'kp');
    near(c.ki, TRUE.ki, 0.02 * TRUE.ki, 'ki');
    near(c.kd, TRUE.kd, 0.02 * TRUE.kd, 'kd');
  });

  it.each([12, 20, 27, 45])('finds a derivative low-pass of %d Hz within 15 %', (hz) => {
    const c = controllerOf('roll', madeTerms({ lowPassHz: hz }), null)!;
    near(c.derivativeLowPassHz, hz, 0.15 * hz);
  });

  it('says a term that stands at zero is zero', () => {
    const c = controllerOf('roll', madeTerms({ gains: { kd: 0, kff: 0 } }), null)!;
    expect(c.kd).toBe(0);
    expect(c.kff).toBe(0);
    near(c.kp, TRUE.kp, 0.01 * TRUE.kp);
  });

  it('is not there when neither a proportional term nor gains are known', () => {
    expect(controllerOf('roll', { ...madeTerms(), ...WITHOUT_TERMS }, null)).toBeNull();
  });

  it('is not there when what is called the proportional term has nothing to do with the error', () => {
    const random = randomSource(5);
    const made = madeTerms();
    const proportional = made.rate.map(() => random.normal());
    expect(controllerOf('roll', { ...made, proportional }, null)).toBeNull();
  });

  it('does not know the attitude gain without an attitude reference', () => {
    const c = controllerOf('roll', { ...madeTerms(), attitudeReference: null }, null)!;
    expect(c.attitude).toBeNull();
  });
});

describe('controllerOf with a gains file', () => {
  it('takes declared gains and the loop rate as they are told when no term is logged', () => {
    const c = controllerOf('roll', { ...madeTerms(), ...WITHOUT_TERMS }, told({}))!;
    expect(c).toMatchObject({ kp: TRUE.kp, ki: TRUE.ki, kd: TRUE.kd, kff: TRUE.kff, stepS: 1 / 400 });
    expect(c.from).toBe('the gains file');
  });

  it('does not believe gains of undeclared unit when no term is logged', () => {
    const undeclared = told({}, { rateUnitDeclared: false, attitudeUnitDeclared: false });
    expect(controllerOf('roll', { ...madeTerms(), ...WITHOUT_TERMS }, undeclared)).toBeNull();
  });

  it('believes gains of undeclared unit once a logged term agrees', () => {
    const c = controllerOf('roll', madeTerms(), told({}, { rateUnitDeclared: false }))!;
    expect(c.kp).toBe(TRUE.kp);
    expect(c.from).toBe('the gains file, confirmed by the logged terms');
  });

  it('does not believe gains of undeclared unit that turn out to be per deg/s', () => {
    const perDegree = { kp: TRUE.kp / 57.3, ki: TRUE.ki / 57.3, kd: TRUE.kd / 57.3 };
    const c = controllerOf('roll', madeTerms(), told(perDegree, { rateUnitDeclared: false }))!;
    near(c.kp, TRUE.kp, 0.01 * TRUE.kp);
    near(c.ki, TRUE.ki, 0.02 * TRUE.ki);
    expect(c.from).toBe('the logged terms');
  });

  it('prefers the log to a declared P gain that is a quarter off', () => {
    const c = controllerOf('roll', madeTerms(), told({ kp: 1.25 * TRUE.kp, ki: 9, kd: 1 }))!;
    near(c.kp, TRUE.kp, 0.01 * TRUE.kp);
    near(c.ki, TRUE.ki, 0.02 * TRUE.ki);
    near(c.kd, TRUE.kd, 0.02 * TRUE.kd);
    expect(c.from).toBe('the logged terms');
  });

  it('prefers the log to a declared attitude gain that is a quarter off', () => {
    const c = controllerOf('roll', madeTerms(), told({ attitude: 1.25 * TRUE.attitude }))!;
    near(c.attitude, TRUE.attitude, 0.01 * TRUE.attitude);
  });
});

describe('controllerAt', () => {
  const only = (gains: Partial<AxisController>): AxisController => ({
    kp: 0,
    ki: 0,
    kd: 0,
    kff: 0,
    derivativeLowPassHz: null,
    attitude: null,
    stepS: 1e-5,
    from: 'made',
    ...gains,
  });

  it('is kp + ki/s + kd s of a fast controller: 2 + 30/(10j) + 0.1 × 10j = 2 − 2j', () => {
    const c = controllerAt(only({ kp: 2, ki: 30, kd: 0.1 }), complex(0, 10));
    near(c.re, 2, 1e-3);
    near(c.im, -2, 1e-3);
  });

  it('weakens the derivative to √½ at its low-pass corner', () => {
    const s = complex(0, 2 * Math.PI * 30);
    const plain = absolute(controllerAt(only({ kd: 0.01 }), s));
    near(absolute(controllerAt(only({ kd: 0.01, derivativeLowPassHz: 30 }), s)) / plain, Math.SQRT1_2, 2e-3);
  });

  it('differentiates half a step late: a step of 10 ms at 10 rad/s turns the derivative by 0.05 rad', () => {
    const c = controllerAt(only({ kd: 1, stepS: 0.01 }), complex(0, 10));
    near(Math.atan2(c.im, c.re), Math.PI / 2 - 0.05, 1e-9);
  });
});
