/** The study of vibration on made records whose truth can be written down, and on poor ones. */
import { describeClock, type ChannelName, type Flight } from '@settle/parser';
import { describe, expect, test } from 'vitest';
import { madeFlight } from '../../../../tests/support/made-flight.js';
import { available } from '../../../../tests/support/near.js';
import { randomSource } from '../../../../tests/support/random.js';
import { isUnavailable } from '../unavailable.js';
import { foldedHz } from './rotor-lines.js';
import { studyVibration } from './study.js';
import type { StudiedLine, VibrationStudy } from './vibration-study.js';

type Made = Partial<Record<ChannelName, { hz: number; at: (t: number) => number }>>;

const sine =
  (hz: number, rms: number, phase = 0) =>
  (t: number) =>
    Math.SQRT2 * rms * Math.sin(2 * Math.PI * hz * t + phase);

function studyOf(flight: Flight): VibrationStudy {
  return available(studyVibration(flight, { startS: 0, endS: flight.durationS }, []));
}

function nearest(study: VibrationStudy, hz: number): StudiedLine {
  return study.lines.reduce((a, b) => (Math.abs(b.frequencyHz - hz) < Math.abs(a.frequencyHz - hz) ? b : a));
}

describe('levels', () => {
  test('a sine has the rms of its amplitude over √2, at its frequency, in noise of known density', () => {
    const noise = randomSource(11);
    const study = studyOf(
      madeFlight(40, { 'gyro.x': { hz: 400, at: (t) => sine(73.3, 0.2)(t) + 0.05 * noise.normal() } }),
    );
    expect(study.lines).toHaveLength(1);
    const line = study.lines[0]!;
    expect(Math.abs(line.rms / 0.2 - 1)).toBeLessThan(0.02);
    expect(Math.abs(line.frequencyHz - 73.3)).toBeLessThan(0.02);
    // White noise of standard deviation s at rate f has the one-sided density 2 s²/f.
    const { floor, frequencyHz } = study.spectra[0]!;
    const away = Array.from(floor.filter((_, k) => frequencyHz[k]! > 100 && frequencyHz[k]! < 190)).sort();
    expect(Math.abs(away[away.length >> 1]! / ((2 * 0.05 ** 2) / 400) - 1)).toBeLessThan(0.1);
  });

  // M. Ham, J. Gardner, M. Tischler, table 2 (reference-values.md, section 11): 1, 2, 4 and 8 per revolution of 6.5 Hz in g rms,
  // the rest of .032 g broad-band over 5 to 60 Hz. The slower two are below what counts as vibration here.
  test('rotor lines of a helicopter seat in hover are found with their published levels within 5 %', () => {
    const g = 9.80665;
    const noise = randomSource(12);
    const lines = [
      [6.5, 0.006],
      [13.1, 0.003],
      [26.1, 0.018],
      [52.2, 0.006],
    ] as const;
    const broadband = Math.sqrt(0.032 ** 2 - lines.reduce((sum, [, rms]) => sum + rms ** 2, 0));
    // As much of white noise of this standard deviation lies between 5 and 60 Hz at 400 Hz.
    const std = broadband * Math.sqrt(200 / 55);
    const study = studyOf(
      madeFlight(120, {
        'accel.z': {
          hz: 400,
          at: (t) =>
            g * (lines.reduce((sum, [hz, rms]) => sum + sine(hz, rms, hz)(t), 0) + std * noise.normal() - 1),
        },
      }),
    );
    for (const [hz, rms] of lines.filter(([hz]) => hz > study.lowestHz)) {
      const line = nearest(study, hz);
      expect(Math.abs(line.frequencyHz - hz)).toBeLessThan(0.05);
      expect(Math.abs(line.rms / (rms * g) - 1)).toBeLessThan(0.05);
    }
  });
});

test('a tone that stays while the motors are told to wander is no rotor, however sharp', () => {
  const noise = randomSource(21);
  const told = randomSource(22);
  const commands = Object.fromEntries(
    [1, 2, 3, 4].map((n) => [
      `motor.${String(n)}.command`,
      { hz: 200, at: () => 0.5 + 0.01 * told.normal() },
    ]),
  );
  const study = studyOf(
    madeFlight(30, {
      ...commands,
      'gyro.x': { hz: 1000, at: (t) => sine(187, 0.1)(t) + 0.01 * noise.normal() },
    }),
  );
  expect(isUnavailable(study.rotor)).toBe(true);
  expect(nearest(study, 187)).toMatchObject({ kind: 'unknown', order: null });
});

