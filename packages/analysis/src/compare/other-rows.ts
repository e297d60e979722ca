/** Wind met, motion, trims, saturation and vibration, hover by hover. */
import { AXES, type AxisName } from '@settle/parser';
import { bandRmsOfSensor } from './bands.js';
import { columnsOf, lessIsBetter, plainRow, type Candidate } from './candidate.js';
import type { HoverSummary, LineSummary, Measured } from './hover-summary.js';

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

/** Levels that differ by less do not matter, ln. */
const LEVEL_BOUND = Math.log(1.25);
/** Lines and whole levels below this are quiet, deg/s and m/s² (common practice, no source). */
export const QUIET = { gyro: 0.5, accel: 0.5 } as const;
/** A line keeps its name while its frequency is within this share of what it was. */
const SAME_LINE = 0.12;
/** What line fits add to the error of a level, as a share. */
const FIT_STD = 0.03;
/** Sample rates this much apart hold different parts of the vibration. */
const SAME_RATE = 0.1;

const LINE_NAMES: Readonly<Record<LineSummary['kind'], string>> = {
  rotor: 'rotor line',
  'blade-pass': 'blade-pass line',
  'rotor-harmonic': 'rotor harmonic',
  structure: 'structural line',
  'control-loop': 'control loop line',
  electrical: 'electrical line',
  alias: 'folded line',
  unknown: 'unexplained line',
};

export function vibrationRows(hovers: readonly HoverSummary[]): Candidate[] {
  const out: Candidate[] = [];
  const unit = { gyro: 'deg/s', accel: 'm/s²' } as const;
  for (const sensor of ['gyro', 'accel'] as const) {
    const rates = hovers.flatMap((h) =>
      h.levels.filter((l) => l.sensor === sensor).map((l) => l.sampleRateHz),
    );
    const shared = rates.length > 0 && Math.max(...rates) / Math.min(...rates) < 1 + SAME_RATE;
    const levels = hovers.map((h) => h.levels.find((l) => l.sensor === sensor)?.rms ?? null).map(withFit);
    const row = {
      metric: `${sensor} vibration RMS`,
      unit: unit[sensor],
      axis: null,
      group: 'vibration' as const,
    };
    out.push(
      ...(shared
        ? lessIsBetter(row, levels, LEVEL_BOUND, QUIET[sensor])
        : plainRow(row, levels, 'the sample rates differ, so different parts of the vibration are seen')),
    );
    for (const track of followLines(hovers, sensor)) {
      const first = track.find((line) => line !== null)!;
      const at =
        first.order === null
          ? `${first.frequencyHz.toFixed(0)} Hz`
          : `${String(Number(first.order.toFixed(2)))} × rotor speed`;
      const rows = lessIsBetter(
        {
          metric: `${sensor} ${LINE_NAMES[first.kind]}, ${at}`,
          unit: unit[sensor],
          axis: null,
          group: 'vibration',
        },
        track.map((line) => withFit(line?.rms ?? null)),
        LEVEL_BOUND,
        QUIET[sensor] / 2,
      );
      out.push(...rows.map((candidate) => doubted(candidate, hovers, track)));
    }
  }
  return out;
}

/** Rotors spread over so much around their mean, Hz. */
const LINE_REACH_HZ = 5;
/** Of a line that changed, at least this share of the change (ln) shows in all there is around it. */
const CONFIRMED_SHARE = 0.4;

/** A line that was found in one hover and only in part in the other seems to change, while all there is around it does not. */
function doubted(
  candidate: Candidate,
  hovers: readonly HoverSummary[],
  track: readonly (LineSummary | null)[],
): Candidate {
  const steps = candidate.steps.map((step, h) => {
    const [a, b] = [track[h - 1] ?? null, track[h] ?? null];
    if (step === null || a === null || b === null) return step;
    const before = bandRmsOfSensor(hovers[h - 1]!, a.sensor, a.frequencyHz, LINE_REACH_HZ);
    const after = bandRmsOfSensor(hovers[h]!, b.sensor, b.frequencyHz, LINE_REACH_HZ);
    if (before === null || after === null || !(before > 0) || !(after > 0)) return step;
    const shown = Math.log(before / after) / step.gain;
    return shown >= CONFIRMED_SHARE
      ? step
      : { ...step, doubt: 'the line seems to change, but all there is around its frequency does not' };
  });
  return { ...candidate, steps };
}

const withFit = (m: Measured | null): Measured | null =>
  m === null || m.std === null ? m : { ...m, std: Math.hypot(m.std, FIT_STD * m.value) };

/** The lines of one sensor over all hovers: by order, or by frequency where they follow no rotor. */
export function followLines(
  hovers: readonly HoverSummary[],
  sensor: 'gyro' | 'accel',
): (LineSummary | null)[][] {
  const tracks: (LineSummary | null)[][] = [];
  hovers.forEach((hover, h) => {
    for (const line of hover.lines) {
      if (line.sensor !== sensor) continue;
      const track = tracks.find((t) => t[h] == null && isSameLine(t.filter((l) => l != null).at(-1)!, line));
      if (track !== undefined) track[h] = line;
      else {
        const fresh = hovers.map((): LineSummary | null => null);
        fresh[h] = line;
        tracks.push(fresh);
      }
    }
  });
  return tracks;
}

function isSameLine(a: LineSummary, b: LineSummary): boolean {
  if (a.order !== null || b.order !== null)
    return a.kind === b.kind && a.order !== null && b.order !== null && Math.abs(a.order - b.order) < 0.05;
  return a.kind === b.kind && Math.abs(b.frequencyHz / a.frequencyHz - 1) < SAME_LINE;
}
