import type { AxisName, BodyAxis, ChannelName } from './flight.js';
import { tokenize } from './lexicon.js';
import type { QuantityWord, RoleWord, Token } from './lexicon.js';
import { parseUnit, unitSuffixes } from './units.js';
import type { Dimension, Unit } from './units.js';
import { splitHeader, splitWords } from './words.js';

/** What a header may mean. */
export interface Reading {
  readonly meaning:
    | { readonly channel: ChannelName; readonly error: boolean }
    /** Motors and rotors as numbered in the file, which may count from 0. */
    | { readonly family: 'motor' | 'rotor'; readonly index: number };
  /** 1 says it plainly; below `LEAST_SCORE` readings are not given. */
  readonly score: number;
  /** Letters such as p that mean something only in company: p, q and r together. */
  readonly needsCompany: boolean;
  /** Whether the header itself does not name the quantity: `roll`, `x`. */
  readonly impliedQuantity: boolean;
}

export interface HeaderReadings {
  readonly readings: readonly Reading[];
  readonly unit: Unit | null;
  readonly unitFrom: string;
}

export const LEAST_SCORE = 0.5;
/** Scores closer than this are equal. */
export const CLEAR_MARGIN = 0.095;

const BODY_TO_AXIS: Record<BodyAxis, AxisName> = { x: 'roll', y: 'pitch', z: 'yaw' };
const AXIS_TO_BODY: Record<AxisName, BodyAxis> = { roll: 'x', pitch: 'y', yaw: 'z' };
const MOST_MOTORS = 64;
const TERMS: readonly RoleWord[] = ['proportional', 'integral', 'derivative', 'feedforward'];

/**
 * Reads a header as channels, best first.
 *
 * @param unitText cell of the units row, '' if none
 * @param context words that stand for the whole group: text of the kind column
 */
export function readHeader(header: string, unitText: string, context: string): HeaderReadings {
  const { words, bracketed } = splitHeader(header);
  const contextWords = splitWords(context);
  const stated = statedUnit(bracketed, unitText);
  const options: { words: readonly string[]; unit: Unit | null; from: string }[] = [
    { words, unit: stated?.unit ?? null, from: stated?.from ?? '' },
    ...unitSuffixes(words).map((suffix) => ({
      words: words.slice(0, words.length - suffix.words),
      unit: stated?.unit ?? suffix.unit,
      from: stated?.from ?? `header ends in ${suffix.unit.name}`,
    })),
  ];
  let best: HeaderReadings = { readings: [], unit: stated?.unit ?? null, unitFrom: stated?.from ?? '' };
  for (const option of options) {
    const readings = readWords(contextWords, option.words, option.unit);
    // A unit that cannot be the channel's means another quantity: the current of a motor is no command. At the end of
    // a name, letters such as `a` or `m` are a unit only where it fits.
    const fitting = option.unit ? readings.filter((each) => fits(each, option.unit)) : readings;
    if ((fitting[0]?.score ?? 0) > (best.readings[0]?.score ?? 0))
      best = { readings: fitting, unit: option.unit, unitFrom: option.from };
  }
  return best;
}

function statedUnit(bracketed: readonly string[], unitText: string): { unit: Unit; from: string } | null {
  for (const text of bracketed) {
    const unit = parseUnit(text);
    if (unit) return { unit, from: `header says ${unit.name}` };
  }
  const unit = unitText === '' ? null : parseUnit(unitText);
  return unit ? { unit, from: `units row says ${unit.name}` } : null;
}

function fits(reading: Reading, unit: Unit | null): boolean {
  return unit !== null && dimensionsOf(reading).includes(unit.dimension);
}

/** Dimensions in which a column with this meaning can be logged. */
export function dimensionsOf(reading: Reading): readonly Dimension[] {
  if ('family' in reading.meaning)
    return reading.meaning.family === 'rotor' ? ['rotation', 'angular-rate'] : ['ratio', 'time'];
  return channelDimensions(reading.meaning.channel);
}

