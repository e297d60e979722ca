/** Where a stick moved an axis: how much of the motion it explains, by frequency. */
import type { Signal } from '@settle/parser';
import type { AxisStudy } from '../axis-study.js';
import { evenRecord, interpolate } from '../signals.js';
import { coherence, coherenceThreshold, type Coherence } from '../spectrum/welch.js';
import type { FlightStudy } from '../study-flight.js';
import type { Unavailable } from '../unavailable.js';
import type { CoherencePicture } from './picture-data.js';

/** Segments wanted, at 50 % overlap. */
const WANTED_SEGMENTS = 9;
const FEWEST_SAMPLES = 128;
const HIGHEST_HZ = 20;
/** A stick that stays within this share of its way has not been moved. */
const MOVED = 0.005;
/** Share of the frequencies at which it must explain something. */
const LEAST_CLEAR = 0.15;

export function coherencePicture(study: FlightStudy, one: AxisStudy): CoherencePicture | Unavailable {
  const { axis } = one;
  const stick = one.signals.stick;
  if (stick === null)
    return { unavailable: `the ${axis} stick is not logged, so nothing from outside shows the loop` };
  const { rate } = one.signals;
  const record = rate === null ? null : evenRecord(rate, study.hover);
  if (record === null || record.values.length < FEWEST_SAMPLES)
    return { unavailable: `the hover holds too few samples of the ${axis} rate` };
  const clock = Float64Array.from(record.values, (_, i) => record.startS + i / record.sampleRateHz);
  const onClock = (signal: Signal): Float64Array => interpolate(signal.clock.timeS, signal.values, clock);
  const moved = onClock(stick);
  const mean = moved.reduce((sum, v) => sum + v, 0) / moved.length;
  if (moved.every((v) => Math.abs(v - mean) < MOVED))
    return { unavailable: `the ${axis} stick was not moved in the hover` };
  const options = {
    segmentLength: Math.floor((2 * moved.length) / (WANTED_SEGMENTS + 1)),
    detrend: 'linear' as const,
  };
  const withRate = coherence(moved, record.values, record.sampleRateHz, options);
  const last = withRate.frequenciesHz.findLastIndex((hz) => hz <= HIGHEST_HZ);
  const byChance = coherenceThreshold(withRate.effectiveSegments);
  const clear = withRate.values.subarray(1, last + 1).filter((value) => value > byChance).length;
  // Of unrelated signals one value in twenty passes.
  if (clear <= LEAST_CLEAR * last)
    return { unavailable: `the ${axis} stick explains no more of the motion than chance would` };
  const { demand } = one.signals;
  const withDemand = demand === null ? null : coherence(moved, onClock(demand), record.sampleRateHz, options);
  const cut = (one: Coherence): number[] => Array.from(one.values.subarray(1, last + 1));
  return {
    axis,
    instrument: stick.channel,
    frequencyHz: Array.from(withRate.frequenciesHz.subarray(1, last + 1)),
    withDemand: withDemand === null ? null : cut(withDemand),
    withRate: cut(withRate),
    byChance,
    segments: withRate.effectiveSegments,
  };
}
