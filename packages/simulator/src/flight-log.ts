import { AXES, BODY_AXES, type ChannelName } from '@settle/parser';
import type { FlightConfig } from './config.js';
import type { AxisController } from './controller.js';
import { makeStream, type Random } from './random.js';
import { makeRecorder, type LoggedColumns, type Recorder } from './record.js';
import { MODE_LABELS } from './script.js';
import { digitise } from './sensors.js';

/** What the logger reads at a controller step. The arrays stay the same objects throughout a flight. */
export interface Observed {
  /** Asked angles, and angles as the controller saw them. */
  readonly angleReference: Float64Array;
  readonly angleMeasured: Float64Array;
  readonly axes: readonly AxisController[];
  /** Gyro as sampled, before any filter; accelerometer without its noise. */
  readonly gyro: Float64Array;
  readonly accel: Float64Array;
  readonly command: Float64Array;
  readonly sticks: Float64Array;
  readonly rotorHz: Float64Array;
  throttle: number;
  /** Index into the mode labels. */
  mode: number;
  heightM: number;
  volts: number;
  amps: number;
}

const TERMS = [
  'reference',
  'measured',
  'demand',
  'proportional',
  'integral',
  'derivative',
  'feedforward',
] as const;

/** Writes the logged groups, each at its own rate, adding the noise that only the log sees. */
export class FlightLog {
  private readonly config: FlightConfig;
  private readonly attitude: Recorder;
  private readonly rate: Recorder;
  private readonly imu: Recorder;
  private readonly motor: Recorder;
  private readonly pilot: Recorder;
  private readonly height: Recorder;
  private readonly rotor: Recorder;
  private readonly battery: Recorder;
  private readonly accelNoise: Random;
  private readonly betweenSteps: Random;
  private readonly heightNoise: Random;
  private readonly batteryNoise: Random;

  constructor(config: FlightConfig, seed: number) {
    this.config = config;
    const { log, substeps, loopRateHz, unmodelled } = config;
    const physicsRateHz = loopRateHz * substeps;
    const make = (name: string, rateHz: number, channels: ChannelName[], fine = false): Recorder => {
      // Only the inertial group may be logged faster than the loop runs.
      let every = rateHz > 0 ? Math.max(1, Math.round(loopRateHz / rateHz)) * substeps : 0;
      if (fine && rateHz > loopRateHz) every = Math.max(1, Math.round(physicsRateHz / rateHz));
      return makeRecorder(name, channels, every, physicsRateHz, {
        jitterS: unmodelled.clockJitterS,
        dropShare: log.dropShare,
        random: makeStream(seed, `log ${name}`),
      });
    };
    const perMotor = (name: (n: number) => ChannelName): ChannelName[] => [1, 2, 3, 4].map(name);
    this.attitude = make(
      'attitude',
      log.attitudeHz,
      AXES.flatMap((a): ChannelName[] => [`attitude.${a}.reference`, `attitude.${a}.measured`]),
    );
    this.rate = make(
      'rate',
      log.rateHz,
      AXES.flatMap((a) => TERMS.map((term): ChannelName => `rate.${a}.${term}`)),
    );
    const inertial = [
      ...BODY_AXES.map((a): ChannelName => `gyro.${a}`),
      ...BODY_AXES.map((a): ChannelName => `accel.${a}`),
    ];
    this.imu = make('imu', log.imuHz, inertial, true);
    this.motor = make(
      'motor',
      log.motorHz,
      perMotor((n) => `motor.${n}.command`),
    );
    const sticks: ChannelName[] = ['stick.roll', 'stick.pitch', 'stick.yaw', 'stick.throttle'];
    this.pilot = make('pilot', log.pilotHz, [...sticks, 'throttle', 'mode']);
    this.height = make('height', log.heightHz, ['height']);
    this.rotor = make(
      'rotor',
      log.rotorHz,
      perMotor((n) => `rotor.${n}.speed`),
    );
    this.battery = make('battery', log.batteryHz, ['battery.voltage', 'battery.current']);
    this.accelNoise = makeStream(seed, 'accelerometer');
    this.betweenSteps = makeStream(seed, 'inertial samples between steps');
    this.heightNoise = makeStream(seed, 'height');
    this.batteryNoise = makeStream(seed, 'battery');
  }

