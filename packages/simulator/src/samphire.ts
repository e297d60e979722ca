import { AXES } from '@settle/parser';
import type { CsvOptions } from './csv.js';
import { defaultConfig, type FlightConfig } from './config.js';
import { dominantOf, raiseUntil, scaleGain, tuneFlight } from './tune.js';

/**
 * The demo aircraft: `Samphire`, 5.9 kg, 2.4 m span, four lift rotors with 17-inch two-blade props on aluminium booms;
 * and the five hovers of its tuning record.
 */
export interface DemoHover {
  readonly name: string;
  /** Where the log's clock stood, s. */
  readonly clockStartS: number;
  readonly seed: number;
  readonly config: FlightConfig;
}

/** How the demo flights are written; the feed-forward terms, all zero, are left out to keep the files small. */
export function demoCsv(hover: { readonly clockStartS: number }): CsvOptions {
  return { clockStartS: hover.clockStartS, channels: (name) => !name.endsWith('.feedforward') };
}

/** Thrust coefficient at hover: between the static values of two-blade props in the UIUC Propeller Data Site, Vol. 1. */
const THRUST_COEFFICIENT = 0.11;
const AIR_DENSITY = 1.225;
const PROP_DIAMETER_M = 17 * 0.0254;

/** T = C_T ρ n² D⁴ for a quarter of the weight, solved for n. */
function hoverRotorHz(massKg: number): number {
  const thrust = (massKg * 9.80665) / 4;
  return Math.sqrt(thrust / (THRUST_COEFFICIENT * AIR_DENSITY * PROP_DIAMETER_M ** 4));
}

function samphire(): FlightConfig {
  const c = defaultConfig();
  c.airframe = {
    massKg: 5.9,
    inertia: { x: 0.52, y: 0.38, z: 0.84 },
    gear: { x: 0.35, y: 0.3, heightM: 0.24 },
    dragPerS: 0.2,
    effectiveness: { roll: 46, pitch: 62, yaw: 7 },
    damping: { roll: 0.8, pitch: 0.5, yaw: 0.4 },
    instability: { roll: 0, pitch: 0, yaw: 0 },
    trim: { roll: 0.01, pitch: -0.015, yaw: 0.02 },
    crossCoupling: 0.02,
  };
  c.rotors = {
    lagS: 0.075,
    delayS: 0.009,
    hoverThrottle: 0.46,
    idleCommand: 0.07,
    lowStop: 0.05,
    authority: { roll: 0.4, pitch: 0.4, yaw: 0.3 },
    hoverHz: hoverRotorHz(5.9),
    speedSpread: [0.006, -0.008, 0.012, -0.004],
    blades: 2,
  };
  c.sensors.gyroLowPassHz = 45;
  c.sensors.gyroNoiseRadS = 0.003;
  c.controller.derivativeLowPassHz = 20;
  c.vibration = {
    gyroOnce: 0.012,
    accelOnce: 0.35,
    gyroBladePass: 0.006,
    accelBladePass: 0.3,
    imbalance: [1, 0.8, 0.9, 0.7],
  };
  // First bending of the booms, felt in roll.
  c.flexibleMode = { axis: 'roll', frequencyHz: 27, dampingRatio: 0.02, gain: 0.05, noiseRadS2: 1.6 };
  c.pilot.corrections = 0.012;
  c.pilot.correctionsHz = 0.3;
  c.wind = {
    gustRadS2: { roll: 0.35, pitch: 0.3, yaw: 0.1 },
    gustHz: 0.6,
    gustOrder: 1,
    pushMS2: 0.06,
    pulses: [],
  };
  c.battery = { fullV: 25.1, hoverA: 46, resistanceOhm: 0.018, drainVPerS: 0.006 };
  c.script = {
    ...c.script,
    groundS: 1,
    spoolS: 1.2,
    climbMS: 0.7,
    descentMS: 0.6,
    heightM: 1.2,
    hoverS: 11.5,
  };
  c.log = {
    attitudeHz: 50,
    rateHz: 100,
    imuHz: 200,
    motorHz: 50,
    pilotHz: 20,
    heightHz: 10,
    rotorHz: 0,
    batteryHz: 5,
    dropShare: 0,
  };
  return c;
}

