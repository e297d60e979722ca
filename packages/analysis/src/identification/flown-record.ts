/** What was flown: rates, demands asked and applied, and anything else logged, on one even clock. */
import { AXES, type AxisName, type ChannelName, type Flight, type Interval } from '@settle/parser';
import { BODY_AXIS_OF } from '../oscillation/axis-signals.js';
import { eachAxis, type EachAxis } from '../per-axis.js';
import { evenRecord, firstSignal, interpolate } from '../signals.js';
import { applyStops, type AppliedDemands } from './applied-demand.js';
import { controllerOf, type AxisController, type DeclaredController } from './controller.js';

/** Rates and demands of all axes over an interval, on the clock of the rates. */
export interface FlownRecord {
  readonly startS: number;
  readonly stepS: number;
  readonly rates: Readonly<EachAxis<Float64Array | null>>;
  readonly asked: Readonly<EachAxis<Float64Array | null>>;
  readonly applied: AppliedDemands;
  readonly onClock: (channel: ChannelName) => Float64Array | null;
}

const FEWEST_SAMPLES = 60;

/** @param hover where each motor's share is learnt */
export function recordOver(flight: Flight, interval: Interval, hover: Interval): FlownRecord | null {
  const clockSignal = firstSignal(
    flight,
    ...AXES.flatMap((axis): ChannelName[] => [`rate.${axis}.measured`, `gyro.${BODY_AXIS_OF[axis]}`]),
  );
  if (clockSignal === null) return null;
  const even = evenRecord(clockSignal, interval);
  if (even === null || even.values.length < FEWEST_SAMPLES) return null;
  const stepS = 1 / even.sampleRateHz;
  const clock = Float64Array.from(even.values, (_, i) => even.startS + i * stepS);
  const onClock = (channel: ChannelName): Float64Array | null => {
    const signal = flight.signals.get(channel);
    return signal === undefined ? null : interpolate(signal.clock.timeS, signal.values, clock);
  };
  const rates = eachAxis((axis) => onClock(`rate.${axis}.measured`) ?? onClock(`gyro.${BODY_AXIS_OF[axis]}`));
  const asked = askedDemands(onClock);
  const applied = applyStops(flight, hover, clock, asked.perAxis, asked.from);
  return { startS: even.startS, stepS, rates, asked: asked.perAxis, applied, onClock };
}

/** What every axis was asked to do, −1 to 1: the demand channel, else the sum of the logged terms; null where neither is logged. */
export function askedDemands(onClock: (channel: ChannelName) => Float64Array | null): {
  perAxis: EachAxis<Float64Array | null>;
  from: string;
} {
  let from = 'the logged demands';
  const perAxis = eachAxis((axis) => {
    const demand = onClock(`rate.${axis}.demand`);
    if (demand !== null) return demand;
    const terms = (['proportional', 'integral', 'derivative', 'feedforward'] as const).map((term) =>
      onClock(`rate.${axis}.${term}`),
    );
    if (terms[0] === null || terms[1] === null) return null;
    from = 'the sum of the logged terms';
    return terms[0]!.map((_, i) => {
      const sum = terms.reduce((total, term) => total + (term?.[i] ?? 0), 0);
      return Math.max(-1, Math.min(1, sum));
    });
  });
  return { perAxis, from };
}

/** The controller of an axis, from the logged terms and what is declared; null where it is not known. */
export function controllerOnClock(
  { stepS, rates, onClock }: FlownRecord,
  axis: AxisName,
  declared: DeclaredController | null,
): AxisController | null {
  const rate = rates[axis];
  if (rate === null) return null;
  const record = {
    stepS,
    rate,
    reference: onClock(`rate.${axis}.reference`),
    proportional: onClock(`rate.${axis}.proportional`),
    integral: onClock(`rate.${axis}.integral`),
    derivative: onClock(`rate.${axis}.derivative`),
    feedForward: onClock(`rate.${axis}.feedforward`),
    demand: onClock(`rate.${axis}.demand`),
    attitude: onClock(`attitude.${axis}.measured`),
    attitudeReference: onClock(`attitude.${axis}.reference`),
  };
  return controllerOf(axis, record, declared);
}
