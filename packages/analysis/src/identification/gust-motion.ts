/**
 * How likely a record of an axis is, given its plant, its controller and gusts of a smooth spectrum: Whittle's likelihood of its spectrum
 * (P. Whittle 1953, from memory), with its gradient and expected information. The stick and the stops make its mean, the gusts its
 * power, both through the loops: y = (G a + body · (gusts + what others push)) / (1 + L).
 */
import { Matrix } from 'ml-matrix';
import type { DrivenAxis } from './driven-axis.js';
import { PRIOR, type Known } from './prior.js';

/** Gusts: corner, Hz; order of their fall; where the gyro's noise takes over, Hz. Wide, and no source: hovers differ. */
const GUSTS = [
  [Math.log(0.8), 0.8],
  [1.4, 0.4],
  [Math.log(8), 1],
] as const;
/** ln τ, ln d, c, i, ln K, then the gusts. What comes over from each mover follows, and the level of the gusts last. */
export const PRIORS: readonly Known[] = [
  PRIOR.lnLag,
  PRIOR.lnDelay,
  PRIOR.damping,
  PRIOR.instability,
  PRIOR.lnEffectiveness,
  ...GUSTS,
];
/** What few numbers miss of the loops' answer to the stick, as a share of it: where they follow well, that is much against the gusts. */
const ANSWER_ERROR = 0.03;
/** And of what other axes push: it hardly comes over in plain proportion. */
const PUSH_ERROR = 0.15;

/** The record's bins against a plant in gusts. */
export class GustMotion {
  readonly count: number;
  private readonly omega: Float64Array;
  private readonly rate: Float64Array;
  private readonly drive: Float64Array;
  private readonly feedback: Float64Array;
  private readonly moved: readonly Float64Array[];
  readonly priors: readonly Known[];
  /** Number of parameters; the last is the level of the gusts, of which nothing is known. */
  readonly size: number;
  /** ln power of the rate, and its mean, bin by bin. */
  private readonly power: Float64Array;
  private readonly mean: Float64Array;

  /** @param share what may come over from each mover */
  constructor(
    x: DrivenAxis,
    used: readonly number[],
    share: readonly Known[],
    moved: readonly Float64Array[],
  ) {
    this.priors = [...PRIORS, ...share];
    this.size = this.priors.length + 1;
    this.count = used.length;
    this.omega = Float64Array.from(used, (i) => x.omegas[i]!);
    const parts = (of: (i: number) => readonly [number, number]): Float64Array =>
      Float64Array.from(used.flatMap((i) => of(i)));
    this.rate = parts((i) => [x.rate[i]!.re, x.rate[i]!.im]);
    this.drive = parts((i) => [x.asked[i]!.re + x.lost[i]!.re, x.asked[i]!.im + x.lost[i]!.im]);
    this.feedback = parts((i) => [x.feedback[i]!.re, x.feedback[i]!.im]);
    this.moved = moved.map((values) => parts((i) => [values[2 * i]!, values[2 * i + 1]!]));
    this.power = new Float64Array(this.count);
    this.mean = new Float64Array(2 * this.count);
  }

  /** Sets the level of the gusts so that what is left has the power that is expected. */
  setLevel(p: Float64Array): void {
    p[this.size - 1] = 0;
    this.predict(p, this.power, this.mean);
    let sum = 0;
    for (let k = 0; k < this.count; k++) sum += this.left(this.mean, k) * Math.exp(-this.power[k]!);
    p[this.size - 1] = Math.log(Math.max(1e-300, sum / this.count));
  }

  /** Minus the log likelihood and the prior. */
  cost(p: Float64Array): number {
    this.predict(p, this.power, this.mean);
    let sum = this.priors.reduce((s, [m, std], j) => s + 0.5 * ((p[j]! - m) / std) ** 2, 0);
    for (let k = 0; k < this.count; k++)
      sum += this.power[k]! + this.left(this.mean, k) * Math.exp(-this.power[k]!);
    return sum;
  }

  /** Minus the gradient of the cost, and the expected information, priors included in both. */
  score(p: Float64Array): { gradient: Matrix; information: Matrix } {
    const n = this.count;
    this.predict(p, this.power, this.mean);
    const inverse = this.power.map((v) => Math.exp(-v));
    const slopes = Array.from({ length: this.size }, (_, j) => this.slope(p, j));
    const gradient = Matrix.zeros(this.size, 1);
    const information = Matrix.zeros(this.size, this.size);
    for (let a = 0; a < this.size; a++) {
      const one = slopes[a]!;
      let score = 0;
      for (let k = 0; k < n; k++) {
        const re = this.rate[2 * k]! - this.mean[2 * k]!;
        const im = this.rate[2 * k + 1]! - this.mean[2 * k + 1]!;
        score +=
          one.power[k]! * (1 - (re * re + im * im) * inverse[k]!) -
          2 * (re * one.mean[2 * k]! + im * one.mean[2 * k + 1]!) * inverse[k]!;
      }
      for (let b = 0; b <= a; b++) {
        const other = slopes[b]!;
        let sum = 0;
        for (let k = 0; k < n; k++)
          sum +=
            one.power[k]! * other.power[k]! +
            2 *
              inverse[k]! *
              (one.mean[2 * k]! * other.mean[2 * k]! + one.mean[2 * k + 1]! * other.mean[2 * k + 1]!);
        information.set(a, b, sum);
        information.set(b, a, sum);
      }
      const prior = this.priors[a];
      if (prior !== undefined) {
        score += (p[a]! - prior[0]) / prior[1] ** 2;
        information.set(a, a, information.get(a, a) + prior[1] ** -2);
      }
      gradient.set(a, 0, -score);
    }
    return { gradient, information };
  }

