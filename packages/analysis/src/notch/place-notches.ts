/**
 * The filters that bring the ripple under its target on every axis at the least phase lag: phase lags of filters in a row add up and
 * the powers they leave multiply, so that a search over the candidates can leave out whole branches without missing the best.
 */
import type { AxisName } from '@settle/parser';
import type { LowPassCandidate, NotchCandidate } from './candidate-filters.js';
import type { RippleModel } from './demand-ripple.js';

export interface FilterSet {
  readonly notches: readonly NotchCandidate[];
  readonly lowPass: LowPassCandidate | null;
  readonly lagDeg: number;
  readonly powerGain: Float64Array;
}

export interface SearchInput {
  readonly model: RippleModel;
  readonly notches: readonly NotchCandidate[];
  readonly lowPasses: readonly LowPassCandidate[];
}

export const MOST_NOTCHES = 3;
/** Lag that another filter must save to be worth its trouble, as a share. */
const WORTH = 0.05;
/** Lag by which a later candidate must beat an earlier one (a simpler one comes earlier), as a share. */
const NOTABLY = 0.02;

/** @returns null when no set of up to three notches and a low-pass reaches the target */
export function leastLag(input: SearchInput, refuse?: (set: FilterSet) => boolean): FilterSet | null {
  const results: FilterSet[] = [];
  let best: FilterSet | null = null;
  for (let filters = 0; filters <= MOST_NOTCHES + 1; filters++) {
    const found = searchWith(input, filters, best?.lagDeg ?? Infinity, refuse);
    if (found === null) continue;
    results.push(found);
    best = found;
  }
  if (best === null) return null;
  const enough = best.lagDeg + WORTH * Math.abs(best.lagDeg);
  return results.find((set) => set.lagDeg <= enough) ?? best;
}

/** Sets of exactly so many filters whose lag is notably below a bound. */
function searchWith(
  input: SearchInput,
  filters: number,
  bound: number,
  refuse?: (set: FilterSet) => boolean,
): FilterSet | null {
  let best: FilterSet | null = null;
  const search = (lowPass: LowPassCandidate | null, notches: number): void => {
    for (const targets of subsets(targetsOf(input), notches)) {
      const limit = best === null ? bound : best.lagDeg - NOTABLY * Math.abs(best.lagDeg);
      if (lowPass !== null && notches === 0 && lowPass.lagDeg >= limit) continue;
      best = new TargetSearch(input, lowPass, targets, limit, refuse).best() ?? best;
    }
  };
  if (filters <= MOST_NOTCHES) search(null, filters);
  if (filters >= 1) for (const lowPass of input.lowPasses) search(lowPass, filters - 1);
  return best;
}

const targetsOf = (input: SearchInput): number[] => [...new Set(input.notches.map((each) => each.target))];

function subsets(all: readonly number[], size: number): number[][] {
  if (size === 0) return [[]];
  return all.flatMap((first, i) => subsets(all.slice(i + 1), size - 1).map((rest) => [first, ...rest]));
}

/** Parts that together make up less than this share of the allowed power are left as they are. */
const NEGLIGIBLE = 0.002;

/** One notch on each of a few targets: which of the candidates. */
class TargetSearch {
  readonly #input: SearchInput;
  readonly #lowPass: LowPassCandidate | null;
  readonly #refuse: ((set: FilterSet) => boolean) | undefined;
  /** By target, rising lag. */
  readonly #levels: NotchCandidate[][];
  /** Indices of the parts that matter, their axis, and the power each starts with. */
  readonly #parts: Int32Array;
  readonly #axisOf: Uint8Array;
  readonly #start: Float64Array;
  /** Power of the parts that do not matter, by axis. */
  readonly #rest: number[];
  readonly #allowed: number;
  /** Least left of each part by candidates up to the one of this index, for each target. */
  readonly #leastUpTo: Float64Array[][] = [];
  #limit: number;
  #best: FilterSet | null = null;

