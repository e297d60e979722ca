import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import {
  fitTone,
  fitToneAtTimes,
  fitTones,
  fitTonesAtTimes,
  toneModelAt,
  type NoFit,
  type Tone,
  type ToneFit,
} from './tone-fit.js';

const fs = 50;

function record(count: number, value: (timeS: number) => number): Float64Array {
  return Float64Array.from({ length: count }, (_, i) => value(i / fs));
}

function found<Fit extends object>(fit: Fit | NoFit): Fit {
  if ('unavailable' in fit) throw new Error(`no fit: ${fit.unavailable}`);
  return fit;
}

/** Share of runs in which the estimate lies within one stated standard deviation of the truth. */
function shareWithinOneSd(
  runs: number,
  make: (run: number) => { fit: Tone; truth: Partial<Tone> },
): Record<string, number> {
  const hits: Record<string, number> = {};
  for (let run = 0; run < runs; run++) {
    const { fit, truth } = make(run);
    const check = (name: string, error: number, std: number): void => {
      hits[name] = (hits[name] ?? 0) + (Math.abs(error) <= std ? 1 / runs : 0);
    };
    if (truth.frequencyHz !== undefined)
      check('frequency', fit.frequencyHz - truth.frequencyHz, fit.frequencyStdHz);
    if (truth.amplitude !== undefined) check('amplitude', fit.amplitude - truth.amplitude, fit.amplitudeStd);
    if (truth.phaseRad !== undefined) check('phase', fit.phaseRad - truth.phaseRad, fit.phaseStdRad);
    if (truth.growthPerS !== undefined) check('growth', fit.growthPerS - truth.growthPerS, fit.growthStdPerS);
  }
  return hits;
}

describe('without noise every parameter comes back', () => {
  test('a steady tone on an offset', () => {
    const fit = found(
      fitTone(
        record(200, (t) => 4 + 3 * Math.cos(2 * Math.PI * 1.37 * t + 0.5)),
        fs,
        1.3,
        { referenceS: 0 },
      ),
    );
    expect(fit.frequencyHz).toBeCloseTo(1.37, 9);
    expect(fit.amplitude).toBeCloseTo(3, 8);
    expect(fit.phaseRad).toBeCloseTo(0.5, 8);
    expect(fit.offset).toBeCloseTo(4, 8);
    expect(fit.growthPerS).toBe(0);
    expect(fit.growthStdPerS).toBe(0);
  });

  test.each([-2, -0.4, 0.4, 2])('a tone with growth %d per second on a ramp', (growthPerS) => {
    const x = record(
      200,
      (t) => 1 - 2 * t + 3 * Math.exp(growthPerS * t) * Math.cos(2 * Math.PI * 2.2 * t - 2),
    );
    const fit = found(fitTone(x, fs, 2.2, { growth: true, trend: 'linear', referenceS: 0 }));
    expect(fit.frequencyHz).toBeCloseTo(2.2, 7);
    expect(fit.growthPerS).toBeCloseTo(growthPerS, 6);
    expect(fit.amplitude).toBeCloseTo(3, 5);
    expect(fit.phaseRad).toBeCloseTo(-2, 6);
    expect(fit.slopePerS).toBeCloseTo(-2, 5);
    expect(fit.offset).toBeCloseTo(1, 4);
  });

  test('two cycles are enough, and a start one bin off is found', () => {
    const x = record(100, (t) => Math.sin(2 * Math.PI * 1.02 * t));
    for (const start of [0.6, 1.02, 1.45]) {
      expect(found(fitTone(x, fs, start)).frequencyHz).toBeCloseTo(1.02, 8);
    }
  });

  test('three tones less than two bins apart are told apart', () => {
    const truth = [1.5, 1.8, 2.15];
    const x = record(300, (t) =>
      truth.reduce((sum, f, k) => sum + (k + 1) * Math.cos(2 * Math.PI * f * t + k), 0),
    );
    const { tones } = found(fitTones(x, fs, [1.47, 1.82, 2.18], { referenceS: 0 }));
    tones.forEach((tone, k) => {
      expect(tone.frequencyHz).toBeCloseTo(truth[k]!, 7);
      expect(tone.amplitude).toBeCloseTo(k + 1, 6);
      expect(tone.phaseRad).toBeCloseTo(k, 6);
    });
  });

  test('jittered times and missing samples do not matter', () => {
    const noise = randomSource(4);
    const timeS = Float64Array.from(
      { length: 300 },
      (_, i) => 100 + (i + 0.8 * (noise.uniform() - 0.5)) / fs,
    );
    const x = timeS.map((t) => (t > 102 && t < 102.5 ? Number.NaN : 2 * Math.cos(2 * Math.PI * 3.3 * t)));
    const fit = found(fitToneAtTimes(timeS, x, 3.3));
    expect(fit.frequencyHz).toBeCloseTo(3.3, 9);
    expect(fit.amplitude).toBeCloseTo(2, 9);
    expect(fit.samples).toBe(x.filter((value) => !Number.isNaN(value)).length);
    expect(fit.samples).toBeLessThan(300);
    const gappy = record(300, (t) => (t > 2 && t < 3 ? Number.NaN : Math.cos(2 * Math.PI * 3.3 * t)));
    expect(found(fitTone(gappy, fs, 3.3)).frequencyHz).toBeCloseTo(3.3, 9);
  });

  test('a fixed frequency stays, with standard deviation 0, and its amplitude is still fitted', () => {
    const x = record(250, (t) => 2 * Math.cos(2 * Math.PI * 1 * t) + Math.cos(2 * Math.PI * 4.4 * t));
    const { tones } = found(fitTones(x, fs, [{ frequencyHz: 1, fixed: true }, 4.45]));
    expect(tones[0]!.frequencyHz).toBeCloseTo(1, 15);
    expect(tones[0]!.frequencyStdHz).toBe(0);
    expect(tones[0]!.amplitude).toBeCloseTo(2, 9);
    expect(tones[1]!.frequencyHz).toBeCloseTo(4.4, 9);
  });

  test('the model evaluated at the samples is the record', () => {
    const x = record(120, (t) => 0.3 * t + Math.exp(0.5 * t) * Math.sin(2 * Math.PI * 2 * t));
    const fit = found(fitTone(x, fs, 2, { growth: true, trend: 'linear', referenceS: 2 }));
    x.forEach((value, i) => expect(toneModelAt(fit, i / fs)).toBeCloseTo(value, 6));
  });
});

