import { AXES, type AxisName, type Interval } from '@settle/parser';
import { defaultConfig, type FlightConfig, type PerRotor } from './config.js';
import { makeStream, type Random } from './random.js';
import { simulateFlight, type SimulatedFlight } from './simulate.js';
import { trueLine, trueSpan } from './true-line.js';
import { dominantOf, raiseUntil, scaleGain, tuneFlight, type GuiltyTerm } from './tune.js';
import { axisMargins } from './truth.js';
import { axisLoop, sensorGain } from './linear-loop.js';
import { complex } from './complex.js';

/**
 * - `well-damped`: both loops of every axis stable with at least 6 dB and 45°, calm to gusty
 * - `limit-cycle`: an axis unstable, held by the motor stops for most of the hover
 * - `growing`: an axis unstable, still growing for most of the hover
 * - `driven`: an axis stable with damping ratio 0.015–0.08, kept alive by the wind
 * - `attitude-swing`: as `limit-cycle` or `driven`, by the attitude gain
 * - `position-swing`: a position loop too tight
 * - `pilot-stir`: the stick swings, the loops are sound
 * - `structure`: a flexible mode that the roll or pitch loop drives to a damping ratio between −0.02 and 0.01
 * - `loose`: rate loops far too weak to hold against gusts; nothing swings steadily
 */
export type RandomKind =
  | 'well-damped'
  | 'limit-cycle'
  | 'growing'
  | 'driven'
  | 'attitude-swing'
  | 'position-swing'
  | 'pilot-stir'
  | 'structure'
  | 'loose';

/** What is to be found in a labelled flight. */
export interface Expected {
  readonly axis: AxisName;
  readonly kind: 'unstable' | 'driven' | 'outer';
  readonly origin: 'rate-loop' | 'attitude-loop' | 'position-loop' | 'pilot' | 'structure';
  readonly term: GuiltyTerm | null;
  /** Of the linear pole (or the stick); the motion at its stops may swing slower. */
  readonly linearHz: number;
  /** Damping ratio and growth of the linear pole; null for a stirred stick. */
  readonly dampingRatio: number | null;
  readonly growthPerS: number | null;
}

export interface RandomFlight {
  readonly config: FlightConfig;
  readonly expected: readonly Expected[];
  /** Landed soon after the motion became large. */
  readonly hop: boolean;
  readonly unmodelled: boolean;
}

/** An airframe, its surroundings and its log; not tuned, and all its effects known. */
export function randomAirframe(random: Random): FlightConfig {
  const c = defaultConfig();
  c.loopRateHz = random.pick([200, 250, 400, 400, 500]);
  c.substeps = Math.ceil(1500 / c.loopRateHz);
  const size = random.uniform();
  const massKg = 0.6 * 15 ** size;
  const arm = 0.12 * 3 ** size;
  c.airframe.massKg = massKg;
  const inertia = 0.35 * massKg * arm * arm;
  c.airframe.inertia = {
    x: inertia,
    y: inertia * random.between(0.9, 1.5),
    z: inertia * random.between(1.6, 2.2),
  };
  c.airframe.gear = { x: 0.8 * arm, y: 0.8 * arm, heightM: random.between(0.08, 0.2) + 0.08 * size };
  c.airframe.dragPerS = random.between(0.05, 0.3);
  const roll = random.logBetween(40, 240);
  c.airframe.effectiveness = {
    roll,
    pitch: roll * random.between(0.6, 1.1),
    yaw: roll * random.between(0.1, 0.3),
  };
  c.airframe.damping = {
    roll: random.between(0, 1.5),
    pitch: random.between(0, 1.5),
    yaw: random.between(0, 1),
  };
  if (random.chance(0.3)) {
    c.airframe.instability.roll = random.between(-2, 4);
    c.airframe.instability.pitch = random.between(-2, 4);
  }
  for (const axis of AXES) c.airframe.trim[axis] = 0.03 * random.normal();
  if (random.chance(0.3)) c.airframe.crossCoupling = random.between(-0.12, 0.12);
  c.rotors.lagS = random.logBetween(0.025, 0.11);
  c.rotors.delayS = random.between(0.003, 0.012);
  c.rotors.hoverThrottle = random.between(0.32, 0.6);
  c.rotors.authority = {
    roll: random.between(0.3, 0.6),
    pitch: random.between(0.3, 0.6),
    yaw: random.between(0.2, 0.4),
  };
  c.rotors.hoverHz = random.between(0.85, 1.15) * 120 * 3 ** -size;
  c.rotors.speedSpread = [0, 0, 0, 0].map(() => 0.01 * random.normal()) as PerRotor;
  c.sensors.gyroLowPassHz = random.chance(0.9) ? random.between(30, 90) : null;
  c.sensors.gyroLowPassOrder = random.pick([1, 2]);
  c.sensors.gyroNoiseRadS = random.logBetween(0.001, 0.01);
  const shake = random.logBetween(0.004, 0.08);
  c.vibration.gyroOnce = shake;
  c.vibration.gyroBladePass = 0.4 * shake;
  c.vibration.accelOnce = 12 * shake;
  c.vibration.accelBladePass = 8 * shake;
  c.vibration.imbalance = [0, 0, 0, 0].map(() => random.between(0.4, 1.4)) as PerRotor;
  c.controller.derivativeLowPassHz = random.between(15, 50);
  c.pilot.corrections = random.between(0, 0.03);
  const gust = random.logBetween(0.2, 4) * 3 ** -size * 1.5;
  c.wind.gustRadS2 = {
    roll: gust,
    pitch: gust * random.between(0.7, 1.2),
    yaw: gust * random.between(0.2, 0.5),
  };
  c.wind.gustHz = random.between(0.3, 2);
  c.wind.gustOrder = random.pick([1, 2]);
  c.wind.pushMS2 = random.between(0.02, 0.3);
  randomLog(c, random);
  return c;
}

