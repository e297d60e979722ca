import type { Interval } from '@settle/parser';

/** One stretch with power on: from leaving idle to reaching it again, and where it lifts and drops in between. */
export interface PoweredStretch extends Interval {
  readonly nearLiftS: number;
  readonly liftS: number;
  readonly dropS: number;
  /** The log begins or ends in flight. */
  readonly touchesStart: boolean;
  readonly touchesEnd: boolean;
}
