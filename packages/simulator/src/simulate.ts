import { AXES, type AxisName } from '@settle/parser';
import { Body } from './body.js';
import type { FlightConfig } from './config.js';
import { AxisController } from './controller.js';
import { makeColouredNoise } from './disturbance.js';
import { FlightLog, type Observed } from './flight-log.js';
import { GRAVITY, hoverPoint, ROTOR_SIGNS, rotorGain } from './operating-point.js';
import { makeStream } from './random.js';
import type { LoggedColumns } from './record.js';
import { Script } from './script.js';
import { digitise, FlexibleMode, RotorVibration } from './sensors.js';
import { assembleTruth, makeRawTruth, type FlightTruth, type RawTruth } from './truth.js';
import { VibrationSources } from './vibration-sources.js';
import { VibrationMeter } from './vibration-meter.js';
import { assembleVibration } from './vibration-truth.js';
import { MadeWiring } from './wiring.js';

export interface SimulatedFlight {
  readonly config: FlightConfig;
  readonly seed: number;
  readonly log: LoggedColumns;
  readonly truth: FlightTruth;
}

/** No script takes longer than its hover and this, s. */
const LONGEST_EXTRA_S = 45;

/**
 * Flies one flight: what was logged, and what was true.
 *
 * @param seed wind, noise and pilot; the same configuration and seed give the same flight, and a change of gains leaves
 *   wind and noise as they were
 * @throws RangeError for rates and times that make no sense
 */
export function simulateFlight(config: FlightConfig, seed: number): SimulatedFlight {
  checkConfig(config);
  return new Simulation(config, seed).run();
}

function checkConfig(config: FlightConfig): void {
  const positive = [config.loopRateHz, config.substeps, config.rotors.lagS, config.airframe.massKg];
  if (!positive.every((value) => value > 0 && Number.isFinite(value))) {
    throw new RangeError('loop rate, substeps, rotor lag and mass must be positive');
  }
  if (!Number.isInteger(config.substeps)) throw new RangeError('substeps must be a whole number');
  if (!(config.rotors.delayS >= 0)) throw new RangeError('the delay cannot be negative');
}

/** Controller steps that no script of this configuration exceeds. */
function longestSteps(config: FlightConfig): number {
  const { script, rotors, loopRateHz } = config;
  const ground = script.groundS * 2 + rotors.lagS * 10 + script.spoolS * 4;
  const upAndDown = script.heightM * (1 / script.climbMS + 2 / script.descentMS);
  return Math.ceil((script.hoverS + ground + upAndDown + LONGEST_EXTRA_S) * loopRateHz);
}

/** The state of one flight under way. One method per part of a controller step. */
class Simulation {
  private readonly config: FlightConfig;
  private readonly seed: number;
  private readonly stepS: number;
  private readonly h: number;
  private readonly body: Body;
  private readonly script: Script;
  private readonly axes: AxisController[];
  private readonly vibration: RotorVibration;
  private readonly sources: VibrationSources;
  private readonly meter: VibrationMeter;
  private readonly wiring: MadeWiring | null;
  private readonly flex: FlexibleMode | null;
  private readonly flexAxis: number;
  private readonly point;
  // Thrust share per rotor, and its drive now and before the last switch.
  private readonly thrust = new Float64Array(4);
  private readonly command = new Float64Array(4);
  private readonly drive = new Float64Array(4);
  private readonly history: Float64Array[];
  private readonly accel = new Float64Array(3);
  private readonly gyro = new Float64Array(3);
  private readonly vibrating = new Float64Array(3);
  private readonly feltAccel = new Float64Array(3);
  private readonly angleMeasured = new Float64Array(3);
  private readonly sticks = new Float64Array(3);
  private readonly angleReference = new Float64Array(3);
  private readonly gust = new Float64Array(3);
  private readonly push = new Float64Array(2);
  private readonly asked = new Float64Array(4);
  private readonly controlAccel = new Float64Array(3);
  private readonly authority: Float64Array;
  private readonly rotorGains: Float64Array;
  private throttleCommand = 0;
  private volts: number;
  private amps = 0;
  private drained = 0;
  private sag = 1;
  private flexNoise = 0;
  private liftRatio = 0;
  private readonly steps: number;
  private readonly raw: RawTruth;
  private readonly noise;
  private readonly log: FlightLog;
  private readonly observed: Observed;
  // Where in the step a delayed command arrives, and the exact thrust lag over each piece of that physics step.
  private readonly wholeSteps: number;
  private readonly switchSubstep: number;
  private readonly pieces: { full: Lag; before: Lag; after: Lag };

