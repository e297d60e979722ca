import { AXES } from '@settle/parser';
import { complex } from './complex.js';
import type { FlightConfig, PerBodyAxis, PerRotor } from './config.js';
import { axisLoop, sensorGain } from './linear-loop.js';
import { GRAVITY } from './operating-point.js';
import { isSound, randomAirframe } from './random-flight.js';
import { makeStream, type Random } from './random.js';
import { simulateFlight, type SimulatedFlight } from './simulate.js';
import { isUpset } from './trial-aircraft.js';
import { tuneFlight } from './tune.js';
import { foldFrequency } from './vibration-truth.js';

export type Throttle = 'constant' | 'heave' | 'load';

/** A well-damped aircraft that shakes, and what was drawn for it. */
export interface VibrationFlight {
  readonly seed: number;
  readonly config: FlightConfig;
  /** Nothing stands out of the sensors' noise: one seed of any six in a row. */
  readonly quiet: boolean;
  /** Constant, swung by climbing and sinking, or swung slowly by a changing mass (±20 % about). */
  readonly throttle: Throttle;
  /** A line of the rotors' family lies beyond half the sample rate. */
  readonly aliased: boolean;
  readonly speedChannel: boolean;
  /** The accelerometer runs into the end of its range. */
  readonly clipping: boolean;
  /** Rotor speed goes as throttle to this power. */
  readonly throttleExponent: number;
}

const DEG = Math.PI / 180;

/** Share of what the motor stops leave free that all lines, and all sensor noise, may move the motors by (rms). */
const LINES_SHARE = 0.15;
const NOISE_SHARE = 0.06;

/** A line that shows has this power over the noise within 1 Hz, dB: from hidden to very strong. */
const STRENGTH_DB = [6, 48] as const;
const STRUCTURE_DB = [8, 35] as const;
const ELECTRICAL_DB = [8, 32] as const;

/** Highest line, as a share of the sample rate, that is meant to be seen where it is. */
const SEEN_SHARE = 0.45;

/** Share of the trims that airframes are drawn with: weight nearly in the middle; all of it puts the rotors’ speeds up to 25 % apart. */
export const NEAR_CENTRE = 0.25;
export const OFF_CENTRE = 1;

/** Every seed gives one; draws that cannot be tuned well are drawn again. */
export function vibrationFlight(seed: number, trims = NEAR_CENTRE): VibrationFlight {
  const random = makeStream(seed, 'vibration flight');
  const whole = ((Math.floor(seed) % 30) + 30) % 30;
  for (;;) {
    const airframe = randomAirframe(random);
    airframe.name = `vibration-${String(seed)}`;
    drawRotors(airframe, trims, random);
    const tuned = tuneFlight(
      airframe,
      { gainMarginDb: random.between(7.5, 11), phaseMarginDeg: random.between(49, 60) },
      { derivativeOverLag: random.between(0.15, 0.7), integralOverLag: random.between(4, 10) },
    );
    if (tuned === null || !isSound(tuned)) continue;
    const quiet = whole % 6 === 5;
    const aliased = random.chance(0.2) && !quiet;
    const rateHz = drawRates(tuned, aliased, random);
    if (rateHz === null) continue;
    const throttle = random.pick(['constant', 'constant', 'heave', 'load'] as const);
    drawScript(tuned, throttle, random);
    drawSensors(tuned, random);
    calmNoise(tuned);
    drawLines(tuned, rateHz, quiet, random);
    if (whole % 5 === 2) addElectrical(tuned, rateHz, quiet, random);
    const clipping = !quiet && random.chance(0.07);
    if (clipping) addClipping(tuned, random);
    calmLines(tuned);
    const { hoverHz, blades } = tuned.rotors;
    return {
      seed,
      config: tuned,
      quiet,
      throttle,
      aliased: blades * hoverHz > rateHz / 2,
      speedChannel: tuned.log.rotorHz > 0,
      clipping,
      throttleExponent: tuned.unmodelled.thrustExponent / 2,
    };
  }
}

/** The flight of a seed; draws that tip over are replaced by the next of the same seed. */
export function flyVibration(
  seed: number,
  trims = NEAR_CENTRE,
): { flight: VibrationFlight; sim: SimulatedFlight } {
  for (let attempt = 0; ; attempt++) {
    const flight = vibrationFlight(seed + 30_000_000 * attempt, trims);
    const sim = simulateFlight(flight.config, seed);
    if (sim.truth.airborne !== null && !isUpset(sim.truth)) return { flight, sim };
  }
}

function drawRotors(c: FlightConfig, trims: number, random: Random): void {
  // Fast enough to see every blade pass: what a controller folds down it would make the body follow.
  c.loopRateHz = random.pick([800, 1000]);
  c.substeps = 2;
  c.rotors.hoverHz = random.logBetween(25, 140);
  c.rotors.blades = random.pick([2, 2, 3]);
  // One in five has rotors as alike as can be.
  const spread = random.chance(0.2) ? 0.002 : random.between(0.008, 0.03);
  c.rotors.speedSpread = [0, 0, 0, 0].map(() => random.between(-spread, spread)) as PerRotor;
  // Weight off centre spreads the speeds too.
  for (const axis of AXES) c.airframe.trim[axis] *= trims;
  const calm = random.logBetween(0.1, 1);
  for (const axis of AXES) c.wind.gustRadS2[axis] *= calm;
  c.unmodelled.thrustExponent = random.chance(0.5) ? 1 : random.between(1.1, 2);
}

