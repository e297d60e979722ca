import { AXES } from './flight.js';
import type { AxisName } from './flight.js';
import { scanJson } from './json-scan.js';
import type { JsonNode, JsonPlace } from './json-scan.js';
import { LogError, quote } from './log-error.js';
import { looksMistyped, nearestName } from './nearest-name.js';

/** Gains of one axis of the rate loop, parallel form, in the file's own unit; null: not told. */
export interface RateGains {
  readonly kp: number | null;
  readonly ki: number | null;
  readonly kd: number | null;
  readonly kff: number | null;
}

/** Gain of one axis of the attitude loop, in the file's own unit; null: not told. */
export interface AttitudeGains {
  readonly kp: number | null;
}

/**
 * What is known of the unit of a loop's gains. Only calculable gains may enter a calculation as they stand; undeclared ones
 * must be confirmed against a logged term first; in another unit they are echoed and scaled by factors, no more.
 */
export type GainUnit =
  | { readonly declared: false; readonly calculable: false; readonly unit: null; readonly toSi: null }
  | {
      readonly declared: true;
      readonly calculable: true;
      readonly unit: 'rad/s' | 'deg/s' | '1/s';
      /** Multiplies the gain to give demand (−1…1) per rad/s of rate error, or 1/s for the attitude loop. */
      readonly toSi: number;
    }
  | { readonly declared: true; readonly calculable: false; readonly unit: 'other'; readonly toSi: null };

/** One loop of the controller, axis by axis. */
export interface LoopGains<Gains> {
  readonly unit: GainUnit;
  /** `unit` as this loop's part of the file says it; null: it does not. */
  readonly writtenUnit: string | null;
  readonly axes: Readonly<Record<AxisName, Gains>>;
}

/** Band-stop filter on the gyro. */
export interface GyroNotch {
  readonly centreHz: number;
  /** Between the points at −3 dB. */
  readonly bandwidthHz: number;
  /** Attenuation at the centre, above 0. */
  readonly depthDb: number;
}

export type JsonValue =
  string | number | boolean | null | readonly JsonValue[] | { readonly [field: string]: JsonValue };

/** How the aircraft was built for the flight. Fields of the user's own are kept as they are. */
export interface FlownConfiguration {
  readonly parts?: readonly string[];
  readonly massKg?: number;
  readonly props?: string;
  readonly battery?: string;
  readonly [field: string]: JsonValue | undefined;
}

/** What the user knows of the controller. Null is "not told": it never means that a gain is zero or that there is no filter. */
export interface GainsFile {
  /** File the gains came from, for messages. */
  readonly name: string;
  /** `unit` as it stands at the top of `gains`; null: it does not. */
  readonly writtenUnit: string | null;
  readonly rate: LoopGains<RateGains>;
  readonly attitude: LoopGains<AttitudeGains>;
  readonly filters: {
    readonly gyroLowPassHz: number | null;
    readonly derivativeLowPassHz: number | null;
    /** Null: not told; empty: there are none. */
    readonly notches: readonly GyroNotch[] | null;
    /** Whether the logged gyro was taken before or after these filters. */
    readonly gyroTap: 'before' | 'after' | 'unknown';
  };
  readonly loopRateHz: number | null;
  readonly configuration: FlownConfiguration;
}

/** Longer text is no gains file; it would only take long to be refused. */
const MOST_CHARACTERS = 1_000_000;
/** No gain, frequency or mass of an aircraft is larger; keeps every product of a gain and a factor finite. */
const LARGEST = 1e9;

const PER_AXIS = AXES.map((axis) => `gains.rate.${axis}`).join(', ');
/** Every field of the file and the part it belongs in. */
const HOMES: Readonly<Record<string, string>> = {
  rate: 'gains',
  attitude: 'gains',
  kp: PER_AXIS,
  ki: PER_AXIS,
  kd: PER_AXIS,
  kff: PER_AXIS,
  gyroLowPassHz: 'filters',
  derivativeLowPassHz: 'filters',
  notches: 'filters',
  gyroTap: 'filters',
  centreHz: 'an entry of filters.notches',
  bandwidthHz: 'an entry of filters.notches',
  depthDb: 'an entry of filters.notches',
  parts: 'configuration',
  massKg: 'configuration',
  props: 'configuration',
  battery: 'configuration',
  gains: 'the top of the file',
  filters: 'the top of the file',
  configuration: 'the top of the file',
  loopRateHz: 'the top of the file',
};

