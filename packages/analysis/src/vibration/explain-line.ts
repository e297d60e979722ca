/**
 * How much of what stands around a line of a log is explained by rotors that turn with the motor commands at a supposed frequency.
 *
 * A rotor's line wanders by the course of its speed times its true frequency: a mirrored one the other way, and one that is folded
 * farther than its place in the log tells. Even where the throttle hardly moves that puts sidebands beside it that stand far above
 * the noise. Lines of several rotors may lie closer than the log's length tells apart, so they are fitted together: each is a carrier
 * that may change slowly, turned by its own rotor's course, and what they leave between them tells one supposition from another.
 */
import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import { inverseComplex, nextPowerOfTwo, transformComplex } from '../spectrum/fft.js';
import { angleAt, bandsAt, courseOf } from './find-base.js';
import type { OrderBand } from './order-band.js';
import { speedsFrom, type Commands } from './relative-speeds.js';
import type { SensorRecord } from './sensor-records.js';

/** No more of a long hover is looked at, s. */
const SEARCHED_S = 30;
/** Rotors of one aircraft, and the sidebands that tell, stand within this share of the line, and at least so many Hz. */
const REACH_SHARE = 0.05;
const LEAST_REACH_HZ = 3;
/** A carrier may change this fast, Hz. */
const SLOW_HZ = 0.15;
/** Lines fitted together where one course stands for all rotors, and at most. */
const LINES_OF_ONE = 4;
const MOST_LINES = 6;
/** Courses that hardly differ leave columns that are nearly one: share of the mean diagonal that keeps them apart. */
const RIDGE = 1e-4;

/** The surroundings of a line, near rest: no faster than they need to be. */
export interface LineSurroundings {
  readonly hz: number;
  readonly reachHz: number;
  readonly rateHz: number;
  /** Complex samples, interleaved, times the window. */
  readonly windowed: Float64Array;
  readonly window: Float64Array;
  readonly band: OrderBand;
  /** Samples of the band per sample here. */
  readonly every: number;
  /** Independent complex values in the reach. */
  readonly freedom: number;
}

export function surroundingsOf(record: SensorRecord, hz: number): LineSurroundings {
  const { sampleRateHz, values } = record;
  const some = { ...record, values: values.subarray(0, Math.round(SEARCHED_S * sampleRateHz)) };
  const band = bandsAt([some], hz, REACH_SHARE)[0]!;
  const reachHz = Math.max(LEAST_REACH_HZ, REACH_SHARE * hz);
  const z = withinReach(band, reachHz);
  const every = Math.max(1, Math.floor(band.rateHz / (2.6 * reachHz)));
  const count = Math.floor(z.length / 2 / every);
  const rateHz = band.rateHz / every;
  const window = Float64Array.from({ length: count }, (_, i) => Math.sin((Math.PI * (i + 0.5)) / count));
  const windowed = Float64Array.from({ length: 2 * count }, (_, i) => {
    const at = i >> 1;
    return window[at]! * z[2 * at * every + (i & 1)]!;
  });
  return {
    hz,
    reachHz,
    rateHz,
    windowed,
    window,
    band,
    every,
    freedom: (2 * reachHz * count) / rateHz,
  };
}

function withinReach({ z, rateHz }: OrderBand, reachHz: number): Float64Array {
  const count = z.length / 2;
  const bins = transformComplex(z);
  const last = Math.floor((reachHz / rateHz) * count);
  for (let k = 0; k < count; k++)
    if (Math.min(k, count - k) > last) {
      bins[2 * k] = 0;
      bins[2 * k + 1] = 0;
    }
  return inverseComplex(bins);
}

/** A rotor as it turns around a line. */
interface Turning {
  /** At the samples, rad. */
  readonly angle: Float64Array;
  readonly share: number;
}

interface Carrier extends Turning {
  readonly bin: number;
}

export interface Explained {
  /** Natural log of the share of power that the lines leave. */
  readonly left: number;
  /** What the mean of all rotors would make of what its lines are, by their power, Hz: each line over its rotor's share. */
  readonly meanHz: number;
}

