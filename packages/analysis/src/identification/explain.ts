/** Which loop an oscillation arises in, and which of its terms feeds it, from the identified loops. */
import { absolute, add, complex, multiply } from '../control/complex.js';
import type { Oscillation, Origin } from '../diagnosis.js';
import type { AxisIdentification } from './identify.js';
import { HIGHEST_LOOP_HZ } from './gather-evidence.js';
import { LOWEST_STRUCTURE_HZ, loopsOf } from './identify.js';
import { tune } from './gain-search.js';
import { rateLoopAt } from './loop-model.js';

export interface LoopOrigin {
  readonly origin: Origin;
  readonly confidence: number;
  readonly evidence: readonly string[];
}

export type GuiltyTerm = 'P' | 'I' | 'D' | 'all';

/** A rate loop whose own |1 + L| falls this low at the oscillation would ring without any attitude loop. */
const RATE_LOOP_RINGS = 0.5;
/** Judgement: a slow rotor looks the same. */
const TOO_FAST_SURE = 0.65;

/**
 * @returns null where the oscillation is not one the loops were read from, or the controller is not known
 */
export function explainOscillation(id: AxisIdentification, line: Oscillation): LoopOrigin | null {
  if (line.follows !== null) return null;
  const omega = 2 * Math.PI * line.frequencyHz;
  const own = id.evidence.equations.filter((e) => Math.abs(e.s.im / omega - 1) < 0.15);
  if (id.bendingHz.some((hz) => Math.abs(hz / line.frequencyHz - 1) < 0.15))
    return {
      origin: 'structure',
      confidence: 0.85,
      evidence: [
        `taken for a rigid aircraft’s, the rate at ${line.frequencyHz.toFixed(1)} Hz would need far more authority or far faster rotors than any such aircraft has: something bends there`,
      ],
    };
  if (line.frequencyHz > HIGHEST_LOOP_HZ)
    return {
      origin: 'structure',
      confidence: TOO_FAST_SURE,
      evidence: [
        `no loop through rotors that need their time to change speed swings as fast as ${line.frequencyHz.toFixed(1)} Hz: something bends, or a slow rotor is out of balance`,
      ],
    };
  if (id.plant === null || id.controller === null || id.margins?.rate == null) return null;
  const loops = loopsOf(id, id.plant);
  if (loops === null) return null;
  const s = own[0]?.s ?? complex(0, omega);
  const distance = absolute(add(complex(1), rateLoopAt(loops, s)));
  const { rate } = id.margins;
  if (own.length === 0 && line.frequencyHz > LOWEST_STRUCTURE_HZ && distance > RATE_LOOP_RINGS)
    return {
      origin: 'structure',
      confidence: 0.75,
      evidence: [
        `the rigid aircraft’s loops, identified from slower motion, keep ${distance.toFixed(2)} from −1 at ${line.frequencyHz.toFixed(1)} Hz: what rings there is not one of them`,
      ],
    };
  const apart = Math.abs(Math.log(distance / RATE_LOOP_RINGS));
  const margin =
    rate.gainMarginDb === null
      ? ''
      : ` (its gain margin is ${rate.gainMarginDb.toFixed(1)} dB with the attitude loop open)`;
  if (!rate.stable || distance < RATE_LOOP_RINGS)
    return {
      origin: 'rate-loop',
      confidence: sureness('rate-loop', apart),
      evidence: [
        rate.stable
          ? `the rate loop by itself comes within ${distance.toFixed(2)} of −1 at this frequency${margin}`
          : `the rate loop by itself is unstable${margin}`,
      ],
    };
  return {
    origin: 'attitude-loop',
    confidence: sureness('attitude-loop', apart),
    evidence: [
      `the rate loop by itself keeps ${distance.toFixed(2)} from −1 at this frequency${margin}: it follows, and the attitude loop around it rings`,
    ],
  };
}

/**
 * How often such an answer is right, by how far the rate loop's distance from −1 is from the limit, as a logarithm: 56 of 56
 * rate loops and 31 of 34 attitude loops (19 of 22 near the limit, 12 of 12 beyond) on development seeds 200 to 221. A
 * swing that somebody or something asks for looks like the attitude loop's, hence the difference.
 */
function sureness(origin: 'rate-loop' | 'attitude-loop', apart: number): number {
  return origin === 'rate-loop' ? Math.min(0.97, 0.92 + 0.06 * apart) : Math.min(0.95, 0.78 + 0.3 * apart);
}

/** A term this much above its share of a balanced controller is the one to blame. */
const BLAMED = 1.9;

/**
 * The term that spoils a rate loop: the one that stands furthest above what the identified plant calls for, if it stands well
 * above the others; else all of them.
 */
export function guiltyTerm(id: AxisIdentification): { term: GuiltyTerm; evidence: string } | null {
  if (id.plant === null || id.controller === null) return null;
  const tuned = tune(id, id.plant);
  if (tuned === null) return null;
  const excess = { P: 1 / tuned.factors.P, I: 1 / tuned.factors.I, D: 1 / tuned.factors.D };
  const { kp, ki, kd } = id.controller;
  const loops = loopsOf(id, id.plant);
  const crossover = id.margins?.rate?.phaseCrossoverHz ?? id.margins?.rate?.crossoverHz ?? null;
  if (loops === null || crossover === null || crossover <= 0) return null;
  const w = 2 * Math.PI * crossover;
  const low = id.controller.derivativeLowPassHz;
  const d = (kd * w) / (low === null ? 1 : Math.hypot(1, w / (2 * Math.PI * low)));
  const sizes = { P: kp, I: ki / w, D: d };
  const total = absolute(multiply(complex(1), complex(sizes.P, sizes.D - sizes.I)));
  const shares = (['P', 'I', 'D'] as const).map(
    (term) => `${term} ${((100 * sizes[term]) / total).toFixed(0)} %`,
  );
  const ranked = (['P', 'I', 'D'] as const)
    .filter((term) => (term === 'I' ? ki > 0 : term === 'D' ? kd > 0 : true))
    .sort((a, b) => excess[b] - excess[a]);
  const first = ranked[0]!;
  const second = ranked[1];
  const evidence = `at ${crossover.toFixed(1)} Hz the controller’s output is ${shares.join(', ')}; a balanced one for this plant has ${(['P', 'I', 'D'] as const).map((t) => `${t} × ${tuned.factors[t].toFixed(2)}`).join(', ')}`;
  const stands = second === undefined || excess[first] > BLAMED * excess[second];
  return { term: stands ? first : 'all', evidence };
}
