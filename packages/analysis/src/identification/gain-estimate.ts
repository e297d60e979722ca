/** The size of a plant's response at one frequency. */
export interface GainEstimate {
  /** rad/s. */
  readonly omega: number;
  /** ln |G(jω)|, G in rad/s per unit demand, and its standard deviation. */
  readonly lnGain: number;
  readonly lnGainStd: number;
  readonly from: 'weak-stick' | 'large-swing';
}
