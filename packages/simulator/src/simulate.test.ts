import { AXES, type AxisName } from '@settle/parser';
import { describe, expect, test } from 'vitest';
import { defaultConfig, type FlightConfig } from './config.js';
import { axisLoop } from './linear-loop.js';
import { simulateFlight, type SimulatedFlight } from './simulate.js';
import { trueRate } from './true-line.js';
import { dominantOf, raiseUntil, scaleGain, type GuiltyTerm } from './tune.js';
import { axisMargins } from './truth.js';

/** A flight in still air with perfect sensors that begins and ends in hover. */
function stillAir(change?: (config: FlightConfig) => void): FlightConfig {
  const c = defaultConfig();
  Object.assign(c.sensors, { gyroNoiseRadS: 0, accelNoise: 0, attitudeNoiseRad: 0, heightNoiseM: 0 });
  Object.assign(c.vibration, { gyroOnce: 0, accelOnce: 0, gyroBladePass: 0, accelBladePass: 0 });
  Object.assign(c.script, { startInHover: true, endInHover: true, hoverS: 10 });
  c.pilot.corrections = 0;
  c.wind.gustRadS2 = { roll: 0, pitch: 0, yaw: 0 };
  c.wind.pushMS2 = 0;
  c.airframe.trim = { roll: 0, pitch: 0, yaw: 0 };
  change?.(c);
  return c;
}

const nudge = (c: FlightConfig, axis: AxisName, peakRadS2: number): FlightConfig => ({
  ...c,
  wind: { ...c.wind, pulses: [{ axis, atS: 0.1, durationS: 0.1, peakRadS2 }] },
});

/** Frequency and growth of a single decaying or growing swing, from its interpolated maxima after `fromS`. */
function swing(
  sim: SimulatedFlight,
  axis: AxisName,
  fromS: number,
): { hz: number; growth: number; last: number } {
  const { timeS } = sim.truth.motion;
  const x = trueRate(sim.truth, axis);
  const peaks: { t: number; size: number }[] = [];
  for (let i = 1; i + 1 < x.length; i++) {
    const [a, b, c] = [x[i - 1]!, x[i]!, x[i + 1]!];
    if (timeS[i]! < fromS || b <= 0 || b <= a || b < c) continue;
    const shift = (a - c) / (2 * (a - 2 * b + c));
    peaks.push({ t: timeS[i]! + shift * (timeS[1]! - timeS[0]!), size: b - ((a - c) * shift) / 4 });
  }
  const first = peaks[0]!;
  const last = peaks.at(-1)!;
  const span = last.t - first.t;
  return { hz: (peaks.length - 1) / span, growth: Math.log(last.size / first.size) / span, last: last.size };
}

interface Case {
  title: string;
  axis: AxisName;
  term: GuiltyTerm;
  growthPerS: number;
  change?: (c: FlightConfig) => void;
}

const cases: Case[] = [
  { title: 'rate loop, growing', axis: 'roll', term: 'rate', growthPerS: 0.4 },
  { title: 'rate loop, dying', axis: 'pitch', term: 'rate', growthPerS: -0.4 },
  { title: 'proportional term, growing', axis: 'roll', term: 'P', growthPerS: 0.3 },
  { title: 'integral term, growing', axis: 'roll', term: 'I', growthPerS: 0.3 },
  { title: 'attitude loop, dying', axis: 'pitch', term: 'attitude', growthPerS: -0.4 },
  { title: 'yaw, growing', axis: 'yaw', term: 'rate', growthPerS: 0.3 },
  {
    title: 'delay of whole and broken steps at another loop rate',
    axis: 'roll',
    term: 'rate',
    growthPerS: 0.3,
    change: (c) => {
      c.rotors.delayS = 0.0113;
      c.loopRateHz = 250;
      c.substeps = 7;
    },
  },
  {
    title: 'thrust curve and an untold filter',
    axis: 'pitch',
    term: 'rate',
    growthPerS: 0.3,
    change: (c) => {
      c.unmodelled.thrustExponent = 1.7;
      c.unmodelled.extraLowPassHz = 40;
    },
  },
  {
    title: 'flexible mode driven unstable',
    axis: 'roll',
    term: 'rate',
    growthPerS: 0.5,
    change: (c) => {
      c.flexibleMode = { axis: 'roll', frequencyHz: 24, dampingRatio: 0.03, gain: 0.3, noiseRadS2: 0 };
    },
  },
  {
    title: 'position loop, growing',
    axis: 'roll',
    term: 'position',
    growthPerS: 0.2,
    change: (c) => {
      c.positionLoop = { position: 0.5, velocity: 1, maxAngleRad: 0.35 };
    },
  },
  {
    title: 'statically unstable airframe with a notch',
    axis: 'roll',
    term: 'attitude',
    growthPerS: 0.2,
    change: (c) => {
      c.airframe.instability.roll = 8;
      c.controller.notches = [{ centreHz: 30, bandwidthHz: 10, depthDb: 30 }];
    },
  },
];