  constructor(
    input: SearchInput,
    lowPass: LowPassCandidate | null,
    targets: readonly number[],
    limit: number,
    refuse: ((set: FilterSet) => boolean) | undefined,
  ) {
    const { model } = input;
    this.#input = input;
    this.#lowPass = lowPass;
    this.#refuse = refuse;
    this.#limit = limit;
    this.#allowed = model.target ** 2 / 2;
    this.#levels = targets.map((t) =>
      input.notches.filter((each) => each.target === t).sort((a, b) => a.lagDeg - b.lagDeg),
    );
    const power = Float64Array.from(model.parts, (part, i) => part.power * (lowPass?.powerGain[i] ?? 1));
    const order = Array.from(power, (_, i) => i).sort((a, b) => power[a]! - power[b]!);
    this.#rest = model.axes.map(() => 0);
    let dropped = 0;
    let sum = 0;
    for (const i of order) {
      sum += power[i]!;
      if (sum > NEGLIGIBLE * this.#allowed) break;
      const axis = model.axes.indexOf(model.parts[i]!.axis);
      this.#rest[axis] = this.#rest[axis]! + power[i]!;
      dropped++;
    }
    // Largest first, so that a set that leaves too much is found out early.
    const kept = order.slice(dropped).reverse();
    this.#parts = Int32Array.from(kept);
    this.#axisOf = Uint8Array.from(kept, (i) => model.axes.indexOf(model.parts[i]!.axis));
    this.#start = Float64Array.from(kept, (i) => power[i]!);
  }