/** A rotor's course, in turns ahead of steady turning at one revolution per second at the samples of a record. */
export interface SharedCourse {
  readonly course: Float64Array;
  /** The rotor's mean speed over that of all rotors. */
  readonly share: number;
}

/** Courses of all rotors at the samples of a record, by a way in which the speeds may follow the commands. */
export function coursesBy(
  commands: Commands,
  power: number,
  lagS: number,
  record: SensorRecord,
): SharedCourse[] {
  return speedsFrom(commands, power, lagS).map((guess) => ({
    course: courseOf(guess, record),
    share: guess.share,
  }));
}

/**
 * @param courses of the rotors
 * @param trueHz that the rotors' line is supposed to have; negative where it is mirrored; 0: lines that follow nothing
 */
export function explainedBy(
  around: LineSurroundings,
  courses: readonly SharedCourse[],
  trueHz: number,
): Explained {
  const { windowed, band, every, rateHz, reachHz } = around;
  const count = windowed.length / 2;
  const length = nextPowerOfTwo(count);
  const stepBins = length >= 1.5 * count ? 2 : 1;
  const half = Math.max(1, Math.ceil((SLOW_HZ * length) / rateHz / stepBins));
  const reach = Math.floor((reachHz / rateHz) * length);
  const one = courses.length === 1;
  const lines = one ? LINES_OF_ONE : Math.min(MOST_LINES, courses.length);
  const rotors = (trueHz === 0 || one ? courses.slice(0, 1) : courses).map(({ course, share }): Turning => {
    const all = angleAt(course, band, trueHz);
    return { share, angle: Float64Array.from({ length: count }, (_, i) => all[i * every]!) };
  });
  const spent = new Set<Float64Array>();
  const carriers: Carrier[] = [];
  let fit: CarrierFit = { left: windowed, powers: [] };
  while (carriers.length < lines) {
    const next = strongest(
      rotors.filter(({ angle }) => !spent.has(angle)),
      (angle) => turnedSpectrum(around, fit.left, angle, length),
      (bin, angle) => carriers.some((c) => c.angle === angle && Math.abs(c.bin - bin) <= 2 * half * stepBins),
      reach,
    );
    if (next === null) break;
    carriers.push(next);
    if (rotors.length > 1) spent.add(next.angle);
    fit = fitCarriers(around, carriers, half, stepBins, length);
  }
  const all = fit.powers.reduce((sum, power) => sum + power, 0);
  const moment = carriers.reduce(
    (sum, { bin, share }, c) => sum + (fit.powers[c]! * Math.abs(trueHz + (bin * rateHz) / length)) / share,
    0,
  );
  return {
    left: Math.log(powerOf(fit.left) / powerOf(windowed)),
    meanHz: all > 0 ? moment / all : Math.abs(trueHz),
  };
}

/** Where what is left stands highest when it is turned back by one of the angles. */
function strongest(
  rotors: readonly Turning[],
  spectrumOf: (angle: Float64Array) => Float64Array,
  taken: (bin: number, angle: Float64Array) => boolean,
  reach: number,
): Carrier | null {
  let best: Carrier | null = null;
  let most = -1;
  for (const rotor of rotors) {
    const { angle } = rotor;
    const bins = spectrumOf(angle);
    const length = bins.length / 2;
    for (let bin = -reach; bin <= reach; bin++) {
      const k = (bin + length) % length;
      const power = bins[2 * k]! ** 2 + bins[2 * k + 1]! ** 2;
      if (power <= most || taken(bin, angle)) continue;
      most = power;
      best = { ...rotor, bin };
    }
  }
  return best;
}