describe('small motion follows the dominant pole of the linear truth', () => {
  test.each(cases)('$title', ({ axis, term, growthPerS, change }) => {
    const raised = raiseUntil(stillAir(change), axis, term, (d) => d.growthPerS - growthPerS);
    expect(raised).not.toBeNull();
    const config = nudge(raised!.config, axis, 1e-5);
    const linear = dominantOf(config, axis)!;
    const sim = simulateFlight(config, 1);
    const seen = swing(sim, axis, 5);
    expect(seen.last).toBeLessThan(0.01);
    expect(Math.abs(seen.hz / linear.frequencyHz - 1)).toBeLessThan(0.001);
    // Physics steps of 0.6 ms and the finite record: 2 % of a hundredth of the angular frequency is 0.02 1/s at 15 Hz.
    expect(Math.abs(seen.growth - linear.growthPerS)).toBeLessThan(0.0002 * 2 * Math.PI * linear.frequencyHz);
  });
});

describe('margins are where the simulated loop is at its edge', () => {
  test.each([
    ['roll', 'rate'],
    ['pitch', 'rate'],
    ['yaw', 'rate'],
    ['roll', 'attitude'],
    ['yaw', 'attitude'],
  ] as const)('%s %s loop', (axis, which) => {
    const base = stillAir();
    // The rate loop is judged alone: the attitude loop open.
    if (which === 'rate') base.controller.attitude[axis] = 0;
    const margins = axisMargins(axisLoop(base, axis))[which];
    const factor = 10 ** (margins.gainMarginDb! / 20);
    const edge = nudge(scaleGain(base, axis, which, factor), axis, 1e-5);
    const seen = swing(simulateFlight(edge, 1), axis, 5);
    expect(Math.abs(seen.growth)).toBeLessThan(0.001 * 2 * Math.PI * seen.hz);
    expect(Math.abs(seen.hz / margins.phaseCrossoverHz! - 1)).toBeLessThan(0.001);
    const sure = nudge(scaleGain(base, axis, which, factor * 1.03), axis, 1e-5);
    const safe = nudge(scaleGain(base, axis, which, factor / 1.03), axis, 1e-5);
    expect(swing(simulateFlight(sure, 1), axis, 5).growth).toBeGreaterThan(0.02);
    expect(swing(simulateFlight(safe, 1), axis, 5).growth).toBeLessThan(-0.02);
  });
});

