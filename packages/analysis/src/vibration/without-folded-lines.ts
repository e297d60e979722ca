/** A slow log of the motor commands without the vibration that its rate folds down into slow swings: no rotor follows that. */
import type { Signal } from '@settle/parser';
import { smoothed } from '../signals.js';
import { solveLeastSquares } from '../spectrum/least-squares.js';
import { atRest, samplesIn, samplesOf, withSamples, type Samples } from './at-rest.js';
import { clearestRecords, type PeakCluster } from './find-base.js';
import { holdsAll } from './second-rate.js';
import type { SensorRecord } from './sensor-records.js';

/** Short enough to follow a line that wanders, s. */
const WINDOW_S = 0.4;
/** Lines that are taken out, and how high they stand at least, natural log. */
const MOST_LINES = 6;
const LEAST_HEIGHT = 1.5;
/** Nearer than this they are taken out together, Hz. */
const TOGETHER_HZ = 1;
/** Sensor axes by which a line is known. */
const MOST_AXES = 4;
/** What a command does more slowly than this says nothing of lines, s. */
const SLOW_S = 0.6;
/** A command holds a line where it explains at least this much: log of likelihoods. */
const LEAST_GAIN = 12;

/**
 * What the loop passes on of a line to the motors is the line itself, larger or smaller and later, and so tells its part of the command
 * from what the command does by itself: least squares on the line as the sensors show it, at its true frequency, sample by sample.
 *
 * @param motors as logged
 * @param records of one clock, over the hover
 * @param folds lines may be folded; those of which nothing tells where they truly are stay in, unless the motors are logged at a whole
 *   part of the rate of the records, where it does not matter
 */
export function withoutFoldedLines(
  motors: readonly Signal[],
  records: readonly SensorRecord[],
  clusters: readonly PeakCluster[],
  folds: boolean,
): Signal[] {
  const first = records[0]!;
  const hover = { startS: first.startS, endS: first.startS + (first.values.length - 1) / first.sampleRateHz };
  const cleaned = motors.map((signal) => ({ signal, samples: samplesIn(signal, hover) }));
  const taken: number[] = [];
  for (const cluster of clusters) {
    if (cluster.height < LEAST_HEIGHT || taken.length === MOST_LINES) break;
    if (taken.some((hz) => Math.abs(hz - cluster.hz) < TOGETHER_HZ)) continue;
    taken.push(cluster.hz);
    const axes = clearestRecords(
      cluster.at.map(({ record }) => record),
      records,
    )
      .slice(0, MOST_AXES)
      .map((record) => samplesOf(record, hover.endS));
    for (const one of cleaned) {
      const plain = !folds || holdsAll(one.signal.clock.sampleRateHz, first.sampleRateHz);
      const trueHz = cluster.told?.[0] ?? (plain ? cluster.hz : null);
      if (trueHz !== null) one.samples = withoutLine(one.samples, axes, cluster.hz, trueHz);
    }
  }
  return cleaned.map(({ signal, samples }) => withSamples(signal, samples));
}

/** @param trueHz of the line; negative where `hz`, its place in the records, is mirrored */
function withoutLine(motor: Samples, axes: readonly Samples[], hz: number, trueHz: number): Samples {
  const { timeS, values } = motor;
  // The line as the axes show it, where the motors are logged, and a quarter turn later.
  const columns = axes.flatMap((axis) => {
    const z = atRest(axis, hz, timeS, WINDOW_S);
    const turnedBy = (quarters: number): Float64Array =>
      values.map((_, i) => {
        const angle = 2 * Math.PI * Math.abs(trueHz) * timeS[i]! + (quarters * Math.PI) / 2;
        return z[2 * i]! * Math.cos(angle) - Math.sign(trueHz) * z[2 * i + 1]! * Math.sin(angle);
      });
    return [turnedBy(0), turnedBy(1)];
  });
  const width = Math.round((values.length * SLOW_S) / (timeS.at(-1)! - timeS[0]!));
  const quick = (series: Float64Array): Float64Array => {
    const slow = smoothed(series, width);
    return series.map((v, i) => v - slow[i]!);
  };
  const wanted = quick(values);
  const whole = wanted.reduce((sum, v) => sum + v * v, 0);
  const fit = solveLeastSquares(columns.map(quick), wanted);
  if (fit === null || !(whole > 0)) return motor;
  const gain = (values.length / 2) * Math.log(whole / Math.max(1e-12 * whole, fit.residualSumOfSquares));
  if (gain - columns.length / 2 < LEAST_GAIN) return motor;
  return {
    timeS,
    values: values.map((v, i) =>
      columns.reduce((left, column, j) => left - fit.coefficients[j]! * column[i]!, v),
    ),
  };
}
