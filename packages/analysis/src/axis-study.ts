import type { AxisName } from '@settle/parser';
import type { Oscillation } from './diagnosis.js';
import type { AxisSignals } from './oscillation/axis-signals.js';
import type { AxisLine } from './oscillation/find-axis.js';
import type { AxisIdentification } from './identification/identify.js';
import type { Folded } from './oscillation/folding.js';

/** Everything known of one axis before it is put into words. */
export interface AxisStudy {
  readonly axis: AxisName;
  readonly signals: AxisSignals;
  readonly oscillations: readonly Oscillation[];
  /** Plant, controller and loops; null where the log has no rates to identify anything from. */
  readonly identification: AxisIdentification | null;
  /** Lines of the rate that are no motion of the aircraft. */
  readonly folded: readonly { readonly line: AxisLine; readonly why: Folded }[];
}