  constructor(config: FlightConfig, seed: number) {
    this.config = config;
    this.seed = seed;
    this.stepS = 1 / config.loopRateHz;
    this.h = this.stepS / config.substeps;
    this.point = hoverPoint(config);
    this.authority = Float64Array.from(AXES, (axis) => config.rotors.authority[axis]);
    this.rotorGains = Float64Array.from({ length: 4 }, (_, i) => rotorGain(config, i));
    this.body = new Body(config, config.script.startInHover ? config.script.heightM : 0);
    this.script = new Script(config, this.point.throttle);
    const start = config.script.startInHover;
    this.axes = AXES.map((axis) => new AxisController(config, axis, start ? this.point.demand[axis] : 0));
    this.vibration = new RotorVibration(config, makeStream(seed, 'rotor phase'));
    this.wiring = MadeWiring.of(config);
    const mode = config.flexibleMode;
    this.flexAxis = mode === null ? -1 : AXES.indexOf(mode.axis);
    this.flex =
      mode === null ? null : new FlexibleMode(mode.frequencyHz, mode.dampingRatio, mode.gain, this.h);
    const flex = this.flex === null ? null : { mode: this.flex, axis: this.flexAxis };
    this.sources = new VibrationSources(config, seed, this.vibration, this.h, flex);
    this.meter = new VibrationMeter(this.sources, this.vibration.speedHz, this.wiring);
    const first = start ? this.point.command : Array.from({ length: 4 }, () => config.rotors.idleCommand);
    for (let i = 0; i < 4; i++) {
      this.command[i] = first[i]!;
      this.thrust[i] = rotorGain(config, i) * first[i]! ** config.unmodelled.thrustExponent;
    }
    // Until the rotors turn nothing is drawn.
    this.volts = config.battery.fullV - (start ? config.battery.resistanceOhm * config.battery.hoverA : 0);
    const { delayS, lagS } = config.rotors;
    // A hair is allowed for delays that are whole steps but for rounding.
    this.wholeSteps = Math.floor(delayS / this.stepS + 1e-9);
    const rest = Math.max(0, delayS - this.wholeSteps * this.stepS);
    this.switchSubstep = Math.min(config.substeps - 1, Math.floor(rest / this.h + 1e-9));
    const before = Math.max(0, rest - this.switchSubstep * this.h);
    this.pieces = {
      full: makeLag(this.h, lagS),
      before: makeLag(before, lagS),
      after: makeLag(this.h - before, lagS),
    };
    this.history = Array.from({ length: this.wholeSteps + 2 }, () => Float64Array.from(this.command));
    this.noise = this.makeNoise();
    this.log = new FlightLog(config, seed);
    this.observed = {
      angleReference: this.angleReference,
      angleMeasured: this.angleMeasured,
      axes: this.axes,
      gyro: this.gyro,
      accel: this.feltAccel,
      command: this.command,
      sticks: this.sticks,
      rotorHz: this.vibration.speedHz,
      throttle: 0,
      mode: 0,
      heightM: 0,
      volts: 0,
      amps: 0,
    };
    this.steps = longestSteps(config);
    this.raw = makeRawTruth(this.steps);
  }

  private makeNoise() {
    const { wind, pilot } = this.config;
    const stream = (subject: string) => makeStream(this.seed, subject);
    const coloured = (std: number, cornerHz: number, order: 1 | 2, subject: string) =>
      makeColouredNoise(std, cornerHz, order, this.stepS, stream(subject));
    return {
      gust: AXES.map((axis) => coloured(wind.gustRadS2[axis], wind.gustHz, wind.gustOrder, `gust ${axis}`)),
      push: ['north', 'east'].map((way) => coloured(wind.pushMS2, 0.2, 1, `push ${way}`)),
      stick: AXES.map((axis) => coloured(pilot.corrections, pilot.correctionsHz, 2, `stick ${axis}`)),
      gyro: stream('gyro'),
      attitude: stream('attitude'),
      flex: stream('flexible mode'),
    };
  }

