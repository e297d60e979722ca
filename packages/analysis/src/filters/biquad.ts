/**
 * Second-order sections, H(z) = (b0 + b1·z⁻¹ + b2·z⁻²) / (1 + a1·z⁻¹ + a2·z⁻²), and chains of them: response, lag and delay.
 * Frequencies in Hz, phases in degrees where they leave a function.
 */
import { argument, complex, divide, multiply, type Complex } from '../control/complex.js';

export interface Biquad {
  readonly b0: number;
  readonly b1: number;
  readonly b2: number;
  readonly a1: number;
  readonly a2: number;
}

/** Filters one after the other, all at one sample rate. */
export type FilterChain = readonly Biquad[];

/** H at e^(jω/fs); 1 in, 1 out for an empty chain. */
export function biquadResponse(filter: Biquad, frequencyHz: number, sampleRateHz: number): Complex {
  const turn = (2 * Math.PI * frequencyHz) / sampleRateHz;
  const [c1, s1, c2, s2] = [Math.cos(turn), Math.sin(turn), Math.cos(2 * turn), Math.sin(2 * turn)];
  return divide(
    complex(filter.b0 + filter.b1 * c1 + filter.b2 * c2, -filter.b1 * s1 - filter.b2 * s2),
    complex(1 + filter.a1 * c1 + filter.a2 * c2, -filter.a1 * s1 - filter.a2 * s2),
  );
}

export function chainResponse(chain: FilterChain, frequencyHz: number, sampleRateHz: number): Complex {
  return chain.reduce(
    (product, filter) => multiply(product, biquadResponse(filter, frequencyHz, sampleRateHz)),
    complex(1),
  );
}

/** |H|². */
export function biquadPowerGain(filter: Biquad, frequencyHz: number, sampleRateHz: number): number {
  const { re, im } = biquadResponse(filter, frequencyHz, sampleRateHz);
  return re * re + im * im;
}

export const chainPowerGain = (chain: FilterChain, frequencyHz: number, sampleRateHz: number): number =>
  chain.reduce((product, filter) => product * biquadPowerGain(filter, frequencyHz, sampleRateHz), 1);

/**
 * Phase lag of a chain, degrees, positive where the output is late: the sum over its filters, none of which turns the phase by
 * more than half a turn, so that no whole turns are lost.
 */
export function phaseLagDeg(chain: FilterChain, frequencyHz: number, sampleRateHz: number): number {
  return chain.reduce(
    (sum, filter) => sum - (argument(biquadResponse(filter, frequencyHz, sampleRateHz)) * 180) / Math.PI,
    0,
  );
}

/** Delay of slow signals, s: group delay at zero frequency, Σ n·b_n/Σ b_n − Σ n·a_n/Σ a_n samples. */
export function dcDelayS(chain: FilterChain, sampleRateHz: number): number {
  const samples = chain.reduce((sum, { b0, b1, b2, a1, a2 }) => {
    const late = (b1 + 2 * b2) / (b0 + b1 + b2);
    return sum + late - (a1 + 2 * a2) / (1 + a1 + a2);
  }, 0);
  return samples / sampleRateHz;
}

/**
 * The filter that turns the output of `there` into that of `wanted` without a detour over the raw signal: wanted/there.
 * Zeros that both have in the same place (a low-pass has two at Nyquist) cancel in the response, not in the coefficients, so
 * this is the right one only for pairs of which that is known not to matter: see {@link exchangeLowPass} for those.
 *
 * @throws RangeError where `there` takes a frequency out completely: nothing brings that back
 */
export function exchangeFilter(there: Biquad, wanted: Biquad): FilterChain {
  if (!(Math.abs(there.b2 / there.b0) < 1))
    throw new RangeError('a filter that takes a frequency out completely cannot be exchanged');
  const undo: Biquad = {
    b0: 1 / there.b0,
    b1: there.a1 / there.b0,
    b2: there.a2 / there.b0,
    a1: there.b1 / there.b0,
    a2: there.b2 / there.b0,
  };
  return [undo, wanted];
}

/** Largest pole radius below which a filter forgets; 0 without poles. */
export function poleRadius({ a1, a2 }: Biquad): number {
  const inside = a1 * a1 - 4 * a2;
  if (inside < 0) return Math.sqrt(a2);
  return Math.max(Math.abs(-a1 + Math.sqrt(inside)), Math.abs(-a1 - Math.sqrt(inside))) / 2;
}
