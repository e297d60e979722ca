/** Margins of both loops over the drawn plants: what the uncertainty of the plant makes of them. */
import { loopsOf, type AxisIdentification } from './identify.js';
import { marginsOf, type AxisLoops, type BothMargins } from './loop-model.js';

export interface DrawnLoops {
  readonly loops: AxisLoops;
  readonly margins: BothMargins;
}

const known = new WeakMap<AxisIdentification, readonly DrawnLoops[]>();

/** @returns one per drawn plant, worked out once; none where the controller is not known */
export function drawnMargins(id: AxisIdentification): readonly DrawnLoops[] {
  let drawn = known.get(id);
  if (drawn === undefined) {
    drawn = id.draws.flatMap((draw) => {
      const loops = loopsOf(id, draw);
      return loops === null ? [] : [{ loops, margins: marginsOf(loops) }];
    });
    known.set(id, drawn);
  }
  return drawn;
}