  run(): SimulatedFlight {
    const { substeps } = this.config;
    for (let k = 0; k < this.steps && !this.script.finished; k++) {
      const timeS = k * this.stepS;
      this.sense(timeS);
      this.script.step({
        timeS,
        gearHeightM: this.body.gearHeightM,
        heightM: this.body.heightM,
        climbMS: this.body.climbMS,
        liftRatio: this.liftRatio,
        tiltRad: this.body.tiltRad,
        rateRadS: Math.hypot(this.body.rate[0]!, this.body.rate[1]!, this.body.rate[2]!),
      });
      this.disturb(timeS);
      this.steer(timeS);
      this.control();
      this.mix(k);
      this.recordTruth(k, timeS);
      this.recordLog(k, timeS);
      for (let m = 0; m < substeps; m++) this.move(k, m, timeS);
    }
    const log = this.log.finish();
    const truth = assembleTruth(this.config, this.raw, this.script);
    return {
      config: this.config,
      seed: this.seed,
      log,
      truth: { ...truth, vibration: assembleVibration(this.config, this.meter, log, truth.airborne) },
    };
  }

  private sense(timeS: number): void {
    const { gyroNoiseRadS, gyroRange } = this.config.sensors;
    this.feel(timeS);
    for (let a = 0; a < 3; a++) {
      this.gyro[a] = digitise(this.vibrating[a]! + gyroNoiseRadS * this.noise.gyro.normal(), gyroRange);
      this.axes[a]!.measure(this.gyro[a]!);
    }
  }

  /** Noise-free readings of gyro and accelerometer, vibration and bending included. */
  private feel(timeS: number): void {
    const { body, vibration, sources } = this;
    vibration.sample();
    sources.sample(timeS);
    for (let a = 0; a < 3; a++) {
      const bending = a === this.flexAxis ? this.flex!.rate : 0;
      this.vibrating[a] = body.rate[a]! + bending + vibration.gyro[a]! + sources.extra[a]!;
      this.feltAccel[a] = body.specificForce[a]! + vibration.accel[a]! + sources.extra[3 + a]!;
    }
    this.wiring?.turnBoard(this.vibrating);
    this.wiring?.turnBoard(this.feltAccel);
  }

  private disturb(timeS: number): void {
    const { wind, flexibleMode } = this.config;
    const clear = this.script.clearS;
    for (let a = 0; a < 3; a++) {
      let sum = this.noise.gust[a]!.next();
      if (clear !== null) {
        for (const pulse of wind.pulses) {
          const since = timeS - clear - pulse.atS;
          if (AXES[a] === pulse.axis && since >= 0 && since < pulse.durationS) {
            sum += pulse.peakRadS2 * Math.sin((Math.PI * since) / pulse.durationS);
          }
        }
      }
      this.gust[a] = sum;
    }
    for (let i = 0; i < 2; i++) this.push[i] = this.noise.push[i]!.next();
    this.flexNoise = (flexibleMode?.noiseRadS2 ?? 0) * this.noise.flex.normal();
  }

  /** Sticks, position loop, angle references. */
  private steer(timeS: number): void {
    const { pilot, positionLoop } = this.config;
    const clear = this.script.clearS;
    const flying = clear !== null && this.script.controlled;
    for (let a = 0; a < 3; a++) {
      const wander = this.noise.stick[a]!.next();
      this.sticks[a] = flying ? wander + this.stickInput(AXES[a]!, timeS - clear) : 0;
    }
    if (!this.script.controlled) {
      this.angleReference[0] = 0;
      this.angleReference[1] = 0;
      this.angleReference[2] = this.body.angles[2]!;
      return;
    }
    let roll = this.sticks[0]! * pilot.maxAngleRad;
    let pitch = this.sticks[1]! * pilot.maxAngleRad;
    if (positionLoop !== null && flying) {
      const { position, velocity, maxAngleRad } = positionLoop;
      const limit = (value: number): number => Math.max(-maxAngleRad, Math.min(maxAngleRad, value));
      const north = velocity * (-position * this.body.position[0]! - this.body.velocity[0]!);
      const east = velocity * (-position * this.body.position[1]! - this.body.velocity[1]!);
      const c = Math.cos(this.body.angles[2]!);
      const s = Math.sin(this.body.angles[2]!);
      roll += limit((c * east - s * north) / GRAVITY);
      pitch -= limit((c * north + s * east) / GRAVITY);
    }
    this.angleReference[0] = roll;
    this.angleReference[1] = pitch;
    this.angleReference[2] = this.angleReference[2]! + this.sticks[2]! * pilot.maxYawRateRadS * this.stepS;
  }