/**
 * Reads a gains file (JSON): a parallel PID on body rate, demand −1…1, and an attitude gain. Every part may be missing.
 *
 * ```json
 * { "gains": { "unit": "rad/s", "rate": { "roll": { "kp": 0.18, "ki": 0.45, "kd": 0.004, "kff": 0 } },
 *              "attitude": { "roll": { "kp": 6.2 } } },
 *   "filters": { "gyroLowPassHz": 60, "derivativeLowPassHz": 20, "notches": [], "gyroTap": "before" },
 *   "loopRateHz": 400,
 *   "configuration": { "massKg": 5.9 } }
 * ```
 *
 * `unit` stands in `gains` for both loops, or in `rate` or `attitude` for that one. `rad/s` and `deg/s` say what one unit of
 * body rate was; `1/s` is the unit of an attitude gain, which `rad/s` or `deg/s` above both loops implies: angle and rate are
 * then in the same unit. Any other text makes the gains of that loop not calculable.
 *
 * @param name of the file, for messages
 * @throws LogError `bad-gains-file`, with line, character and the path of the field
 */
export function parseGains(text: string, name: string): GainsFile {
  const reader: GainsReader = new GainsReader(name);
  if (text.length > MOST_CHARACTERS)
    reader.refuse({ line: 1, column: 1 }, null, 'this is too long for a gains file', 'give another file');
  const bare = text.replace(/^\uFEFF/, '');
  if (bare.trim() === '')
    reader.refuse(
      { line: 1, column: 1 },
      null,
      'the file is empty',
      'write the gains into it, or give another file',
    );
  const root = scanJson(bare, name, (message, place) =>
    reader.error(place, null, message, 'correct the JSON, or give the file that holds the gains'),
  );
  return readGains(reader, reader.object(root, 'the gains file', GAINS_FIELDS), name);
}

/** What a gains file is made of; the same fields tell the gains of a hover in a tuning record. */
export const GAINS_FIELDS = ['gains', 'filters', 'loopRateHz', 'configuration'] as const;

/** Makes the error for a field that is wrong, so that each kind of file can word its own. */
export type FieldRefusal = (place: JsonPlace, path: string | null, message: string, next: string) => LogError;

/** A field that means nothing to this version. */
export interface UnknownField {
  /** Of the object it stands in. */
  readonly path: string;
  readonly name: string;
  readonly place: JsonPlace;
  /** The known field it was most likely meant to be, where it looks like a slip of the pen. */
  readonly meant: string | null;
}

/**
 * Reads gains from an object that holds them beside fields of its own. Fields within them that are not known are kept, unless they
 * look like a slip of the pen: a gain that is misspelt must not be taken for one that is not told.
 *
 * @param unknown where the fields that are not known are added
 * @throws what `refusal` makes
 */
export function readGainsMembers(
  members: ReadonlyMap<string, JsonNode>,
  name: string,
  refusal: FieldRefusal,
  unknown: UnknownField[],
): GainsFile {
  return readGains(new GainsReader(name, refusal, unknown), members, name);
}

function readGains(reader: GainsReader, top: Members, name: string): GainsFile {
  const gains = reader.member(top, 'gains', 'gains', ['unit', 'rate', 'attitude']);
  const all = reader.text(gains.get('unit'), 'gains unit');
  return {
    name,
    writtenUnit: all,
    rate: reader.loop(gains, 'rate', ['kp', 'ki', 'kd', 'kff'], (own) => rateUnit(own ?? all)),
    attitude: reader.loop(gains, 'attitude', ['kp'], (own) => attitudeUnit(own, all)),
    filters: reader.filters(top),
    loopRateHz: reader.positive(top.get('loopRateHz'), 'loopRateHz'),
    configuration: reader.configuration(top.get('configuration')),
  };
}

/**
 * @returns the gains of an axis per rad/s of rate error (kp), per rad (ki), per rad/s² (kd), per rad/s of reference (kff); null
 *   when their unit is not declared as one that can be calculated with
 */
export function rateGainsInSi(gains: GainsFile, axis: AxisName): RateGains | null {
  const { unit, axes } = gains.rate;
  if (!unit.calculable) return null;
  const inSi = (gain: number | null): number | null => (gain === null ? null : gain * unit.toSi);
  const { kp, ki, kd, kff } = axes[axis];
  return { kp: inSi(kp), ki: inSi(ki), kd: inSi(kd), kff: inSi(kff) };
}

/** @returns rate reference per angle error in 1/s; null when it is not told or its unit is not declared as one that can be calculated with */
export function attitudeGainInSi(gains: GainsFile, axis: AxisName): number | null {
  const { unit, axes } = gains.attitude;
  const { kp } = axes[axis];
  return unit.calculable && kp !== null ? kp * unit.toSi : null;
}

const UNDECLARED: GainUnit = { declared: false, calculable: false, unit: null, toSi: null };
const OTHER: GainUnit = { declared: true, calculable: false, unit: 'other', toSi: null };

