import type { AxisName } from '@settle/parser';

export type PerAxis<T> = Record<AxisName, T>;
export type PerRotor = [number, number, number, number];

/** Parallel form on the body rate error in rad/s; the demand is a share of full authority. */
export interface RateGains {
  kp: number;
  ki: number;
  kd: number;
  /** On the rate reference. */
  kff: number;
}

/** A stick doublet: one side for half the period, then the other. */
export interface Doublet {
  axis: AxisName;
  /** Seconds after the aircraft is clear of the ground. */
  atS: number;
  /** Deflection, −1…1. */
  size: number;
  halfPeriodS: number;
}

/** A single gust, shaped as one half sine. */
export interface GustPulse {
  axis: AxisName;
  /** Seconds after the aircraft is clear of the ground. */
  atS: number;
  durationS: number;
  /** Angular acceleration at its peak, rad/s². */
  peakRadS2: number;
}

/** Of the x, y and z axes of a sensor. */
export type PerBodyAxis = [number, number, number];

/** A line at a whole multiple of every rotor's speed, besides once per revolution and blade pass. */
export interface RotorHarmonic {
  order: number;
  /** Amplitudes at hover speed, growing with speed squared; rad/s and m/s². */
  gyro: number;
  accel: number;
}

/**
 * A lightly damped mode of airframe or board that the sensors feel and the control torque does not move: outside of the
 * loop, although the controller sees it as it sees any vibration. Broad-band noise, growing with the rotors' speed
 * squared, and the rotors' once-per-revolution and blade-pass lines keep it ringing.
 */
export interface StructuralMode {
  frequencyHz: number;
  dampingRatio: number;
  /** Rms that the broad-band noise gives at hover speed, by sensor axis; rad/s and m/s². */
  gyro: PerBodyAxis;
  accel: PerBodyAxis;
  /** Amplitude that one rotor's line would give if it met the mode, over that rms. */
  rotorDrive: number;
}

/** A tone of constant frequency, there on the ground too: mains, a switching supply. Amplitudes by sensor axis. */
export interface ElectricalLine {
  frequencyHz: number;
  gyro: PerBodyAxis;
  accel: PerBodyAxis;
}

/** What a sensor can report: whole multiples of 2 × fullScale / 2^bits, none beyond the full scale. */
export interface SensorRange {
  /** rad/s or m/s². */
  fullScale: number;
  bits: number;
}

/** Mistakes between controller, motors and sensors. */
export interface Wiring {
  /** Place (from 1, as in `FlightConfig.rotors`) of the rotor that each motor command reaches. */
  motorOrder?: PerRotor;
  /** −1 where the rotors turn the body against what the mixer assumes: on yaw, all of them turning the other way. */
  sign?: Partial<PerAxis<1 | -1>>;
  /** The sensor board is turned about z by this many degrees, and the controller was not told. */
  boardTurnedDeg?: number;
}

/**
 * Everything one simulated flight is made of: plain data, so that it can be kept beside the log as JSON.
 * Axes follow ISO 1151 (x forward, y right, z down). SI units unless the name says otherwise.
 */