  private stickInput(axis: AxisName, sinceClearS: number): number {
    const { doublets, stir } = this.config.pilot;
    let sum = 0;
    for (const d of doublets) {
      const since = sinceClearS - d.atS;
      if (d.axis === axis && since >= 0 && since < 2 * d.halfPeriodS) {
        sum += since < d.halfPeriodS ? d.size : -d.size;
      }
    }
    if (stir !== null && stir.axis === axis) {
      sum += stir.amplitude * Math.sin(2 * Math.PI * stir.frequencyHz * sinceClearS);
    }
    return sum;
  }

  private control(): void {
    const { attitudeNoiseRad } = this.config.sensors;
    for (let a = 0; a < 3; a++) {
      this.angleMeasured[a] = this.body.angles[a]! + attitudeNoiseRad * this.noise.attitude.normal();
    }
    this.wiring?.turnBoard(this.angleMeasured);
    for (let a = 0; a < 3; a++) {
      const measured = this.angleMeasured[a]!;
      if (this.script.controlled) {
        this.axes[a]!.step(this.angleReference[a]!, measured);
      } else this.axes[a]!.reset();
    }
  }

  private mix(k: number): void {
    const { rotors } = this.config;
    const { controlled, throttle } = this.script;
    this.throttleCommand = throttle;
    const { asked } = this;
    let stopped = 0;
    for (let i = 0; i < 4; i++) {
      let value = throttle;
      if (controlled) {
        for (let a = 0; a < 3; a++) value += ROTOR_SIGNS[a]![i]! * this.authority[a]! * this.axes[a]!.demand;
      }
      asked[i] = value;
      const low = controlled ? rotors.lowStop : 0;
      const limited = Math.max(low, Math.min(1, value));
      if (limited !== value) stopped = 1;
      this.command[i] = limited;
    }
    // What of each axis' demand the stops took away.
    for (let a = 0; a < 3; a++) {
      let lost = 0;
      for (let i = 0; i < 4; i++) lost += ROTOR_SIGNS[a]![i]! * (this.command[i]! - asked[i]!);
      this.raw.lost[a]![k] = controlled ? lost / (4 * this.authority[a]!) : 0;
    }
    this.raw.stopped[k] = controlled ? stopped : 0;
  }

  private move(k: number, m: number, stepStartS: number): void {
    const { config, history, pieces } = this;
    if (m === 0) {
      const slot = history[k % history.length]!;
      slot.set(this.command);
      this.wiring?.connect(slot);
      if (k === 0) for (const earlier of history) if (earlier !== slot) earlier.set(this.thrustCommand());
    }
    const length = history.length;
    const now = history[(k - this.wholeSteps + length * 4) % length]!;
    const before = history[(k - this.wholeSteps - 1 + length * 4) % length]!;
    const exponent = config.unmodelled.thrustExponent;
    let total = 0;
    for (let i = 0; i < 4; i++) {
      const gain = this.rotorGains[i]! * this.sag;
      const newer = gain * (exponent === 1 ? now[i]! : Math.max(0, now[i]!) ** exponent);
      const older = gain * (exponent === 1 ? before[i]! : Math.max(0, before[i]!) ** exponent);
      const start = this.thrust[i]!;
      let mean: number;
      if (m === this.switchSubstep) {
        const first = pieces.before;
        const second = pieces.after;
        const middle = older + (start - older) * first.keep;
        const early = older * first.timeS + (start - older) * first.area;
        const late = newer * second.timeS + (middle - newer) * second.area;
        mean = (early + late) / this.h;
        this.thrust[i] = newer + (middle - newer) * second.keep;
      } else {
        const input = m < this.switchSubstep ? older : newer;
        mean = input + ((start - input) * pieces.full.area) / this.h;
        this.thrust[i] = input + (start - input) * pieces.full.keep;
      }
      total += mean;
      this.drive[i] = mean;
      this.vibration.turn(i, mean / this.point.nominalThrust, this.h);
    }
    this.sources.step();
    this.moveBody(total, stepStartS);
    this.useBattery();
    if (this.log.inertialDue(k * config.substeps + m + 1)) {
      const timeS = stepStartS + (m + 1) * this.h;
      this.feel(timeS);
      this.meter.take(timeS);
      this.log.recordInertial(timeS, this.vibrating, this.feltAccel);
    }
  }

