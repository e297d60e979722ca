/** Pairs of simulated hovers whose truth is known: tunes that got better or worse, and the same tune on another day. */
import { AXES, type AxisName } from '@settle/parser';
import {
  isUpset,
  judgeAxis,
  makeStream,
  planTrialFlight,
  scaleGain,
  simulateFlight,
  trialAircraft,
  type FlightConfig,
  type Random,
  type SimulatedFlight,
  type TrialAircraft,
} from '@settle/simulator';

/**
 * - `improvement`, `worsening`: one loop loses 3 to 7 dB of margin (or gains as much)
 * - `calmer`, `windier`, `pilot`: the same gains
 * - `effectiveness`: the same gains, all effectivenesses 15 % less or more, and nobody said so
 */
export const PAIR_KINDS = [
  'improvement',
  'worsening',
  'calmer',
  'windier',
  'pilot',
  'effectiveness',
] as const;
export type PairKind = (typeof PAIR_KINDS)[number];

export interface FlownPair {
  readonly kind: PairKind;
  readonly seed: number;
  readonly hovers: readonly [SimulatedFlight, SimulatedFlight];
  /** What was changed on purpose. */
  readonly told: string;
}

const aircraftOf = new Map<number, TrialAircraft>();

function aircraft(seed: number): TrialAircraft {
  let found = aircraftOf.get(seed);
  if (found === undefined) {
    found = trialAircraft(seed);
    aircraftOf.clear();
    aircraftOf.set(seed, found);
  }
  return found;
}

/** The first hover of the pairs that keep their gains is one and the same. */
let firstHover: { seed: number; sim: SimulatedFlight } | null = null;

function flyGood(good: FlightConfig, seed: number): SimulatedFlight {
  if (firstHover?.seed !== seed) firstHover = { seed, sim: fly(good, 2 * seed) };
  return firstHover.sim;
}

export function flyPair(kind: PairKind, seed: number): FlownPair {
  const random = makeStream(seed, `compared pair ${kind}`);
  const { good } = aircraft(seed);
  switch (kind) {
    case 'improvement':
    case 'worsening': {
      const { config, told } = spoil(good, random);
      const pair = [fly(config, 2 * seed), fly(good, 2 * seed + 1)] as const;
      return kind === 'improvement'
        ? { kind, seed, hovers: pair, told }
        : { kind, seed, hovers: [pair[1], pair[0]], told };
    }
    case 'calmer':
    case 'windier': {
      const factor = kind === 'calmer' ? random.between(0.3, 0.65) : random.between(1.5, 2.5);
      const other = structuredClone(good);
      for (const axis of AXES) other.wind.gustRadS2[axis] *= factor;
      other.wind.pushMS2 *= factor;
      other.wind.gustHz *= random.logBetween(0.7, 1.4);
      return {
        kind,
        seed,
        hovers: [flyGood(good, seed), fly(other, 2 * seed + 1)],
        told: `wind × ${factor.toFixed(2)}`,
      };
    }
    case 'pilot': {
      const other = structuredClone(good);
      other.pilot.corrections = random.between(0, 0.08);
      other.pilot.correctionsHz = random.between(0.2, 0.9);
      const size = random.logBetween(0.4, 1.6);
      const every = random.pick([1, 1, 2, 3]);
      const second = fly(other, 2 * seed + 1, (plan) => {
        plan.pilot.doublets = plan.pilot.doublets
          .filter((_, i) => i % every === 0)
          .map((d) => ({ ...d, size: Math.min(0.8, d.size * size) }));
      });
      return {
        kind,
        seed,
        hovers: [flyGood(good, seed), second],
        told: `sticks × ${size.toFixed(2)}, one in ${String(every)}`,
      };
    }
    case 'effectiveness': {
      const factor = random.chance(0.5) ? 0.85 : 1.15;
      const other = structuredClone(good);
      for (const axis of AXES) other.airframe.effectiveness[axis] *= factor;
      return {
        kind,
        seed,
        hovers: [flyGood(good, seed), fly(other, 2 * seed + 1)],
        told: `effectiveness × ${String(factor)}`,
      };
    }
  }
}

/** One hover with sticks, or a short hop where a loop is unstable. */
export function fly(
  config: FlightConfig,
  seed: number,
  change?: (plan: FlightConfig) => void,
): SimulatedFlight {
  const precarious = AXES.some((axis) => {
    const { rate, attitude } = judgeAxis(config, axis, NO_BEST);
    return !rate.margins.stable || !attitude.margins.stable;
  });
  const { config: plan } = planTrialFlight(config, precarious, seed);
  change?.(plan);
  return simulateFlight(plan, seed);
}

/** Only stability is asked for. */
const NO_BEST = { rateCrossoverHz: 1, attitudeCrossoverHz: 1 };

/** One loop too tight by 3 to 7 dB of its wanted margin. */
function spoil(good: FlightConfig, random: Random): { config: FlightConfig; told: string } {
  for (;;) {
    const axis = random.pick(AXES);
    const term = random.pick(['rate', 'rate', 'P', 'D', 'attitude'] as const);
    const lossDb = random.between(3.2, 7);
    const loop = term === 'attitude' ? 'attitude' : 'rate';
    const before = clippedDb(good, axis, loop);
    for (let factor = 1.1; factor < 6; factor *= 1.06) {
      const config = scaleGain(good, axis, term, factor);
      if (before - clippedDb(config, axis, loop) < lossDb) continue;
      const sim = fly(config, 1);
      // A hop too short, or one that tips over, is no hover to compare.
      if (
        sim.truth.airborne === null ||
        sim.truth.airborne.endS - sim.truth.airborne.startS < 8 ||
        isUpset(sim.truth)
      )
        break;
      return { config, told: `${axis} ${term} × ${factor.toFixed(2)}` };
    }
  }
}

/** Gain margin, as far as it is wanted. */
function clippedDb(config: FlightConfig, axis: AxisName, loop: 'rate' | 'attitude'): number {
  const { margins } = judgeAxis(config, axis, NO_BEST)[loop];
  return Math.min(8, margins.gainMarginDb ?? 99);
}