describe('a flight', () => {
  test('is the same for the same seed and another for another', () => {
    const c = { ...defaultConfig(), script: { ...defaultConfig().script, hoverS: 3 } };
    const columns = (seed: number): Float64Array[] =>
      simulateFlight(c, seed).log.groups.flatMap((g) => [g.timeS, ...g.columns.values()]);
    expect(columns(5)).toEqual(columns(5));
    expect(columns(5)).not.toEqual(columns(6));
  });

  test('with other gains meets the same wind', () => {
    const a = defaultConfig();
    a.script.hoverS = 2;
    const b = structuredClone(a);
    b.controller.rate.roll.kp *= 1.1;
    const gyro = (c: FlightConfig): Float64Array =>
      simulateFlight(c, 3)
        .log.groups.find((g) => g.name === 'imu')!
        .columns.get('gyro.z')!;
    // Before throttle-up the gains play no part, so noise and wind show bare.
    expect(gyro(a).slice(0, 700)).toEqual(gyro(b).slice(0, 700));
  });

  test('at rest feels its weight along z and turns nowhere', () => {
    const sim = simulateFlight(defaultConfig(), 2);
    const imu = sim.log.groups.find((g) => g.name === 'imu')!;
    const end = imu.timeS.findIndex((t) => t > 1.5);
    const mean = (channel: 'accel.x' | 'accel.y' | 'accel.z' | 'gyro.x'): number =>
      imu.columns
        .get(channel)!
        .slice(200, end)
        .reduce((a, b) => a + b, 0) /
      (end - 200);
    expect(mean('accel.z')).toBeCloseTo(-9.80665, 1);
    expect(mean('accel.x')).toBeCloseTo(0, 1);
    expect(mean('accel.y')).toBeCloseTo(0, 1);
    expect(mean('gyro.x')).toBeCloseTo(0, 2);
  });

  test('passes through ground, take-off, hover, landing, ground', () => {
    const { phases, airborne, motion } = simulateFlight(defaultConfig(), 4).truth;
    expect(phases.map((p) => p.kind)).toEqual(['ground', 'takeoff', 'hover', 'landing', 'ground']);
    for (let i = 1; i < phases.length; i++) expect(phases[i]!.startS).toBe(phases[i - 1]!.endS);
    const lasts = airborne!.endS - airborne!.startS;
    expect(lasts).toBeGreaterThan(30);
    expect(lasts).toBeLessThan(36);
    expect(Math.max(...motion.height)).toBeGreaterThan(1.3);
    expect(Math.max(...motion.height)).toBeLessThan(2);
  });

  test('holds its trim against weight off centre', () => {
    const c = defaultConfig();
    c.airframe.trim = { roll: 0.05, pitch: -0.12, yaw: 0.02 };
    c.script.hoverS = 12;
    const sim = simulateFlight(c, 8);
    const rate = sim.log.groups.find((g) => g.name === 'rate')!;
    for (const axis of AXES) {
      const demand = rate.columns.get(`rate.${axis}.demand`)!;
      const inHover = demand.filter(
        (_, i) =>
          rate.timeS[i]! > sim.truth.airborne!.startS + 4 && rate.timeS[i]! < sim.truth.airborne!.endS - 1,
      );
      const mean = inHover.reduce((a, b) => a + b, 0) / inHover.length;
      expect(mean).toBeCloseTo(c.airframe.trim[axis], 2);
    }
  });

  test('with a loose rate loop and weight far off centre tips over at lift-off', () => {
    const c = defaultConfig();
    for (const axis of ['roll', 'pitch'] as const) {
      const gains = c.controller.rate[axis];
      c.controller.rate[axis] = { kp: gains.kp / 40, ki: gains.ki / 40, kd: 0, kff: 0 };
    }
    c.airframe.trim.roll = 0.3;
    const { phases } = simulateFlight(c, 1).truth;
    expect(phases.at(-1)!.kind).toBe('upset');
    const sound = defaultConfig();
    sound.airframe.trim.roll = 0.3;
    expect(simulateFlight(sound, 1).truth.phases.map((p) => p.kind)).not.toContain('upset');
  });

  test('lands two seconds after the motion gets large', () => {
    const unstable = raiseUntil(defaultConfig(), 'roll', 'P', (d) => d.growthPerS - 2)!.config;
    unstable.script.abort = { rateRadS: Math.PI / 3, angleRad: 0.44, afterS: 2 };
    unstable.script.heightM = 0.7;
    const { airborne, motion } = simulateFlight(unstable, 3).truth;
    const lasts = airborne!.endS - airborne!.startS;
    expect(lasts).toBeGreaterThan(2);
    expect(lasts).toBeLessThan(9);
    expect(Math.max(...motion.p.map(Math.abs))).toBeGreaterThan(Math.PI / 3);
  });

  test('logs each group at its own rate, faster than the loop only for the inertial one', () => {
    const c = defaultConfig();
    c.script.hoverS = 2;
    c.log = { ...c.log, attitudeHz: 30, rateHz: 1000, imuHz: 800, motorHz: 0, rotorHz: 20 };
    const groups = simulateFlight(c, 1).log.groups;
    const rates = Object.fromEntries(groups.map((g) => [g.name, g.rateHz]));
    // 400 Hz over 13 is the nearest whole fraction to 30 Hz.
    expect(rates).toMatchObject({ attitude: 400 / 13, rate: 400, imu: 800, rotor: 20 });
    expect(rates['motor']).toBeUndefined();
    const imu = groups.find((g) => g.name === 'imu')!;
    expect(imu.timeS[1]! - imu.timeS[0]!).toBeCloseTo(1 / 800, 9);
  });

  test('with a shaky logger has jittered, rising times and missing rows', () => {
    const c = defaultConfig();
    c.script.hoverS = 20;
    c.unmodelled.clockJitterS = 0.001;
    c.log.dropShare = 0.02;
    const { timeS } = simulateFlight(c, 1).log.groups.find((g) => g.name === 'attitude')!;
    let squares = 0;
    let ordinary = 0;
    let missing = 0;
    for (let i = 1; i < timeS.length; i++) {
      const step = timeS[i]! - timeS[i - 1]!;
      expect(step).toBeGreaterThan(0);
      if (step > 0.0155) missing++;
      else {
        squares += (step - 0.01) ** 2;
        ordinary++;
      }
    }
    // Two independent errors make each step.
    expect(Math.sqrt(squares / ordinary)).toBeCloseTo(0.001 * Math.SQRT2, 4);
    expect(missing / timeS.length).toBeGreaterThan(0.012);
    expect(missing / timeS.length).toBeLessThan(0.028);
  });

  test('meets a gust pulse and a doublet when the script says so', () => {
    const c = stillAir();
    c.wind.pulses = [{ axis: 'pitch', atS: 2, durationS: 0.4, peakRadS2: 10 }];
    c.pilot.doublets = [{ axis: 'roll', atS: 5, size: 0.3, halfPeriodS: 0.5 }];
    const { motion, manoeuvres } = simulateFlight(c, 1).truth;
    const largest = (x: Float64Array, from: number, to: number): number =>
      Math.max(...x.slice(from * 400, to * 400).map(Math.abs));
    expect(largest(motion.q, 0, 2)).toBeLessThan(1e-6);
    expect(largest(motion.q, 2, 3)).toBeGreaterThan(0.3);
    expect(largest(motion.p, 3, 5)).toBeLessThan(1e-3);
    expect(largest(motion.p, 5, 6)).toBeGreaterThan(0.3);
    expect(manoeuvres).toEqual([{ startS: 5, endS: 6 }]);
  });

  test('with a weak rotor is trimmed by the others and still level', () => {
    const c = stillAir();
    c.unmodelled.weakRotor = { rotor: 2, factor: 0.85 };
    const sim = simulateFlight(c, 1);
    const motor = sim.log.groups.find((g) => g.name === 'motor')!;
    const last = (n: number): number => motor.columns.get(`motor.${n}.command`)!.at(-1)!;
    expect(last(2) / last(4)).toBeCloseTo(1 / 0.85, 3);
    expect(Math.abs(sim.truth.motion.roll.at(-1)!)).toBeLessThan(1e-3);
  });

  test('with sagging thrust needs more throttle as the battery falls', () => {
    const c = stillAir();
    c.unmodelled.batterySag = true;
    c.battery.drainVPerS = 0.1;
    const throttle = simulateFlight(c, 1)
      .log.groups.find((g) => g.name === 'pilot')!
      .columns.get('throttle')!;
    // 15.5 V of 16.04 V at the end, squared.
    expect(throttle.at(-1)! / throttle[10]!).toBeGreaterThan(1.08);
    expect(throttle.at(-1)! / throttle[10]!).toBeLessThan(1.18);
  });

  test('refuses a lag of zero', () => {
    const c = defaultConfig();
    c.rotors.lagS = 0;
    expect(() => simulateFlight(c, 1)).toThrow('loop rate, substeps, rotor lag and mass must be positive');
  });
});