/** An airframe, well tuned; null where this draw cannot be tuned. */
function randomBase(random: Random): { config: FlightConfig; unmodelled: boolean } | null {
  const c = randomAirframe(random);
  const unmodelled = random.chance(0.35);
  if (unmodelled) randomUnmodelled(c, random);
  const tuned = tuneFlight(
    c,
    { gainMarginDb: random.between(7.5, 11), phaseMarginDeg: random.between(49, 60) },
    {
      derivativeOverLag: random.chance(0.25) ? 0 : random.between(0.15, 0.7),
      integralOverLag: random.between(4, 10),
    },
  );
  return tuned !== null && isSound(tuned) ? { config: tuned, unmodelled } : null;
}

function randomLog(c: FlightConfig, random: Random): void {
  c.log.attitudeHz = random.pick([25, 50, 100]);
  c.log.rateHz = random.pick([50, 100, 200, 400]);
  c.log.imuHz = random.pick([50, 100, 200, 400]);
  c.log.motorHz = random.pick([50, 100]);
  c.log.heightHz = random.pick([0, 10, 25]);
  c.log.rotorHz = random.pick([0, 0, 0, 20]);
  c.log.dropShare = random.chance(0.15) ? 0.01 : 0;
}

/** Switches on one or several effects that no linear analysis knows of. */
export function randomUnmodelled(c: FlightConfig, random: Random): void {
  const u = c.unmodelled;
  const which = random.pick([0, 1, 2, 3, 4, 5]);
  if (which === 0 || which === 5) u.thrustExponent = random.between(1.2, 1.8);
  if (which === 1 || which === 5) {
    u.batterySag = true;
    c.battery.drainVPerS = random.between(0.005, 0.02);
  }
  if (which === 2) u.weakRotor = { rotor: random.pick([1, 2, 3, 4]), factor: random.between(0.78, 0.93) };
  if (which === 3) u.extraLowPassHz = random.between(25, 60);
  if (which === 4 || which === 5) u.clockJitterS = random.between(0.0002, 0.0008);
}

/** Demand noise, as a share of what the stops leave free, above which vibration alone would clip the motors. */
const QUIET_SHARE = 0.12;

/**
 * Turns vibration and gyro noise down until what they stir up in the motor commands leaves the loops their linear
 * gain: a label that says which loop rings would otherwise hang on how hard the rotors shake.
 */
