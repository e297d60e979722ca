/**
 * Digital band-stop filters of second order in the two definitions in use. For the same Q they are not the same filter: the
 * bilinear transform squeezes the band of the one, and the other makes up for it.
 *
 * - `exact-width`: centre/Q is the width between the points at −3 dB, exactly, at every sample rate (S. J. Orfanidis,
 *   *Introduction to Signal Processing*, 1996; SciPy's `iirnotch`).
 * - `cookbook`: α = sin(ω0)/(2Q), Q that of the analogue filter behind it (R. Bristow-Johnson, *Audio EQ Cookbook*, W3C
 *   Working Group Note, 8 June 2021). Near Nyquist it is much narrower than centre/Q.
 *
 * Both with a finite depth, g = 10^(−depth/20) at the centre: H = (1 + gβ − 2cos ω0·z⁻¹ + (1 − gβ)z⁻²)/(1 + β − 2cos ω0·z⁻¹ +
 * (1 − β)z⁻²), β = α or tan(ω0/2Q) for full depth (the general form is Orfanidis' peaking filter).
 */
import type { Biquad } from './biquad.js';

export type NotchDefinition = 'exact-width' | 'cookbook';

export interface NotchDesign {
  readonly centreHz: number;
  /**
   * centre/Q. By `exact-width` the width between the points at −3 dB; of a notch shallower than 6.02 dB, between those at half
   * its depth in dB (both are the same at 6.02 dB).
   */
  readonly widthHz: number;
  /** Attenuation at the centre, dB, above 0; null: complete. */
  readonly depthDb: number | null;
  /** Default `exact-width`. */
  readonly definition?: NotchDefinition;
}

/** @throws RangeError unless 0 < centre < half the sample rate and width and depth are above 0 */
export function designNotch(design: NotchDesign, sampleRateHz: number): Biquad {
  requireDesign(design, sampleRateHz);
  const turn = (2 * Math.PI * design.centreHz) / sampleRateHz;
  return notchFrom(
    Math.cos(turn),
    (design.definition ?? 'exact-width') === 'exact-width'
      ? Math.tan((Math.PI * design.widthHz) / sampleRateHz) * widening(design.depthDb)
      : (Math.sin(turn) * design.widthHz) / (2 * design.centreHz),
    gainAtCentre(design.depthDb),
  );
}

/** @param beta damping of the poles, @param gain g at the centre */
export function notchFrom(cosine: number, beta: number, gain: number): Biquad {
  const a0 = 1 + beta;
  const b1 = (-2 * cosine) / a0;
  return { b0: (1 + gain * beta) / a0, b1, b2: (1 - gain * beta) / a0, a1: b1, a2: (1 - beta) / a0 };
}

export const gainAtCentre = (depthDb: number | null): number =>
  depthDb === null ? 0 : 10 ** (-depthDb / 20);

/** By what the poles of a notch of finite depth must be wider for its −3 dB width to stay: √((1 − G²)/(G² − g²)), G² = max(½, g). */
export function widening(depthDb: number | null): number {
  const g = gainAtCentre(depthDb);
  const square = Math.max(0.5, g);
  return Math.sqrt((1 - square) / (square - g * g));
}

/** The width to type in where the other definition is used, for the same filter to the last digit, Hz. */
export function widthInOtherDefinitionHz(design: NotchDesign, sampleRateHz: number): number {
  requireDesign(design, sampleRateHz);
  const { centreHz, widthHz, depthDb } = design;
  const sine = Math.sin((2 * Math.PI * centreHz) / sampleRateHz);
  return (design.definition ?? 'exact-width') === 'exact-width'
    ? (2 * centreHz * Math.tan((Math.PI * widthHz) / sampleRateHz) * widening(depthDb)) / sine
    : (Math.atan((sine * widthHz) / (2 * centreHz) / widening(depthDb)) * sampleRateHz) / Math.PI;
}

/** Q as the cookbook means it from a width in octaves: 1/Q = 2·sinh(ln 2/2 · BW · ω0/sin ω0). Same source. */
export function cookbookQFromOctaves(octaves: number, centreHz: number, sampleRateHz: number): number {
  const turn = (2 * Math.PI * centreHz) / sampleRateHz;
  return 1 / (2 * Math.sinh(((Math.LN2 / 2) * octaves * turn) / Math.sin(turn)));
}

function requireDesign({ centreHz, widthHz, depthDb }: NotchDesign, sampleRateHz: number): void {
  if (!(centreHz > 0 && centreHz < sampleRateHz / 2))
    throw new RangeError(`a notch needs a centre between 0 and ${sampleRateHz / 2} Hz, not ${centreHz}`);
  if (!(widthHz > 0 && widthHz < sampleRateHz / 2))
    throw new RangeError(`a notch needs a width between 0 and ${sampleRateHz / 2} Hz, not ${widthHz}`);
  if (depthDb !== null && !(depthDb > 0 && Number.isFinite(depthDb)))
    throw new RangeError(`a notch needs a depth above 0 dB, not ${depthDb}`);
}