  best(): FilterSet | null {
    const { lagDeg } = this.#lowPass ?? { lagDeg: 0 };
    if (lagDeg + this.#leastLagFrom(0) >= this.#limit) return null;
    if (this.#levels.length === 0) {
      if (this.#meets(this.#start)) this.#take([], lagDeg);
      return this.#best;
    }
    // The widest and deepest of all show whether these targets can do it at all.
    for (const level of this.#levels) {
      const least: Float64Array[] = [];
      let last: Float64Array | null = null;
      for (const { powerGain } of level) {
        // A plain loop: this is half of the whole search.
        const own = new Float64Array(this.#parts.length);
        for (let i = 0; i < own.length; i++) {
          const gain = powerGain[this.#parts[i]!]!;
          own[i] = last === null || gain < last[i]! ? gain : last[i]!;
        }
        least.push(own);
        last = own;
      }
      this.#leastUpTo.push(least);
    }
    this.#next([], this.#start, lagDeg);
    return this.#best;
  }

  #leastLagFrom(level: number): number {
    let sum = 0;
    for (let l = level; l < this.#levels.length; l++) sum += this.#levels[l]![0]!.lagDeg;
    return sum;
  }

  #next(chosen: readonly NotchCandidate[], left: Float64Array, lagDeg: number): void {
    const level = chosen.length;
    if (!this.#reachable(level, left, lagDeg)) return;
    const isLast = level === this.#levels.length - 1;
    const after = this.#leastLagFrom(level + 1);
    for (const candidate of this.#levels[level]!) {
      // Sorted by lag: what follows lags more still.
      if (lagDeg + candidate.lagDeg + after >= this.#limit) break;
      if (conflicts(candidate, chosen)) continue;
      if (isLast) {
        if (this.#meetsWith(left, candidate.powerGain))
          this.#take([...chosen, candidate], lagDeg + candidate.lagDeg);
        continue;
      }
      const next = new Float64Array(left.length);
      for (let i = 0; i < left.length; i++) next[i] = left[i]! * candidate.powerGain[this.#parts[i]!]!;
      this.#next([...chosen, candidate], next, lagDeg + candidate.lagDeg);
    }
  }

  /** Whether the candidates that the lag still leaves could reach the target, each part with the one that suits it best. */
  #reachable(level: number, left: Float64Array, lagDeg: number): boolean {
    const all = this.#leastLagFrom(level);
    const least: Float64Array[] = [];
    for (let l = level; l < this.#levels.length; l++) {
      const candidates = this.#levels[l]!;
      const room = this.#limit - lagDeg - (all - candidates[0]!.lagDeg);
      const last = candidates.findLastIndex((each) => each.lagDeg < room);
      if (last < 0) return false;
      least.push(this.#leastUpTo[l]![last]!);
    }
    const sums = [...this.#rest];
    for (let i = 0; i < left.length; i++) {
      let power = left[i]!;
      for (const each of least) power *= each[i]!;
      if ((sums[this.#axisOf[i]!]! += power) > this.#allowed) return false;
    }
    return sums.every((sum) => sum <= this.#allowed);
  }

  #meetsWith(left: Float64Array, powerGain: Float64Array): boolean {
    const sums = [...this.#rest];
    for (let i = 0; i < left.length; i++)
      if ((sums[this.#axisOf[i]!]! += left[i]! * powerGain[this.#parts[i]!]!) > this.#allowed) return false;
    return sums.every((sum) => sum <= this.#allowed);
  }

  #meets(left: Float64Array): boolean {
    const sums = [...this.#rest];
    for (let i = 0; i < left.length; i++) sums[this.#axisOf[i]!]! += left[i]!;
    return sums.every((sum) => sum <= this.#allowed);
  }

  #take(notches: readonly NotchCandidate[], lagDeg: number): void {
    const set = filterSet(this.#input.model, notches, this.#lowPass, lagDeg);
    if (this.#refuse?.(set) === true) return;
    this.#best = set;
    this.#limit = lagDeg - NOTABLY * Math.abs(lagDeg);
  }
}

/** Two notches cannot take the place of the same existing one. */
function conflicts(candidate: NotchCandidate, chosen: readonly NotchCandidate[]): boolean {
  const { replaces } = candidate.setting;
  return replaces !== null && chosen.some((other) => other.setting.replaces === replaces);
}

export function filterSet(
  model: RippleModel,
  notches: readonly NotchCandidate[],
  lowPass: LowPassCandidate | null,
  lagDeg = notches.reduce((sum, each) => sum + each.lagDeg, lowPass?.lagDeg ?? 0),
): FilterSet {
  const powerGain = Float64Array.from(model.parts, (_, i) =>
    notches.reduce((product, each) => product * each.powerGain[i]!, lowPass?.powerGain[i] ?? 1),
  );
  return { notches, lowPass, lagDeg, powerGain };
}

/**
 * Where the target is out of reach: filter after filter the one that takes most out of the worst axis, for no more than so much lag.
 * Not the best of all sets, but each step is worth its lag.
 */
export function mostForLag(input: SearchInput, lagCapDeg: number): FilterSet {
  const { model } = input;
  let set = filterSet(model, [], null);
  for (let step = 0; step < MOST_NOTCHES; step++) {
    const now = worstPower(model, set.powerGain);
    let better: { set: FilterSet; value: number } | null = null;
    for (const candidate of input.notches) {
      if (set.notches.some((each) => each.target === candidate.target)) continue;
      if (conflicts(candidate, set.notches) || set.lagDeg + candidate.lagDeg > lagCapDeg) continue;
      const next = filterSet(model, [...set.notches, candidate], null);
      const gained = Math.log(now / worstPower(model, next.powerGain));
      // What the last bit of depth gains is not worth much lag.
      const value = gained - candidate.lagDeg / 20;
      if (value > 0.1 && (better === null || value > better.value)) better = { set: next, value };
    }
    if (better === null) break;
    set = better.set;
  }
  return set;
}

function worstPower(model: RippleModel, powerGain: Float64Array): number {
  const sums: Partial<Record<AxisName, number>> = {};
  model.parts.forEach((part, i) => {
    sums[part.axis] = (sums[part.axis] ?? 0) + part.power * powerGain[i]!;
  });
  return Math.max(1e-30, ...Object.values(sums));
}
