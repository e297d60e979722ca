/** Wind met, motion, trims and saturation, hover by hover. */
import { AXES, type AxisName } from '@settle/parser';
import { columnsOf, plainRow, type Candidate } from './candidate.js';
import type { HoverSummary, Measured } from './hover-summary.js';

const RAW = 'motion by itself is not judged: it depends on the wind met';

export function windRows(hovers: readonly HoverSummary[]): Candidate[] {
  return AXES.flatMap((axis) =>
    plainRow(
      { metric: 'disturbance met', unit: 'deg/s²', axis, group: 'wind' },
      hovers.map((h) => h.axes[axis].disturbance),
      'the wind is no property of the tune',
    ),
  );
}

export function motionRows(hovers: readonly HoverSummary[]): Candidate[] {
  return AXES.flatMap((axis) => {
    const of = (pick: (h: HoverSummary) => Measured | null): (Measured | null)[] => hovers.map(pick);
    return [
      ...plainRow(
        { metric: 'body rate RMS', unit: 'deg/s', axis, group: 'motion' },
        of((h) => h.axes[axis].rateRms),
        RAW,
      ),
      ...plainRow(
        { metric: 'rate error RMS', unit: 'deg/s', axis, group: 'motion' },
        of((h) => h.axes[axis].rateError),
        RAW,
      ),
      ...plainRow(
        { metric: 'attitude error RMS', unit: 'deg', axis, group: 'motion' },
        of((h) => h.axes[axis].attitudeError),
        RAW,
      ),
      ...plainRow(
        { metric: 'motion met over motion expected', unit: '1', axis, group: 'motion' },
        of((h) => h.axes[axis].modelCheck),
        'a check of the identified loops',
      ),
      ...oscillationRows(hovers, axis),
    ];
  });
}

function oscillationRows(hovers: readonly HoverSummary[], axis: AxisName): Candidate[] {
  const strongest = hovers.map(
    (h) => h.diagnosis.axes[axis].oscillations.find((o) => o.follows === null) ?? null,
  );
  const note = 'judged by the damping and the margins';
  return [
    ...plainRow(
      { metric: 'oscillation frequency', unit: 'Hz', axis, group: 'motion' },
      strongest.map((o) =>
        o === null
          ? null
          : { value: o.frequencyHz, std: o.frequencyStdHz, from: 'strongest oscillation of the axis' },
      ),
      note,
    ),
    ...plainRow(
      { metric: 'oscillation amplitude', unit: 'deg/s', axis, group: 'motion' },
      strongest.map((o) =>
        o === null
          ? null
          : {
              value: o.rateAmplitudeDegS,
              std: o.rateAmplitudeStdDegS,
              from: 'strongest oscillation of the axis',
            },
      ),
      note,
    ),
  ];
}

/** Trims below this share of full authority are as good as none. */
export const SMALL_TRIM = 0.05;
const TRIM_BOUND = 0.03;

export function aircraftRows(hovers: readonly HoverSummary[]): Candidate[] {
  const trims = AXES.flatMap((axis): Candidate[] => {
    const values = hovers.map((h) => h.axes[axis].trim);
    if (values.every((v) => v === null)) return [];
    return [
      {
        row: { metric: 'trim', unit: 'share of full demand', axis, group: 'aircraft', ...columnsOf(values) },
        steps: values.map((later, h) => {
          const earlier = h === 0 ? null : values[h - 1]!;
          if (earlier?.std == null || later?.std == null) return null;
          const size = (m: Measured): number => -Math.max(SMALL_TRIM, Math.abs(m.value));
          // A steady wind pushes too: its part is not known to better than this.
          return {
            gain: size(later) - size(earlier),
            std: Math.hypot(earlier.std, later.std, 0.008),
            bound: TRIM_BOUND,
            doubt: null,
          };
        }),
        notes: values.map(() => null),
        comparableAcrossBuilds: true,
      },
    ];
  });
  return [
    ...trims,
    ...plainRow(
      { metric: 'hover throttle', unit: '1', axis: null, group: 'aircraft' },
      hovers.map((h) => h.throttle),
      'neither good nor bad by itself',
    ),
    ...plainRow(
      { metric: 'time with a motor on a stop', unit: '1', axis: null, group: 'aircraft' },
      hovers.map((h) => h.saturation),
      RAW,
    ),
  ];
}
