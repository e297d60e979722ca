/**
 * The lines of several rotors at one multiple of their speeds, told apart: each is a slowly changing amplitude in the frame that
 * turns with its rotor. All are estimated together (each from what the others leave, over and over), so that a strong one does not
 * count among its neighbours.
 */
import { chiSquareQuantile } from '../statistics/distributions.js';
import {
  bandGain,
  restFloor,
  restSpectrum,
  flatBand,
  FLAT_NOISE,
  SEGMENT_S,
  turned,
  type OrderBand,
  type RestSpectrum,
} from './order-band.js';

/** Where a rotor stands in a band: angle by which it runs ahead of the mean, rad by sample of the band, and its mean rate. */
export interface BandFrame {
  readonly rotor: number | null;
  readonly angle: Float64Array;
  readonly offsetHz: number;
}

/** The frames of all rotors in a band, and the one in which nothing turns. */
export interface BandFrames {
  readonly rotors: readonly BandFrame[];
  /** Angle by which what stands still runs ahead of the mean, rad by sample of the band. */
  readonly still: Float64Array;
}

export interface BandLine {
  /** Frames of rotors that stand too near one another to be told apart. */
  readonly frames: readonly number[];
  /** Of the line from the frame it rests in, Hz. */
  readonly shiftHz: number;
  readonly rms: number;
  readonly aboveFloorDb: number;
  /** One-sided, unit²/Hz. */
  readonly floor: number;
  /** By how much it stands higher turned with its rotor than where nothing turns, natural log. */
  readonly gain: number;
  /** Its part of the band. */
  readonly z: Float64Array;
}

/** Lines nearer than this are one, Hz. */
const APART_HZ = 0.35;
/** Least half width of what belongs to a line, Hz. */
const NARROW_HZ = 0.3;
/** Half width of what is given to a line once its neighbours have been told from it, Hz. */
const WIDE_HZ = 1;
const ROUNDS = 2;
/** A line reaches to where it has fallen to this many times its background. */
const SKIRT = 1.7;
/** The wide band is a line's own where it holds so many times the power of the narrow one, beyond the noise of its surroundings. */
const WIDER = 1.15;

/**
 * @param toleranceHz how far from its rotor's frame a line may stand
 * @param falseAlarm chance that noise alone gives a line of one rotor
 */
export function separateRotors(
  band: OrderBand,
  { rotors: frames, still }: BandFrames,
  toleranceHz: number,
  falseAlarm: number,
): BandLine[] {
  if (!anythingStands(band, frames)) return [];
  let groups = groupsOf(frames, band.rateHz);
  let parts = estimate(band, frames, groups);
  let rest = remainder(band.z, parts);
  const floor = restFloor(restSpectrum(band, rest));
  const kept = groups.map((group, g) => {
    const own = sum(rest, parts[g]!);
    const spectrum = restSpectrum(band, turned(own, frames[group.middle]!.angle, -1));
    return lineOf(spectrum, floor, toleranceHz + group.halfHz, falseAlarm) !== null;
  });
  groups = groups.filter((_, g) => kept[g]);
  if (groups.length === 0) return [];
  parts = estimate(band, frames, groups);
  rest = remainder(band.z, parts);
  const lines: BandLine[] = [];
  const byPower = groups.map((_, g) => g).sort((a, b) => powerOf(parts[b]!) - powerOf(parts[a]!));
  for (const g of byPower) {
    const group = groups[g]!;
    const { angle, offsetHz } = frames[group.middle]!;
    const own = sum(rest, parts[g]!);
    const resting = turned(own, angle, -1);
    const spectrum = restSpectrum(band, resting);
    const line = lineOf(spectrum, floor, toleranceHz + group.halfHz, falseAlarm);
    const together = group.members.length > 1;
    const gain = line === null ? 0 : gainOf(band, spectrum, line, turned(own, still, -1), offsetHz);
    // What is no rotor's stays for the others to be judged by.
    if (line === null || !turnsWithIt(band, resting, spectrum, line, gain, together)) {
      rest = own;
      continue;
    }
    const taken = bandOfLine(band, resting, spectrum, group, offsetHz);
    const z = turned(taken.z, angle, 1);
    rest = own.map((v, i) => v - z[i]!);
    if (taken.rms > 0) lines.push({ ...line, gain, rms: taken.rms, frames: group.members, z });
  }
  return lines;
}

