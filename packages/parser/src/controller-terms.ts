import type { Conversion, RawSignal } from './log-data.js';

const TERM = /^rate\.(\w+)\.(?:proportional|integral|derivative|feedforward)$/;
/** Share of the demand's RMS that its terms may leave unexplained: filters and limits between them and the demand. */
const UNEXPLAINED = 0.3;
/** Below this share of its peak a demand is not at its limit, where it no longer follows its terms. */
const BELOW_LIMIT = 0.98;
const LEAST_SAMPLES = 30;

/**
 * Unit of a controller term whose values go beyond full authority, which a term may do while the limited demand may
 * not: if the terms of the axis add up to its demand, they are in its unit.
 *
 * @param demandUnits conversions of the demands decided so far
 * @returns null if the signal is no term, or its axis' terms do not add up to the demand
 */
export function unitOfTerm(
  signal: RawSignal,
  signals: readonly RawSignal[],
  demandUnit: (demand: RawSignal) => Conversion | null,
): Conversion | null {
  const axis = TERM.exec(signal.channel)?.[1];
  if (axis === undefined || signal.stated || signal.entry?.range) return null;
  const demand = signals.find(
    (other) => other.channel === `rate.${axis}.demand` && other.track === signal.track,
  );
  const terms = signals.filter(
    (other) => TERM.exec(other.channel)?.[1] === axis && other.track === signal.track,
  );
  const conversion = demand ? demandUnit(demand) : null;
  if (!demand || !conversion || conversion.offset !== 0) return null;
  const unexplained = shareUnexplained(
    demand.values,
    terms.map((term) => term.values),
  );
  if (!(unexplained < UNEXPLAINED)) return null;
  const rest = (100 * unexplained).toFixed(0);
  return {
    ...conversion,
    why: `adds up with the other terms to "${demand.column.label}" (all but ${rest} %)`,
  };
}

function shareUnexplained(demand: Float64Array, terms: readonly Float64Array[]): number {
  let peak = 0;
  for (const value of demand) if (Math.abs(value) > peak) peak = Math.abs(value);
  let [n, rest, all] = [0, 0, 0];
  for (let i = 0; i < demand.length; i++) {
    const sum = terms.reduce((total, term) => total + term[i]!, 0);
    if (!(Math.abs(demand[i]!) < BELOW_LIMIT * peak) || !(sum - sum === 0)) continue;
    n++;
    rest += (demand[i]! - sum) ** 2;
    all += demand[i]! ** 2;
  }
  return n < LEAST_SAMPLES || all === 0 ? NaN : Math.sqrt(rest / all);
}
