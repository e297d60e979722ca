import { describe, expect, test } from 'vitest';
import { applyGainAdvice, formatGains, gainToChange } from './gains-change.js';
import type { GainChange } from './gains-change.js';
import { parseGains } from './gains-file.js';
import type { GainsFile } from './gains-file.js';

const WHOLE = `{
  "gains": {
    "unit": "deg/s",
    "rate": {
      "unit": "rad/s",
      "roll": {
        "kp": 0.18,
        "ki": 0.45,
        "kd": 0.004,
        "kff": 0
      },
      "pitch": {
        "kp": 0.2
      },
      "yaw": {}
    },
    "attitude": {
      "roll": {
        "kp": 6.2
      },
      "pitch": {},
      "yaw": {}
    }
  },
  "filters": {
    "gyroLowPassHz": 60,
    "derivativeLowPassHz": 20,
    "notches": [
      {
        "centreHz": 56,
        "bandwidthHz": 12,
        "depthDb": 30
      }
    ],
    "gyroTap": "before"
  },
  "loopRateHz": 400,
  "configuration": {
    "wingtip": "fitted",
    "massKg": 5.9,
    "__proto__": [
      1
    ]
  }
}
`;

const whole = (): GainsFile => parseGains(WHOLE, 'gains.json');

describe('writing', () => {
  test('a file in the order of the contract is written back letter by letter', () => {
    expect(formatGains(whole())).toBe(WHOLE);
  });

  test.each([
    '{}',
    '{"filters": {"notches": []}}',
    '{"gains": {"unit": "%", "attitude": {"yaw": {"kp": 3}, "unit": "1/s"}}}',
    '{"loopRateHz": 1000, "gains": {"rate": {"yaw": {"kff": 1e-9, "kp": 0.1234567890123}}}}',
  ])('what is read from the written text is what was written: %s', (text) => {
    const gains = parseGains(text, 'gains.json');
    expect(parseGains(formatGains(gains), 'gains.json')).toEqual(gains);
  });
});

describe('changing gains', () => {
  const change = (parts: Partial<GainChange>): GainChange => ({
    axis: 'roll',
    loop: 'rate',
    term: 'P',
    factor: 0.5,
    ...parts,
  });

  test.each([
    ['P', { kp: 0.09, ki: 0.45, kd: 0.004, kff: 0 }],
    ['I', { kp: 0.18, ki: 0.225, kd: 0.004, kff: 0 }],
    ['D', { kp: 0.18, ki: 0.45, kd: 0.002, kff: 0 }],
    ['FF', { kp: 0.18, ki: 0.45, kd: 0.004, kff: 0 }],
  ] as const)('rate %s changes its own gain and no other', (term, expected) => {
    const before = whole();
    const after = applyGainAdvice(before, [change({ term })]);
    expect(after.rate.axes.roll).toEqual(expected);
    expect({ ...after, rate: null }).toEqual({ ...before, rate: null });
    expect(after.rate.axes.pitch).toEqual(before.rate.axes.pitch);
    expect(after.rate.unit).toEqual(before.rate.unit);
  });

  test('attitude P changes the attitude gain', () => {
    const after = applyGainAdvice(whole(), [change({ loop: 'attitude', factor: 1.5 })]);
    expect(after.attitude.axes.roll.kp).toBe(9.3);
    expect(after.rate).toEqual(whole().rate);
  });

  test('several changes are applied together, those of one gain multiplied', () => {
    const after = applyGainAdvice(whole(), [
      change({ factor: 0.5 }),
      change({ axis: 'pitch', factor: 3 }),
      change({ factor: 0.5 }),
    ]);
    expect(after.rate.axes.roll.kp).toBe(0.045);
    expect(after.rate.axes.pitch).toEqual({ kp: 0.6, ki: null, kd: null, kff: null });
  });

  test('the unit of the file plays no part: a factor is a factor', () => {
    const gains = parseGains('{"gains": {"unit": "%", "rate": {"yaw": {"kp": 40}}}}', 'gains.json');
    expect(applyGainAdvice(gains, [change({ axis: 'yaw' })]).rate.axes.yaw.kp).toBe(20);
  });

  test.each([
    change({ axis: 'pitch', term: 'D' }),
    change({ axis: 'yaw' }),
    change({ axis: 'yaw', loop: 'attitude' }),
    change({ loop: 'attitude', term: 'I' }),
    change({ loop: 'position' }),
  ])('a gain the file does not tell stays so: $axis $loop $term', (untold) => {
    expect(gainToChange(whole(), untold)).toBeNull();
    expect(applyGainAdvice(whole(), [untold])).toEqual(whole());
  });

  test('binary fractions leave no trace in the written gain', () => {
    // 6.2 · 1.1 is 6.82, in binary 6.820000000000001.
    expect(6.2 * 1.1).not.toBe(6.82);
    expect(formatGains(applyGainAdvice(whole(), [change({ loop: 'attitude', factor: 1.1 })]))).toContain(
      '"kp": 6.82\n',
    );
  });

  test('the gains given are left as they were', () => {
    const before = whole();
    applyGainAdvice(before, [change({}), change({ loop: 'attitude' })]);
    expect(before).toEqual(whole());
  });

  test.each([0, -1, Number.NaN, Number.POSITIVE_INFINITY])('the factor %d is refused', (factor) => {
    expect(() => applyGainAdvice(whole(), [change({ factor })])).toThrow(RangeError);
    expect(() => applyGainAdvice(whole(), [change({ axis: 'yaw', factor })])).toThrow(/factor/);
  });
});