/** A line stands this much higher where nothing turns, natural log: then it is a mode or a tone that a rotor passes by. */
const STANDS_STILL = 0.3;
/** Around a rotor's mean place, where what stands still is looked for, Hz. */
const STILL_REACH_HZ = 1;
/** A line must gain so much by being turned, or by twice the time, natural logs; all of it would be ln 2. */
const LEAST_GAIN = 0.25;
const LEAST_COHERENCE = 0.35;
/**
 * Amplitude averaged over the segments, squared, over their mean power: of a line that is there throughout 1, of noise π/4, and of what a
 * rotor passes by only now and then the share of the time. Rotors that beat lower it too, at their first multiple most of all.
 */
const LEAST_LASTING = { first: 0.4, others: 0.5 };
/** Rotors that keep together beat: where they are this clear, dB, no more is asked of them. */
const CLEAR_TOGETHER_DB = 10;

/**
 * Whether what stands at rest with a rotor is its line. A mode is noise in a narrow band: where the rotors' speeds keep near it, some
 * of it stands over its surroundings in any frame. But it stands higher where nothing turns; and looked at for twice as long, the
 * density of a line that keeps its phase doubles, and that of noise does not.
 */
function turnsWithIt(
  band: OrderBand,
  resting: Float64Array,
  spectrum: RestSpectrum,
  { aboveFloorDb, shiftHz }: Pick<BandLine, 'aboveFloorDb' | 'shiftHz'>,
  gain: number,
  together: boolean,
): boolean {
  if (gain < -STANDS_STILL) return false;
  const loudness = restSpectrum(band, resting, SEGMENT_S, 'amplitude');
  const [mean, power] = [loudness, spectrum].map((one) => topNear(one, shiftHz, 2 * spectrum.binHz));
  if (mean! / power! < (band.order === 1 ? LEAST_LASTING.first : LEAST_LASTING.others)) return false;
  if (gain > LEAST_GAIN || (together && aboveFloorDb > CLEAR_TOGETHER_DB)) return true;
  const longer = restSpectrum(band, resting, 2 * SEGMENT_S);
  const [once, twice] = [spectrum, longer].map((one) => topNear(one, shiftHz, 2 * spectrum.binHz));
  return Math.log(twice! / once!) > LEAST_COHERENCE;
}

/** By how much a line stands higher at rest with its rotor than where nothing turns, natural log. */
function gainOf(
  band: OrderBand,
  spectrum: RestSpectrum,
  { shiftHz }: Pick<BandLine, 'shiftHz'>,
  standing: Float64Array,
  offsetHz: number,
): number {
  const top = topNear(spectrum, shiftHz, 2 * spectrum.binHz);
  return Math.log(top / topNear(restSpectrum(band, standing), offsetHz, STILL_REACH_HZ));
}

function topNear({ density, middle, binHz }: RestSpectrum, offHz: number, reachHz: number): number {
  const first = Math.max(0, Math.round((offHz - reachHz) / binHz) + middle);
  const last = Math.min(density.length - 1, Math.round((offHz + reachHz) / binHz) + middle);
  let top = 1e-300;
  for (let k = first; k <= last; k++) top = Math.max(top, density[k]!);
  return top;
}

const powerOf = (z: Float64Array): number => z.reduce((total, v) => total + v * v, 0);

/** Over the background, below which no frame shows a line. */
const STANDS = 1.6;

/** Whether any frame shows anything at all: most bands hold nothing, and telling rotors apart is dear. */
function anythingStands(band: OrderBand, frames: readonly BandFrame[]): boolean {
  return frames.some(({ angle }) => {
    const spectrum = restSpectrum(band, turned(band.z, angle, -1));
    const floor = restFloor(spectrum);
    const reach = Math.ceil(0.6 / spectrum.binHz);
    let top = 0;
    for (let k = spectrum.middle - reach; k <= spectrum.middle + reach; k++)
      top = Math.max(top, spectrum.density[k] ?? 0);
    return top > STANDS * floor;
  });
}