describe('folding', () => {
  // reference-values.md, section 10.
  test.for([
    [30_000, 44_100, 14_100],
    [65, 125, 60],
    [3200, 1000, 200],
    [100, 90, 10],
    [215, 400, 185],
    [185, 250, 65],
    [130, 100, 30],
    [172, 100, 28],
    [250, 200, 50],
    [10, 90, 10],
  ] as const)('%d Hz in a log of %d Hz stands at %d Hz', ([hz, rate, at]) => {
    expect(foldedHz(hz, rate)).toBeCloseTo(at, 9);
  });
});

/** Four rotors, speeds logged, once per revolution and blade pass; the first three hardly swing, the fourth is heavier. */
function fourRotors(imuHz: number, swing: number): Flight {
  const means = [60, 61.7, 58.4, 63.1];
  const weights = [1, 1, 1, 3];
  const speed = (i: number) => (t: number) => means[i]! * (1 + swing * Math.sin(0.7 * t));
  const turns = (i: number, t: number): number => means[i]! * (t + (swing / 0.7) * (1 - Math.cos(0.7 * t)));
  const noise = randomSource(13);
  const channels: Made = {
    'gyro.x': {
      hz: imuHz,
      at: (t) =>
        means.reduce(
          (sum, _, i) =>
            sum +
            0.02 * weights[i]! * Math.sin(2 * Math.PI * turns(i, t) + i) +
            0.03 * Math.sin(4 * Math.PI * turns(i, t) + 2 * i),
          0.005 * noise.normal(),
        ),
    },
  };
  means.forEach((_, i) => {
    channels[`rotor.${i + 1}.speed`] = { hz: 50, at: speed(i) };
  });
  return madeFlight(30, channels);
}

describe('rotors whose speeds are logged', () => {
  test('four rotors are four lines at each order, with their levels, and the heavy one is named', () => {
    const study = studyOf(fourRotors(400, 0.03));
    const first = study.lines.filter((line) => line.order === 1);
    expect(first.map((line) => line.rotor).sort()).toEqual([1, 2, 3, 4]);
    for (const line of first) {
      expect(line.kind).toBe('rotor');
      const rms = (0.02 * (line.rotor === 4 ? 3 : 1)) / Math.SQRT2;
      expect(Math.abs(line.rms / rms - 1)).toBeLessThan(0.1);
    }
    const second = study.lines.filter((line) => line.order === 2);
    expect(second).toHaveLength(4);
    for (const line of second) {
      expect(line.kind).toBe('blade-pass');
      expect(Math.abs(line.rms / (0.03 / Math.SQRT2) - 1)).toBeLessThan(0.1);
    }
    const rotor = available(study.rotor);
    expect(Math.abs(rotor.hoverHz / 60.8 - 1)).toBeLessThan(0.005);
  });

  test('a blade pass beyond half the sample rate is flagged, with the frequency it truly has', () => {
    const study = studyOf(fourRotors(200, 0.03));
    const folded = study.lines.filter((line) => line.order === 2);
    expect(folded.length).toBeGreaterThan(0);
    for (const line of folded) {
      expect(line.kind).toBe('alias');
      expect(line.trueFrequencyHz).not.toBeNull();
      expect(Math.abs(line.trueFrequencyHz! - 2 * 60.8)).toBeLessThan(2 * 2.6);
      expect(Math.abs(line.frequencyHz - (200 - line.trueFrequencyHz!))).toBeLessThan(0.5);
    }
  });

  test('a tone that the rotors sweep across is no rotor', () => {
    const flight = fourRotors(400, 0.15);
    const gyro = flight.signals.get('gyro.x')!;
    const tone = sine(66, 0.02);
    const values = gyro.values.map((v, i) => v + tone(gyro.clock.timeS[i]!));
    const signals = new Map(flight.signals);
    signals.set('gyro.x', { ...gyro, values });
    const study = studyOf({ ...flight, signals });
    const at = study.lines.filter((line) => line.order === null && Math.abs(line.frequencyHz - 66) < 0.2);
    expect(at).toHaveLength(1);
    // Rotors that cross it are taken out with what lies within a hertz of them: a seventh of the tone goes with them.
    expect(Math.abs(at[0]!.rms / 0.02 - 1)).toBeLessThan(0.15);
  });
});

describe('holes in a log', () => {
  test('rows that are missing do not move or smear a line', () => {
    const flight = madeFlight(30, { 'gyro.x': { hz: 400, at: sine(100, 0.1) } });
    const gyro = flight.signals.get('gyro.x')!;
    const noise = randomSource(14);
    const kept = Array.from(gyro.values.keys()).filter((i) => i === 0 || noise.uniform() > 0.01);
    const timeS = Float64Array.from(kept, (i) => gyro.clock.timeS[i]!);
    const values = Float64Array.from(kept, (i) => gyro.values[i]!);
    const signal = { ...gyro, clock: describeClock(timeS), values };
    const line = nearest(studyOf({ ...flight, signals: new Map([['gyro.x', signal]]) }), 100);
    expect(Math.abs(line.frequencyHz - 100)).toBeLessThan(0.1);
    expect(Math.abs(line.rms / 0.1 - 1)).toBeLessThan(0.1);
  });

  test('a moment without a speed is a hole, not a rotor that stands', () => {
    const flight = fourRotors(400, 0.03);
    const speed = flight.signals.get('rotor.4.speed')!;
    const values = speed.values.map((v, i) => (i === 0 || i % 97 === 5 ? 0 : v));
    const signals = new Map(flight.signals);
    signals.set('rotor.4.speed', { ...speed, values });
    const line = studyOf({ ...flight, signals }).lines.find((one) => one.order === 1 && one.rotor === 4);
    expect(Math.abs(line!.frequencyHz / 63.1 - 1)).toBeLessThan(0.005);
  });
});