export function channelDimensions(channel: ChannelName): readonly Dimension[] {
  if (channel.startsWith('attitude.')) return ['angle'];
  if (/^gyro\.|^rate\.\w+\.(?:reference|measured)$/.test(channel)) return ['angular-rate'];
  if (channel.startsWith('accel.')) return ['acceleration'];
  if (channel.startsWith('rotor.')) return ['rotation', 'angular-rate'];
  if (channel === 'height') return ['length'];
  if (channel === 'battery.voltage') return ['voltage'];
  if (channel === 'battery.current') return ['current'];
  if (channel.startsWith('rate.')) return ['ratio'];
  return channel === 'mode' ? [] : ['ratio', 'time'];
}

/** Tokens of one header, sorted by what they say. */
interface Parts {
  readonly quantities: ReadonlySet<QuantityWord>;
  readonly axis: AxisName | null;
  readonly axisImplies: 'attitude' | 'rate' | null;
  /** The axis is one of the letters p, q, r. */
  readonly axisLetter: boolean;
  readonly body: BodyAxis | null;
  readonly roles: readonly RoleWord[];
  readonly filtered: boolean;
  readonly dot: boolean;
  readonly angular: boolean;
  readonly velocity: boolean;
  readonly index: number | null;
  readonly weak: boolean;
  readonly unknown: number;
  readonly neutral: number;
}

function readWords(context: readonly string[], words: readonly string[], unit: Unit | null): Reading[] {
  const own = tokenize(words);
  // Words of the context that say nothing about quantity, axis or role must not weaken the header.
  const around = tokenize(context).filter((token) =>
    ['quantity', 'axis', 'body-axis', 'role'].includes(token.is),
  );
  const fromContext = around.length > 0 ? readTokens([...around, ...own], unit) : [];
  return fromContext.length > 0 ? fromContext : readTokens(own, unit);
}

function readTokens(tokens: readonly Token[], unit: Unit | null): Reading[] {
  if (tokens.length === 0 || tokens.some((token) => token.is === 'blocked')) return [];
  const parts = sortTokens(tokens);
  if (!parts) return [];
  const readings = [...readAirframe(parts, unit), ...readAxis(parts, unit)];
  return readings.filter((each) => each.score >= LEAST_SCORE).sort((a, b) => b.score - a.score);
}

function sortTokens(tokens: readonly Token[]): Parts | null {
  const axes = tokens.filter((token) => token.is === 'axis');
  const named = axes.filter((token) => !token.letter);
  const letters = axes.filter((token) => token.letter);
  const axisTokens = named.length > 0 ? named : letters;
  const axis = axisTokens[0] ?? null;
  if (axisTokens.some((token) => token.axis !== axis?.axis)) return null;
  const bodies = tokens.filter((token) => token.is === 'body-axis');
  if (bodies.some((token) => token.axis !== bodies[0]!.axis)) return null;
  const roleTokens = tokens.filter((token) => token.is === 'role');
  const roles: RoleWord[] = roleTokens.map((token) => token.role);
  const axisLetter = named.length === 0 && letters.length > 0;
  // Beside a named axis, p is the proportional term; q and r beside one mean nothing.
  let stray = 0;
  if (!axisLetter)
    for (const letter of letters)
      if (letter.axis === 'roll') roles.push('proportional');
      else stray++;
  const indices = tokens.filter((token) => token.is === 'index');
  return {
    quantities: new Set(tokens.flatMap((token) => (token.is === 'quantity' ? [token.quantity] : []))),
    axis: axis?.axis ?? null,
    axisImplies: axis?.implies ?? null,
    axisLetter,
    body: bodies[0]?.axis ?? null,
    roles: [...new Set(roles)],
    filtered: roleTokens.some((token) => token.filtered === true),
    dot: tokens.some((token) => token.is === 'dot'),
    angular: tokens.some((token) => token.is === 'angular'),
    velocity: tokens.some((token) => token.is === 'velocity'),
    index: indices.at(-1)?.index ?? null,
    weak:
      tokens.some((token) => token.is === 'quantity' && token.weak === true) ||
      roleTokens.some((token) => token.letter === true),
    unknown: stray + tokens.filter((token) => token.is === 'unknown').length,
    neutral: tokens.filter((token) => token.is === 'neutral' || token.is === 'raw').length,
  };
}