interface Group {
  readonly members: readonly number[];
  /** The member whose frame stands for all. */
  readonly middle: number;
  readonly halfHz: number;
}

/** Rotors that keep together all along are one line; those that pass one another in speed are not. */
function groupsOf(frames: readonly BandFrame[], rateHz: number): Group[] {
  const apart = (a: number, b: number): number => rmsDifferenceHz(frames[a]!.angle, frames[b]!.angle, rateHz);
  const lists: number[][] = [];
  frames.forEach((_, i) => {
    const near = lists.filter((members) => members.some((m) => apart(m, i) < APART_HZ));
    const joined = [...near.flat(), i];
    for (const members of near) lists.splice(lists.indexOf(members), 1);
    lists.push(joined);
  });
  return lists.map((members) => {
    const spread = members.map((i) => Math.max(...members.map((j) => apart(i, j))));
    const halfHz = Math.min(...spread);
    return { members, middle: members[spread.indexOf(halfHz)]!, halfHz };
  });
}

/** Between two frames, over quarters of a second. */
function rmsDifferenceHz(a: Float64Array, b: Float64Array, rateHz: number): number {
  if (a === b) return 0;
  const step = Math.max(1, Math.round(0.25 * rateHz));
  let squares = 0;
  let count = 0;
  for (let i = step; i < a.length; i += step) {
    const turned = a[i]! - b[i]! - (a[i - step]! - b[i - step]!);
    squares += ((turned * rateHz) / step / (2 * Math.PI)) ** 2;
    count++;
  }
  return Math.sqrt(squares / Math.max(1, count));
}

function halfWidthHz(group: Group): number {
  return NARROW_HZ + 0.7 * group.halfHz;
}

/**
 * A line with what goes with it more quickly (its amplitude and phase are not constant), which is its own and no other's. Where noise of
 * the surroundings, a mode's for one, explains what the wide band holds more than the narrow one, the noise is left where it is.
 */
function bandOfLine(
  band: OrderBand,
  resting: Float64Array,
  spectrum: RestSpectrum,
  group: Group,
  offsetHz: number,
): { readonly z: Float64Array; readonly rms: number } {
  const narrowHz = halfWidthHz(group);
  const wideHz = Math.max(WIDE_HZ, narrowHz);
  const noise = surroundings(spectrum, 1.2 * wideHz);
  const inBand = (halfHz: number): { z: Float64Array; rms: number } => {
    const z = flatBand(resting, band.rateHz, halfHz);
    return { z, rms: rmsOfPart(band, z, offsetHz, halfHz, noise) };
  };
  const narrow = inBand(narrowHz);
  if (wideHz === narrowHz) return narrow;
  const wide = inBand(wideHz);
  return wide.rms ** 2 > WIDER * narrow.rms ** 2 || !(narrow.rms > 0) ? wide : narrow;
}

/** Median of what stands farther from rest than this and nearer than three times as far, brought up to its mean. */
function surroundings({ density, middle, binHz, degreesOfFreedom }: RestSpectrum, fromHz: number): number {
  const some: number[] = [];
  density.forEach((v, k) => {
    const off = Math.abs(k - middle) * binHz;
    if (off > fromHz && off < 3 * fromHz) some.push(v);
  });
  some.sort((a, b) => a - b);
  return ((some[some.length >> 1] ?? 0) * degreesOfFreedom) / chiSquareQuantile(0.5, degreesOfFreedom);
}

/** What has been estimated as this line, less the noise that was let in with it. */
function rmsOfPart(
  band: OrderBand,
  z: Float64Array,
  offsetHz: number,
  halfHz: number,
  floor: number,
): number {
  const gain = Math.max(0.3, bandGain(band, offsetHz));
  const square = z.reduce((s, v) => s + v * v, 0) / (z.length / 2) / (gain * gain);
  // Of a real sinusoid the turned record holds half the amplitude, so a quarter of its squares: power is twice that.
  return Math.sqrt(Math.max(0, 2 * (square - FLAT_NOISE * halfHz * floor)));
}