export function calmSensors(config: FlightConfig): void {
  const { rotors, vibration, sensors, loopRateHz, controller } = config;
  let worst = 0;
  for (const axis of AXES) {
    const loop = axisLoop(config, axis);
    const at = (hz: number): number => {
      const w = (2 * Math.PI * hz) / loopRateHz;
      return sensorGain(loop, complex(Math.cos(w), Math.sin(w)));
    };
    let meanSquare = 0;
    const count = 40;
    for (let i = 0; i < count; i++) meanSquare += at(((i + 0.5) / count) * (loopRateHz / 2)) ** 2 / count;
    // Four rotors at random phases: half the amplitude squared each.
    const lines = 2 * (vibration.gyroOnce * at(rotors.hoverHz)) ** 2;
    const blades = 2 * (vibration.gyroBladePass * at(rotors.blades * rotors.hoverHz)) ** 2;
    const attitude = (sensors.attitudeNoiseRad * controller.attitude[axis]) ** 2 * meanSquare;
    const noise = sensors.gyroNoiseRadS ** 2 * meanSquare + lines + blades + attitude;
    worst = Math.max(
      worst,
      (rotors.authority[axis] * Math.sqrt(noise)) / (rotors.hoverThrottle - rotors.lowStop),
    );
  }
  if (worst <= QUIET_SHARE) return;
  const factor = QUIET_SHARE / worst;
  vibration.gyroOnce *= factor;
  vibration.gyroBladePass *= factor;
  sensors.gyroNoiseRadS *= factor;
  sensors.attitudeNoiseRad *= factor;
}

/** All axes stable with the required 6 dB and 45° (MIL-F-9490D as quoted in secondary sources), and well damped. */
export function isSound(config: FlightConfig): boolean {
  return AXES.every((axis) => {
    const dominant = dominantOf(config, axis);
    if (dominant !== null && dominant.dampingRatio < 0.3) return false;
    const { rate, attitude } = axisMargins(axisLoop(config, axis));
    return [rate, attitude].every(
      (m) =>
        m.stable &&
        (m.gainMarginDb ?? 99) >= 6 &&
        (m.gainReductionMarginDb ?? 99) >= 6 &&
        (m.phaseMarginDeg ?? 180) >= 45,
    );
  });
}

/** A labelled random flight. Each kind and seed gives one; draws that come out unfit are drawn again. */
export function randomFlight(kind: RandomKind, seed: number): RandomFlight {
  const random = makeStream(seed, `random flight ${kind}`);
  for (;;) {
    const flight = draw(kind, random);
    if (flight === null) continue;
    calmSensors(flight.config);
    return flight;
  }
}

function draw(kind: RandomKind, random: Random): RandomFlight | null {
  const base = randomBase(random);
  if (base === null) return null;
  const { config, unmodelled } = base;
  config.name = kind;
  config.script.groundS = random.between(0.5, 3);
  config.script.heightM = random.between(1, 3);
  config.script.hoverS = random.logBetween(12, 55);
  if (random.chance(0.15)) {
    config.script.startInHover = true;
    config.script.endInHover = true;
  }
  switch (kind) {
    case 'well-damped':
      return drawWellDamped(config, unmodelled, random);
    case 'pilot-stir':
      return drawStir(config, unmodelled, random);
    case 'position-swing':
      return drawPositionSwing(config, unmodelled, random);
    case 'structure':
      return drawStructure(config, unmodelled, random);
    case 'loose':
      return drawLoose(config, unmodelled, random);
    case 'driven':
    case 'growing':
    case 'limit-cycle':
    case 'attitude-swing':
      return drawRinging(kind, config, unmodelled, random);
  }
}

function drawWellDamped(config: FlightConfig, unmodelled: boolean, random: Random): RandomFlight | null {
  config.script.hoverS = random.logBetween(7, 55);
  if (random.chance(0.35)) addPositionLoop(config, random, 1);
  if (random.chance(0.4)) {
    const size = random.between(0.1, 0.4);
    for (let at = random.between(1, 4); at + 4 < config.script.hoverS; at += random.between(3, 8)) {
      config.pilot.doublets.push({
        axis: random.pick(AXES),
        atS: at,
        size,
        halfPeriodS: random.between(0.3, 0.8),
      });
    }
  }
  if (random.chance(0.3)) {
    config.wind.pulses.push({
      axis: random.pick(['roll', 'pitch'] as const),
      atS: random.between(2, 6),
      durationS: random.between(0.3, 1),
      peakRadS2: config.airframe.effectiveness.roll * random.between(0.05, 0.15),
    });
  }
  return isSound(config) ? { config, expected: [], hop: config.script.hoverS < 8, unmodelled } : null;
}

function addPositionLoop(config: FlightConfig, random: Random, factor: number): void {
  config.positionLoop = {
    position: random.between(0.25, 0.6),
    velocity: factor * random.between(0.6, 1.3),
    maxAngleRad: 0.35,
  };
}

