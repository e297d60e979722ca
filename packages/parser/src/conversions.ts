import { quantityOf } from './channel-names.js';
import { decideAccelUnits } from './accel-units.js';
import type { ChannelMap } from './channel-map.js';
import type { AxisName, ChannelName, FrameDecision } from './flight.js';
import { unitOfTerm } from './controller-terms.js';
import { decideFrame, signOf } from './frames.js';
import type { FrameSigns } from './frames.js';
import { columnName } from './log-data.js';
import type { Conversion, RawSignal } from './log-data.js';
import { LogError } from './log-error.js';
import type { ProblemList } from './problems.js';
import { decideRotationUnits } from './rotation-units.js';
import type { DraftMap } from './rotation-units.js';
import { decideShareUnit } from './share-units.js';

/** A signal with its way to SI, sign and frame included. */
export interface DecidedSignal {
  readonly signal: RawSignal;
  readonly conversion: Conversion;
  readonly decidedBy: readonly string[];
}

export interface Decided {
  readonly signals: readonly DecidedSignal[];
  readonly frame: FrameDecision;
}

/**
 * Decides unit, sign and frame of every signal, checked by physics.
 *
 * @throws LogError `unit-contradiction` or `unit-ambiguous` for the channels an analysis rests on; others stay unused
 */
export function decideConversions(
  signals: readonly RawSignal[],
  map: ChannelMap | undefined,
  draft: DraftMap,
  problems: ProblemList,
): Decided {
  const rotation = decideRotationUnits(signals, draft, problems);
  const accel = decideAccelUnits(signals, draft, problems);
  const conversions = new Map([...rotation.conversions, ...accel.conversions]);
  const has = (pattern: RegExp): boolean => signals.some((signal) => pattern.test(signal.channel));
  const isSignMapped = (pattern: RegExp): boolean =>
    signals.some((signal) => pattern.test(signal.channel) && signal.entry?.sign !== undefined);
  const frame = decideFrame(
    accel.level,
    rotation.agreement,
    {
      attitude: has(/^attitude\.\w+\.measured/),
      gyro: has(/^gyro/),
      rate: has(/^rate\.\w+\.measured/),
      attitudeMapped: isSignMapped(/^attitude\.\w+\.measured/),
      gyroMapped: isSignMapped(/^gyro/),
    },
    map,
  );
  for (const message of frame.problems) problems.add(signals[0]?.log.name ?? '', message, message);
  const decided: DecidedSignal[] = [];
  for (const signal of signals) {
    const conversion =
      conversions.get(signal) ??
      followMeasured(signal, signals, conversions, draft) ??
      decideOther(signal, signals, problems);
    if (conversion) decided.push(withSign(signal, conversion, frame));
  }
  return { signals: decided, frame: frame.frame };
}

function decideOther(
  signal: RawSignal,
  signals: readonly RawSignal[],
  problems: ProblemList,
): Conversion | null {
  if (signal.channel === 'mode') return { unit: '', scale: 1, offset: 0, why: '' };
  const found = decideShareUnit(signal);
  if (!('unclear' in found)) return found;
  const summed = unitOfTerm(signal, signals, (demand) => {
    const unit = decideShareUnit(demand);
    return 'unclear' in unit ? null : unit;
  });
  if (summed) return summed;
  problems.add(
    signal.log.name,
    `unclear ${signal.channel}`,
    `looks like ${signal.channel} but ${found.unclear}; unused, give it "unit" or "range" in a channel map`,
    { column: columnName(signal.column, signal.track) },
  );
  return null;
}