function rateUnit(written: string | null): GainUnit {
  if (written === null) return UNDECLARED;
  if (written === 'rad/s') return { declared: true, calculable: true, unit: written, toSi: 1 };
  // Demand per deg/s is 180/π times as much per rad/s, whichever of the four terms.
  if (written === 'deg/s') return { declared: true, calculable: true, unit: written, toSi: 180 / Math.PI };
  return OTHER;
}

function attitudeUnit(own: string | null, all: string | null): GainUnit {
  const written = own ?? all;
  if (written === null) return UNDECLARED;
  const isImplied = own === null && rateUnit(all).calculable;
  return written === '1/s' || isImplied ? { declared: true, calculable: true, unit: '1/s', toSi: 1 } : OTHER;
}

type Members = ReadonlyMap<string, JsonNode>;
const NOTHING: Members = new Map();

function gainsRefusal(file: string): FieldRefusal {
  return ({ line, column }, path, message, next) =>
    new LogError('bad-gains-file', message, next, { file, line, character: column, column: path });
}

class GainsReader {
  readonly error: FieldRefusal;
  /** Where fields that are not known go; null: they are refused. */
  readonly #unknown: UnknownField[] | null;

  constructor(name: string, refusal = gainsRefusal(name), unknown: UnknownField[] | null = null) {
    this.error = refusal;
    this.#unknown = unknown;
  }

  refuse(place: JsonPlace, path: string | null, message: string, next: string): never {
    throw this.error(place, path, message, next);
  }

  object(node: JsonNode, path: string, fields: readonly string[]): Members {
    const members = this.#anyObject(node, path);
    for (const [field, value] of members)
      if (!fields.includes(field)) this.#unknownField(field, value.name ?? value, path, fields);
    return members;
  }

  /** Members of an object within another; none when it is not there. */
  member(parent: Members, field: string, path: string, fields: readonly string[]): Members {
    const node = parent.get(field);
    return node === undefined ? NOTHING : this.object(node, path, fields);
  }

  text(node: JsonNode | undefined, path: string): string | null {
    if (node === undefined || node.value === null) return null;
    if (typeof node.value === 'string' && node.value.trim() !== '') return node.value;
    return this.refuse(node, path, 'must be a text', 'write it in double quotes, or leave the field out');
  }

  positive(node: JsonNode | undefined, path: string): number | null {
    const value = this.#number(node, path);
    if (value === null || value > 0) return value;
    return this.refuse(
      node!,
      path,
      'must be above 0',
      'correct it, or leave the field out if it is not known',
    );
  }

  loop<Field extends string>(
    gains: Members,
    loop: string,
    fields: readonly Field[],
    unitOf: (written: string | null) => GainUnit,
  ): LoopGains<Readonly<Record<Field, number | null>>> {
    const path = `gains ${loop}`;
    const members = this.member(gains, loop, path, ['unit', ...AXES]);
    const written = this.text(members.get('unit'), `${path} unit`);
    const axes = AXES.map((axis) => {
      const terms = this.member(members, axis, `${path} ${axis}`, fields);
      return [axis, this.#gainsOf(terms, fields, `${path} ${axis}`)] as const;
    });
    return {
      unit: unitOf(written),
      writtenUnit: written,
      axes: Object.fromEntries(axes) as Record<AxisName, Record<Field, number | null>>,
    };
  }

  #gainsOf<Field extends string>(
    terms: Members,
    fields: readonly Field[],
    path: string,
  ): Record<Field, number | null> {
    const gains = fields.map((field) => [field, this.#gain(terms.get(field), `${path} ${field}`)] as const);
    return Object.fromEntries(gains) as Record<Field, number | null>;
  }

  filters(top: Members): GainsFile['filters'] {
    const fields = ['gyroLowPassHz', 'derivativeLowPassHz', 'notches', 'gyroTap'];
    const members = this.member(top, 'filters', 'filters', fields);
    return {
      gyroLowPassHz: this.positive(members.get('gyroLowPassHz'), 'filters gyroLowPassHz'),
      derivativeLowPassHz: this.positive(members.get('derivativeLowPassHz'), 'filters derivativeLowPassHz'),
      notches: this.#notches(members.get('notches')),
      gyroTap: this.#gyroTap(members.get('gyroTap')),
    };
  }

  configuration(node: JsonNode | undefined): FlownConfiguration {
    if (node === undefined) return {};
    const members = this.#anyObject(node, 'configuration');
    this.#partNames(members.get('parts'));
    this.#notNull(members.get('massKg'), 'configuration massKg');
    this.positive(members.get('massKg'), 'configuration massKg');
    for (const field of ['props', 'battery']) {
      this.#notNull(members.get(field), `configuration ${field}`);
      this.text(members.get(field), `configuration ${field}`);
    }
    return this.#plain(node, 'configuration') as FlownConfiguration;
  }

  #unknownField(field: string, place: JsonPlace, path: string, fields: readonly string[]): void {
    const isSlip = Object.hasOwn(HOMES, field) || looksMistyped(field, fields);
    if (this.#unknown === null || isSlip) this.#refuseField(field, place, path, fields);
    this.#unknown.push({ path, name: field, place, meant: null });
  }

  #refuseField(field: string, place: JsonPlace, path: string, fields: readonly string[]): never {
    const home = Object.hasOwn(HOMES, field) ? HOMES[field] : undefined;
    const known = `the fields known here are ${fields.join(', ')}`;
    this.refuse(
      place,
      path,
      `"${quote(field)}" means nothing here`,
      home === undefined
        ? `did you mean ${nearestName(field, fields)}? (${known})`
        : `it belongs in ${home} (${known})`,
    );
  }

  #anyObject(node: JsonNode, path: string): Members {
    if (node.value instanceof Map) return node.value;
    return this.refuse(node, path, 'must be a JSON object', 'write it in braces, { }, or leave it out');
  }