/** Transform of windowed samples, windowed once more and turned back by an angle. */
function turnedSpectrum(
  { window }: LineSurroundings,
  values: Float64Array,
  angle: Float64Array,
  length: number,
): Float64Array {
  const turned = new Float64Array(2 * length);
  for (let i = 0; i < window.length; i++) {
    const c = window[i]! * Math.cos(angle[i]!);
    const s = -window[i]! * Math.sin(angle[i]!);
    turned[2 * i] = values[2 * i]! * c - values[2 * i + 1]! * s;
    turned[2 * i + 1] = values[2 * i]! * s + values[2 * i + 1]! * c;
  }
  return transformComplex(turned);
}

interface CarrierFit {
  /** What the carriers leave of the windowed samples. */
  readonly left: Float64Array;
  /** Of each carrier. */
  readonly powers: readonly number[];
}

/** All carriers together, by least squares (complex). */
function fitCarriers(
  around: LineSurroundings,
  carriers: readonly Carrier[],
  half: number,
  stepBins: number,
  length: number,
): CarrierFit {
  const { window, windowed } = around;
  const each = 2 * half + 1;
  const size = each * carriers.length;
  const wrapped = (bin: number): number => ((bin % length) + length) % length;
  // Complex normal equations as real ones of twice the size: [Re −Im; Im Re].
  const normal = Matrix.zeros(2 * size, 2 * size);
  const put = (row: number, column: number, re: number, im: number): void => {
    normal.set(row, column, re);
    normal.set(row + size, column + size, re);
    normal.set(row, column + size, -im);
    normal.set(row + size, column, im);
  };
  carriers.forEach((a, p) => {
    carriers.forEach((b, q) => {
      if (q < p) return;
      const apart = new Float64Array(2 * length);
      for (let i = 0; i < window.length; i++) {
        const difference = a.angle[i]! - b.angle[i]!;
        apart[2 * i] = window[i]! ** 2 * Math.cos(difference);
        apart[2 * i + 1] = -(window[i]! ** 2) * Math.sin(difference);
      }
      const bins = transformComplex(apart);
      for (let k = 0; k < each; k++)
        for (let l = q === p ? k : 0; l < each; l++) {
          const d = wrapped(a.bin - b.bin + stepBins * (k - l));
          const im = q === p && l === k ? 0 : bins[2 * d + 1]!;
          put(p * each + k, q * each + l, bins[2 * d]!, im);
          put(q * each + l, p * each + k, bins[2 * d]!, -im);
        }
    });
  });
  const right = Matrix.zeros(2 * size, 1);
  carriers.forEach(({ angle, bin }, p) => {
    const bins = turnedSpectrum(around, windowed, angle, length);
    for (let k = 0; k < each; k++) {
      const d = wrapped(bin + stepBins * (k - half));
      right.set(p * each + k, 0, bins[2 * d]!);
      right.set(p * each + k + size, 0, bins[2 * d + 1]!);
    }
  });
  const ridge = (RIDGE * normal.trace()) / (2 * size);
  for (let i = 0; i < 2 * size; i++) normal.set(i, i, normal.get(i, i) + ridge);
  const solved = new CholeskyDecomposition(normal).solve(right);
  const left = windowed.slice();
  const powers = carriers.map(({ angle, bin }, p) => {
    const bins = new Float64Array(2 * length);
    for (let k = 0; k < each; k++) {
      const d = wrapped(bin + stepBins * (k - half));
      bins[2 * d] = length * solved.get(p * each + k, 0);
      bins[2 * d + 1] = length * solved.get(p * each + k + size, 0);
    }
    const carrier = inverseComplex(bins);
    for (let i = 0; i < window.length; i++) {
      const c = window[i]! * Math.cos(angle[i]!);
      const s = window[i]! * Math.sin(angle[i]!);
      left[2 * i]! -= carrier[2 * i]! * c - carrier[2 * i + 1]! * s;
      left[2 * i + 1]! -= carrier[2 * i]! * s + carrier[2 * i + 1]! * c;
    }
    return powerOf(carrier);
  });
  return { left, powers };
}

function powerOf(values: Float64Array): number {
  return values.reduce((sum, v) => sum + v * v, 0);
}
