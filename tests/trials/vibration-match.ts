import type { BodyAxis } from '@settle/parser';
import type { StudiedLine } from '../../packages/analysis/src/vibration/vibration-study.js';
import type { TrueSensor, TrueVibrationLine, VibrationSpan } from '@settle/simulator';

/**
 * Lines nearer than this are one: what a short-time spectrum of a second or two tells apart. A method may tell more
 * apart; its lines of one cluster are added up (root of the sum of squares) and compared with the cluster.
 */
export const RESOLUTION_HZ = 1;
/** A cluster that stands this far above everything else within its width has to be found. */
const SHOWN_DB = 10;
/** Kinds with less than this share of a cluster's power do not name it. */
const NAMES_SHARE = 0.25;

/**
 * True lines of one sensor axis that no method need tell apart: the lines of one order whose ranges over the hover,
 * widened by the resolution, overlap (four rotors close together), and lines of any kind whose means are nearer than
 * the resolution.
 */
export interface Cluster {
  readonly sensor: 'gyro' | 'accel';
  readonly axis: BodyAxis;
  readonly lines: readonly TrueVibrationLine[];
  /** Of the members' mean frequencies as logged. */
  readonly lowHz: number;
  readonly highHz: number;
  /** Root of the sum of the members' squares, and rms of their sum: nearly equal speeds need not beat often. */
  readonly rms: number;
  readonly rmsTogether: number;
  /** Over the density of everything else (sensor noise and wind, skirts of modes, lines that pass over it) times its width. */
  readonly aboveFloorDb: number;
  readonly shown: boolean;
  readonly kinds: ReadonlySet<TrueVibrationLine['kind']>;
  /** Most of its power belongs to lines beyond half the sample rate for most of the time. */
  readonly folded: boolean;
  /** 80 % and more of its power is a mode's. */
  readonly structural: boolean;
}

/**
 * @param lowestHz what is slower does not count as vibration
 * @param sampleRateHz of the inertial log
 */
export function clusterTruth(span: VibrationSpan, lowestHz: number, sampleRateHz: number): Cluster[] {
  return span.sensors.flatMap((sensor) => {
    const own = span.lines.filter((line) => line.sensor === sensor.sensor && line.axis === sensor.axis);
    return groupsOf(own).map((lines) => describe(lines, own, span, sensor, lowestHz, sampleRateHz));
  });
}

function groupsOf(lines: readonly TrueVibrationLine[]): TrueVibrationLine[][] {
  let groups: TrueVibrationLine[][] = [];
  for (const line of lines) {
    const [near, far] = [true, false].map((is) =>
      groups.filter((group) => group.some((member) => belongTogether(member, line)) === is),
    );
    groups = [...far!, [...near!.flat(), line]];
  }
  return groups;
}

function belongTogether(a: TrueVibrationLine, b: TrueVibrationLine): boolean {
  if (Math.abs(a.loggedHz - b.loggedHz) < RESOLUTION_HZ) return true;
  if (a.order === null || a.order !== b.order) return false;
  return Math.max(a.lowHz, b.lowHz) - Math.min(a.highHz, b.highHz) < RESOLUTION_HZ;
}

function describe(
  lines: readonly TrueVibrationLine[],
  all: readonly TrueVibrationLine[],
  span: VibrationSpan,
  sensor: TrueSensor,
  lowestHz: number,
  sampleRateHz: number,
): Cluster {
  const power = powerOf(lines);
  const lowHz = Math.min(...lines.map((line) => line.loggedHz));
  const highHz = Math.max(...lines.map((line) => line.loggedHz));
  const firstHz = Math.min(...lines.map((line) => line.lowHz));
  const lastHz = Math.max(...lines.map((line) => line.highHz));
  const others = all.filter((line) => !lines.includes(line));
  const middleHz = (lowHz + highHz) / 2;
  const floor = sensor.floorAt(middleHz) + densityAt(middleHz, others);
  const aboveFloorDb = 10 * Math.log10(power / (floor * Math.max(1, lastHz - firstHz)));
  // At the edges of the band only part of it can be seen.
  const inBand = firstHz > lowestHz + RESOLUTION_HZ && lastHz < sampleRateHz / 2 - RESOLUTION_HZ;
  const share = (is: (line: TrueVibrationLine) => boolean): number => powerOf(lines.filter(is)) / power;
  const kinds = new Set(lines.map((line) => line.kind));
  return {
    sensor: sensor.sensor,
    axis: sensor.axis,
    lines,
    lowHz,
    highHz,
    rms: Math.sqrt(power),
    rmsTogether: span.rmsTogether(lines),
    aboveFloorDb,
    // A sensor at the end of its range has other lines than the vibration has.
    shown: inBand && aboveFloorDb >= SHOWN_DB && sensor.atRangeShare === 0,
    kinds: new Set([...kinds].filter((kind) => share((line) => line.kind === kind) >= NAMES_SHARE)),
    folded: share((line) => line.foldedShare > 0.5) > 0.5,
    structural: share((line) => line.kind === 'structure') >= 0.8,
  };
}