describe('poor logs', () => {
  const noise = randomSource(15);
  const shaken = (t: number): number => sine(18, 0.1)(t) + 0.01 * noise.normal();

  test('a gyro at 50 Hz still shows what lies below 25 Hz', () => {
    const study = studyOf(madeFlight(30, { 'gyro.x': { hz: 50, at: shaken } }));
    expect(Math.abs(nearest(study, 18).frequencyHz - 18)).toBeLessThan(0.05);
    expect(isUnavailable(study.rotor)).toBe(true);
  });

  test('three seconds of hover and one axis alone give its lines, and no rotor', () => {
    const study = studyOf(madeFlight(3, { 'gyro.y': { hz: 400, at: (t) => shaken(t) + sine(90, 0.05)(t) } }));
    const line = nearest(study, 90);
    expect(Math.abs(line.frequencyHz - 90)).toBeLessThan(0.3);
    expect(Math.abs(line.rms / 0.05 - 1)).toBeLessThan(0.15);
    expect(study.sensors.map(({ sensor, axis }) => `${sensor}.${axis}`)).toEqual(['gyro.y']);
  });

  test('samples at the end of range are counted', () => {
    const limit = 0.12;
    const study = studyOf(
      madeFlight(20, {
        'gyro.x': { hz: 400, at: (t) => Math.max(-limit, Math.min(limit, sine(20, 0.14)(t))) },
      }),
    );
    expect(study.sensors[0]!.overRange).toBeGreaterThan(1000);
  });

  test('without gyro or accelerometer, or with one too slow, nothing is made up', () => {
    for (const flight of [
      madeFlight(20, { throttle: { hz: 50, at: () => 0.5 } }),
      madeFlight(20, { 'gyro.x': { hz: 20, at: shaken } }),
    ])
      expect(studyVibration(flight, { startS: 0, endS: 20 }, [])).toHaveProperty('unavailable');
  });

  test('where nothing says what turns, a calm hover is told to move the throttle, one that moves it is not', () => {
    const noise = randomSource(17);
    const why = (swing: number): string => {
      const study = studyOf(
        madeFlight(30, {
          'gyro.x': { hz: 400, at: () => 0.05 * noise.normal() },
          throttle: { hz: 50, at: (t) => 0.5 + swing * Math.sin(t) },
        }),
      );
      return isUnavailable(study.rotor) ? study.rotor.unavailable : '';
    };
    expect(why(0.005)).toContain('climb and sink gently');
    expect(why(0.1)).toContain('log rotor speeds to see what turns');
  });

  test('a throttle that hardly moves gives no exponent', () => {
    const flight = fourRotors(400, 0.01);
    const signals = new Map(flight.signals);
    const throttle = madeFlight(30, { throttle: { hz: 50, at: (t) => 0.5 + 0.01 * Math.sin(t) } });
    signals.set('throttle', throttle.signals.get('throttle')!);
    expect(available(studyOf({ ...flight, signals }).rotor).throttleExponent).toBeNull();
  });
});

describe('a line of a slow log that is truly faster', () => {
  // 110.4 Hz stands at 49.6 Hz in a log of 160 Hz, and at 10.4 Hz in one of 100 Hz.
  const study = (ratesHz: number): VibrationStudy => {
    const noise = randomSource(31);
    const felt = (rms: number, std: number) => (t: number) => sine(110.4, rms)(t) + std * noise.normal();
    return studyOf(
      madeFlight(30, {
        'gyro.x': { hz: 160, at: felt(0.1, 0.03) },
        'rate.roll.measured': { hz: ratesHz, at: felt(0.03, 0.03) },
      }),
    );
  };

  test('is told by rates at 100 Hz, though nothing says what turns', () => {
    const line = nearest(study(100), 49.6);
    expect(line.kind).toBe('alias');
    expect(Math.abs(line.trueFrequencyHz! - 110.4)).toBeLessThan(0.05);
  });

  test('is not told by rates at a half of its rate, where both fold alike', () => {
    expect(nearest(study(80), 49.6).kind).not.toBe('alias');
  });
});