function reading(
  meaning: Reading['meaning'],
  parts: Parts,
  deductions: number,
  extra: { needsCompany?: boolean; impliedQuantity?: boolean } = {},
): Reading {
  const index = 'family' in meaning ? 0 : parts.index === null ? 0 : 0.1;
  const score = 1 - deductions - 0.15 * parts.unknown - 0.01 * parts.neutral - index - (parts.weak ? 0.2 : 0);
  return {
    meaning,
    score,
    needsCompany: extra.needsCompany ?? false,
    impliedQuantity: extra.impliedQuantity ?? false,
  };
}

const channel = (name: string, error = false): Reading['meaning'] => ({
  channel: name as ChannelName,
  error,
});

/** Motors, rotors, sticks, throttle, height, battery, mode. */
function readAirframe(parts: Parts, unit: Unit | null): Reading[] {
  const { quantities: q, axis, body, roles } = parts;
  if (body !== null || q.has('gyro') || q.has('accel') || q.has('attitude')) return [];
  const machine = q.has('motor') || q.has('rotor');
  const numbered = parts.index !== null && parts.index <= MOST_MOTORS;
  const onlyRoles = (...allowed: RoleWord[]): boolean => roles.every((role) => allowed.includes(role));
  const noAxis = axis === null;
  if (q.has('mode'))
    return noAxis && !machine && roles.every((r) => r === 'demand')
      ? [reading(channel('mode'), parts, 0)]
      : [];
  if (q.has('voltage') || (q.has('battery') && unit?.dimension === 'voltage'))
    return noAxis && !machine && onlyRoles('measured', 'demand')
      ? [reading(channel('battery.voltage'), parts, q.has('battery') ? 0 : 0.15)]
      : [];
  if (q.has('current') || (q.has('battery') && unit?.dimension === 'current'))
    return noAxis && !machine && onlyRoles('measured', 'demand')
      ? [reading(channel('battery.current'), parts, q.has('battery') ? 0 : 0.15)]
      : [];
  const speed = q.has('speed') || (machine && unit?.dimension === 'rotation');
  if (speed && noAxis && (machine || unit?.dimension === 'rotation' || q.size === 1))
    return numbered && onlyRoles('measured')
      ? [reading({ family: 'rotor', index: parts.index! }, parts, machine ? 0 : 0.2)]
      : [];
  if (q.has('motor') && noAxis)
    return numbered && onlyRoles('reference', 'demand') && !q.has('throttle')
      ? [reading({ family: 'motor', index: parts.index! }, parts, 0)]
      : [];
  if (q.has('stick')) {
    if (q.has('throttle') && noAxis) return [reading(channel('stick.throttle'), parts, 0)];
    return axis && !q.has('rate') && !parts.axisLetter ? [reading(channel(`stick.${axis}`), parts, 0)] : [];
  }
  if (q.has('throttle'))
    return noAxis && onlyRoles('reference', 'demand', 'measured')
      ? [reading(channel('throttle'), parts, 0)]
      : [];
  if (q.has('height'))
    return noAxis && onlyRoles('measured') && !parts.velocity ? [reading(channel('height'), parts, 0)] : [];
  return [];
}

