/** A slow log of the motor commands without what the loop passes on of the gyro and the log’s rate folds down: no rotor follows that. */
import type { Signal } from '@settle/parser';
import { smoothed } from '../signals.js';
import { inverseReal, transformReal } from '../spectrum/fft.js';
import { solveLeastSquares } from '../spectrum/least-squares.js';
import { samplesIn, withSamples } from './at-rest.js';
import type { SensorRecord } from './sensor-records.js';

/** A loop forgets a sample of the gyro within this, s. */
const MEMORY_S = 0.04;
/** Samples before a command that begin a tap: what lies longer ago counts more of them together. */
const TAPS = [0, 1, 2, 3, 4, 6, 8, 11, 15, 20, 27, 36, 48];
/** The gyro counts from this share of the commands’ rate on, and in full from half of it. */
const COUNTS_FROM = 0.4;
/** What a command does more slowly than this says nothing of noise, s. */
const SLOW_S = 0.4;
/** A sample of the gyro that lies so near after a command, in steps of the gyro, belongs to it. */
const SAME_STEP = 0.05;
/** What must be explained over what as many taps explain of nothing: log of likelihoods. */
const LEAST_GAIN = 12;

/**
 * Between gyro and motors stands a controller, linear as long as no motor runs into its stops: what it made of the last samples of the
 * gyro is found by least squares, and what of it lies beyond half the rate of the commands is taken from them.
 *
 * @param motors as often as they are known
 * @param records over the hover; without gyro nothing is taken
 */
export function withoutGyroNoise(motors: readonly Signal[], records: readonly SensorRecord[]): Signal[] {
  const gyro = records.filter(({ sensor }) => sensor === 'gyro');
  const first = gyro[0];
  if (first === undefined) return [...motors];
  const hover = { startS: first.startS, endS: first.startS + (first.values.length - 1) / first.sampleRateHz };
  return motors.map((signal) => {
    const rateHz = signal.clock.sampleRateHz;
    const told = samplesIn(signal, hover);
    const quick = (series: Float64Array): Float64Array => {
      const slow = smoothed(series, SLOW_S * rateHz);
      return series.map((v, i) => v - slow[i]!);
    };
    const taps = gyro
      .filter(({ sampleRateHz }) => sampleRateHz > rateHz)
      .flatMap((record) => tapsOf(record, told.timeS, rateHz));
    if (taps.length === 0 || told.values.length < 4 * taps.length) return signal;
    const wanted = quick(told.values);
    const whole = wanted.reduce((sum, v) => sum + v * v, 0);
    const fit = solveLeastSquares(taps.map(quick), wanted);
    if (fit === null || !(whole > 0)) return signal;
    const left = Math.max(1e-12 * whole, fit.residualSumOfSquares);
    if ((wanted.length / 2) * Math.log(whole / left) - taps.length < LEAST_GAIN) return signal;
    const values = told.values.map((value, i) =>
      taps.reduce((v, tap, j) => v - fit.coefficients[j]! * tap[i]!, value),
    );
    return withSamples(signal, { timeS: told.timeS, values });
  });
}

/** Sums of what the gyro felt up to each time, beyond half the rate of the commands. */
function tapsOf(record: SensorRecord, timeS: Float64Array, rateHz: number): Float64Array[] {
  const { startS, sampleRateHz } = record;
  const fast = fastPart(record, COUNTS_FROM * rateHz, rateHz / 2);
  const sums = new Float64Array(fast.length + 1);
  for (let i = 0; i < fast.length; i++) sums[i + 1] = sums[i]! + fast[i]!;
  const upTo = (i: number): number => sums[Math.max(0, Math.min(fast.length, i))]!;
  const now = timeS.map((t) => Math.floor((t - startS) * sampleRateHz + SAME_STEP));
  return TAPS.slice(0, -1).flatMap((tap, j) =>
    tap < MEMORY_S * sampleRateHz
      ? [Float64Array.from(now, (i) => upTo(i - tap + 1) - upTo(i - TAPS[j + 1]! + 1))]
      : [],
  );
}

/** What of a record lies beyond a frequency, by the transform, in between by a half cosine. */
function fastPart({ values, sampleRateHz }: SensorRecord, fromHz: number, fullHz: number): Float64Array {
  const bins = transformReal(values);
  for (let k = 0; k < bins.length / 2; k++) {
    const u = Math.max(0, Math.min(1, ((k * sampleRateHz) / values.length - fromHz) / (fullHz - fromHz)));
    const keep = 0.5 - 0.5 * Math.cos(Math.PI * u);
    bins[2 * k]! *= keep;
    bins[2 * k + 1]! *= keep;
  }
  return inverseReal(bins, values.length);
}
