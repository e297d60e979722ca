/** Tones in real records, whose figures the description of the open data states. */
import { readFileSync } from 'node:fs';
import { describe, expect, test, type TestContext } from 'vitest';
import {
  coherentGain,
  detrended,
  fitTone,
  fitToneAtTimes,
  hannOffset,
  nextPowerOfTwo,
  powerSpectralDensity,
  transformReal,
  windowSamples,
  type NoFit,
  type PowerSpectrum,
} from '../../packages/analysis/src/spectrum/index.js';
import { openData } from '../support/open-data.js';

/** Plain number tables only; the reader proper is another package's work and has its own tests. */
function readTable(path: string, delimiter: string, headerLines: number, context: TestContext): number[][] {
  return readFileSync(openData(path, context), 'utf8')
    .split(/\r?\n/)
    .slice(headerLines)
    .filter((line) => line.trim() !== '')
    .map((line) => line.split(delimiter).map(Number));
}

function column(rows: readonly number[][], index: number): Float64Array {
  return Float64Array.from(rows, (row) => row[index]!);
}

function found<Fit extends object>(fit: Fit | NoFit): Fit {
  if ('unavailable' in fit) throw new Error(fit.unavailable);
  return fit;
}

describe('wheel gyro (University at Buffalo physics students, MIT licence): z_cir.csv, 5 to 15 s', () => {
  const read = (context: TestContext): Record<'time' | 'x' | 'y' | 'z', Float64Array> => {
    const rows = readTable('wheel-gyro/z_cir.csv', ',', 1, context).filter(
      (row) => row[0]! >= 5 && row[0]! <= 15,
    );
    expect(rows.length).toBeGreaterThan(900);
    return { time: column(rows, 0), x: column(rows, 1), y: column(rows, 2), z: column(rows, 3) };
  };

  // The stated ranges are rounded: half a unit of the last printed digit is added either side.
  test('x and y turn at 0.654 to 0.657 Hz with 2.32 to 2.35 rad/s, 90° apart', (context) => {
    const { time, x, y } = read(context);
    const fitX = found(fitToneAtTimes(time, x, 0.65));
    const fitY = found(fitToneAtTimes(time, y, 0.65));
    for (const fit of [fitX, fitY]) {
      expect(fit.frequencyHz).toBeGreaterThan(0.6535);
      expect(fit.frequencyHz).toBeLessThan(0.6575);
      expect(fit.amplitude).toBeGreaterThan(2.315);
      expect(fit.amplitude).toBeLessThan(2.355);
    }
    const apart = Math.abs(fitX.phaseRad - fitY.phaseRad);
    expect(Math.abs(Math.min(apart, 2 * Math.PI - apart) - Math.PI / 2)).toBeLessThan((3 * Math.PI) / 180);
  });

  test('the mean z rate over 2π, which kinematics make the same frequency, is 0.652 Hz', (context) => {
    const { z } = read(context);
    const mean = z.reduce((sum, value) => sum + value, 0) / z.length;
    expect(Math.abs(mean) / (2 * Math.PI)).toBeCloseTo(0.652, 3);
  });
});

describe('bearing rig (Center for Intelligent Maintenance Systems, University of Cincinnati): 1 s at 20,480 Hz', () => {
  /** Share of the local median by which the largest density within 2 Hz of a frequency stands out, and where. */
  const line = (spectrum: PowerSpectrum, nearHz: number): { frequencyHz: number; overFloor: number } => {
    const { values, frequenciesHz } = spectrum;
    const near = Array.from(frequenciesHz.keys()).filter((k) => Math.abs(frequenciesHz[k]! - nearHz) <= 2);
    const k = near.reduce((best, candidate) => (values[candidate]! > values[best]! ? candidate : best));
    const floor = values.slice(Math.max(1, k - 20), k + 21).sort()[20]!;
    const magnitudes = [k - 1, k, k + 1].map((bin) => Math.sqrt(values[bin]!));
    const offset = hannOffset(magnitudes[0]!, magnitudes[1]!, magnitudes[2]!);
    return { frequencyHz: (k + offset) * spectrum.binWidthHz, overFloor: values[k]! / floor };
  };

  test('after shut-down: mains hum stands out at 60, 180, 240, 300 and 420 Hz on channel 1', (context) => {
    const rows = readTable('bearing-rig/2004.02.19.06.22.39.tsv', '\t', 0, context);
    expect(rows).toHaveLength(20_480);
    const spectrum = powerSpectralDensity(column(rows, 0), 20_480, { segmentLength: 20_480 });
    for (const hz of [60, 180, 240, 300, 420]) {
      const { frequencyHz, overFloor } = line(spectrum, hz);
      expect(overFloor).toBeGreaterThan(10);
      expect(Math.abs(frequencyHz - hz)).toBeLessThan(0.5);
    }
  });

  test('running: a line at 236.9 Hz on channel 1, near the outer-race frequency of 236.4 Hz (from memory)', (context) => {
    const rows = readTable('bearing-rig/2004.02.12.10.32.39.tsv', '\t', 0, context);
    const x = column(rows, 0);
    const { frequencyHz, overFloor } = line(
      powerSpectralDensity(x, 20_480, { segmentLength: 20_480 }),
      236.9,
    );
    expect(overFloor).toBeGreaterThan(10);
    expect(Math.abs(frequencyHz - 236.9)).toBeLessThan(0.3);
    expect(Math.abs(found(fitTone(x, 20_480, frequencyHz)).frequencyHz - 236.9)).toBeLessThan(0.3);
  });
});

describe('quadrotor (Hurwitz and Klein, arXiv:2310.13452, CC BY 4.0): Hann-windowed line of the roll angle, whole record', () => {
  // Gyro lines are given to within rounding ("about"), hence 5 % there; frequency and angle to the last printed digit.
  test.for([
    ['quadrotor-imu/horizontal-1-imu-1.csv', 0.466, 31.6, 90],
    ['quadrotor-imu/horizontal-10-imu-1.csv', 0.177, 25.7, 27.6],
  ] as const)('%s: %d Hz, %d deg, about %d deg/s', ([file, frequencyHz, amplitudeDeg, rateDegS], context) => {
    const rows = readTable(file, ',', 1, context);
    const angle = hannLine(column(rows, 1));
    expect(Math.abs(angle.frequencyHz - frequencyHz)).toBeLessThan(0.001);
    expect(Math.abs(angle.amplitude - amplitudeDeg)).toBeLessThan(0.1);
    const rate = hannLine(column(rows, 7));
    expect(Math.abs(rate.frequencyHz / frequencyHz - 1)).toBeLessThan(0.02);
    expect(Math.abs(rate.amplitude / rateDegS - 1)).toBeLessThan(0.05);
  });

  /** Highest point of the Hann-windowed spectrum, read on a 32 times finer grid: the swing is no pure tone to interpolate. */
  function hannLine(x: Float64Array): { frequencyHz: number; amplitude: number } {
    const window = windowSamples('hann', x.length);
    const padded = new Float64Array(nextPowerOfTwo(32 * x.length));
    detrended(x, 'mean').forEach((value, i) => (padded[i] = value * window[i]!));
    const bins = transformReal(padded);
    let peak = 0;
    let highest = 0;
    for (let k = 1; k < bins.length / 2; k++) {
      const magnitude = Math.hypot(bins[2 * k]!, bins[2 * k + 1]!);
      if (magnitude > highest) [peak, highest] = [k, magnitude];
    }
    return {
      frequencyHz: (peak * 120) / padded.length,
      amplitude: (2 * highest) / (coherentGain(window) * x.length),
    };
  }
});