/** Everything about an axis: attitude, body rate, gyro, accelerometer, demand and controller terms. */
function readAxis(parts: Parts, unit: Unit | null): Reading[] {
  const { quantities: q, roles } = parts;
  if (['motor', 'rotor', 'stick', 'throttle', 'height', 'battery', 'voltage', 'current', 'mode'].some((w) => q.has(w as QuantityWord))) return []; // prettier-ignore
  if (parts.axis !== null && parts.body !== null && AXIS_TO_BODY[parts.axis] !== parts.body) return [];
  const axis = parts.axis ?? (parts.body === null ? null : BODY_TO_AXIS[parts.body]);
  if (axis === null) return [];
  const body = AXIS_TO_BODY[axis];
  const has = (role: RoleWord): boolean => roles.includes(role);
  if (q.has('accel'))
    return parts.axis === null && !parts.angular && roles.every((role) => role === 'measured')
      ? [reading(channel(`accel.${body}`), parts, parts.filtered ? 0.05 : 0)]
      : [];
  if (q.has('gyro')) return readGyro(parts, axis, body);
  if (parts.velocity && !parts.angular && !q.has('rate') && parts.axis === null) return [];
  const rate = isRate(parts, unit);
  const attitude = !rate && (q.has('attitude') || parts.axisImplies === 'attitude' || unit?.dimension === 'angle' || (parts.angular && parts.body !== null)); // prettier-ignore
  // x, y, z alone say nothing; with a unit of acceleration or rate they do.
  if (parts.axis === null && !rate && !attitude)
    return unit?.dimension === 'acceleration' && roles.every((role) => role === 'measured')
      ? [reading(channel(`accel.${body}`), parts, 0.2, { impliedQuantity: true })]
      : [];
  const company = { needsCompany: parts.axisLetter && q.size === 0 };
  const letter = company.needsCompany ? 0.1 : 0;
  const implied =
    q.size === 0 && parts.axisImplies === null && !parts.dot && !parts.angular && !parts.velocity;
  const hints = { ...company, impliedQuantity: implied };
  const terms = TERMS.filter(has);
  const term = terms[0];
  if (term !== undefined) {
    if (
      terms.length > 1 ||
      (attitude && q.has('attitude')) ||
      has('reference') ||
      has('measured') ||
      parts.axisLetter
    )
      return [];
    return [reading(channel(`rate.${axis}.${term}`), parts, q.has('rate') ? 0 : 0.05, company)];
  }
  if (has('error')) {
    const group = rate ? 'rate' : 'attitude';
    return has('demand')
      ? []
      : [reading(channel(`${group}.${axis}.reference`, true), parts, letter + (implied ? 0.1 : 0), hints)];
  }
  if (has('demand') && !has('measured')) return readDemand(parts, axis, unit, rate, attitude, hints);
  if (has('reference') && has('measured')) return [];
  const role = has('reference') ? 'reference' : 'measured';
  const silent = roles.length === 0 ? 0.1 : 0;
  const deductions =
    silent + letter + (implied ? 0.05 : 0) + (parts.dot ? 0.15 : 0) + (parts.filtered ? 0.02 : 0);
  return [reading(channel(`${rate ? 'rate' : 'attitude'}.${axis}.${role}`), parts, deductions, hints)];
}

function isRate(parts: Parts, unit: Unit | null): boolean {
  return (
    parts.quantities.has('rate') ||
    parts.axisImplies === 'rate' ||
    parts.dot ||
    (parts.velocity && (parts.angular || parts.axis !== null)) ||
    (parts.quantities.has('speed') && parts.axis !== null) ||
    (unit?.dimension === 'angular-rate' && !parts.quantities.has('attitude'))
  );
}

function readGyro(parts: Parts, axis: AxisName, body: BodyAxis): Reading[] {
  if (parts.dot || !parts.roles.every((role) => role === 'measured')) return [];
  const gyro = reading(channel(`gyro.${body}`), parts, parts.filtered ? 0.15 : 0);
  // A filtered gyro is what the loop measures; where the raw one is logged too, it is that.
  return parts.filtered ? [gyro, reading(channel(`rate.${axis}.measured`), parts, 0.25)] : [gyro];
}

function readDemand(
  parts: Parts,
  axis: AxisName,
  unit: Unit | null,
  rate: boolean,
  attitude: boolean,
  hints: { needsCompany: boolean; impliedQuantity: boolean },
): Reading[] {
  // A demand in rad/s or rad is what an outer loop asks: a reference.
  const asked = unit?.dimension === 'angular-rate' ? 'rate' : unit?.dimension === 'angle' ? 'attitude' : null;
  if (asked) return [reading(channel(`${asked}.${axis}.reference`), parts, 0.1, hints)];
  if (attitude) return [reading(channel(`attitude.${axis}.reference`), parts, 0.3, hints)];
  if (parts.roles.includes('reference') && rate)
    return [reading(channel(`rate.${axis}.reference`), parts, 0.1, hints)];
  const deductions = parts.roles.includes('reference') ? 0.2 : 0;
  return [reading(channel(`rate.${axis}.demand`), parts, deductions, { ...hints, impliedQuantity: false })];
}
