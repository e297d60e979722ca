/** What is known before any log: means and standard deviations. Common practice, no source. */
export const PRIOR = {
  /** Of ln τ: 30 to 100 ms for most rotors of 5 to 20 inches. */
  lnLag: [Math.log(0.055), 0.5],
  /** Of ln d: a controller step, the bus, the gyro's filter. */
  lnDelay: [Math.log(0.014), 0.4],
  /** Of φ: low-pass filters of first and second order, and plain delays. */
  filterShare: [0.4, 0.25],
  /** Of ln K: anything from 1 to 10 000 rad/s², so that an axis without evidence stays finite. */
  lnEffectiveness: [Math.log(80), 3],
  damping: [0.6, 0.5],
  instability: [0, 1.2],
} as const;

/** Mean and standard deviation. */
export type Known = readonly [number, number];

/** What is known of an aircraft's rotors and filters, and of each axis' effectiveness, before a fit. */
export interface FitPriors {
  readonly lnLag: Known;
  readonly lnDelay: Known;
  readonly filterShare: Known;
  /** Of the axes fitted together, in their order; an axis without one: {@link PRIOR}. */
  readonly lnEffectiveness: readonly Known[];
  /** Of ln K of the second axis fitted together less that of the first; null: nothing. */
  readonly lnRatio: Known | null;
}

export const NOTHING_KNOWN: FitPriors = { ...PRIOR, lnEffectiveness: [], lnRatio: null };