  /** Power of what is left over what is expected, bin by bin: exponentially distributed about 1. */
  excess(p: Float64Array): Float64Array {
    this.predict(p, this.power, this.mean);
    return this.power.map((v, k) => this.left(this.mean, k) * Math.exp(-v));
  }

  private left(mean: Float64Array, k: number): number {
    return (this.rate[2 * k]! - mean[2 * k]!) ** 2 + (this.rate[2 * k + 1]! - mean[2 * k + 1]!) ** 2;
  }

  private slope(p: Float64Array, j: number): { power: Float64Array; mean: Float64Array } {
    const power = new Float64Array(this.count);
    const mean = new Float64Array(2 * this.count);
    const step = 1e-4;
    const moved = Float64Array.from(p);
    moved[j] = moved[j]! + step;
    this.predict(moved, power, mean);
    for (let k = 0; k < power.length; k++) power[k] = (power[k]! - this.power[k]!) / step;
    for (let k = 0; k < mean.length; k++) mean[k] = (mean[k]! - this.mean[k]!) / step;
    return { power, mean };
  }

  /** Written out without complex numbers: it is evaluated tens of thousands of times. */
  private predict(p: Float64Array, power: Float64Array, mean: Float64Array): void {
    const lag = Math.exp(p[0]!);
    const delay = Math.exp(p[1]!);
    const damping = p[2]!;
    const moment = p[3]!;
    const gain = Math.exp(p[4]!);
    const corner = 2 * Math.PI * Math.exp(p[5]!);
    const order = p[6]!;
    const noise = 2 * Math.PI * Math.exp(p[7]!);
    const height = Math.exp(p[this.size - 1]!);
    const share = PRIOR.filterShare[0];
    // White noise of the rate is angular acceleration that grows with frequency.
    const level = (1 + (noise / corner) ** 2) ** -order / (noise * noise);
    for (let k = 0; k < this.count; k++) {
      const w = this.omega[k]!;
      const body = w + moment / w;
      // (1 + jω φ d)(1 + jω τ)(c + j(ω + i/ω))
      const a = 1 - w * share * delay * w * lag;
      const b = w * (share * delay + lag);
      const re = a * damping - b * body;
      const im = a * body + b * damping;
      const size = re * re + im * im;
      const late = -w * delay * (1 - share);
      const c = gain * Math.cos(late);
      const s = gain * Math.sin(late);
      const gRe = (c * re + s * im) / size;
      const gIm = (s * re - c * im) / size;
      const fRe = this.feedback[2 * k]!;
      const fIm = this.feedback[2 * k + 1]!;
      const lRe = 1 + gRe * fRe - gIm * fIm;
      const lIm = gRe * fIm + gIm * fRe;
      const turn = lRe * lRe + lIm * lIm;
      const aRe = gRe * this.drive[2 * k]! - gIm * this.drive[2 * k + 1]!;
      const aIm = gRe * this.drive[2 * k + 1]! + gIm * this.drive[2 * k]!;
      let mRe = (aRe * lRe + aIm * lIm) / turn;
      let mIm = (aIm * lRe - aRe * lIm) / turn;
      let missed = ANSWER_ERROR * ANSWER_ERROR * (mRe * mRe + mIm * mIm);
      // What others push, through the body and the loops: 1/((c + j(ω + i/ω))(1 + L)).
      const open = damping * damping + body * body;
      const bRe = (damping * lRe - body * lIm) / (open * turn);
      const bIm = -(damping * lIm + body * lRe) / (open * turn);
      for (let j = 0; j < this.moved.length; j++) {
        const share = p[PRIORS.length + j]!;
        const values = this.moved[j]!;
        const pushRe = share * (values[2 * k]! * bRe - values[2 * k + 1]! * bIm);
        const pushIm = share * (values[2 * k]! * bIm + values[2 * k + 1]! * bRe);
        mRe += pushRe;
        mIm += pushIm;
        missed += PUSH_ERROR * PUSH_ERROR * (pushRe * pushRe + pushIm * pushIm);
      }
      mean[2 * k] = mRe;
      mean[2 * k + 1] = mIm;
      const gust = (1 + (w / corner) ** 2) ** -order + level * w * w;
      power[k] = Math.log((height * gust) / (open * turn) + missed);
    }
  }
}