function drawStir(config: FlightConfig, unmodelled: boolean, random: Random): RandomFlight {
  const axis = random.pick(['roll', 'pitch'] as const);
  const frequencyHz = random.logBetween(0.4, 2);
  config.pilot.stir = { axis, frequencyHz, amplitude: random.between(0.15, 0.4) };
  const expected: Expected = {
    axis,
    kind: 'outer',
    origin: 'pilot',
    term: null,
    linearHz: frequencyHz,
    dampingRatio: null,
    growthPerS: null,
  };
  return { config, expected: [expected], hop: false, unmodelled };
}

function drawPositionSwing(config: FlightConfig, unmodelled: boolean, random: Random): RandomFlight | null {
  addPositionLoop(config, random, 1);
  const target = random.between(-0.03, 0.06);
  const expected: Expected[] = [];
  // The position loop is one for both axes: raise it for the first that swings.
  const axis = random.pick(['roll', 'pitch'] as const);
  const found = raiseUntil(config, axis, 'position', (d) => target - d.dampingRatio);
  if (found === null) return null;
  const raised = found.config;
  for (const a of ['roll', 'pitch'] as const) {
    const d = dominantOf(raised, a)!;
    if (d.dampingRatio > 0.1) continue;
    expected.push({
      axis: a,
      kind: 'outer',
      origin: 'position-loop',
      term: 'position',
      linearHz: d.frequencyHz,
      dampingRatio: d.dampingRatio,
      growthPerS: d.growthPerS,
    });
  }
  raised.script.hoverS = Math.max(25, raised.script.hoverS);
  const tooFast = expected.some((e) => e.linearHz > 1.5 || e.linearHz < 0.1);
  return tooFast ? null : { config: raised, expected, hop: false, unmodelled };
}

function drawStructure(config: FlightConfig, unmodelled: boolean, random: Random): RandomFlight | null {
  const axis = random.pick(['roll', 'pitch'] as const);
  const { hoverHz } = config.rotors;
  const frequencyHz = random.between(14, 0.8 * hoverHz);
  if (frequencyHz > 0.4 * config.loopRateHz) return null;
  const target = random.between(-0.02, 0.01);
  // The mode is excited by the loop: its gain is raised until the closed loop leaves it this damping.
  const dampingRatio = random.between(0.012, 0.03);
  const sign = random.pick([1, -1]);
  for (let gain = 0.02; gain < 3; gain *= 1.12) {
    const c = structuredClone(config);
    c.flexibleMode = { axis, frequencyHz, dampingRatio, gain: sign * gain, noiseRadS2: 1 };
    const d = dominantOf(c, axis);
    if (d === null || d.dampingRatio > target) continue;
    if (Math.abs(d.frequencyHz / frequencyHz - 1) > 0.2 || d.dampingRatio < target - 0.03) return null;
    const expected: Expected = {
      axis,
      kind: d.dampingRatio > 0 ? 'driven' : 'unstable',
      origin: 'structure',
      term: null,
      linearHz: d.frequencyHz,
      dampingRatio: d.dampingRatio,
      growthPerS: d.growthPerS,
    };
    return { config: c, expected: [expected], hop: false, unmodelled };
  }
  return null;
}

function drawLoose(config: FlightConfig, unmodelled: boolean, random: Random): RandomFlight | null {
  let loose = config;
  for (const axis of ['roll', 'pitch'] as const) {
    loose = scaleGain(loose, axis, 'rate', random.logBetween(0.06, 0.2));
    loose = scaleGain(loose, axis, 'attitude', random.between(0.3, 0.7));
  }
  loose.script.abort = { rateRadS: (60 * Math.PI) / 180, angleRad: (25 * Math.PI) / 180, afterS: 2 };
  const swings = AXES.some((axis) => (dominantOf(loose, axis)?.dampingRatio ?? 1) < 0.15);
  return swings ? null : { config: loose, expected: [], hop: false, unmodelled };
}

