/** Bands around multiples of the mean speed, on sinusoids whose place, level and noise are known. */
import { describe, expect, test } from 'vitest';
import { randomSource } from '../../../../tests/support/random.js';
import { madeSensorRecord } from '../../../../tests/support/sensor-record.js';
import {
  bandGain,
  flatBand,
  orderBand,
  restFloor,
  restSpectrum,
  subtractBand,
  turning,
} from './order-band.js';
import type { SensorRecord } from './sensor-records.js';

const RATE = 400;
const SECONDS = 20;

/** Only what a band looks at. */
function recordOf(at: (t: number) => number): SensorRecord {
  const values = Float64Array.from({ length: RATE * SECONDS }, (_, i) => at(i / RATE));
  return madeSensorRecord(values, RATE);
}

const turnsAt = (hz: number): Float64Array =>
  Float64Array.from({ length: RATE * SECONDS }, (_, i) => (hz * i) / RATE);

function rms(values: Float64Array): number {
  const inner = values.subarray(2 * RATE, -2 * RATE);
  return Math.sqrt(inner.reduce((sum, v) => sum + v * v, 0) / inner.length);
}

describe('a band around a multiple of the mean speed', () => {
  test('a sine of amplitude A at twice the speed rests with half its amplitude', () => {
    const record = recordOf((t) => 0.6 * Math.cos(2 * Math.PI * 80 * t + 0.5));
    const { z } = orderBand(record, record.values, turning(turnsAt(40), 2), 2, 40);
    const middle = z.length / 4;
    const i = 2 * Math.round(middle / 1);
    expect(Math.hypot(z[i]!, z[i + 1]!)).toBeCloseTo(0.3, 4);
    expect(Math.atan2(z[i + 1]!, z[i]!)).toBeCloseTo(0.5, 3);
  });

  test('a multiple beyond half the sample rate rests as well as one below', () => {
    const record = recordOf((t) => Math.cos(2 * Math.PI * 330 * t));
    const { z } = orderBand(record, record.values, turning(turnsAt(110), 3), 3, 110);
    const i = 2 * Math.round(z.length / 4);
    // The window lets through 58 dB less of the mirror image: 0.0006 of a half.
    expect(Math.abs(Math.hypot(z[i]!, z[i + 1]!) - 0.5)).toBeLessThan(0.0006);
  });

  test('the top of the spectrum around rest stands as far off as the line does', () => {
    const record = recordOf((t) => Math.cos(2 * Math.PI * 42 * t));
    const band = orderBand(record, record.values, turning(turnsAt(40), 1), 1, 40);
    const { density, middle, binHz } = restSpectrum(band, band.z);
    const top = density.indexOf(Math.max(...density));
    expect(Math.abs((top - middle) * binHz - 2)).toBeLessThan(binHz);
  });

  test('white noise of standard deviation s has the two-sided density s²/f around rest', () => {
    const noise = randomSource(31);
    const record = recordOf(() => 0.2 * noise.normal());
    const band = orderBand(record, record.values, turning(turnsAt(40), 1), 1, 40);
    const narrow = { ...band, reachHz: 3 };
    // Where thinning out takes next to nothing.
    expect(bandGain(band, 1)).toBeGreaterThan(0.97);
    expect(Math.abs(restFloor(restSpectrum(narrow, band.z)) / (0.04 / RATE) - 1)).toBeLessThan(0.3);
  });

  test('a flat band passes 1 − (1 − h)² of what turns at a share of its half width, h of a Hann kernel', () => {
    const rate = 40;
    const z = new Float64Array(2 * 800);
    for (let i = 0; i < 800; i++) {
      z[2 * i] = Math.cos((2 * Math.PI * 0.3 * i) / rate);
      z[2 * i + 1] = Math.sin((2 * Math.PI * 0.3 * i) / rate);
    }
    const out = flatBand(z, rate, 1);
    // Transform of a Hann window, its first zero at two over its length, here one hertz: 0.3 Hz is at 0.6 over its length.
    const x = 0.6;
    const h = Math.sin(Math.PI * x) / (Math.PI * x) / (1 - x * x);
    expect(Math.abs(Math.hypot(out[800]!, out[801]!) - (1 - (1 - h) ** 2))).toBeLessThan(0.01);
  });

  test('a line that was found is taken out of the record, and another beside it stays', () => {
    const record = recordOf((t) => Math.cos(2 * Math.PI * 40 * t) + 0.1 * Math.cos(2 * Math.PI * 71 * t));
    const cosSin = turning(turnsAt(40), 1);
    const band = orderBand(record, record.values, cosSin, 1, 40);
    const rest = record.values.slice();
    subtractBand(rest, flatBand(band.z, band.rateHz, 1), band.factor, cosSin);
    expect(Math.abs(rms(rest) / (0.1 / Math.SQRT2) - 1)).toBeLessThan(0.02);
  });
});