describe('stated standard deviations hold: truth within one sd in 62 to 74 per cent of 600 cases', () => {
  const expectHonest = (
    shares: Record<string, number>,
    names: string[],
    [low, high]: readonly [number, number] = [0.62, 0.74],
  ): void => {
    expect(Object.keys(shares).sort()).toEqual([...names].sort());
    for (const share of Object.values(shares)) {
      expect(share).toBeGreaterThan(low);
      expect(share).toBeLessThan(high);
    }
  };

  test.each(['white', 'local'] as const)('a growing tone in white noise, noise level %s', (noise) => {
    const source = randomSource(21);
    const shares = shareWithinOneSd(600, () => {
      const x = record(300, (t) => {
        const envelope = Math.exp(0.3 * (t - 3));
        return 1 + envelope * Math.cos(2 * Math.PI * 2.1 * (t - 3) + 0.7) + 0.3 * source.normal();
      });
      const fit = found(fitTone(x, fs, 2.1, { growth: true, noise, referenceS: 3 }));
      return { fit, truth: { frequencyHz: 2.1, amplitude: 1, phaseRad: 0.7, growthPerS: 0.3 } };
    });
    expectHonest(shares, ['frequency', 'amplitude', 'phase', 'growth']);
  });

  test('a tone in strongly coloured noise, noise level taken next to the tone', () => {
    const source = randomSource(22);
    const truth = { frequencyHz: 2.1, amplitude: 1, phaseRad: 0.7 };
    let whiteShare = 0;
    const shares = shareWithinOneSd(600, () => {
      let level = 0;
      for (let i = 0; i < 100; i++) level = 0.9 * level + source.normal();
      const x = record(1500, (t) => {
        level = 0.9 * level + source.normal();
        return Math.cos(2 * Math.PI * 2.1 * (t - 15) + 0.7) + 0.2 * level;
      });
      const white = found(fitTone(x, fs, 2.1, { noise: 'white', referenceS: 15 }));
      if (Math.abs(white.frequencyHz - 2.1) <= white.frequencyStdHz) whiteShare += 1 / 600;
      return { fit: found(fitTone(x, fs, 2.1, { referenceS: 15 })), truth };
    });
    expectHonest(shares, ['frequency', 'amplitude', 'phase']);
    // What the option is for: the textbook answer is far off here.
    expect(whiteShare).toBeLessThan(0.58);
  });

  // Low frequencies leak into so short a record beyond what their density at the tone tells: the target of the whole
  // program, 60 to 76 per cent, is what holds here.
  test('five cycles of a growing tone in noise that falls steeply with frequency: 60 to 76 per cent of 1500', () => {
    const source = randomSource(24);
    const shares = shareWithinOneSd(1500, () => {
      let level = 0;
      for (let i = 0; i < 100; i++) level = 0.9 * level + source.normal();
      const x = record(125, (t) => {
        level = 0.9 * level + source.normal();
        return Math.exp(0.3 * (t - 1.25)) * Math.cos(2 * Math.PI * 2 * (t - 1.25) + 0.7) + 0.07 * level;
      });
      const fit = found(fitTone(x, fs, 2, { growth: true, referenceS: 1.25 }));
      return { fit, truth: { frequencyHz: 2, amplitude: 1, phaseRad: 0.7, growthPerS: 0.3 } };
    });
    expectHonest(shares, ['frequency', 'amplitude', 'phase', 'growth'], [0.6, 0.76]);
  });

  test('amplitude and phase stated far from the middle carry their larger uncertainty', () => {
    const source = randomSource(23);
    let endStd = 0;
    let middleStd = 0;
    const shares = shareWithinOneSd(600, () => {
      const x = record(
        300,
        (t) => Math.exp(-0.2 * t) * Math.cos(2 * Math.PI * 1.7 * t - 1) + 0.1 * source.normal(),
      );
      middleStd = found(fitTone(x, fs, 1.7, { growth: true, noise: 'white' })).amplitudeStd;
      const fit: ToneFit = found(fitTone(x, fs, 1.7, { growth: true, noise: 'white', referenceS: 0 }));
      endStd = fit.amplitudeStd;
      return { fit, truth: { amplitude: 1, phaseRad: -1 } };
    });
    expectHonest(shares, ['amplitude', 'phase']);
    expect(endStd).toBeGreaterThan(1.5 * middleStd);
  });
});