/** A reference is in the unit of what it is compared with, unless it states its own. */
function followMeasured(
  signal: RawSignal,
  signals: readonly RawSignal[],
  conversions: ReadonlyMap<RawSignal, Conversion>,
  draft: DraftMap,
): Conversion | null {
  const quantity = quantityOf(signal.channel);
  if (quantity !== 'attitude' && quantity !== 'body-rate') return null;
  const rawScale = signal.entry?.scale ?? 1;
  if (signal.stated) {
    const { unit, from } = signal.stated;
    return { unit: unit.name, scale: unit.scale * rawScale, offset: 0, why: from };
  }
  const family = signal.channel.split('.')[0]!;
  const model =
    signals.find(
      (other) =>
        other !== signal &&
        !other.error &&
        other.channel === signal.channel.replace('reference', 'measured') &&
        conversions.has(other),
    ) ??
    signals.find(
      (other) =>
        !other.error &&
        other.channel.startsWith(`${family}.`) &&
        other.channel.endsWith('measured') &&
        conversions.has(other),
    ) ??
    // Body rates without a measured rate of their own are compared with the gyro.
    (family === 'rate'
      ? signals.find((other) => other.channel.startsWith('gyro.') && conversions.has(other))
      : undefined) ??
    signals.find(
      (other) =>
        other.channel.startsWith(`${family}.`) &&
        other.channel.endsWith('reference') &&
        other.stated !== null,
    );
  const followed = model && (conversions.get(model) ?? statedConversion(model));
  if (!model || !followed || isOutOfScale(signal, model)) {
    const units = quantity === 'attitude' ? 'rad or deg' : 'rad/s or deg/s or mrad/s';
    throw new LogError(
      'unit-ambiguous',
      model
        ? `the unit of "${signal.column.label}" is not stated, and its values do not look like those of "${model.column.label}" (${units})`
        : `the unit of "${signal.column.label}" is not stated and no measured value tells it (${units})`,
      'state it in a channel map and pass it with --map',
      { file: signal.log.name, line: signal.log.dialect.headerLine, column: signal.column.label },
      draft(new Map([[signal, units]])),
    );
  }
  return {
    ...followed,
    scale: (followed.scale / (model.entry?.scale ?? 1)) * rawScale,
    why: `${followed.unit} like "${model.column.label}"`,
  };
}

function statedConversion(signal: RawSignal): Conversion | null {
  const unit = signal.stated?.unit;
  return unit ? { unit: unit.name, scale: unit.scale, offset: 0, why: '' } : null;
}

/** A reference in degrees beside a measured value in radians swings some 57 times as far. */
function isOutOfScale(reference: RawSignal, measured: RawSignal): boolean {
  const [asked, got] = [spread(reference.values), spread(measured.values)];
  return asked > 0 && got > 0 && asked > 20 * got;
}

/** Standard deviation about the mean. */
function spread(values: Float64Array): number {
  let [n, sum, squares] = [0, 0, 0];
  for (const value of values)
    if (value - value === 0) {
      n++;
      sum += value;
      squares += value * value;
    }
  return n === 0 ? 0 : Math.sqrt(Math.max(0, squares / n - (sum / n) ** 2));
}

function withSign(signal: RawSignal, conversion: Conversion, frame: FrameSigns): DecidedSignal {
  const decidedBy = [...signal.decidedBy];
  if (conversion.why !== '') decidedBy.push(conversion.why);
  const mapped = signal.entry?.sign;
  const turned = mapped === undefined ? signOf(signal.channel, frame) : null;
  const sign = mapped ?? turned?.sign ?? 1;
  if (mapped !== undefined) decidedBy.push(`map gives sign ${String(mapped)}`);
  else if (turned?.sign === -1) decidedBy.push(`sign turned: ${turned.why}`);
  else if (turned && turned.why !== '') decidedBy.push(`sign as logged: ${turned.why}`);
  return {
    signal,
    conversion: { ...conversion, scale: conversion.scale * sign, offset: conversion.offset * sign },
    decidedBy,
  };
}

/** Channel a reference is compared with: the measured rate, or the gyro about the same axis where there is none. */
export function measuredChannels(reference: ChannelName): readonly ChannelName[] {
  const [family, axis] = reference.split('.') as [string, AxisName];
  if (family === 'attitude') return [`attitude.${axis}.measured`];
  const body = { roll: 'x', pitch: 'y', yaw: 'z' } as const;
  return [`rate.${axis}.measured`, `gyro.${body[axis]}`];
}