function estimate(band: OrderBand, frames: readonly BandFrame[], groups: readonly Group[]): Float64Array[] {
  const parts = groups.map(() => new Float64Array(band.z.length));
  const rest = band.z.slice();
  const rounds = groups.length === 1 ? 1 : ROUNDS;
  for (let round = 0; round < rounds; round++)
    groups.forEach((group, g) => {
      const { angle } = frames[group.middle]!;
      const part = parts[g]!;
      for (let i = 0; i < rest.length; i++) rest[i]! += part[i]!;
      const still = flatBand(turned(rest, angle, -1), band.rateHz, halfWidthHz(group));
      const back = turned(still, angle, 1);
      for (let i = 0; i < rest.length; i++) {
        part[i] = back[i]!;
        rest[i]! -= back[i]!;
      }
    });
  return parts;
}

function remainder(z: Float64Array, parts: readonly Float64Array[]): Float64Array {
  return z.map((v, i) => v - parts.reduce((s, part) => s + part[i]!, 0));
}

function sum(a: Float64Array, b: Float64Array): Float64Array {
  return a.map((v, i) => v + b[i]!);
}

function lineOf(
  spectrum: RestSpectrum,
  floor: number,
  toleranceHz: number,
  falseAlarm: number,
): Omit<BandLine, 'frames' | 'gain' | 'z'> | null {
  const { density, middle, binHz, degreesOfFreedom, noiseBins } = spectrum;
  const reach = Math.min(middle - 1, Math.max(1, Math.round(toleranceHz / binHz)));
  let top = middle;
  for (let k = middle - reach; k <= middle + reach; k++) if (density[k]! > density[top]!) top = k;
  // A line of its own has its top here, not on the way up to another beyond.
  if (density[top - 1]! > density[top]! || density[top + 1]! > density[top]!) return null;
  const local = Math.max(floor, besideFloor(spectrum, top));
  const tests = Math.max(1, (2 * reach + 1) / noiseBins);
  const over = (1.3 * chiSquareQuantile(1 - falseAlarm / tests, degreesOfFreedom)) / degreesOfFreedom;
  if (density[top]! < over * local) return null;
  // As wide as the window at least, and as wide as its skirts reach.
  const least = Math.ceil((4 / 3) * noiseBins);
  const most = Math.round((toleranceHz + 1.5) / binHz);
  let first = Math.max(0, top - least);
  let last = Math.min(density.length - 1, top + least);
  while (first > 0 && top - first < most && density[first - 1]! > SKIRT * local) first--;
  while (last < density.length - 1 && last - top < most && density[last + 1]! > SKIRT * local) last++;
  let area = 0;
  for (let k = first; k <= last; k++) area += (density[k]! - local) * binHz;
  if (!(area > 0)) return null;
  return {
    // By its top: what lies beside it may be another's.
    shiftHz: (top - middle + parabolaTop(density, top)) * binHz,
    // Of a real sinusoid the turned record holds half the amplitude, so a quarter of its squares: power is twice that.
    rms: Math.sqrt(2 * area),
    aboveFloorDb: 10 * Math.log10(density[top]! / local),
    floor: 2 * local,
  };
}

/** Where between its neighbours a top stands, bins: a parabola through the three logs. */
function parabolaTop(density: Float64Array, top: number): number {
  const [a, b, c] = [-1, 0, 1].map((off) => Math.log(Math.max(1e-300, density[top + off]!)));
  const bend = a! - 2 * b! + c!;
  return bend < 0 ? Math.max(-0.5, Math.min(0.5, (0.5 * (a! - c!)) / bend)) : 0;
}

/** Background right beside a line, where a broad hump raises it: median of what stands 1 to 3 Hz off. */
function besideFloor({ density, binHz }: RestSpectrum, top: number): number {
  const near: number[] = [];
  for (let k = 0; k < density.length; k++) {
    const off = Math.abs(k - top) * binHz;
    if (off > 0.9 && off < 3) near.push(density[k]!);
  }
  near.sort((a, b) => a - b);
  return near[near.length >> 1] ?? 0;
}

/** Part of a band with what thinning out took from it put back. */
export function restored(band: OrderBand, z: Float64Array, offsetHz: number): Float64Array {
  const gain = Math.max(0.3, bandGain(band, offsetHz));
  return z.map((v) => v / gain);
}
