/** Vibration hover by hover: whole levels, and every line, also one that only one of two hovers shows. */
import { bandRmsOfSensor } from './bands.js';
import { lessIsBetter, plainRow, type Candidate } from './candidate.js';
import type { HoverSummary, LineSummary, Measured } from './hover-summary.js';
import type { StepEvidence } from './judge.js';

/** Levels that differ by less do not matter, ln. */
const LEVEL_BOUND = Math.log(1.25);
/** Lines and whole levels below this are quiet, deg/s and m/s² (common practice, no source). */
const QUIET = { gyro: 0.5, accel: 0.5 } as const;
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

const UNITS = { gyro: 'deg/s', accel: 'm/s²' } as const;

export function vibrationRows(hovers: readonly HoverSummary[]): Candidate[] {
  const out: Candidate[] = [];
  for (const sensor of ['gyro', 'accel'] as const) {
    const rates = hovers.flatMap((h) =>
      h.levels.filter((l) => l.sensor === sensor).map((l) => l.sampleRateHz),
    );
    const shared = rates.length > 0 && Math.max(...rates) / Math.min(...rates) < 1 + SAME_RATE;
    const levels = hovers.map((h) => h.levels.find((l) => l.sensor === sensor)?.rms ?? null).map(withFit);
    const row = {
      metric: `${sensor} vibration RMS`,
      unit: UNITS[sensor],
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
          unit: UNITS[sensor],
          axis: null,
          group: 'vibration',
        },
        track.map((line) => withFit(line?.rms ?? null)),
        LEVEL_BOUND,
        QUIET[sensor] / 2,
      );
      out.push(...rows.map((candidate) => withOneSided(doubted(candidate, hovers, track), hovers, track)));
    }
  }
  return out;
}

/** Rotors spread over so much around their mean, Hz. */
const LINE_REACH_HZ = 5;
/** What follows no rotor stays nearer. */
const LONE_REACH_HZ = 2;
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

/** What the level of a band is uncertain by, as a share: of 10 Hz over 10 s of noise (1 over the root of twice their product). */
const BAND_STD = 0.07;

/**
 * A line that one hover of two shows: the other held at most all there is around the place, so it is better or worse where even that
 * is less than the line. Where as much was there unseen, nothing can be told.
 */
function withOneSided(
  candidate: Candidate,
  hovers: readonly HoverSummary[],
  track: readonly (LineSummary | null)[],
): Candidate {
  const sides = track.map((later, h) => {
    const earlier = h === 0 ? null : track[h - 1]!;
    if (h === 0 || (earlier === null) === (later === null)) return null;
    return later === null
      ? oneSided(earlier!, hovers[h - 1]!, hovers[h]!, 1)
      : oneSided(later, hovers[h]!, hovers[h - 1]!, -1);
  });
  return {
    ...candidate,
    steps: candidate.steps.map((step, h) => step ?? sides[h]?.evidence ?? null),
    notes: candidate.notes.map((note, h) => sides[h]?.note ?? note),
  };
}

/** @param sign of the gain where the line is gone from the other hover: 1 where that is the later one */
function oneSided(
  line: LineSummary,
  shows: HoverSummary,
  other: HoverSummary,
  sign: 1 | -1,
): { readonly evidence: StepEvidence | null; readonly note: string | null } {
  const hz = frequencyIn(line, shows, other);
  const reachHz = line.order === null ? LONE_REACH_HZ : LINE_REACH_HZ;
  const bound = hz === null ? null : bandRmsOfSensor(other, line.sensor, hz, reachHz);
  if (hz === null || bound === null || line.rms.std === null)
    return {
      evidence: null,
      note: `found in ${shows.name} only, and ${other.name} does not tell how much it held there`,
    };
  const unit = UNITS[line.sensor];
  const held = `found in ${shows.name} only; all that ${other.name} held within ${String(reachHz)} Hz of ${hz.toFixed(1)} Hz is ${bound.toPrecision(2)} ${unit}`;
  const least = Math.log(line.rms.value / Math.max(QUIET[line.sensor] / 2, bound));
  if (least < LEVEL_BOUND) return { evidence: null, note: `${held}, which may have hidden it` };
  const std = Math.hypot(line.rms.std / line.rms.value, FIT_STD, BAND_STD);
  return { evidence: { gain: sign * least, std, bound: LEVEL_BOUND, doubt: null, basis: held }, note: null };
}

/** Where a line would be in another hover: a rotor's goes with its speed. null: not known. */
function frequencyIn(line: LineSummary, shows: HoverSummary, other: HoverSummary): number | null {
  if (line.order === null) return line.frequencyHz;
  if (shows.rotorHz === null || other.rotorHz === null) return null;
  return (line.frequencyHz * other.rotorHz.value) / shows.rotorHz.value;
}

const withFit = (m: Measured | null): Measured | null =>
  m === null || m.std === null ? m : { ...m, std: Math.hypot(m.std, FIT_STD * m.value) };

/** The lines of one sensor over all hovers: by order, or by frequency where they follow no rotor. */
function followLines(hovers: readonly HoverSummary[], sensor: 'gyro' | 'accel'): (LineSummary | null)[][] {
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