  private thrustCommand(): number[] {
    const n = this.config.unmodelled.thrustExponent;
    return [0, 1, 2, 3].map((i) => (this.thrust[i]! / rotorGain(this.config, i)) ** (1 / n));
  }

  /** @param stepStartS for the mass, which may change slowly */
  private moveBody(total: number, stepStartS: number): void {
    const { airframe, rotors, flexibleMode } = this.config;
    const weightRatio = total / (4 * this.point.nominalThrust);
    const lift = weightRatio / this.script.massFactor(stepStartS);
    this.liftRatio = lift;
    const control = this.controlAccel;
    for (let a = 0; a < 3; a++) {
      let sum = 0;
      for (let i = 0; i < 4; i++) sum += ROTOR_SIGNS[a]![i]! * this.drive[i]!;
      const axis = AXES[a]!;
      control[a] =
        (airframe.effectiveness[axis] * sum) / (4 * rotors.authority[axis] * this.point.nominalSlope);
    }
    this.wiring?.turnRotors(control);
    const ratio = airframe.effectiveness.pitch / airframe.effectiveness.roll;
    const coupling = airframe.crossCoupling;
    for (let a = 0; a < 3; a++) {
      const axis = AXES[a]!;
      const offset = airframe.effectiveness[axis] * airframe.trim[axis] * weightRatio;
      this.accel[a] = control[a]! - offset + this.gust[a]!;
    }
    if (coupling !== 0) {
      this.accel[0] = this.accel[0]! - (coupling / ratio) * control[1]!;
      this.accel[1] = this.accel[1]! + coupling * ratio * control[0]!;
    }
    if (flexibleMode !== null) {
      this.flex!.step(control[this.flexAxis]! + this.flexNoise);
    }
    this.body.step(this.h, this.accel, GRAVITY * lift, this.push[0]!, this.push[1]!);
  }

  private useBattery(): void {
    const { battery, unmodelled } = this.config;
    let load = 0;
    for (let i = 0; i < 4; i++) {
      const ratio = Math.max(0, this.drive[i]! / this.point.nominalThrust);
      load += (ratio * Math.sqrt(ratio)) / 4;
    }
    this.amps = battery.hoverA * load;
    this.drained += battery.drainVPerS * load * this.h;
    this.volts = battery.fullV - this.drained - battery.resistanceOhm * this.amps;
    if (unmodelled.batterySag) {
      const nominal = battery.fullV - battery.resistanceOhm * battery.hoverA;
      this.sag = (this.volts / nominal) ** 2;
    }
  }

  private recordTruth(k: number, timeS: number): void {
    const { raw, body } = this;
    raw.count = k + 1;
    raw.timeS[k] = timeS;
    for (let a = 0; a < 3; a++) {
      raw.angles[a]![k] = body.angles[a]!;
      raw.rates[a]![k] = body.rate[a]!;
    }
    raw.height[k] = body.heightM;
    raw.gearHeight[k] = body.gearHeightM;
    for (let i = 0; i < 4; i++) raw.rotorHz[i]![k] = this.vibration.speedHz[i]!;
    const since = this.script.clearS === null ? -1 : timeS - this.script.clearS;
    let moved = 0;
    for (const d of this.config.pilot.doublets) {
      if (since >= d.atS && since < d.atS + 2 * d.halfPeriodS) moved = 1;
    }
    raw.stick[k] = moved;
    raw.sag[k] = this.sag;
  }

  private recordLog(k: number, timeS: number): void {
    const { observed } = this;
    if (this.log.inertialAtStep(k * this.config.substeps)) this.meter.take(timeS);
    observed.throttle = this.throttleCommand;
    observed.mode = this.mode();
    observed.heightM = this.body.heightM;
    observed.volts = this.volts;
    observed.amps = this.amps;
    this.log.record(k * this.config.substeps, timeS, observed);
  }

  private mode(): number {
    if (!this.script.controlled) return 0;
    if (this.script.stage === 'land') return 3;
    return this.config.positionLoop === null ? 1 : 2;
  }
}

/** A first-order lag over one piece of time with its input held. */
interface Lag {
  readonly timeS: number;
  /** Share of the distance to the input that remains at the end. */
  readonly keep: number;
  /** Integral over the piece of that share, s. */
  readonly area: number;
}

function makeLag(timeS: number, lagS: number): Lag {
  const keep = Math.exp(-timeS / lagS);
  return { timeS, keep, area: lagS * (1 - keep) };
}