  #number(node: JsonNode | undefined, path: string): number | null {
    if (node === undefined || node.value === null) return null;
    const { value } = node;
    if (typeof value === 'string')
      this.refuse(
        node,
        path,
        'must be a number, not a text',
        'write it without quotes, with a decimal point',
      );
    if (typeof value !== 'number')
      return this.refuse(
        node,
        path,
        'must be a number',
        'write one, or leave the field out if it is not known',
      );
    // Not JSON's limit but ours; it takes in what is too large to be a number at all.
    if (Math.abs(value) > LARGEST)
      this.refuse(node, path, `must not be larger than ${LARGEST}`, 'correct it, or leave the field out');
    // A zero with a sign would be written back without it.
    return value === 0 ? 0 : value;
  }

  #gain(node: JsonNode | undefined, path: string): number | null {
    const value = this.#number(node, path);
    if (value === null || value >= 0) return value;
    return this.refuse(
      node!,
      path,
      'a gain must not be negative',
      'give its size; if an axis acts the other way round, say so with "sign" in the channel map',
    );
  }

  #notches(node: JsonNode | undefined): readonly GyroNotch[] | null {
    if (node === undefined || node.value === null) return null;
    if (!Array.isArray(node.value))
      this.refuse(
        node,
        'filters notches',
        'must be a list',
        'write it in brackets, [ ]; [ ] says there are none',
      );
    return (node.value as readonly JsonNode[]).map((each, index) => {
      const path = `filters notches ${index + 1}`;
      const members = this.object(each, path, ['centreHz', 'bandwidthHz', 'depthDb']);
      const needed = (field: string): number =>
        this.positive(members.get(field), `${path} ${field}`) ??
        this.refuse(each, path, `the notch lacks ${field}`, `add "${field}"`);
      return {
        centreHz: needed('centreHz'),
        bandwidthHz: needed('bandwidthHz'),
        depthDb: needed('depthDb'),
      };
    });
  }

  #gyroTap(node: JsonNode | undefined): GainsFile['filters']['gyroTap'] {
    const value = node?.value ?? 'unknown';
    if (value === 'before' || value === 'after' || value === 'unknown') return value;
    return this.refuse(
      node!,
      'filters gyroTap',
      'must be "before", "after" or "unknown"',
      'say whether the logged gyro was taken before or after these filters',
    );
  }

  #partNames(node: JsonNode | undefined): void {
    if (node === undefined) return;
    const names = node.value;
    if (
      Array.isArray(names) &&
      (names as readonly JsonNode[]).every(({ value }) => typeof value === 'string')
    )
      return;
    this.refuse(
      node,
      'configuration parts',
      'must be a list of texts',
      'write it as ["outer panels fitted"]',
    );
  }

  /** The fields of `configuration` that have a type are texts and numbers: there, null can only be a mistake. */
  #notNull(node: JsonNode | undefined, path: string): void {
    if (node?.value === null)
      this.refuse(node, path, 'must not be null', 'leave the field out if it is not known');
  }

  /** @throws LogError for a number that JavaScript cannot hold, which would be written back as null */
  #plain(node: JsonNode, path: string): JsonValue {
    const { value } = node;
    if (typeof value === 'number' && !Number.isFinite(value))
      return this.refuse(node, path, 'the number is too large', 'correct it, or write it as a text');
    if (value instanceof Map) {
      // Object.fromEntries defines members, so that a field named __proto__ is a field like any other.
      return Object.fromEntries([...value].map(([key, each]) => [key, this.#plain(each, `${path} ${key}`)]));
    }
    return Array.isArray(value)
      ? (value as readonly JsonNode[]).map((each) => this.#plain(each, path))
      : (value as string | number | boolean | null);
  }
}