describe('a limit cycle', () => {
  test('is held by the motor stops at the amplitude and frequency of the describing function', () => {
    // A proportional loop alone, so that its clipping is that of one saturation: the stops, reached by all four rotors
    // at once. The sinusoidal describing function of that saturation (reference: Åström and Hägglund, and the closed
    // form N = 2/π (asin x + x √(1−x²)), x = d/A) then says where L N = −1.
    const c = stillAir((x) => {
      x.controller.attitude.roll = 0;
      x.controller.rate.roll = { kp: 0.16, ki: 0, kd: 0, kff: 0 };
      x.rotors.hoverThrottle = 0.5;
      x.rotors.lowStop = 0.02;
      x.script.hoverS = 14;
    });
    const margins = axisMargins(axisLoop(c, 'roll')).rate;
    const edge = 10 ** (margins.gainMarginDb! / 20);
    const excess = 1.25;
    const config = nudge(scaleGain(c, 'roll', 'P', edge * excess), 'roll', 0.5);
    const sim = simulateFlight(config, 1);
    expect(sim.truth.axes.roll.clippedShare).toBeGreaterThan(0.2);
    const seen = swing(sim, 'roll', 10);
    expect(Math.abs(seen.growth)).toBeLessThan(0.05);
    expect(Math.abs(seen.hz / margins.phaseCrossoverHz! - 1)).toBeLessThan(0.02);
    const rate = sim.log.groups.find((g) => g.name === 'rate')!;
    const demand = rate.columns.get('rate.roll.proportional')!.slice(-400);
    const amplitude = Math.max(...demand.map(Math.abs));
    // The proportional term is the demand before any limit; the stops are 0.48 and 0.50 of command away: ±0.96 of demand.
    const x = 0.96 / amplitude;
    const n = x >= 1 ? 1 : (2 / Math.PI) * (Math.asin(x) + x * Math.sqrt(1 - x * x));
    expect(n * excess).toBeGreaterThan(0.95);
    expect(n * excess).toBeLessThan(1.05);
  });
});

describe('rotor vibration', () => {
  test('stands at the rotor speeds of the truth', () => {
    const c = stillAir();
    c.vibration.gyroOnce = 0.05;
    c.script.hoverS = 8;
    const sim = simulateFlight(c, 1);
    const imu = sim.log.groups.find((g) => g.name === 'imu')!;
    const x = imu.columns.get('gyro.x')!;
    const level = (hz: number): number => {
      let re = 0;
      let im = 0;
      for (let i = 0; i < x.length; i++) {
        const w = 1 - Math.cos((2 * Math.PI * i) / x.length);
        re += w * x[i]! * Math.cos(2 * Math.PI * hz * imu.timeS[i]!);
        im += w * x[i]! * Math.sin(2 * Math.PI * hz * imu.timeS[i]!);
      }
      return (2 * Math.hypot(re, im)) / x.length;
    };
    sim.truth.rotorHz!.rotors.forEach((hz, i) => {
      expect(level(hz)).toBeCloseTo(0.05 * c.vibration.imbalance[i]!, 2);
    });
    expect(level(sim.truth.rotorHz!.mean * 1.1)).toBeLessThan(0.001);
  });
});
