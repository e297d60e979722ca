import type { AxisName } from '@settle/parser';
import { add, complex, magnitude, scale, type Complex } from './complex.js';
import type { FlightConfig, RateGains } from './config.js';
import { axisLoop, isStable, makeResponses, type AxisLoop } from './linear-loop.js';
import { frequencyGrid, type MarginTruth } from './margins.js';
import { axisMargins } from './truth.js';
import { largestGain, STIFFEST_YAW_PER_S } from './tune.js';

export type LoopName = 'rate' | 'attitude';

/** What is asked of a loop: headline of MIL-F-9490D as quoted in secondary sources. */
const REQUIRED_GAIN_MARGIN_DB = 6;
const REQUIRED_PHASE_MARGIN_DEG = 45;
/** What the best loop is tuned to: the requirement and a little in hand. */
const BEST = { gainMarginDb: 8, phaseMarginDeg: 50 };
/** Of the best crossover: a good rate loop has at least this, one under `LOOSE_SHARE` is loose. */
const GOOD_SHARE = 0.45;
const LOOSE_SHARE = 0.25;
/** A loop that was safe must not come under this. */
const DANGER_GAIN_MARGIN_DB = 3;

const TAU = 2 * Math.PI;
const PER_DECADE = 60;

/** The fastest loops of an axis that keep 8 dB and 50°, whatever gains it flies with. */
export interface BestLoop {
  readonly rateCrossoverHz: number;
  /** Around that rate loop; on yaw no more than its authority is good for. */
  readonly attitudeCrossoverHz: number;
}

/** One loop by the linear truth, at nominal battery voltage. */
export interface LoopQuality {
  readonly margins: MarginTruth;
  /** Highest gain crossing of the rigid aircraft (the flexible mode left out); null: the gain is below 1 throughout. */
  readonly crossoverHz: number | null;
  /** That over the best; 0 where there is none. */
  readonly crossoverShare: number;
  /** Stable with at least 6 dB and 45°. */
  readonly safe: boolean;
}

export interface AxisQuality {
  readonly best: BestLoop;
  readonly rate: LoopQuality;
  readonly attitude: LoopQuality;
  /** Both loops safe, and the rate loop at least 0.45 of the best. */
  readonly good: boolean;
  /** A loop unstable, or the rate loop under 0.25 of the best: not an axis to excite with the sticks. */
  readonly precarious: boolean;
}

/**
 * Judges both loops of an axis by the linear truth: filters and flexible mode included, and the effects nobody was told
 * of as far as they are linear (slope of the thrust curve, weak rotor, hidden low-pass).
 *
 * @param best of this axis, where it is known already
 * @throws RangeError if no gains at all give the axis 8 dB and 50°
 */
export function judgeAxis(config: FlightConfig, axis: AxisName, best = bestLoop(config, axis)): AxisQuality {
  const loop = axisLoop(config, axis);
  const margins = axisMargins(loop);
  const responses = makeResponses({ ...loop, flexibleMode: null });
  const grid = rigidGrid(loop);
  const values = grid.map((omega) => responses(unit(omega * loop.stepS)));
  const quality = (name: LoopName, bestHz: number): LoopQuality => {
    const crossoverHz = highestCrossoverHz(
      grid,
      values.map((value) => value[name]),
    );
    const m = margins[name];
    return {
      margins: m,
      crossoverHz,
      crossoverShare: (crossoverHz ?? 0) / bestHz,
      safe:
        m.stable &&
        (m.gainMarginDb ?? Infinity) >= REQUIRED_GAIN_MARGIN_DB &&
        (m.phaseMarginDeg ?? Infinity) >= REQUIRED_PHASE_MARGIN_DEG,
    };
  };
  const rate = quality('rate', best.rateCrossoverHz);
  const attitude = quality('attitude', best.attitudeCrossoverHz);
  return {
    best,
    rate,
    attitude,
    good: rate.safe && attitude.safe && rate.crossoverShare >= GOOD_SHARE,
    precarious: !rate.margins.stable || !attitude.margins.stable || rate.crossoverShare < LOOSE_SHARE,
  };
}

/**
 * The highest crossovers that allow 8 dB and 50°: of all parallel PID controllers with the aircraft's own filters, a
 * derivative time of 0 to 1.2 rotor lags and integral times from short to so long that they hardly matter. Its
 * grids make it a little too low, by 5 % at most for a rigid aircraft.
 *
 * @throws RangeError if there is none
 */
