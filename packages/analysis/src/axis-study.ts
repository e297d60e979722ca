import type { AxisName } from '@settle/parser';
import type { Oscillation } from './diagnosis.js';
import type { AxisSignals } from './oscillation/axis-signals.js';
import type { AxisLine } from './oscillation/find-axis.js';
import type { Folded } from './oscillation/folding.js';

/** Everything known of one axis before it is put into words. */
export interface AxisStudy {
  readonly axis: AxisName;
  readonly signals: AxisSignals;
  readonly oscillations: readonly Oscillation[];
  /** Lines of the rate that are no motion of the aircraft. */
  readonly folded: readonly { readonly line: AxisLine; readonly why: Folded }[];
}
