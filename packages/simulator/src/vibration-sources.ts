import type { FlightConfig, PerBodyAxis, StructuralMode } from './config.js';
import { ROTOR_SIGNS } from './operating-point.js';
import { makeStream, type Random } from './random.js';
import { SENSOR_AXES, type FlexibleMode, type RotorVibration } from './sensors.js';

/** One line that the sensors feel, and what it adds to each sensor axis at the sampled instant. */
export interface LinePart {
  readonly kind: 'rotor' | 'blade-pass' | 'rotor-harmonic' | 'structure' | 'electrical';
  /** Multiple of the rotor's speed, and which rotor (from 1); null for lines that follow none. */
  readonly order: number | null;
  readonly rotor: number | null;
  /** Of lines that follow no rotor. */
  readonly frequencyHz: number | null;
  /** Of modes. */
  readonly dampingRatio: number | null;
  /** By sensor axis: gyro x, y, z in rad/s, accelerometer x, y, z in m/s². No noise, no motion of the body. */
  readonly value: Float64Array;
}

/**
 * Everything that vibrates, line by line: the rotors, and what a configuration adds to them. Lines that a mode passes
 * on (a rotor's, felt through the airframe) belong to the rotor; a mode's own part is what broad-band noise makes of it.
 */
export class VibrationSources {
  readonly parts: LinePart[] = [];
  /** What `RotorVibration` does not feel already: harmonics, modes, electrical lines; by sensor axis. */
  readonly extra = new Float64Array(SENSOR_AXES);
  private readonly config: FlightConfig;
  private readonly rotors: RotorVibration;
  private readonly rotorParts: readonly RotorParts[];
  private readonly modes: readonly RingingMode[];
  private readonly tones: readonly Tone[];
  private readonly bending: { mode: FlexibleMode; axis: number; part: LinePart } | null;

  /**
   * @param h physics step, s
   * @param flex the mode inside the loop, if there is one, and its axis
   * @throws RangeError for orders that are not whole, below two, or the blade pass
   */
  constructor(
    config: FlightConfig,
    seed: number,
    rotors: RotorVibration,
    h: number,
    flex: { mode: FlexibleMode; axis: number } | null,
  ) {
    this.config = config;
    this.rotors = rotors;
    const { harmonics = [], structure = [], electrical = [] } = config.vibration;
    const { blades } = config.rotors;
    for (const { order } of harmonics) {
      if (!Number.isInteger(order) || order < 2 || order === blades)
        throw new RangeError('a harmonic has a whole order above one that is not the blade pass');
    }
    this.rotorParts = [1, 2, 3, 4].map((rotor) => ({
      once: this.add('rotor', { order: 1, rotor }),
      bladePass: this.add('blade-pass', { order: blades, rotor }),
      harmonics: harmonics.map(({ order }) => this.add('rotor-harmonic', { order, rotor })),
    }));
    this.modes = structure.map((mode, i) => {
      const { frequencyHz, dampingRatio } = mode;
      const part = this.add('structure', { frequencyHz, dampingRatio });
      return new RingingMode(mode, part, h, makeStream(seed, `structural mode ${String(i + 1)}`));
    });
    const phases = makeStream(seed, 'electrical phase');
    this.tones = electrical.map(({ frequencyHz, gyro, accel }) => ({
      part: this.add('electrical', { frequencyHz }),
      amplitude: [...gyro, ...accel],
      phase: 2 * Math.PI * phases.uniform(),
    }));
    const inLoop = config.flexibleMode;
    this.bending =
      flex === null || inLoop === null
        ? null
        : {
            ...flex,
            part: this.add('structure', {
              frequencyHz: inLoop.frequencyHz,
              dampingRatio: inLoop.dampingRatio,
            }),
          };
  }

  /** Moves the modes on by one physics step, after the rotors have turned. */
  step(): void {
    if (this.modes.length === 0) return;
    const { rotors, config } = this;
    const { hoverHz, blades } = config.rotors;
    for (const mode of this.modes) {
      let stir = 0;
      for (let i = 0; i < 4; i++) {
        const level = (rotors.speedHz[i]! / hoverHz) ** 2;
        stir += level / 4;
        if (mode.followsRotors) {
          const phase = rotors.phase[i]!;
          mode.drive(2 * i, level * config.vibration.imbalance[i]! * Math.sin(phase));
          mode.drive(2 * i + 1, level * Math.sin(blades * phase));
        }
      }
      mode.ring(stir);
    }
  }

  /** Fills the parts and `extra` for this instant; `RotorVibration.sample` comes first. */
  sample(timeS: number): void {
    const { extra, rotors, config } = this;
    const { harmonics = [] } = config.vibration;
    extra.fill(0);
    this.rotorParts.forEach((own, i) => {
      own.once.value.set(rotors.once[i]!);
      own.bladePass.value.set(rotors.bladePass[i]!);
      harmonics.forEach((harmonic, j) => {
        this.feelHarmonic(i, harmonic, own.harmonics[j]!.value);
        addTo(extra, own.harmonics[j]!.value, 1);
      });
      for (const mode of this.modes) {
        if (!mode.followsRotors) continue;
        mode.feel(2 * i, own.once.value, extra);
        mode.feel(2 * i + 1, own.bladePass.value, extra);
      }
    });
    for (const mode of this.modes) {
      mode.part.value.fill(0);
      mode.feelNoise(mode.part.value, extra);
    }
    this.tones.forEach(({ part, amplitude, phase }) => {
      const sin = Math.sin(2 * Math.PI * part.frequencyHz! * timeS + phase);
      for (let a = 0; a < SENSOR_AXES; a++) part.value[a] = amplitude[a]! * sin;
      addTo(extra, part.value, 1);
    });
    if (this.bending !== null) this.bending.part.value[this.bending.axis] = this.bending.mode.rate;
  }