function powerOf(lines: readonly TrueVibrationLine[]): number {
  return lines.reduce((sum, line) => sum + line.rms ** 2, 0);
}

/** Density that lines of a width add at a frequency: a mode's Lorentz curve, a moving line spread over its range. */
function densityAt(frequencyHz: number, lines: readonly TrueVibrationLine[]): number {
  let sum = 0;
  for (const line of lines) {
    const half = (line.highHz - line.lowHz) / 2;
    const off = frequencyHz - line.loggedHz;
    if (line.dampingRatio !== null) sum += (line.rms ** 2 * half) / Math.PI / (off * off + half * half);
    else if (frequencyHz > line.lowHz - RESOLUTION_HZ && frequencyHz < line.highHz + RESOLUTION_HZ)
      sum += line.rms ** 2 / (2 * half + 2 * RESOLUTION_HZ);
  }
  return sum;
}

/** How far a frequency lies outside of a cluster's means, Hz. */
export function distanceHz(cluster: Cluster, frequencyHz: number): number {
  return Math.max(0, cluster.lowHz - frequencyHz, frequencyHz - cluster.highHz);
}

/**
 * Share of a found line's power that true lines of some kinds hold where it stands, to within the resolution. A sharp line of a rotor
 * can stand high above a mode that holds many times its power in a wide hump: then the line is the rotor's, and the hump is not.
 */
export function shareOf(
  cluster: Cluster,
  found: Pick<StudiedLine, 'frequencyHz' | 'rms'>,
  is: (line: TrueVibrationLine) => boolean,
): number {
  const near = cluster.lines.filter(
    (line) => is(line) && Math.abs(line.loggedHz - found.frequencyHz) < RESOLUTION_HZ,
  );
  return powerOf(near) / found.rms ** 2;
}

export interface Matching {
  /** Found lines by cluster; clusters without any have an empty list. */
  readonly found: ReadonlyMap<Cluster, readonly StudiedLine[]>;
  /** Found lines that are no true line, however weak. */
  readonly extra: readonly StudiedLine[];
}

/**
 * A found line is one of the true cluster on the same sensor axis whose range of mean frequencies it lies in, to
 * within the resolution or 1 %. Where several are, it is the one that it is nearest to in frequency (in units of that
 * tolerance) and level (twice or half the level counts as a third of the tolerance). Kinds play no part.
 */
export function matchLines(clusters: readonly Cluster[], lines: readonly StudiedLine[]): Matching {
  const found = new Map<Cluster, StudiedLine[]>(clusters.map((cluster) => [cluster, []]));
  const extra: StudiedLine[] = [];
  for (const line of lines) {
    const tolerance = Math.max(RESOLUTION_HZ, 0.01 * line.frequencyHz);
    const unlike = (cluster: Cluster): number =>
      distanceHz(cluster, line.frequencyHz) / tolerance + 0.5 * Math.abs(Math.log(line.rms / cluster.rms));
    const nearest = clusters
      .filter(
        (cluster) =>
          cluster.sensor === line.sensor &&
          cluster.axis === line.axis &&
          distanceHz(cluster, line.frequencyHz) <= tolerance,
      )
      .sort((a, b) => unlike(a) - unlike(b))[0];
    if (nearest === undefined) extra.push(line);
    else found.get(nearest)!.push(line);
  }
  return { found, extra };
}