export function bestLoop(config: FlightConfig, axis: AxisName): BestLoop {
  const loop = axisLoop(config, axis);
  // The response of a PID is the sum of its terms' responses: the plant is solved for three times, not per candidate.
  const resonances = loop.flexibleMode === null ? [] : [TAU * loop.flexibleMode.frequencyHz];
  const grid = frequencyGrid(TAU * 0.05, (0.999 * Math.PI) / loop.stepS, PER_DECADE, resonances);
  const whole = termResponses(loop, grid);
  const rigidOmegas = rigidGrid(loop);
  const rigid = termResponses({ ...loop, flexibleMode: null }, rigidOmegas);
  const slowness = loop.lagS + loop.delayS + loop.stepS / 2 + 0.01;
  let best: { crossoverHz: number; gains: RateGains } | null = null;
  for (let tenths = 0; tenths <= 12; tenths++) {
    for (const integralOverSlowness of [4, 8, 16, 32]) {
      const form: RateGains = {
        kp: 1 / loop.effectiveness,
        ki: 1 / loop.effectiveness / (integralOverSlowness * slowness),
        kd: ((tenths / 10) * loop.lagS) / loop.effectiveness,
        kff: 0,
      };
      const factor = largestGain(sumTerms(whole, form), BEST);
      if (factor === null) continue;
      const gains = { kp: factor * form.kp, ki: factor * form.ki, kd: factor * form.kd, kff: 0 };
      const crossoverHz = highestCrossoverHz(rigidOmegas, sumTerms(rigid, gains));
      if (crossoverHz === null || crossoverHz <= (best?.crossoverHz ?? 0)) continue;
      // The ladder knows the curve, not the encirclements.
      if (isStable({ ...loop, rate: gains }, { rateFactor: 1, attitudeFactor: 0, position: false })) {
        best = { crossoverHz, gains };
      }
    }
  }
  if (best === null) throw new RangeError(`no gains give ${axis} 8 dB and 50°`);
  const around = { ...loop, rate: best.gains, attitude: 1 };
  const responses = makeResponses(around);
  const attitude = largestGain(
    grid.map((omega) => responses(unit(omega * loop.stepS)).attitude),
    BEST,
  );
  if (attitude === null) throw new RangeError(`no attitude gain gives ${axis} 8 dB and 50°`);
  const perS = axis === 'yaw' ? Math.min(attitude, STIFFEST_YAW_PER_S) : attitude;
  const rigidLoop = makeResponses({ ...around, attitude: perS, flexibleMode: null });
  const attitudeCrossoverHz = highestCrossoverHz(
    rigidOmegas,
    rigidOmegas.map((omega) => rigidLoop(unit(omega * loop.stepS)).attitude),
  );
  if (attitudeCrossoverHz === null) throw new RangeError(`no attitude crossover on ${axis}`);
  return { rateCrossoverHz: best.crossoverHz, attitudeCrossoverHz };
}

/** A loop that was safe and is not any more by far. */
export interface UnsafeChange {
  readonly axis: AxisName;
  readonly loop: LoopName;
  readonly became: 'unstable' | 'under 3 dB' | 'loose';
}

/** Loops of an axis that were safe and came under 3 dB, or under 0.25 of the best crossover. */
export function unsafeChanges(axis: AxisName, before: AxisQuality, after: AxisQuality): UnsafeChange[] {
  const found: UnsafeChange[] = [];
  for (const loop of ['rate', 'attitude'] as const) {
    const old = before[loop];
    const { margins, crossoverShare } = after[loop];
    if (!old.safe) continue;
    if (!margins.stable) found.push({ axis, loop, became: 'unstable' });
    else if ((margins.gainMarginDb ?? Infinity) < DANGER_GAIN_MARGIN_DB) {
      found.push({ axis, loop, became: 'under 3 dB' });
    } else if (crossoverShare < LOOSE_SHARE && old.crossoverShare >= LOOSE_SHARE) {
      found.push({ axis, loop, became: 'loose' });
    }
  }
  return found;
}

const unit = (phase: number): Complex => complex(Math.cos(phase), Math.sin(phase));

/** From far below any crossover of interest to half the loop rate, rad/s. */
function rigidGrid(loop: AxisLoop): number[] {
  return frequencyGrid(TAU * 0.02, (0.999 * Math.PI) / loop.stepS, PER_DECADE);
}

interface TermResponses {
  readonly proportional: readonly Complex[];
  readonly integral: readonly Complex[];
  readonly derivative: readonly Complex[];
}

/** The rate loop with each term alone at a gain of one. */
function termResponses(loop: AxisLoop, grid: readonly number[]): TermResponses {
  const alone = (rate: Partial<RateGains>): Complex[] => {
    const responses = makeResponses({ ...loop, rate: { kp: 0, ki: 0, kd: 0, kff: 0, ...rate } });
    return grid.map((omega) => responses(unit(omega * loop.stepS)).rate);
  };
  return { proportional: alone({ kp: 1 }), integral: alone({ ki: 1 }), derivative: alone({ kd: 1 }) };
}

function sumTerms(terms: TermResponses, gains: RateGains): Complex[] {
  return terms.proportional.map((value, i) =>
    add(
      scale(value, gains.kp),
      add(scale(terms.integral[i]!, gains.ki), scale(terms.derivative[i]!, gains.kd)),
    ),
  );
}

/** Highest frequency at which the size falls through 1, between grid points on logarithmic scales. */
function highestCrossoverHz(grid: readonly number[], values: readonly Complex[]): number | null {
  for (let i = values.length - 2; i >= 0; i--) {
    const low = magnitude(values[i]!);
    const high = magnitude(values[i + 1]!);
    if (low < 1 || high >= 1) continue;
    const share = Math.log(low) / Math.log(low / high);
    return (grid[i]! * (grid[i + 1]! / grid[i]!) ** share) / TAU;
  }
  return null;
}
