import type { Interval, Signal } from '@settle/parser';
import type { AxisDiagnosis } from './diagnosis.js';
import type { AxisSignals } from './oscillation/axis-signals.js';
import { evenRecord } from './signals.js';

const DEG = 180 / Math.PI;

/** RMS of reference minus measured over an interval, on the slower of the two clocks; null without both. */
function errorRms(reference: Signal | null, measured: Signal | null, interval: Interval): number | null {
  if (reference === null || measured === null) return null;
  const rate = Math.min(reference.clock.sampleRateHz, measured.clock.sampleRateHz);
  const a = evenRecord(reference, interval, rate);
  const b = evenRecord(measured, interval, rate);
  if (a === null || b === null) return null;
  const shift = Math.round((b.startS - a.startS) * rate);
  let sum = 0;
  let count = 0;
  for (let i = 0; i < b.values.length; i++) {
    const other = a.values[i + shift];
    if (other === undefined) continue;
    sum += (other - b.values[i]!) ** 2;
    count++;
  }
  return count < 2 ? null : Math.sqrt(sum / count);
}

export function trackingOf(signals: AxisSignals, hover: Interval): AxisDiagnosis['tracking'] {
  const rate = errorRms(signals.rateReference, signals.rate, hover);
  const attitude = errorRms(signals.attitudeReference, signals.attitude, hover);
  if (rate === null && attitude === null)
    return {
      unavailable: 'no reference is logged with its measured value; log rate and attitude references',
    };
  return {
    rateErrorRmsDegS: rate === null ? null : rate * DEG,
    attitudeErrorRmsDeg: attitude === null ? null : attitude * DEG,
  };
}
