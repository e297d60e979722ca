import { quantityOf } from './channel-names.js';
import type { Quantity } from './channel-names.js';
import type { Conversion, RawSignal } from './log-data.js';

/** Why a column of minor weight cannot be brought to its unit. */
export interface Unclear {
  readonly unclear: string;
}

/** Pulse widths of servo signals in µs (common practice, no source): 1000 lowest, 1500 centre, 2000 highest. */
const PULSE = { low: 1000, high: 2000, least: 750, most: 2250 };

/**
 * Decides how motors, sticks, throttle, demand, rotor speed, height and battery become the flight model's units:
 * by map, by stated unit, else by their range of values where that leaves one reading.
 */
export function decideShareUnit(signal: RawSignal): Conversion | Unclear {
  const quantity = quantityOf(signal.channel);
  const range = rangeOf(signal.values, signal.entry?.scale ?? 1);
  if (!range) return { unclear: 'it holds no numbers' };
  const found = signal.entry?.range
    ? fromRange(signal.entry.range, quantity)
    : signal.stated
      ? fromStated(signal, quantity, range)
      : fromValues(quantity, range);
  if ('unclear' in found) return found;
  return { ...found, scale: found.scale * (signal.entry?.scale ?? 1) };
}

interface Range {
  readonly low: number;
  readonly high: number;
  readonly median: number;
}

function rangeOf(values: Float64Array, scale: number): Range | null {
  const finite = values.filter((value) => value - value === 0).sort();
  if (finite.length === 0) return null;
  return {
    low: finite[0]! * scale,
    high: finite.at(-1)! * scale,
    median: finite[finite.length >> 1]! * scale,
  };
}

function isSigned(quantity: Quantity): boolean {
  return quantity === 'stick' || quantity === 'demand';
}

/** A range names the logged values of 0 and 1, or of −1 and 1 for a signed channel. */
function fromRange([low, high]: readonly [number, number], quantity: Quantity): Conversion {
  const span = isSigned(quantity) ? 2 : 1;
  const scale = span / (high - low);
  const offset = (isSigned(quantity) ? -1 : 0) - low * scale;
  return {
    unit: `${String(low)}…${String(high)}`,
    scale,
    offset,
    why: `range ${String(low)} to ${String(high)} given`,
  };
}

function fromStated(signal: RawSignal, quantity: Quantity, range: Range): Conversion | Unclear {
  const { unit, from } = signal.stated!;
  if (unit.dimension === 'time') {
    if (unit.name !== 'us') return { unclear: `a pulse width in ${unit.name}` };
    return { ...pulse(quantity), why: from };
  }
  // Rotor speed in rad/s: one revolution is 2π.
  const scale = unit.dimension === 'angular-rate' ? unit.scale / (2 * Math.PI) : unit.scale;
  if (unit.dimension === 'ratio' && signal.stated!.by === 'log' && !isShare(quantity, range, scale))
    return {
      unclear: `stated as ${unit.name}, but values reach ${Math.max(range.high, -range.low).toPrecision(3)}`,
    };
  return { unit: unit.name, scale, offset: 0, why: from };
}

function isShare(quantity: Quantity, range: Range, scale: number): boolean {
  const most = quantity === 'demand' ? 4 : 1.1;
  return range.high * scale <= most && range.low * scale >= (isSigned(quantity) ? -most : -0.1);
}

function pulse(quantity: Quantity): Conversion {
  return { ...fromRange([PULSE.low, PULSE.high], quantity), unit: 'us', why: 'pulse widths in µs' };
}

function fromValues(quantity: Quantity, range: Range): Conversion | Unclear {
  const { low, high, median } = range;
  const peak = Math.max(high, -low);
  const values = `values from ${low.toPrecision(3)} to ${high.toPrecision(3)}`;
  const unclear: Unclear = { unclear: `its unit is not stated and ${values} fit more than one` };
  switch (quantity) {
    case 'share':
      if (low >= -0.001 && high <= 1.001)
        return { unit: '1', scale: 1, offset: 0, why: `${values}: a share` };
      if (isPulse(range)) return pulse(quantity);
      if (low >= -0.1 && high > 5 && high <= 100.5)
        return { unit: '%', scale: 0.01, offset: 0, why: `${values}: per cent` };
      return unclear;
    case 'stick':
      if (low < -0.001 && peak <= 1.001) return { unit: '1', scale: 1, offset: 0, why: `${values}: −1 to 1` };
      if (low >= -0.001 && high <= 1.001 && median > 0.4 && median < 0.6)
        return { unit: '0…1', scale: 2, offset: -1, why: `${values} about 0.5: 0 to 1` };
      if (isPulse(range)) return pulse(quantity);
      if (low < -5 && peak <= 100.5) return { unit: '%', scale: 0.01, offset: 0, why: `${values}: per cent` };
      return peak === 0 ? { unit: '1', scale: 1, offset: 0, why: 'always 0' } : unclear;
    case 'demand':
      return peak <= 1.001
        ? { unit: '1', scale: 1, offset: 0, why: `${values}: share of full authority` }
        : unclear;
    case 'rotor-speed':
      if (peak === 0) return unclear;
      // Lift rotors turn at 10 to 500 revolutions per second (common practice, no source).
      if (high > 3200)
        return { unit: 'rpm', scale: 1 / 60, offset: 0, why: `${values}: only rpm is a rotor speed` };
      if (high < 60 && high > 8)
        return { unit: 'rev/s', scale: 1, offset: 0, why: `${values}: only rev/s is a rotor speed` };
      return unclear;
    case 'voltage':
      if (median >= 2.5 && high <= 120)
        return { unit: 'V', scale: 1, offset: 0, why: `${values}: only V is a battery` };
      if (median >= 2500 && high <= 120_000)
        return { unit: 'mV', scale: 1e-3, offset: 0, why: `${values}: only mV is a battery` };
      return unclear;
    case 'current':
      if (low > -50 && high <= 400 && high > 0.5)
        return { unit: 'A', scale: 1, offset: 0, why: `${values}: A` };
      return unclear;
    default:
      return { unclear: 'its unit is not stated' };
  }
}

function isPulse({ low, high, median }: Range): boolean {
  // A switched-off output may be logged as 0.
  return (
    high > PULSE.least && high <= PULSE.most && (low >= PULSE.least || low === 0) && median >= PULSE.least
  );
}