  /** @param substep physics steps since the start */
  record(substep: number, timeS: number, seen: Observed): void {
    const due = (recorder: Recorder): boolean => recorder.every > 0 && substep % recorder.every === 0;
    const { sensors } = this.config;
    if (due(this.attitude)) {
      const { row } = this.attitude;
      for (let a = 0; a < 3; a++) {
        row[2 * a] = seen.angleReference[a]!;
        row[2 * a + 1] = seen.angleMeasured[a]!;
      }
      this.attitude.keep(timeS);
    }
    if (due(this.rate)) {
      seen.axes.forEach((axis, a) => {
        axis.writeTerms(this.rate.row, TERMS.length * a);
      });
      this.rate.keep(timeS);
    }
    if (due(this.imu)) {
      const { row } = this.imu;
      for (let a = 0; a < 3; a++) {
        row[a] = seen.gyro[a]!;
        row[3 + a] = digitise(
          seen.accel[a]! + sensors.accelNoise * this.accelNoise.normal(),
          sensors.accelRange,
        );
      }
      this.imu.keep(timeS);
    }
    if (due(this.motor)) {
      this.motor.row.set(seen.command);
      this.motor.keep(timeS);
    }
    if (due(this.pilot)) {
      const { row } = this.pilot;
      row.set(seen.sticks);
      row[3] = seen.throttle;
      row[4] = seen.throttle;
      row[5] = seen.mode;
      this.pilot.keep(timeS);
    }
    if (due(this.height)) {
      this.height.row[0] = seen.heightM + sensors.heightNoiseM * this.heightNoise.normal();
      this.height.keep(timeS);
    }
    if (due(this.rotor)) {
      this.rotor.row.set(seen.rotorHz);
      this.rotor.keep(timeS);
    }
    if (due(this.battery)) {
      this.battery.row[0] = seen.volts + 0.005 * this.batteryNoise.normal();
      this.battery.row[1] = seen.amps * (1 + 0.01 * this.batteryNoise.normal());
      this.battery.keep(timeS);
    }
  }

  /** Whether an inertial sample falls due at a controller step. */
  inertialAtStep(substep: number): boolean {
    const { every } = this.imu;
    return every > 0 && substep % every === 0;
  }

  /** Whether an inertial sample falls due between two controller steps. */
  inertialDue(substep: number): boolean {
    const { every } = this.imu;
    const { substeps } = this.config;
    return every > 0 && every % substeps !== 0 && substep % every === 0 && substep % substeps !== 0;
  }

  /** Keeps such a sample; `gyro` and `accel` come without noise here, since the controller never saw them. */
  recordInertial(timeS: number, gyro: Float64Array, accel: Float64Array): void {
    const { sensors } = this.config;
    const { row } = this.imu;
    for (let a = 0; a < 3; a++) {
      row[a] = digitise(gyro[a]! + sensors.gyroNoiseRadS * this.betweenSteps.normal(), sensors.gyroRange);
      row[3 + a] = digitise(accel[a]! + sensors.accelNoise * this.betweenSteps.normal(), sensors.accelRange);
    }
    this.imu.keep(timeS);
  }

  finish(): LoggedColumns {
    const recorders = [
      this.attitude,
      this.rate,
      this.imu,
      this.motor,
      this.pilot,
      this.height,
      this.rotor,
      this.battery,
    ];
    const groups = recorders.map((recorder) => recorder.finish()).filter((group) => group !== null);
    return { groups, modeLabels: MODE_LABELS };
  }
}