function drawRinging(
  kind: 'driven' | 'growing' | 'limit-cycle' | 'attitude-swing',
  config: FlightConfig,
  unmodelled: boolean,
  random: Random,
): RandomFlight | null {
  const axes: AxisName[] = random.chance(0.15)
    ? ['roll', 'pitch']
    : [random.pick(['roll', 'roll', 'roll', 'pitch', 'pitch', 'pitch', 'yaw'] as const)];
  const unstable = kind !== 'driven' && (kind !== 'attitude-swing' || random.chance(0.6));
  const hop = unstable && random.chance(0.5);
  const hoverS = hop ? random.between(2, 6.3) : config.script.hoverS;
  const expected: Expected[] = [];
  let current = config;
  for (const axis of axes) {
    const term: GuiltyTerm =
      kind === 'attitude-swing'
        ? 'attitude'
        : random.pick(['rate', 'rate', 'rate', 'P', 'D', 'D', 'I', 'attitude'] as const);
    const found = unstable
      ? raiseUntil(current, axis, term, growthTarget(kind, hoverS, random))
      : raiseUntil(current, axis, term, dampingTarget(random));
    if (found === null) return null;
    current = found.config;
    const d = dominantOf(current, axis)!;
    // Beyond this the linear frequency is no wobble of a hover any more, and below it five cycles take too long.
    if (d.frequencyHz > 15 || d.frequencyHz < 0.5 || d.frequencyHz * hoverS < 9) return null;
    expected.push({
      axis,
      kind: unstable ? 'unstable' : 'driven',
      origin: term === 'attitude' ? 'attitude-loop' : 'rate-loop',
      term,
      linearHz: d.frequencyHz,
      dampingRatio: d.dampingRatio,
      growthPerS: d.growthPerS,
    });
  }
  current.script.hoverS = hoverS;
  if (hop) {
    current.script.startInHover = false;
    current.script.endInHover = false;
    current.script.heightM = random.between(0.4, 0.9);
    current.script.descentMS = 0.8;
    current.script.abort = { rateRadS: (60 * Math.PI) / 180, angleRad: (25 * Math.PI) / 180, afterS: 2 };
  }
  return { config: current, expected, hop, unmodelled };
}

function growthTarget(kind: string, hoverS: number, random: Random) {
  // From a gust's few hundredths of the stops to the stops takes about four time constants.
  const soon = kind === 'growing' ? random.between(3, 6) / hoverS : random.between(8, 25) / hoverS;
  return (d: { growthPerS: number; frequencyHz: number }): number =>
    d.growthPerS - Math.min(soon, 0.08 * 2 * Math.PI * d.frequencyHz);
}

function dampingTarget(random: Random) {
  const target = random.logBetween(0.015, 0.08);
  return (d: { dampingRatio: number }): number => target - d.dampingRatio;
}

/** What the truth of a labelled flight shows of one expected oscillation. */
export interface ShownLine extends Expected {
  readonly frequencyHz: number;
  /** Over the whole time in the air; see `trueLine`. */
  readonly rateAmplitudeRadS: number;
  /** Where it stands out of the axis' other motion. */
  readonly span: Interval;
}

export interface LabelledFlight {
  readonly sim: SimulatedFlight;
  readonly flight: RandomFlight;
  readonly shown: readonly ShownLine[];
}

/**
 * A labelled flight that was flown and did what its label says, by its noise-free motion alone: it did not tip over, it
 * flew long enough for nine cycles, and the labelled axis swung by more than 3 deg/s for at least six cycles. Draws that did not are replaced
 * by the next of the same seed.
 */
export function simulateRandom(kind: RandomKind, seed: number): LabelledFlight {
  for (let attempt = 0; ; attempt++) {
    const flight = randomFlight(kind, seed + 100_003 * attempt);
    const sim = simulateFlight(flight.config, seed);
    const { airborne, phases } = sim.truth;
    if (airborne === null || phases.some((p) => p.kind === 'upset')) continue;
    const lastS = airborne.endS - airborne.startS;
    if (lastS < 2 || (flight.hop && flight.expected.length > 0 && lastS > 8)) continue;
    if (flight.expected.some((e) => e.linearHz * lastS < 9)) continue;
    const shown: ShownLine[] = [];
    for (const e of flight.expected) {
      const line = trueLine(sim.truth, e.axis, airborne, e.linearHz, e.kind === 'unstable' ? 0.4 : 0.15);
      const span = trueSpan(sim.truth, e.axis, airborne, line.frequencyHz);
      // The body itself moves little in a bending mode; the gyro feels the rest.
      const least = e.origin === 'structure' ? 0.01 : 0.05;
      if (span === null || line.rateAmplitudeRadS < least) break;
      if ((span.endS - span.startS) * line.frequencyHz < 6) break;
      shown.push({ ...e, ...line, span });
    }
    if (shown.length < flight.expected.length) continue;
    // A driven loop has its linear damping, and a sound one its margins, only while the motors stay off their stops.
    const linear = shown.every((line) => line.kind === 'driven');
    if (linear && AXES.some((axis) => sim.truth.axes[axis].clippedShare > 0.05)) continue;
    return { sim, flight, shown };
  }
}
