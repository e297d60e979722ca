import { describe, expect, test } from 'vitest';
import { defaultConfig, type FlightConfig } from './config.js';
import { simulateFlight, type SimulatedFlight } from './simulate.js';
import { foldFrequency, type TrueVibrationLine } from './vibration-truth.js';

/** Twenty seconds of hover in still air with perfect sensors and rotors 2 Hz apart. */
function still(change?: (config: FlightConfig) => void): FlightConfig {
  const c = defaultConfig();
  Object.assign(c.sensors, { gyroNoiseRadS: 0, accelNoise: 0, attitudeNoiseRad: 0 });
  Object.assign(c.script, { startInHover: true, endInHover: true, hoverS: 20 });
  c.rotors.hoverHz = 50;
  c.rotors.speedSpread = [0.04, -0.04, 0, 0.08];
  c.pilot.corrections = 0;
  c.wind.gustRadS2 = { roll: 0, pitch: 0, yaw: 0 };
  c.wind.pushMS2 = 0;
  c.airframe.trim = { roll: 0, pitch: 0, yaw: 0 };
  c.log.imuHz = 400;
  change?.(c);
  return c;
}

function column(sim: SimulatedFlight, channel: 'gyro.x' | 'gyro.y' | 'accel.z' | 'accel.y'): Float64Array {
  return sim.log.groups.find((group) => group.columns.has(channel))!.columns.get(channel)!;
}

/** Rms within a band, from the whole bins of an unwindowed transform (Parseval). */
function bandRms(values: Float64Array, rateHz: number, lowHz: number, highHz: number): number {
  const n = values.length;
  let sum = 0;
  for (let k = Math.ceil((lowHz * n) / rateHz); k <= (highHz * n) / rateHz; k++) {
    let re = 0;
    let im = 0;
    for (let i = 0; i < n; i++) {
      const angle = (2 * Math.PI * ((k * i) % n)) / n;
      re += values[i]! * Math.cos(angle);
      im += values[i]! * Math.sin(angle);
    }
    sum += re * re + im * im;
  }
  return Math.sqrt(2 * sum) / n;
}

function lineOf(sim: SimulatedFlight, want: Partial<TrueVibrationLine>): TrueVibrationLine {
  return sim.truth.vibration!.airborne!.lines.find((line) =>
    Object.entries(want).every(([key, value]) => line[key as keyof TrueVibrationLine] === value),
  )!;
}

