import type { Flight, Interval, Signal } from '@settle/parser';
import type { Battery, Unavailable } from './diagnosis.js';
import { indexAtOrAfter, smoothed } from './signals.js';

/** Spikes shorter than this are the wiring, not the battery. */
const SMOOTH_S = 0.2;

/** Voltage before the hover and at its lowest, current in it. */
export function describeBattery(flight: Flight, hover: Interval): Battery | Unavailable {
  const voltage = flight.signals.get('battery.voltage');
  if (voltage === undefined) return { unavailable: 'no battery voltage in the log; log it at 5 Hz or more' };
  const all = steady(voltage, { startS: 0, endS: hover.endS });
  const inHover = steady(voltage, hover);
  const startV = all[0];
  if (startV === undefined || inHover.length === 0)
    return { unavailable: 'the battery voltage does not cover the hover' };
  let lowestV = Number.POSITIVE_INFINITY;
  for (const v of inHover) lowestV = Math.min(lowestV, v);
  const current = flight.signals.get('battery.current');
  const amps = current === undefined ? [] : Array.from(steady(current, hover));
  return {
    startV,
    lowestV,
    meanA: amps.length === 0 ? null : amps.reduce((a, b) => a + b, 0) / amps.length,
    peakA: amps.length === 0 ? null : Math.max(...amps),
  };
}

function steady(signal: Signal, interval: Interval): Float64Array {
  const { timeS, sampleRateHz } = signal.clock;
  const values = signal.values
    .slice(indexAtOrAfter(timeS, interval.startS), indexAtOrAfter(timeS, interval.endS))
    .filter(Number.isFinite);
  return smoothed(values, SMOOTH_S * sampleRateHz);
}