export interface FlightConfig {
  name: string;
  /** Controller rate. Log rates are rounded to whole fractions of it. */
  loopRateHz: number;
  /** Physics steps per controller step. */
  substeps: number;
  airframe: {
    massKg: number;
    /** Moments of inertia about the body axes, kg m²; only their ratios matter (effectiveness is given). */
    inertia: { x: number; y: number; z: number };
    /** Half spacing of the four gear legs along x and y, and height of the centre of mass above their feet; m. */
    gear: { x: number; y: number; heightM: number };
    /** Linear drag over mass, 1/s. */
    dragPerS: number;
    /** Angular acceleration per unit demand around hover, rad/s². */
    effectiveness: PerAxis<number>;
    /** Aerodynamic rate damping, 1/s. */
    damping: PerAxis<number>;
    /** Static instability: angular acceleration per angle, 1/s²; positive diverges (negative swings). Not on yaw. */
    instability: PerAxis<number>;
    /** Demand it takes to hold level in hover: weight off centre. */
    trim: PerAxis<number>;
    /** Share of the roll torque that turns up in pitch, and with the other sign of pitch in roll. */
    crossCoupling: number;
  };
  /** Rotors from 1: front left, front right, rear right, rear left. */
  rotors: {
    /** First-order lag of the thrust, s. */
    lagS: number;
    /** From the controller's sample to the motor, s. */
    delayS: number;
    /** Command that carries the weight, 0…1. */
    hoverThrottle: number;
    /** Command while idling on the ground. */
    idleCommand: number;
    /** Lowest command in flight. */
    lowStop: number;
    /** Change of motor command per unit of demand. */
    authority: PerAxis<number>;
    /** Revolutions per second in hover, and how much each rotor differs (share). */
    hoverHz: number;
    speedSpread: PerRotor;
    blades: number;
  };
  sensors: {
    /** Standard deviations per sample. */
    gyroNoiseRadS: number;
    accelNoise: number;
    attitudeNoiseRad: number;
    heightNoiseM: number;
    /** Second-order (or first-order) low-pass run at the loop rate; null for none. */
    gyroLowPassHz: number | null;
    gyroLowPassOrder: 1 | 2;
    /** Absent: no end of range, no steps. */
    gyroRange?: SensorRange;
    accelRange?: SensorRange;
  };
  /** Vibration seen by the inertial sensors: amplitudes at hover speed, growing with speed squared. */
  vibration: {
    /** Once per revolution, rad/s and m/s². */
    gyroOnce: number;
    accelOnce: number;
    /** Blade pass, rad/s and m/s². */
    gyroBladePass: number;
    accelBladePass: number;
    /** Weight of each rotor's share in the once-per-revolution lines. */
    imbalance: PerRotor;
    /** More orders, structural modes and electrical lines. Absent: none. */
    harmonics?: RotorHarmonic[];
    structure?: StructuralMode[];
    electrical?: ElectricalLine[];
  };
  /** A lightly damped mode moved by the control torque of its axis and felt by the gyro alone. */
  flexibleMode: null | {
    axis: AxisName;
    frequencyHz: number;
    dampingRatio: number;
    /** Modal acceleration per rigid angular acceleration; negative where sensor and rotors move against each other. */
    gain: number;
    /** Standard deviation of the broad-band excitation per loop step, rad/s². */
    noiseRadS2: number;
  };
  controller: {
    rate: PerAxis<RateGains>;
    /** Rate reference per angle error, 1/s. */
    attitude: PerAxis<number>;
    /** First-order low-pass on the derivative term; null for none. */
    derivativeLowPassHz: number | null;
    notches: { centreHz: number; bandwidthHz: number; depthDb: number }[];
    /** The integral term is held within ± this demand. */
    integralLimit: number;
    /** The rate reference is held within ± this, rad/s. */
    rateLimitRadS: number;
  };
  /** Holds the place it hovers at by asking for roll and pitch angles; null: sticks only. */
  positionLoop: null | {
    /** Velocity asked per distance, 1/s; acceleration asked per velocity error, 1/s. */
    position: number;
    velocity: number;
    maxAngleRad: number;
  };
  pilot: {
    /** Standard deviation of small random stick corrections and their bandwidth. */
    corrections: number;
    correctionsHz: number;
    doublets: Doublet[];
    /** A stick swung as a sine all through the hover. */
    stir: null | { axis: AxisName; frequencyHz: number; amplitude: number };
    /** Angle at full stick; yaw rate at full stick. */
    maxAngleRad: number;
    maxYawRateRadS: number;
    /** How briskly height is held through the throttle, rad/s. */
    heightRadS: number;
  };
  wind: {
    /** Standard deviation of the coloured angular acceleration, rad/s². */
    gustRadS2: PerAxis<number>;
    /** Corner of that noise; of first (−6 dB per octave) or second order. */
    gustHz: number;
    gustOrder: 1 | 2;
    /** Standard deviation of the horizontal gust acceleration, m/s². */
    pushMS2: number;
    pulses: GustPulse[];
  };
  battery: {
    fullV: number;
    hoverA: number;
    resistanceOhm: number;
    /** Fall of the open-circuit voltage at hover current, V/s. */
    drainVPerS: number;
  };
  /** Effects no linear analysis knows of. */
  unmodelled: {
    /** Thrust grows as command to this power (1: in proportion). */
    thrustExponent: number;
    /** Thrust follows the square of the battery voltage. */
    batterySag: boolean;
    weakRotor: null | { rotor: 1 | 2 | 3 | 4; factor: number };
    /** A further first-order low-pass on the gyro that the pilot was not told of. */
    extraLowPassHz: number | null;
    /** Standard deviation of the error of each logged time, s. */
    clockJitterS: number;
  };
  /** What was connected or mounted wrongly; the linear truth knows nothing of it. Absent: nothing. */
  wiring?: Wiring;
  script: {
    /** The log begins and ends in hover: no ground, no take-off, no landing. */
    startInHover: boolean;
    endInHover: boolean;
    /** Idling before throttle-up and after landing. */
    groundS: number;
    /** Throttle goes from idle to hover in this time. */
    spoolS: number;
    climbMS: number;
    descentMS: number;
    heightM: number;
    /** From clear of the ground to the decision to land (or to the end of the log). */
    hoverS: number;
    /** Land this long after the motion first exceeds either limit; null: never. */
    abort: null | { rateRadS: number; angleRad: number; afterS: number };
    /** Climbs and sinks as a sine while it hovers, at most this fast. Absent: holds its height. */
    heave?: { climbMS: number; periodS: number };
    /** The mass swings by this share, slowly, as if a tank at its centre of mass were filled and emptied. Absent: constant. */
    load?: { share: number; periodS: number };
  };
  /** Logged rates per group, Hz; 0: not logged. Nothing is filtered before it is thinned out. */
  log: {
    attitudeHz: number;
    rateHz: number;
    imuHz: number;
    motorHz: number;
    pilotHz: number;
    heightHz: number;
    rotorHz: number;
    batteryHz: number;
    /** Share of the rows of each group that are missing. */
    dropShare: number;
  };
}