/** @param derivativeOverLag how much of the rotors' lag the derivative term makes up for */
function tuned(config: FlightConfig, derivativeOverLag: number): FlightConfig {
  const margins = { gainMarginDb: 8.5, phaseMarginDeg: 52 };
  const result = tuneFlight(config, margins, { derivativeOverLag, integralOverLag: 9 });
  if (result === null) throw new Error('the demo aircraft cannot be tuned');
  return result;
}

/** What the diagnosis of hover 1 asks for: a gyro log in which the blade pass shows where it is, and a movement of each stick. */
function logAsAdvised(config: FlightConfig, stick: number): void {
  config.log.imuHz = 400;
  config.script.hoverS = 20;
  config.pilot.doublets = [2, 11].flatMap((firstS) =>
    AXES.map((axis, i) => ({
      axis,
      atS: firstS + 3 * i,
      size: axis === 'yaw' ? stick + 0.1 : stick,
      halfPeriodS: 0.45,
    })),
  );
}

/** Margins met in all axes, the props balanced, and one notch that takes the rest of their lines out of the loops. */
function settled(): FlightConfig {
  const c = samphire();
  c.controller.notches = [{ centreHz: Math.round(c.rotors.hoverHz), bandwidthHz: 20, depthDb: 30 }];
  const config = tuned(c, 0.6);
  config.controller.attitude.yaw = 6;
  config.vibration.gyroOnce = 0.012;
  config.vibration.accelOnce = 0.34;
  config.vibration.gyroBladePass = 0.01;
  config.wind.gustRadS2 = { roll: 0.45, pitch: 0.4, yaw: 0.15 };
  logAsAdvised(config, 0.15);
  return config;
}

/** A roll loop this much looser than it should be wanders in a breeze. */
const SLUGGISH = 0.22;

export function samphireHovers(): DemoHover[] {
  const sluggish = scaleGain(tuned(samphire(), 0.25), 'roll', 'rate', SLUGGISH);
  // The attitude loops stay cautious until the rate loops are right.
  sluggish.controller.attitude.roll *= 0.5;
  sluggish.controller.attitude.pitch *= 0.5;

  const tight = raiseUntil(sluggish, 'pitch', 'P', (d) => d.growthPerS - 1.6);
  if (tight === null || dominantOf(tight.config, 'pitch') === null) {
    throw new Error('the pitch loop of the first hover cannot be made to ring');
  }
  const first = tight.config;
  first.airframe.trim.pitch = -0.14;
  first.script.heightM = 0.8;
  first.script.hoverS = 8;
  first.script.abort = { rateRadS: (40 * Math.PI) / 180, angleRad: (25 * Math.PI) / 180, afterS: 2 };

  const second = structuredClone(sluggish);
  logAsAdvised(second, 0.3);
  second.wind.gustRadS2 = { roll: 0.9, pitch: 0.7, yaw: 0.25 };
  second.vibration.gyroOnce = 0.06;
  second.vibration.accelOnce = 1.6;
  second.vibration.gyroBladePass = 0.02;

  const third = settled();

  const fourth = structuredClone(third);
  fourth.vibration.imbalance = [1, 0.8, 6, 0.7];

  const fifth = structuredClone(third);
  fifth.flexibleMode = { axis: 'roll', frequencyHz: 21.5, dampingRatio: 0.012, gain: 0.09, noiseRadS2: 2.2 };

  return [first, second, third, fourth, fifth].map((config, i) => {
    const name = `samphire-hover-${String(i + 1)}`;
    return {
      name,
      clockStartS: [41.3, 12.08, 20.5, 8.92, 33.16][i]!,
      seed: [1101, 1102, 1203, 1104, 1105][i]!,
      config: { ...config, name },
    };
  });
}