describe('no answer is said, not made up', () => {
  const reason = (fit: object): string => ('unavailable' in fit ? String(fit.unavailable) : 'a fit');

  test('too few samples', () => {
    expect(reason(fitTone([1, 2, 3, 4], fs, 5))).toBe('4 samples cannot determine 4 parameters');
    expect(reason(fitTone([], fs, 5))).toBe('0 samples cannot determine 4 parameters');
  });

  test('a constant record', () => {
    for (const level of [0, 3, 0.1, -1e9]) {
      expect(reason(fitTone(new Float64Array(100).fill(level), fs, 5))).toBe('the record does not change');
    }
  });

  test('two starts on the same frequency', () => {
    const x = record(200, (t) => Math.sin(2 * Math.PI * 3 * t));
    expect(reason(fitTones(x, fs, [3, 3]))).toContain('cannot be told apart');
  });

  test('nothing near the start: the strong tone eight bins away is not taken for it', () => {
    const x = record(400, (t) => Math.sin(2 * Math.PI * 3 * t));
    const fit = fitTone(x, fs, 4, { searchHz: 0.1 });
    if ('unavailable' in fit) expect(fit.unavailable).toContain('no tone within 0.100 Hz of 4 Hz');
    else expect(fit.amplitude).toBeLessThan(0.1);
  });

  test.each([
    ['an infinite sample', () => fitTone([0, Infinity, 1], fs, 1), 'sample 1 is infinite'],
    ['a start of zero', () => fitTone([1, 2, 3, 4, 5, 6], fs, 0), 'positive frequency'],
    ['no start', () => fitTones([1, 2, 3, 4, 5, 6], fs, []), 'no tone to fit'],
    ['a sample rate of zero', () => fitTone([1, 2], 0, 1), 'sampleRateHz must be positive'],
    ['times that stand still', () => fitToneAtTimes([0, 1, 1], [1, 2, 3], 1), 'increase strictly'],
    ['times that do not match', () => fitTonesAtTimes([0, 1], [1], [1]), '2 times for 1 samples'],
  ])('%s is a mistake of the caller and throws', (_what, act, message) => {
    expect(act).toThrow(RangeError);
    expect(act).toThrow(message);
  });
});
