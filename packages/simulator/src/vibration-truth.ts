import { AXES, BODY_AXES, type BodyAxis, type Interval } from '@settle/parser';
import { add, complex, magnitude } from './complex.js';
import type { FlightConfig } from './config.js';
import { axisLoop, makeResponses } from './linear-loop.js';
import type { LoggedColumns } from './record.js';
import { digitise, SENSOR_AXES } from './sensors.js';
import { BLOCK_S, productAt, type MeterBlock, type VibrationMeter } from './vibration-meter.js';
import type { LinePart } from './vibration-sources.js';

/** One line of one sensor axis, as it truly was over a stretch of the flight. */
export interface TrueVibrationLine {
  readonly sensor: 'gyro' | 'accel';
  readonly axis: BodyAxis;
  readonly kind: LinePart['kind'];
  /** Multiple of the rotor's speed, and which rotor (from 1); null for lines that follow none. */
  readonly order: number | null;
  readonly rotor: number | null;
  /** Time mean. Of a mode: its natural frequency. */
  readonly trueFrequencyHz: number;
  /** Where it stands in the log: time mean of the folded frequency, and its 5th and 95th percentile (of a mode: ± ζ). */
  readonly loggedHz: number;
  readonly lowHz: number;
  readonly highHz: number;
  /** Share of the time it lies beyond half the sample rate. */
  readonly foldedShare: number;
  /**
   * rad/s or m/s²: from the squares of what this line alone added at the logged instants, times what the rate loop makes
   * of it (|1/(1 + L)| of the gyro's axis: the controller sees the line and moves the body with it).
   */
  readonly rms: number;
  /** Of a mode; else null. */
  readonly dampingRatio: number | null;
  /** Place among the flight's lines, for `VibrationSpan.rmsTogether`. */
  readonly part: number;
}

/** How one sensor axis was logged. */
export interface TrueSensor {
  readonly sensor: 'gyro' | 'accel';
  readonly axis: BodyAxis;
  /**
   * One-sided density that no line makes, (rad/s)²/Hz or (m/s²)²/Hz, well above the loops' bandwidth: the sensor's own
   * noise and its steps as logged, and what is left there of the wind.
   */
  readonly floorAt: (frequencyHz: number) => number;
  /** Share of samples at the first or last step of the range. */
  readonly atRangeShare: number;
}

export interface VibrationSpan {
  readonly lines: readonly TrueVibrationLine[];
  /**
   * Rms of several lines of one sensor axis added up. Rotors that keep nearly the same speed do not beat often enough
   * for the root of the sum of their squares to be it.
   */
  readonly rmsTogether: (lines: readonly TrueVibrationLine[]) => number;
  readonly sensors: readonly TrueSensor[];
  /** Time mean of each rotor and of all; 5th and 95th percentile over rotors and time. Revolutions per second. */
  readonly rotorHz: {
    readonly rotors: readonly number[];
    readonly mean: number;
    readonly low: number;
    readonly high: number;
  };
}

export interface VibrationTruth {
  readonly sampleRateHz: number;
  /** Over the time in the air; null: it never left the ground. */
  readonly airborne: VibrationSpan | null;
  /** Over any other stretch, to within 0.1 s at its ends; null where there is no sample in it. */
  readonly over: (interval: Interval) => VibrationSpan | null;
}

/** Corner of the horizontal gusts, Hz. */
const PUSH_HZ = 0.2;

/** Below this share of an axis' largest line a line is rounding, not vibration. */
const NEGLIGIBLE = 1e-9;

/** @returns null for a flight without an inertial log */
export function assembleVibration(
  config: FlightConfig,
  meter: VibrationMeter,
  log: LoggedColumns,
  airborne: Interval | null,
): VibrationTruth | null {
  const imu = log.groups.find((group) => group.columns.has('gyro.x'));
  if (imu === undefined) return null;
  const sampleRateHz = imu.rateHz;
  const parts = meter.sources.parts;
  const over = (interval: Interval): VibrationSpan | null => {
    const blocks = meter.blocks.filter(
      ({ startS, count }) =>
        count > 0 && startS + BLOCK_S / 2 >= interval.startS && startS + BLOCK_S / 2 < interval.endS,
    );
    if (blocks.length === 0) return null;
    const sensitivity = makeSensitivity(config);
    const lines = parts.flatMap((part, p) => linesOf(part, p, blocks, sampleRateHz, sensitivity));
    return {
      lines: significant(lines),
      rmsTogether: (some) => rmsTogether(some, blocks, sensitivity),
      sensors: sensorsOf(config, log, interval, sampleRateHz),
      rotorHz: speedsOf(blocks),
    };
  };
  return { sampleRateHz, airborne: airborne === null ? null : over(airborne), over };
}

