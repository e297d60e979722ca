/** What is known to move an axis from outside, bin by bin, and what the controller makes of it. */
import type { AxisName, ChannelName } from '@settle/parser';
import { add, complex, divide, multiply, scale, type Complex } from '../control/complex.js';
import { controllerAt, type AxisController } from './controller.js';
import { bins, type AxisRecord } from './evidence.js';

/** What drives an axis from outside, on the clock of its record. */
export interface OutsideDrive {
  /** Attitude reference, moved by the stick alone, rad. */
  readonly reference: Float64Array;
  /** What a limit took away from the rate reference, rad/s; zero off the limit. */
  readonly lostReference: Float64Array;
  /** What the motors' stops took away from the demand. */
  readonly lostDemand: Float64Array;
}

export interface DrivenAxis {
  readonly omegas: readonly number[];
  /** Distance of the bins, Hz, and samples of the record behind them. */
  readonly df: number;
  readonly samples: number;
  readonly rate: readonly Complex[];
  /** Demand that the stick asks for, less what a limit of the reference took away. */
  readonly asked: readonly Complex[];
  /** What the motors' stops took away from the demand. */
  readonly lost: readonly Complex[];
  /** Demand of both loops per rate. */
  readonly feedback: readonly Complex[];
}

/** @param seconds of the record from its start; the whole without */
export function drivenAxis(
  record: AxisRecord,
  drive: OutsideDrive,
  controller: AxisController,
  { lowestHz, highestHz, seconds = Infinity }: { lowestHz: number; highestHz: number; seconds?: number },
): DrivenAxis {
  const n = Math.min(record.rate.length, Math.round(seconds / record.stepS));
  const df = 1 / (n * record.stepS);
  const first = Math.max(1, Math.ceil(lowestHz / df));
  const last = Math.min(Math.floor(highestHz / df), (n >> 1) - 1);
  const places = Array.from({ length: Math.max(0, last - first + 1) }, (_, i) => first + i);
  const cut = (values: Float64Array): Complex[] => {
    const all = bins(values.subarray(0, n));
    return places.map((k) => complex(all[2 * k]!, all[2 * k + 1]!));
  };
  const omegas = places.map((k) => 2 * Math.PI * k * df);
  const reference = cut(drive.reference);
  const lostReference = cut(drive.lostReference);
  const ka = controller.attitude ?? 0;
  const asked: Complex[] = [];
  const feedback: Complex[] = [];
  omegas.forEach((omega, i) => {
    const s = complex(0, omega);
    const c = controllerAt(controller, s);
    const forward = add(c, complex(controller.kff));
    asked.push(multiply(forward, add(scale(reference[i]!, ka), lostReference[i]!)));
    feedback.push(add(c, scale(divide(forward, s), ka)));
  });
  return { omegas, df, samples: n, rate: cut(record.rate), asked, lost: cut(drive.lostDemand), feedback };
}

/** A reference at its largest for this many samples has met a limit. */
const AT_LIMIT_SAMPLES = 3;
const AT_LIMIT = 0.999;
const NEAR_LIMIT = 0.97;

/**
 * The stick's reference, with what the controller's limits and the motors' stops took away on the way: these are measured, and
 * left out they would make the plant look weak.
 */
export function outsideDrive(
  axis: AxisName,
  reference: Float64Array,
  applied: Float64Array,
  controller: AxisController,
  onClock: (channel: ChannelName) => Float64Array | null,
): OutsideDrive | null {
  const rateReference = onClock(`rate.${axis}.reference`);
  const angle = onClock(`attitude.${axis}.measured`);
  const terms = (['proportional', 'integral', 'derivative'] as const).map((term) =>
    onClock(`rate.${axis}.${term}`),
  );
  const asked = onClock(`rate.${axis}.demand`);
  const ka = controller.attitude;
  if (rateReference === null || angle === null || ka === null) return null;
  const forward = onClock(`rate.${axis}.feedforward`);
  const sum = (i: number): number | null => {
    const [p, q, r] = terms;
    if (p === null || q === null || r === null) return asked === null ? null : asked[i]!;
    return p![i]! + q![i]! + r![i]! + (forward?.[i] ?? 0);
  };
  const largest = rateReference.reduce((most, v) => Math.max(most, Math.abs(v)), 0);
  const limited = rateReference.filter((v) => Math.abs(v) > AT_LIMIT * largest).length >= AT_LIMIT_SAMPLES;
  return {
    reference,
    lostReference: rateReference.map((v, i) =>
      limited && Math.abs(v) > NEAR_LIMIT * largest ? v - ka * (reference[i]! - angle[i]!) : 0,
    ),
    lostDemand: applied.map((v, i) => v - (sum(i) ?? v)),
  };
}