  /** Multiples of the blade pass come from the blades, the others from what is uneven about the rotor. */
  private feelHarmonic(
    index: number,
    harmonic: { order: number; gyro: number; accel: number },
    value: Float64Array,
  ): void {
    const { rotors, vibration } = this.config;
    const uneven = harmonic.order % rotors.blades === 0 ? 1 : vibration.imbalance[index]!;
    const level = (this.rotors.speedHz[index]! / rotors.hoverHz) ** 2 * uneven;
    const angle = harmonic.order * this.rotors.phase[index]!;
    const sin = level * Math.sin(angle);
    const cos = level * Math.cos(angle);
    value[0] = harmonic.gyro * sin;
    value[1] = harmonic.gyro * 0.9 * cos;
    value[2] = harmonic.gyro * 0.3 * ROTOR_SIGNS[2]![index]! * sin;
    value[3] = harmonic.accel * 0.5 * cos;
    value[4] = harmonic.accel * 0.5 * sin;
    value[5] = harmonic.accel * cos;
  }

  private add(kind: LinePart['kind'], rest: Partial<LinePart>): LinePart {
    const part: LinePart = {
      kind,
      order: null,
      rotor: null,
      frequencyHz: null,
      dampingRatio: null,
      value: new Float64Array(SENSOR_AXES),
      ...rest,
    };
    this.parts.push(part);
    return part;
  }
}

interface RotorParts {
  readonly once: LinePart;
  readonly bladePass: LinePart;
  readonly harmonics: readonly LinePart[];
}

interface Tone {
  readonly part: LinePart;
  readonly amplitude: readonly number[];
  readonly phase: number;
}

/** Sources that move a mode: each rotor's once per revolution and blade pass, then noise. */
const NOISE_AT = 8;

/**
 * One mode x'' + 2ζω x' + ω² x = input, solved for each of its sources by itself (it is linear), so that what each line
 * adds is known. In units in which broad-band noise at hover speed gives x' and ω x an rms of one: white noise held over
 * steps of h with standard deviation s has the two-sided density s² h, and gives x' the variance s² h / (4ζω). The gyro
 * feels x', the accelerometer ω x (the restoring force).
 */
class RingingMode {
  readonly part: LinePart;
  readonly followsRotors: boolean;
  private readonly random: Random;
  private readonly x = new Float64Array(NOISE_AT + 1);
  private readonly v = new Float64Array(NOISE_AT + 1);
  private readonly noiseStd: number;
  private readonly rotorAmplitude: number;
  private readonly weights: readonly number[];
  private readonly omega: number;
  private readonly m: readonly [number, number, number, number];
  private readonly input: readonly [number, number];

  constructor(mode: StructuralMode, part: LinePart, h: number, random: Random) {
    this.part = part;
    this.random = random;
    const w = 2 * Math.PI * mode.frequencyHz;
    const zeta = mode.dampingRatio;
    const decay = zeta * w;
    const wd = w * Math.sqrt(1 - zeta ** 2);
    const e = Math.exp(-decay * h);
    const c = Math.cos(wd * h);
    const s = Math.sin(wd * h);
    this.omega = w;
    this.m = [e * (c + (decay / wd) * s), (e * s) / wd, (-e * s * w * w) / wd, e * (c - (decay / wd) * s)];
    this.input = [(1 - this.m[0]) / (w * w), this.m[1]];
    this.noiseStd = Math.sqrt((4 * decay) / h);
    this.followsRotors = mode.rotorDrive !== 0;
    // At resonance an input of amplitude 2ζω gives x' an amplitude of one.
    this.rotorAmplitude = mode.rotorDrive * 2 * decay;
    this.weights = [...mode.gyro, ...mode.accel] satisfies [...PerBodyAxis, ...PerBodyAxis];
  }

  /** @param force of one rotor's line over its amplitude in hover */
  drive(source: number, force: number): void {
    this.advance(source, this.rotorAmplitude * force);
  }

  /** @param level of the broad-band noise over its level in hover */
  ring(level: number): void {
    this.advance(NOISE_AT, this.noiseStd * level * this.random.normal());
  }

  /** Adds what a source makes the sensors feel to both. */
  feel(source: number, value: Float64Array, sum: Float64Array): void {
    for (let a = 0; a < SENSOR_AXES; a++) {
      const felt = this.weights[a]! * (a < 3 ? this.v[source]! : this.omega * this.x[source]!);
      value[a] = value[a]! + felt;
      sum[a] = sum[a]! + felt;
    }
  }

  feelNoise(value: Float64Array, sum: Float64Array): void {
    this.feel(NOISE_AT, value, sum);
  }

  private advance(i: number, input: number): void {
    const x = this.x[i]!;
    const v = this.v[i]!;
    this.x[i] = this.m[0] * x + this.m[1] * v + this.input[0] * input;
    this.v[i] = this.m[2] * x + this.m[3] * v + this.input[1] * input;
  }
}

function addTo(sum: Float64Array, value: Float64Array, factor: number): void {
  for (let a = 0; a < SENSOR_AXES; a++) sum[a] = sum[a]! + factor * value[a]!;
}