/** Where a line of this frequency stands in a log of this rate: |f − fs round(f/fs)| (the sampling theorem). */
export function foldFrequency(frequencyHz: number, sampleRateHz: number): number {
  return Math.abs(frequencyHz - sampleRateHz * Math.round(frequencyHz / sampleRateHz));
}

function linesOf(
  part: LinePart,
  p: number,
  blocks: readonly MeterBlock[],
  sampleRateHz: number,
  sensitivity: (axis: number, frequencyHz: number) => number,
): TrueVibrationLine[] {
  const samples = blocks.reduce((sum, block) => sum + block.count, 0);
  const place = part.frequencyHz === null ? followed(part, blocks, sampleRateHz) : fixed(part, sampleRateHz);
  const lines: TrueVibrationLine[] = [];
  for (let a = 0; a < SENSOR_AXES; a++) {
    const at = productAt(p, p, a);
    const squares = blocks.reduce((sum, block) => sum + block.products[at]!, 0);
    if (squares === 0) continue;
    const passed = a < 3 ? sensitivity(a, place.trueFrequencyHz) : 1;
    lines.push({
      ...sensorAxis(a),
      kind: part.kind,
      order: part.order,
      rotor: part.rotor,
      ...place,
      rms: Math.sqrt(squares / samples) * passed,
      dampingRatio: part.dampingRatio,
      part: p,
    });
  }
  return lines;
}

function rmsTogether(
  lines: readonly TrueVibrationLine[],
  blocks: readonly MeterBlock[],
  sensitivity: (axis: number, frequencyHz: number) => number,
): number {
  const samples = blocks.reduce((sum, block) => sum + block.count, 0);
  let sum = 0;
  for (const one of lines) {
    for (const other of lines) {
      if (other.sensor !== one.sensor || other.axis !== one.axis)
        throw new RangeError('only lines of one sensor axis add up');
      const a = BODY_AXES.indexOf(one.axis) + (one.sensor === 'gyro' ? 0 : 3);
      const at = productAt(Math.max(one.part, other.part), Math.min(one.part, other.part), a);
      const passed = a < 3 ? sensitivity(a, one.trueFrequencyHz) * sensitivity(a, other.trueFrequencyHz) : 1;
      sum += passed * blocks.reduce((total, block) => total + block.products[at]!, 0);
    }
  }
  return Math.sqrt(Math.max(0, sum) / samples);
}

type Place = Pick<TrueVibrationLine, 'trueFrequencyHz' | 'loggedHz' | 'lowHz' | 'highHz' | 'foldedShare'>;

function fixed(part: LinePart, sampleRateHz: number): Place {
  const at = part.frequencyHz!;
  const half = (part.dampingRatio ?? 0) * at;
  const loggedHz = foldFrequency(at, sampleRateHz);
  return {
    trueFrequencyHz: at,
    loggedHz,
    lowHz: loggedHz - half,
    highHz: loggedHz + half,
    foldedShare: at > sampleRateHz / 2 ? 1 : 0,
  };
}

function followed(part: LinePart, blocks: readonly MeterBlock[], sampleRateHz: number): Place {
  const speeds = blocks.map((block) => (part.order! * block.speeds[part.rotor! - 1]!) / block.count);
  const logged = speeds.map((hz) => foldFrequency(hz, sampleRateHz));
  return {
    trueFrequencyHz: mean(speeds),
    loggedHz: mean(logged),
    lowHz: quantile(logged, 0.05),
    highHz: quantile(logged, 0.95),
    foldedShare: speeds.filter((hz) => hz > sampleRateHz / 2).length / speeds.length,
  };
}

function significant(lines: readonly TrueVibrationLine[]): TrueVibrationLine[] {
  const largest = (sensor: string, axis: string): number =>
    lines.reduce(
      (top, line) => (line.sensor === sensor && line.axis === axis ? Math.max(top, line.rms) : top),
      0,
    );
  return lines.filter((line) => line.rms > NEGLIGIBLE * largest(line.sensor, line.axis));
}