describe('the truth of vibration', () => {
  test('has every rotor line where the log has it, at the level the log has it', () => {
    const sim = simulateFlight(
      still((c) => {
        c.vibration.harmonics = [{ order: 3, gyro: 0.004, accel: 0.1 }];
      }),
      3,
    );
    const gyro = column(sim, 'gyro.x');
    for (const rotor of [1, 2, 3, 4]) {
      for (const order of [1, 2, 3]) {
        const line = lineOf(sim, { sensor: 'gyro', axis: 'x', rotor, order });
        expect(line.trueFrequencyHz).toBeCloseTo(order * 50 * (1 + [0.04, -0.04, 0, 0.08][rotor - 1]!), 0);
        const measured = bandRms(gyro, 400, line.loggedHz - 0.9, line.loggedHz + 0.9);
        expect(measured / line.rms).toBeGreaterThan(0.97);
        expect(measured / line.rms).toBeLessThan(1.03);
      }
    }
  });

  test('folds what the log is too slow for', () => {
    // Blade pass of the third rotor: 2 × 50 Hz in a log of 133 1/3 Hz.
    const sim = simulateFlight(
      still((c) => (c.log.imuHz = 133)),
      3,
    );
    const line = lineOf(sim, { sensor: 'accel', axis: 'z', rotor: 3, order: 2 });
    expect(line.trueFrequencyHz).toBeCloseTo(100, 0);
    expect(line.loggedHz).toBeCloseTo(33.33, 0);
    expect(line.foldedShare).toBe(1);
    const measured = bandRms(column(sim, 'accel.z'), 400 / 3, line.loggedHz - 0.9, line.loggedHz + 0.9);
    expect(measured / line.rms).toBeGreaterThan(0.95);
    expect(measured / line.rms).toBeLessThan(1.05);
  });

  // Reference-values.md, section 10.
  test.each([
    [65, 125, 60],
    [215, 400, 185],
    [250, 200, 50],
    [10, 90, 10],
  ])('%s Hz sampled at %s Hz stands at %s Hz', (hz, rateHz, at) => {
    expect(foldFrequency(hz, rateHz)).toBeCloseTo(at, 9);
  });

  test('gives a mode the rms it was configured with, and a rotor that meets it what the mode adds', () => {
    const quietRotors = (c: FlightConfig): void => {
      Object.assign(c.vibration, { gyroOnce: 0, accelOnce: 0, gyroBladePass: 0, accelBladePass: 0 });
      c.rotors.speedSpread = [0, 0.2, 0.2, 0.2];
      c.vibration.imbalance = [1, 0, 0, 0];
      c.script.hoverS = 60;
      c.vibration.structure = [
        { frequencyHz: 50, dampingRatio: 0.02, gyro: [0.01, 0, 0], accel: [0, 0.2, 0], rotorDrive: 3 },
      ];
    };
    const sim = simulateFlight(still(quietRotors), 5);
    // The noise grows with speed squared, on average over the rotors. 60 s of a mode 2 Hz wide are some 190
    // independent samples: the rms scatters by 4 %.
    const rms = (0.2 * (1 + 3 * 1.2 ** 2)) / 4;
    const mode = lineOf(sim, { sensor: 'accel', axis: 'y', kind: 'structure' });
    expect(mode.rms).toBeGreaterThan(rms * 0.88);
    expect(mode.rms).toBeLessThan(rms * 1.12);
    // At resonance the rotor's amplitude is rotorDrive times that rms.
    const rotor = lineOf(sim, { sensor: 'accel', axis: 'y', kind: 'rotor', rotor: 1 });
    expect(rotor.rms).toBeCloseTo((3 * 0.2) / Math.SQRT2, 2);
    const measured = bandRms(column(sim, 'gyro.x'), 400, 40, 58);
    const gyro = sim.truth.vibration!.airborne!;
    const own = gyro.lines.filter(
      (line) => line.sensor === 'gyro' && line.axis === 'x' && line.loggedHz < 58 && line.loggedHz > 40,
    );
    expect(measured / gyro.rmsTogether(own)).toBeCloseTo(1, 1);
  });

  test('has a mode of the airframe outside of the loop: the margins do not know of it', () => {
    const mode = { frequencyHz: 40, dampingRatio: 0.01, gyro: [0.01, 0, 0], accel: [0, 0, 0], rotorDrive: 0 };
    const plain = simulateFlight(still(), 3).truth.axes.roll;
    const ringing = simulateFlight(
      still((c) => (c.vibration.structure = [{ ...mode, gyro: [0.01, 0, 0], accel: [0, 0, 0] }])),
      3,
    );
    expect(ringing.truth.axes.roll.margins).toEqual(plain.margins);
    expect(column(ringing, 'gyro.x')).not.toEqual(column(simulateFlight(still(), 3), 'gyro.x'));
  });

  test('keeps electrical lines on the ground, where the rotors hardly turn', () => {
    const sim = simulateFlight(
      still((c) => {
        Object.assign(c.script, { startInHover: false, groundS: 5, hoverS: 5 });
        c.vibration.electrical = [{ frequencyHz: 60, gyro: [0, 0, 0], accel: [0, 0, 0.5] }];
      }),
      3,
    );
    const ground = sim.truth.vibration!.over({ startS: 0.5, endS: 4.5 })!;
    const tone = ground.lines.find((line) => line.kind === 'electrical')!;
    expect(tone.rms).toBeCloseTo(0.5 / Math.SQRT2, 4);
    const standing = column(sim, 'accel.z').slice(200, 1800);
    expect(bandRms(standing, 400, 59.5, 60.5)).toBeCloseTo(0.5 / Math.SQRT2, 2);
    expect(ground.rotorHz.mean).toBeLessThan(0.6 * sim.truth.rotorHz!.mean);
  });

  test('adds rotors of one speed up by their phases', () => {
    const sim = simulateFlight(
      still((c) => (c.rotors.speedSpread = [0, 0, 0, 0])),
      3,
    );
    const { lines, rmsTogether } = sim.truth.vibration!.airborne!;
    const blades = lines.filter((l) => l.sensor === 'accel' && l.axis === 'z' && l.kind === 'blade-pass');
    const squares = Math.hypot(...blades.map((line) => line.rms));
    const measured = bandRms(column(sim, 'accel.z'), 400, 95, 105);
    expect(measured / rmsTogether(blades)).toBeCloseTo(1, 1);
    expect(Math.abs(measured / squares - 1)).toBeGreaterThan(0.1);
  });
});