/** Log rates; null where no rate gives what was asked for. */
function drawRates(c: FlightConfig, aliased: boolean, random: Random): number | null {
  const { loopRateHz } = c;
  const bladeHz = c.rotors.blades * c.rotors.hoverHz;
  const rates = [1, 2, 3, 4, 5, 6, 8].map((every) => loopRateHz / every).filter((rate) => rate >= 100);
  const fit = rates.filter((rate) =>
    aliased
      ? rate <= 250 && bladeHz > 0.53 * rate && foldFrequency(bladeHz, rate) > 20
      : rate >= 200 && bladeHz < SEEN_SHARE * rate,
  );
  if (fit.length === 0) return null;
  const rateHz = random.pick(fit);
  c.log = {
    attitudeHz: 50,
    rateHz: random.pick([100, 200]),
    imuHz: rateHz,
    motorHz: random.pick([50, 100]),
    pilotHz: 50,
    heightHz: random.pick([0, 10, 25]),
    rotorHz: random.chance(0.5) ? random.pick([20, 25, 50, 100]) : 0,
    batteryHz: 10,
    dropShare: random.chance(0.1) ? 0.01 : 0,
  };
  return rateHz;
}

function drawScript(c: FlightConfig, throttle: Throttle, random: Random): void {
  const { script } = c;
  script.hoverS = random.logBetween(20, 60);
  script.heightM = throttle === 'heave' ? 6 : random.between(1.5, 3);
  script.groundS = random.between(1, 4);
  if (random.chance(0.4)) {
    script.startInHover = true;
    script.endInHover = true;
  }
  if (throttle === 'constant') return;
  // Throttle by ±20 %, and thrust by that to the power of the thrust curve, as far as the aircraft has it to give.
  const power = c.unmodelled.thrustExponent;
  const share = Math.min(0.35, random.between(0.17, 0.22) * power);
  if (throttle === 'heave') {
    const periodS = random.between(4, 9);
    script.heave = { climbMS: (share * GRAVITY * periodS) / (2 * Math.PI), periodS };
  } else script.load = { share, periodS: random.between(14, 40) };
}

function drawSensors(c: FlightConfig, random: Random): void {
  c.sensors.gyroNoiseRadS = random.logBetween(0.001, 0.01);
  c.sensors.accelNoise = random.logBetween(0.03, 0.3);
  // Ranges of common parts (data sheet in reference-values.md, section 10): 250 to 2000 deg/s, 2 to 16 g.
  const bits = random.chance(0.1) ? 12 : 16;
  if (random.chance(0.7)) c.sensors.gyroRange = { fullScale: random.pick([500, 1000, 2000]) * DEG, bits };
  if (random.chance(0.7)) c.sensors.accelRange = { fullScale: random.pick([8, 16]) * GRAVITY, bits };
}

/** Rms of a line of this strength, rad/s or m/s². */
function rmsOf(strengthDb: number, noiseStd: number, rateHz: number): number {
  return noiseStd * Math.sqrt((2 / rateHz) * 10 ** (strengthDb / 10));
}

/** The rotors' lines, one or two harmonics, up to two modes. Strengths are drawn for each sensor by itself. */
function drawLines(c: FlightConfig, rateHz: number, quiet: boolean, random: Random): void {
  const { vibration, sensors, rotors } = c;
  const strength = (): number => (quiet ? -20 : random.between(...STRENGTH_DB));
  vibration.gyroOnce = Math.SQRT2 * rmsOf(strength(), sensors.gyroNoiseRadS, rateHz);
  vibration.accelOnce = Math.SQRT2 * rmsOf(strength(), sensors.accelNoise, rateHz);
  vibration.gyroBladePass = vibration.gyroOnce * random.logBetween(0.1, 1.5);
  vibration.accelBladePass = vibration.accelOnce * random.logBetween(0.2, 3);
  vibration.imbalance = [0, 0, 0, 0].map(() => random.between(0.4, 1.4)) as PerRotor;
  // A chipped propeller.
  if (random.chance(0.12)) vibration.imbalance[Math.floor(4 * random.uniform())] = random.between(4, 8);
  const orders = [2, 3, 4, 6].filter(
    (order) => order !== rotors.blades && order * rotors.hoverHz * 1.2 < SEEN_SHARE * rateHz,
  );
  const count = random.pick([0, 1, 1, 2]);
  vibration.harmonics = orders.slice(0, count).map((order) => ({
    order,
    gyro: vibration.gyroOnce * random.logBetween(0.05, 0.5),
    accel: vibration.accelOnce * random.logBetween(0.05, 0.5),
  }));
  if (quiet) return;
  vibration.structure = Array.from({ length: random.pick([0, 0, 1, 1, 2]) }, () => {
    const frequencyHz = random.between(15, Math.min(180, SEEN_SHARE * rateHz));
    const dampingRatio = random.logBetween(0.003, 0.04);
    // A mode's noise is spread over its width, π/2 times its 3 dB bandwidth 2 ζ f.
    const spreadDb = 10 * Math.log10(Math.max(1, Math.PI * dampingRatio * frequencyHz));
    const rms = (noiseStd: number): number =>
      rmsOf(random.between(...STRUCTURE_DB) + spreadDb, noiseStd, rateHz);
    return {
      frequencyHz,
      dampingRatio,
      gyro: drawWeights(rms(sensors.gyroNoiseRadS), random),
      accel: drawWeights(rms(sensors.accelNoise), random),
      rotorDrive: random.chance(0.5) ? random.logBetween(0.3, 6) : 0,
    };
  });
}

