/** What of one hover is kept to be drawn beside others: small, so that many hovers fit into one page. */
import { AXES, type AxisName } from '@settle/parser';
import { describeModel } from '../identification/describe-axis.js';
import type { FlightStudy } from '../study-flight.js';
import type { Unavailable } from '../unavailable.js';
import { stepPicture } from './loop-pictures.js';
import type { SpectrumPicture, StepPicture } from './picture-data.js';
import { spectrumPicture } from './spectrum-pictures.js';

export interface HoverPicture {
  readonly name: string;
  readonly axes: Readonly<
    Record<
      AxisName,
      { readonly spectrum: SpectrumPicture | Unavailable; readonly step: StepPicture | Unavailable }
    >
  >;
}

export function hoverPicture(study: FlightStudy, name: string): HoverPicture {
  const axes = AXES.map((axis) => {
    const one = study.axes.find((each) => each.axis === axis)!;
    const id = one.identification;
    const step: StepPicture | Unavailable =
      id === null
        ? { unavailable: 'the loop is not identified: the log has no body rates over a hover' }
        : stepPicture(id, describeModel(id, one.oscillations));
    return [axis, { spectrum: spectrumPicture(study, one), step }];
  });
  return { name, axes: Object.fromEntries(axes) as HoverPicture['axes'] };
}
