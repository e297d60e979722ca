/** A published record with a line of known cause: mains hum in the electrocardiogram that SciPy 1.10 brings (360 Hz, five minutes). */
import { expect, test } from 'vitest';
import { designNotch, runFilters } from '../../packages/analysis/src/filters/index.js';
import { planNotches } from '../../packages/analysis/src/notch/index.js';
import { fitTone } from '../../packages/analysis/src/spectrum/tone-fit.js';
import { powerSpectralDensity, type PowerSpectrum } from '../../packages/analysis/src/spectrum/welch.js';
import type { VibrationStudy } from '../../packages/analysis/src/vibration/vibration-study.js';
import { madeFlight } from '../support/made-flight.js';
import { available, near } from '../support/near.js';
import { scipy } from '../support/scipy.js';

const FS = 360;
const READ = `
import warnings
warnings.simplefilter('ignore')
try:
    from scipy.misc import electrocardiogram
    answer = electrocardiogram().tolist()
except Exception:
    answer = []
`;

const powerAround = (s: PowerSpectrum, hz: number, halfHz: number): number =>
  s.values.reduce(
    (sum, v, k) => (Math.abs(s.frequenciesHz[k]! - hz) <= halfHz ? sum + v * s.binWidthHz : sum),
    0,
  );

function strongestAbove(s: PowerSpectrum, hz: number): number {
  let best = s.frequenciesHz.findIndex((f) => f > hz);
  for (let k = best; k < s.values.length; k++) if (s.values[k]! > s.values[best]!) best = k;
  return best;
}

test('the hum stands at 59.98 to 59.99 Hz, and the notch that is proposed for it takes it away and nothing else', (test) => {
  const record = Float64Array.from(scipy<number[]>(READ, null, test));
  if (record.length === 0) {
    process.stderr.write('skipped: this SciPy brings no electrocardiogram\n');
    test.skip('this SciPy brings no electrocardiogram');
  }
  expect(record.length).toBe(108_000);

  // The strongest line above 50 Hz in the spectrum of the whole record, refined by a fit.
  const whole = powerSpectralDensity(record, FS, { segmentLength: record.length });
  const tone = available(fitTone(record, FS, whole.frequenciesHz[strongestAbove(whole, 50)]!));
  expect(tone.frequencyHz).toBeGreaterThan(59.98);
  expect(tone.frequencyHz).toBeLessThan(59.99);

  const coarse = powerSpectralDensity(record, FS, { segmentLength: 4096 });
  const peak = strongestAbove(coarse, 50);
  const density = coarse.values;
  const floor = density.map((v, k) =>
    Math.abs(coarse.frequenciesHz[k]! - 60) < 1 ? density[peak - 30]! : v,
  );
  const rms = Math.sqrt(powerAround(coarse, tone.frequencyHz, 0.3));
  const study: VibrationStudy = {
    interval: { startS: 0, endS: 300 },
    lowestHz: 50,
    spectra: [
      {
        sensor: 'gyro',
        axis: 'x',
        sampleRateHz: FS,
        averages: coarse.effectiveSegments,
        frequencyHz: coarse.frequenciesHz,
        density,
        floor,
      },
    ],
    elsewhere: [],
    lines: [
      {
        sensor: 'gyro',
        axis: 'x',
        frequencyHz: tone.frequencyHz,
        frequencyStdHz: tone.frequencyStdHz,
        lowHz: tone.frequencyHz - 0.05,
        highHz: tone.frequencyHz + 0.05,
        rms,
        aboveFloorDb: 10 * Math.log10(density[peak]! / floor[peak]!),
        kind: 'electrical',
        order: null,
        rotor: null,
        trueFrequencyHz: null,
        confidence: 1,
        evidence: [],
      },
    ],
    rotor: { unavailable: 'a heart has no rotor' },
    sensors: [],
    campbell: [],
    falseAlarmRate: 0.01,
  };
  const flight = madeFlight(300 - 1 / FS, { 'gyro.x': { hz: FS, at: (t) => record[Math.round(t * FS)]! } });
  // A proportional gain that makes twice the allowed ripple of what is in the band today.
  const kp = 0.02 / Math.SQRT2 / Math.sqrt(powerAround(coarse, 115, 65));
  const controller = {
    kp,
    ki: 0,
    kd: 0,
    kff: 0,
    derivativeLowPassHz: null,
    attitude: null,
    stepS: 1 / FS,
    from: 'made',
  };
  const plan = planNotches({
    flight,
    hover: { startS: 0, endS: 300 },
    study,
    controllers: { roll: controller },
    loops: {},
    gains: null,
  });

  const [notch] = plan.notches;
  expect(plan.notches.length).toBe(1);
  near(notch!.centreHz, 60, 0.02);
  expect(notch!.noiseAfterDegS).toBeLessThan(notch!.noiseBeforeDegS);
  const cleaned = runFilters(
    [designNotch({ centreHz: notch!.centreHz, widthHz: notch!.bandwidthHz, depthDb: notch!.depthDb }, FS)],
    record,
  );
  const after = powerSpectralDensity(cleaned, FS, { segmentLength: 4096 });
  // At least half of the depth that was promised, in dB, of what stood above the background.
  expect(powerAround(after, 60, 0.3) / powerAround(coarse, 60, 0.3)).toBeLessThan(
    10 ** (-notch!.depthDb / 20),
  );
  expect(powerAround(after, 8, 7) / powerAround(coarse, 8, 7)).toBeGreaterThan(0.98);
  process.stdout.write(
    `electrocardiogram: ${tone.frequencyHz.toFixed(4)} ± ${tone.frequencyStdHz.toFixed(4)} Hz, ${(10 * Math.log10(powerAround(after, 60, 0.3) / powerAround(coarse, 60, 0.3))).toFixed(1)} dB by ${notch!.bandwidthHz.toFixed(1)} Hz × ${notch!.depthDb} dB\n`,
  );
});