describe('sensors and scripts that shake', () => {
  test('an absent list and an empty one are the same flight', () => {
    const empty = still((c) => {
      Object.assign(c.vibration, { harmonics: [], structure: [], electrical: [] });
    });
    expect(simulateFlight(empty, 4).log).toEqual(simulateFlight(still(), 4).log);
  });

  test('a range ends where it ends and has its steps', () => {
    const sim = simulateFlight(
      still((c) => {
        c.sensors.accelRange = { fullScale: 12, bits: 8 };
        c.vibration.accelBladePass = 8;
      }),
      3,
    );
    const values = column(sim, 'accel.z');
    expect(Math.min(...values)).toBe(-12);
    expect(Math.max(...values)).toBe((12 * 127) / 128);
    expect(values.every((value) => Number.isInteger((value * 128) / 12))).toBe(true);
    const z = sim.truth.vibration!.airborne!.sensors.find((s) => s.sensor === 'accel' && s.axis === 'z')!;
    const count = values.filter((value) => value === -12 || value === (12 * 127) / 128).length;
    expect(z.atRangeShare).toBeCloseTo(count / values.length, 3);
    expect(count).toBeGreaterThan(100);
  });

  test.each([
    ['climbing and sinking', { heave: { climbMS: 1.25, periodS: 4 } }],
    ['a changing mass', { load: { share: 0.2, periodS: 12 } }],
  ])('%s moves the throttle by 20 % and rotor speed by its root', (_, script) => {
    const sim = simulateFlight(
      still((c) => {
        Object.assign(c.script, script, { hoverS: 24, heightM: 5 });
        c.log.rotorHz = 50;
      }),
      3,
    );
    const of = (channel: 'throttle' | 'rotor.3.speed'): Float64Array =>
      sim.log.groups
        .find((g) => g.columns.has(channel))!
        .columns.get(channel)!
        .slice(300);
    const throttle = of('throttle');
    const speed = of('rotor.3.speed');
    const swing = Math.max(...throttle) / Math.min(...throttle);
    // 1.2 / 0.8 = 1.5.
    expect(swing).toBeGreaterThan(1.4);
    expect(swing).toBeLessThan(1.6);
    expect((Math.max(...speed) / Math.min(...speed)) ** 2 / swing).toBeCloseTo(1, 1);
    // The thrust carries what it has to: on average the weight.
    const accel = column(sim, 'accel.z');
    const mean = accel.reduce((sum, value) => sum + value, 0) / accel.length;
    expect(-mean).toBeCloseTo(9.8, 0);
  });

  test('a harmonic that is the blade pass is refused', () => {
    const twice = still((c) => (c.vibration.harmonics = [{ order: 2, gyro: 1, accel: 1 }]));
    expect(() => simulateFlight(twice, 1)).toThrow('not the blade pass');
  });
});
