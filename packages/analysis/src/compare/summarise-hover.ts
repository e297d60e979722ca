/** One hover, studied, to what a comparison keeps of it. */
import type { AxisName, Interval } from '@settle/parser';
import { stopsOf } from '../motor-stops.js';
import type { AxisStudy } from '../axis-study.js';
import type { EffectRecord } from '../causes/demand-effect.js';
import type { Diagnosis } from '../diagnosis.js';
import { shownByStick } from '../identification/fit-plant.js';
import { firstSignal, motorSignals } from '../signals.js';
import type { FlightStudy } from '../study-flight.js';
import { isUnavailable } from '../unavailable.js';
import { disturbanceOf, disturbanceRecord } from './disturbance.js';
import type { AxisSummary, HoverIdentity, HoverSummary, Measured } from './hover-summary.js';
import { summariseLines } from './line-summaries.js';
import { errorSeries, meanOf, rmsOf, seriesOf, stopSeries } from './measured-motion.js';

const DEG = 180 / Math.PI;
/** A command within this of its extreme stands on the stop. */
const AT_STOP = 0.004;

export function summariseHover(
  study: FlightStudy,
  diagnosis: Diagnosis,
  identity: HoverIdentity,
): HoverSummary {
  const { flight, hover, vibration } = study;
  const record = disturbanceRecord(flight, hover);
  const axes = Object.fromEntries(
    study.axes.map((axis) => [axis.axis, summariseAxis(axis, hover, record)]),
  ) as Record<AxisName, AxisSummary>;
  const vibrates = isUnavailable(vibration)
    ? { lines: [], levels: [], bands: [] }
    : summariseLines(flight, hover, vibration);
  return {
    name: identity.name,
    hoverS: hover.endS - hover.startS,
    diagnosis,
    axes,
    ...vibrates,
    rotorHz: rotorSpeed(study),
    throttle: throttleOf(study),
    saturation: saturationOf(study),
    gains: identity.gains,
    configuration: identity.configuration ?? identity.gains?.configuration ?? {},
    notes: identity.notes ?? null,
  };
}

function summariseAxis(study: AxisStudy, hover: Interval, record: EffectRecord | null): AxisSummary {
  const { axis, signals, identification: id } = study;
  const rate = seriesOf(signals.rate, hover);
  const rateError = errorSeries(signals.rateReference, signals.rate, hover);
  const attitudeError = errorSeries(signals.attitudeReference, signals.attitude, hover);
  const demand = seriesOf(signals.demand, hover);
  const controller = id?.controller ?? null;
  const plant = id?.plant ?? null;
  const disturbance =
    record === null || plant === null
      ? null
      : disturbanceOf(
          record,
          hover,
          axis,
          plant,
          controller === null ? null : { controller, gyroDelayS: id!.gyroDelayS },
        );
  return {
    axis,
    rateRms: rate === null ? null : rmsOf(rate, DEG, true, 'body rate'),
    rateError: rateError === null ? null : rmsOf(rateError, DEG, false, 'rate reference less body rate'),
    attitudeError:
      attitudeError === null ? null : rmsOf(attitudeError, DEG, false, 'attitude reference less attitude'),
    disturbance: disturbance?.size ?? null,
    // Where sticks move the axis its motion is not the gusts' alone, and the loops are known from better evidence.
    modelCheck: id === null || id.evidence.bands.length > 0 ? null : (disturbance?.check ?? null),
    trim: demand === null ? null : meanOf(demand, 1, 'demand'),
    controller,
    structuralPeak: id?.structuralPeak ?? null,
    gyroDelayS: id?.gyroDelayS ?? 0,
    plant,
    normal: id?.normal ?? null,
    shownByStick: id !== null && shownByStick(id.evidence),
  };
}

function rotorSpeed({ vibration }: FlightStudy): Measured | null {
  if (isUnavailable(vibration) || isUnavailable(vibration.rotor)) return null;
  const { hoverHz, hoverStdHz, from } = vibration.rotor;
  return { value: hoverHz, std: hoverStdHz, from };
}

function throttleOf({ flight, hover }: FlightStudy): Measured | null {
  const throttle = seriesOf(firstSignal(flight, 'throttle'), hover);
  if (throttle !== null) return meanOf(throttle, 1, 'throttle');
  const motors = motorSignals(flight).map((signal) => seriesOf(signal, hover));
  const means = motors.flatMap((series) =>
    series === null ? [] : (meanOf(series, 1, 'motor commands') ?? []),
  );
  if (means.length === 0) return null;
  return {
    value: means.reduce((sum, m) => sum + m.value / means.length, 0),
    std: Math.max(...means.map((m) => m.std ?? 0)),
    from: 'mean of the motor commands',
  };
}

function saturationOf({ flight, hover }: FlightStudy): Measured | null {
  const motors = motorSignals(flight).map((signal) => ({ signal, ...stopsOf(signal, hover) }));
  const series = stopSeries(motors, hover, AT_STOP);
  return series === null ? null : meanOf(series, 1, 'motor commands on a stop');
}