const each = (roll: number, pitch: number, yaw: number): PerAxis<number> => ({ roll, pitch, yaw });

/** A well damped 1.5 kg multirotor: take-off, 30 s of hover in a light breeze, landing. */
export function defaultConfig(): FlightConfig {
  return {
    name: 'default',
    loopRateHz: 400,
    substeps: 4,
    airframe: {
      massKg: 1.5,
      inertia: { x: 0.018, y: 0.02, z: 0.034 },
      gear: { x: 0.16, y: 0.16, heightM: 0.16 },
      dragPerS: 0.15,
      effectiveness: each(120, 110, 25),
      damping: each(0.5, 0.5, 0.3),
      instability: each(0, 0, 0),
      trim: each(0.01, -0.015, 0.005),
      crossCoupling: 0,
    },
    rotors: {
      lagS: 0.04,
      delayS: 0.006,
      hoverThrottle: 0.45,
      idleCommand: 0.08,
      lowStop: 0.05,
      authority: each(0.5, 0.5, 0.4),
      hoverHz: 85,
      speedSpread: [0.004, -0.007, 0.011, -0.003],
      blades: 2,
    },
    sensors: {
      gyroNoiseRadS: 0.004,
      accelNoise: 0.05,
      attitudeNoiseRad: 0.0003,
      heightNoiseM: 0.01,
      gyroLowPassHz: 60,
      gyroLowPassOrder: 2,
    },
    vibration: {
      gyroOnce: 0.02,
      accelOnce: 0.4,
      gyroBladePass: 0.008,
      accelBladePass: 0.25,
      imbalance: [1, 0.7, 1.2, 0.9],
    },
    flexibleMode: null,
    controller: {
      rate: {
        roll: { kp: 0.16, ki: 0.5, kd: 0.0045, kff: 0 },
        pitch: { kp: 0.17, ki: 0.5, kd: 0.0048, kff: 0 },
        yaw: { kp: 0.3, ki: 0.4, kd: 0, kff: 0 },
      },
      attitude: each(6, 6, 2.5),
      derivativeLowPassHz: 30,
      notches: [],
      integralLimit: 0.5,
      rateLimitRadS: 3.5,
    },
    positionLoop: null,
    pilot: {
      corrections: 0.02,
      correctionsHz: 0.4,
      doublets: [],
      stir: null,
      maxAngleRad: 0.45,
      maxYawRateRadS: 1.5,
      heightRadS: 1.5,
    },
    wind: { gustRadS2: each(1.5, 1.5, 0.5), gustHz: 0.8, gustOrder: 1, pushMS2: 0.15, pulses: [] },
    battery: { fullV: 16.4, hoverA: 18, resistanceOhm: 0.02, drainVPerS: 0.004 },
    unmodelled: {
      thrustExponent: 1,
      batterySag: false,
      weakRotor: null,
      extraLowPassHz: null,
      clockJitterS: 0,
    },
    script: {
      startInHover: false,
      endInHover: false,
      groundS: 2,
      spoolS: 1.5,
      climbMS: 0.8,
      descentMS: 0.5,
      heightM: 1.5,
      hoverS: 30,
      abort: null,
    },
    log: {
      attitudeHz: 100,
      rateHz: 200,
      imuHz: 400,
      motorHz: 100,
      pilotHz: 50,
      heightHz: 25,
      rotorHz: 0,
      batteryHz: 10,
      dropShare: 0,
    },
  };
}