function speedsOf(blocks: readonly MeterBlock[]): VibrationSpan['rotorHz'] {
  const series = [0, 1, 2, 3].map((i) => blocks.map((block) => block.speeds[i]! / block.count));
  const rotors = series.map(mean);
  const all = series.flat();
  return { rotors, mean: mean(rotors), low: quantile(all, 0.05), high: quantile(all, 0.95) };
}

function sensorsOf(
  config: FlightConfig,
  log: LoggedColumns,
  interval: Interval,
  sampleRateHz: number,
): TrueSensor[] {
  const imu = log.groups.find((group) => group.columns.has('gyro.x'))!;
  const { gyroNoiseRadS, accelNoise, gyroRange, accelRange } = config.sensors;
  return Array.from({ length: SENSOR_AXES }, (_, a) => {
    const { sensor, axis } = sensorAxis(a);
    const range = sensor === 'gyro' ? gyroRange : accelRange;
    const std = sensor === 'gyro' ? gyroNoiseRadS : accelNoise;
    const step = range === undefined ? 0 : (2 * range.fullScale) / 2 ** range.bits;
    // Steps make an even error of variance step²/12 (B. Widrow and I. Kollár, *Quantization Noise*, ch. 1).
    const noiseDensity = (2 * (std ** 2 + step ** 2 / 12)) / sampleRateHz;
    let hits = 0;
    let count = 0;
    if (range !== undefined) {
      const top = digitise(Number.MAX_VALUE, range);
      const bottom = digitise(-Number.MAX_VALUE, range);
      const values = imu.columns.get(`${sensor}.${axis}`)!;
      imu.timeS.forEach((timeS, i) => {
        if (timeS < interval.startS || timeS >= interval.endS) return;
        count++;
        if (values[i]! >= top || values[i]! <= bottom) hits++;
      });
    }
    const floorAt = (hz: number): number => noiseDensity + windDensity(config, a, hz);
    return { sensor, axis, floorAt, atRangeShare: count === 0 ? 0 : hits / count };
  });
}

/** Gusts that turn the body reach the gyro through 1/s; those that push it reach the accelerometer's x and y. */
function windDensity({ wind }: FlightConfig, sensorAxis: number, frequencyHz: number): number {
  if (sensorAxis < 3) {
    const gust = colouredDensity(wind.gustRadS2[AXES[sensorAxis]!], wind.gustHz, wind.gustOrder, frequencyHz);
    return gust / (2 * Math.PI * frequencyHz) ** 2;
  }
  return sensorAxis === 5 ? 0 : colouredDensity(wind.pushMS2, PUSH_HZ, 1, frequencyHz);
}

/** One-sided density of noise through one or two equal lags (`makeColouredNoise`), of a standard deviation in all. */
function colouredDensity(std: number, cornerHz: number, order: 1 | 2, frequencyHz: number): number {
  const passed = 1 / (1 + (frequencyHz / cornerHz) ** 2);
  const first = (2 * std ** 2 * passed) / (Math.PI * cornerHz);
  return order === 1 ? first : 2 * first * passed;
}

/** |1/(1 + L)| of a rate loop at a frequency, as the simulation steps it (which folds beyond half its rate). */
function makeSensitivity(config: FlightConfig): (axis: number, frequencyHz: number) => number {
  // Mistakes of wiring leave no loop that the linear model knows.
  if (config.wiring !== undefined) return () => 1;
  const loops = AXES.map((axis) => makeResponses(axisLoop(config, axis)));
  return (axis, frequencyHz) => {
    const w = (2 * Math.PI * frequencyHz) / config.loopRateHz;
    const { rate } = loops[axis]!(complex(Math.cos(w), Math.sin(w)));
    return 1 / magnitude(add(complex(1), rate));
  };
}

function sensorAxis(a: number): { sensor: 'gyro' | 'accel'; axis: BodyAxis } {
  return { sensor: a < 3 ? 'gyro' : 'accel', axis: BODY_AXES[a % 3]! };
}

const mean = (values: readonly number[]): number => values.reduce((sum, v) => sum + v, 0) / values.length;

function quantile(values: readonly number[], share: number): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.round(share * (sorted.length - 1))]!;
}