/** One axis feels all of it, the others less. */
function drawWeights(size: number, random: Random): PerBodyAxis {
  const main = Math.floor(3 * random.uniform());
  return [0, 1, 2].map((a) => size * (a === main ? 1 : random.between(0, 0.5))) as PerBodyAxis;
}

function addElectrical(c: FlightConfig, rateHz: number, quiet: boolean, random: Random): void {
  if (quiet) return;
  const frequencyHz = random.pick([50, 60, random.between(80, SEEN_SHARE * rateHz)]);
  const size = (noiseStd: number): number =>
    Math.SQRT2 * rmsOf(random.between(...ELECTRICAL_DB), noiseStd, rateHz);
  c.vibration.electrical = [
    {
      frequencyHz,
      gyro: drawWeights(size(c.sensors.gyroNoiseRadS), random),
      accel: drawWeights(size(c.sensors.accelNoise), random),
    },
  ];
}

/** An accelerometer set to ±2 g among strong vibration. */
function addClipping(c: FlightConfig, random: Random): void {
  c.sensors.accelRange = { fullScale: 2 * GRAVITY, bits: 16 };
  c.vibration.accelOnce = random.between(4, 8);
  c.vibration.accelBladePass = random.between(2, 6);
}

/** Rms of the demand per rms of a gyro signal of this frequency, worst axis, over what the stops leave free. */
function demandShare(c: FlightConfig, frequencyHz: number): number {
  const w = (2 * Math.PI * frequencyHz) / c.loopRateHz;
  const z = complex(Math.cos(w), Math.sin(w));
  const free = c.rotors.hoverThrottle - c.rotors.lowStop;
  return Math.max(
    ...AXES.map((axis) => (c.rotors.authority[axis] * sensorGain(axisLoop(c, axis), z)) / free),
  );
}

function calmNoise(c: FlightConfig): void {
  let meanSquare = 0;
  const count = 40;
  for (let i = 0; i < count; i++)
    meanSquare += demandShare(c, ((i + 0.5) / count) * (c.loopRateHz / 2)) ** 2 / count;
  const stiffest = Math.max(...AXES.map((axis) => c.controller.attitude[axis]));
  const noise = Math.hypot(c.sensors.gyroNoiseRadS, c.sensors.attitudeNoiseRad * stiffest);
  const factor = Math.min(1, NOISE_SHARE / (noise * Math.sqrt(meanSquare)));
  c.sensors.gyroNoiseRadS *= factor;
  c.sensors.attitudeNoiseRad *= factor;
}

/** Turns what the gyro feels down until it leaves the motors off their stops: the loop stays the linear one. */
function calmLines(c: FlightConfig): void {
  const { vibration, rotors } = c;
  const { harmonics = [], structure = [], electrical = [] } = vibration;
  const unevenness = Math.hypot(...vibration.imbalance);
  const squares: number[] = [];
  const put = (rms: number, frequencyHz: number): void => {
    squares.push((rms * demandShare(c, frequencyHz)) ** 2);
  };
  put((vibration.gyroOnce * unevenness) / Math.SQRT2, rotors.hoverHz);
  put(vibration.gyroBladePass * Math.SQRT2, rotors.blades * rotors.hoverHz);
  for (const h of harmonics) put(h.gyro * unevenness, h.order * rotors.hoverHz);
  for (const mode of structure) put(Math.max(...mode.gyro) * (1 + mode.rotorDrive), mode.frequencyHz);
  for (const tone of electrical) put(Math.max(...tone.gyro), tone.frequencyHz);
  const total = Math.sqrt(squares.reduce((sum, square) => sum + square, 0));
  if (total <= LINES_SHARE) return;
  const factor = LINES_SHARE / total;
  vibration.gyroOnce *= factor;
  vibration.gyroBladePass *= factor;
  for (const h of harmonics) h.gyro *= factor;
  for (const felt of [...structure, ...electrical])
    felt.gyro = felt.gyro.map((v) => v * factor) as PerBodyAxis;
}
