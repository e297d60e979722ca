/** The flight over time, and one axis where it moves most. */
import { AXES, type AxisName, type Interval, type Signal } from '@settle/parser';
import type { AxisStudy } from '../axis-study.js';
import type { Oscillation } from '../diagnosis.js';
import { lineSignal } from '../oscillation/line-signal.js';
import { recordSpectrum } from '../oscillation/record-spectrum.js';
import { evenRecord, firstSignal, indexAtOrAfter } from '../signals.js';
import type { FlightStudy } from '../study-flight.js';
import type { Unavailable } from '../unavailable.js';
import type { CloseUpPicture, FlightPicture, TimeSeries } from './picture-data.js';
import { thinEven, thinSignal } from './thin.js';

const DEG = 180 / Math.PI;
/** Cycles of a swing shown on either side of its largest one. */
const CYCLES_BESIDE = 6;
/** A close-up without a swing, s; and the shortest and the longest one. */
const PLAIN_S = 4;
const SHORTEST_S = 1.5;
const LONGEST_S = 12;
/** The envelope is followed this far either side of the line, as a share of the frequency. */
const ENVELOPE_HALF_WIDTH = 0.3;
/** Fewest samples of a record worth drawing. */
const FEWEST = 16;

export function flightPicture(study: FlightStudy): FlightPicture {
  const { flight, phases, hover, axes } = study;
  const whole = { startS: 0, endS: flight.durationS };
  const height = firstSignal(flight, 'height');
  const quantity = axes.some(({ signals }) => signals.rate !== null) ? 'rate' : 'angle';
  return {
    durationS: flight.durationS,
    phases,
    hover,
    quantity,
    motion: Object.fromEntries(
      AXES.map((axis) => {
        const signals = axes.find((one) => one.axis === axis)?.signals;
        const signal = (quantity === 'rate' ? signals?.rate : signals?.attitude) ?? null;
        return [axis, signal === null ? null : thinSignal(signal, whole, DEG)];
      }),
    ) as Record<AxisName, TimeSeries | null>,
    height: height === null ? null : thinSignal(height, whole, 1),
    swings: axes.flatMap((one) =>
      one.oscillations.map(({ frequencyHz, startS, endS }) => ({
        axis: one.axis,
        frequencyHz,
        startS,
        endS,
      })),
    ),
  };
}

export function closeUpPicture(study: FlightStudy, one: AxisStudy): CloseUpPicture | Unavailable {
  const { rate, attitude, rateReference, attitudeReference } = one.signals;
  if (rate === null && attitude === null)
    return { unavailable: `neither body rate nor attitude of ${one.axis} is in the log` };
  const oscillation = strongest(one.oscillations);
  const envelope = oscillation === null || rate === null ? null : envelopeOf(rate, study.hover, oscillation);
  const stretch =
    oscillation === null
      ? aroundLargest(rate ?? attitude!, study.hover)
      : aroundSwing(oscillation, envelope, study.hover);
  const series = (signal: Signal | null): TimeSeries | null =>
    signal === null ? null : thinSignal(signal, stretch, DEG, 450);
  const measuredRate = series(rate);
  const measuredAttitude = series(attitude);
  if (measuredRate === null && measuredAttitude === null)
    return { unavailable: `the log of ${one.axis} holds no value where it moves most` };
  return {
    axis: one.axis,
    stretch,
    chosen: oscillation === null ? 'largest-motion' : 'largest-swing',
    rate:
      measuredRate === null
        ? null
        : {
            measured: measuredRate,
            reference: series(rateReference),
            envelope: envelope === null ? null : within(envelope, stretch),
            middle: meanOf(measuredRate),
          },
    attitude:
      measuredAttitude === null ? null : { measured: measuredAttitude, reference: series(attitudeReference) },
    oscillation,
  };
}

/** The swing of the axis itself that moves it most, else the largest that comes from another axis. */
export function strongest(oscillations: readonly Oscillation[]): Oscillation | null {
  return (
    [...oscillations].sort(
      (a, b) =>
        Number(a.follows !== null) - Number(b.follows !== null) || b.rateAmplitudeDegS - a.rateAmplitudeDegS,
    )[0] ?? null
  );
}

/** Amplitude of a swing over time, deg/s; null where the record is too short to follow it. */
function envelopeOf(rate: Signal, hover: Interval, oscillation: Oscillation): TimeSeries | null {
  const record = evenRecord(rate, hover);
  if (record === null || record.values.length < FEWEST) return null;
  const line = lineSignal(
    recordSpectrum(record.values, record.sampleRateHz),
    oscillation.frequencyHz,
    ENVELOPE_HALF_WIDTH,
  );
  // At its ends the record breaks off, and the filter that follows the swing sees half of it.
  const cut = Math.min(Math.round(line.rateHz / oscillation.frequencyHz), Math.floor(line.re.length / 4));
  const amplitude = line.re
    .slice(cut, line.re.length - cut)
    .map((re, i) => Math.hypot(re, line.im[i + cut]!));
  return thinEven(amplitude, record.startS + cut / line.rateHz, 1 / line.rateHz, DEG);
}

function aroundSwing(o: Oscillation, envelope: TimeSeries | null, hover: Interval): Interval {
  const seen = { startS: Math.max(o.startS, hover.startS), endS: Math.min(o.endS, hover.endS) };
  let largest = -1;
  let atS = (seen.startS + seen.endS) / 2;
  envelope?.timeS.forEach((timeS, i) => {
    const value = envelope.values[i] ?? 0;
    if (timeS < seen.startS || timeS > seen.endS || value <= largest) return;
    largest = value;
    atS = timeS;
  });
  const reachS = CYCLES_BESIDE / o.frequencyHz;
  return fitted(atS, 2 * reachS, hover);
}

function aroundLargest(signal: Signal, hover: Interval): Interval {
  const { timeS } = signal.clock;
  let largest = -1;
  let atS = (hover.startS + hover.endS) / 2;
  const first = indexAtOrAfter(timeS, hover.startS);
  const end = indexAtOrAfter(timeS, hover.endS + 1e-9);
  let mean = 0;
  let count = 0;
  for (let i = first; i < end; i++)
    if (Number.isFinite(signal.values[i]!)) {
      mean += signal.values[i]!;
      count++;
    }
  mean /= Math.max(1, count);
  for (let i = first; i < end; i++) {
    const size = Math.abs(signal.values[i]! - mean);
    if (size > largest) {
      largest = size;
      atS = timeS[i]!;
    }
  }
  return fitted(atS, PLAIN_S, hover);
}

/** An interval of that length around a time, moved and cut so that it lies within the hover. */
function fitted(atS: number, wantedS: number, hover: Interval): Interval {
  const lengthS = Math.min(hover.endS - hover.startS, Math.max(SHORTEST_S, Math.min(LONGEST_S, wantedS)));
  const startS = Math.max(hover.startS, Math.min(atS - lengthS / 2, hover.endS - lengthS));
  return { startS, endS: startS + lengthS };
}

function within(series: TimeSeries, { startS, endS }: Interval): TimeSeries {
  const keep = series.timeS.map((timeS) => timeS >= startS && timeS <= endS);
  return {
    timeS: series.timeS.filter((_, i) => keep[i]),
    values: series.values.filter((_, i) => keep[i]),
  };
}

function meanOf({ values }: TimeSeries): number {
  const known = values.filter((value): value is number => value !== null);
  return known.reduce((sum, value) => sum + value / known.length, 0);
}
