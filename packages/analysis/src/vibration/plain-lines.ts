/** Lines that turn with no rotor: structure, mains, control loops, and what cannot be told. */
import type { AxisName, BodyAxis } from '@settle/parser';
import type { Peak } from './find-peaks.js';
import type { FittedLine } from './fit-line.js';
import type { LineSpectrum } from './line-spectrum.js';
import { mainsOf } from './mains.js';
import type { SensorRecord } from './sensor-records.js';
import type { StudiedLine } from './vibration-study.js';

export interface GroundPeak extends Peak {
  readonly record: SensorRecord;
}

export interface FoundPeak extends GroundPeak {
  readonly spectrum: LineSpectrum;
  readonly fitted: FittedLine;
}

/** An oscillation of the diagnosis. */
export interface LoopLine {
  readonly axis: AxisName;
  readonly frequencyHz: number;
  readonly frequencyStdHz: number;
  /** Of the body rate, rad/s. */
  readonly rms: number;
  /** It keeps itself going, so something limits it, and it is no pure sine. */
  readonly sustained: boolean;
}

export interface PlainContext {
  readonly loops: readonly LoopLine[];
  /** Peaks on the ground with the rotors at rest or idling, same records; null where the log has no such stretch. */
  readonly ground: readonly GroundPeak[] | null;
  /** Orders of the rotors are known, so what is left follows none of them. */
  readonly rotorsKnown: boolean;
  /** The log is so slow that a rotor’s line may be folded. */
  readonly mayFold: boolean;
  /** What a line truly is as far as a second log tells, negative where mirrored, and its rates, Hz; null: nothing tells. */
  readonly told: (
    peak: FoundPeak,
  ) => { readonly hz: readonly number[]; readonly ratesHz: readonly number[] } | null;
  /** Where rotors whose speeds are not logged stand, by order: what is narrow there may be a part of them. */
  readonly rotorRanges: readonly RotorRange[];
}

export interface RotorRange {
  readonly order: number;
  /** As logged. */
  readonly lowHz: number;
  readonly highHz: number;
  /** The middle of it, before it folds. */
  readonly trueHz: number;
  /** A rotor that does not show where it is expected may stand here. */
  readonly unseen: boolean;
}

const LOOP_SHARE = 0.04;
/** Found on the ground this near in frequency and at least this large. */
const SAME_SHARE = 0.006;
const SAME_HZ = 0.7;
const SAME_LEVEL = 0.35;

export function describePlainLine(peak: FoundPeak, context: PlainContext): StudiedLine {
  const { record, spectrum, fitted } = peak;
  const { frequencyHz, halfWidthHz } = fitted;
  const told = context.told(peak);
  const stands = told?.hz.includes(frequencyHz) === true;
  const decided =
    told === null || stands
      ? decide(peak, { ...context, mayFold: context.mayFold && !(stands && told.hz.length === 1) })
      : folded(peak, told);
  return {
    sensor: record.sensor,
    axis: record.axis,
    frequencyHz,
    frequencyStdHz: fitted.frequencyStdHz,
    lowHz: frequencyHz - halfWidthHz,
    highHz: frequencyHz + halfWidthHz,
    rms: fitted.rms,
    aboveFloorDb: peak.aboveFloorDb,
    order: null,
    rotor: null,
    trueFrequencyHz: null,
    ...decided,
    evidence: [
      ...decided.evidence,
      fitted.kind === 'tone'
        ? `it is a tone: no wider than the ${(2 * spectrum.binHz).toFixed(2)} Hz that the analysis resolves`
        : `it is ${(2 * halfWidthHz).toFixed(2)} Hz wide at half height: a damping ratio of about ${(halfWidthHz / frequencyHz).toFixed(3)}`,
    ],
  };
}

type Decision = Pick<StudiedLine, 'kind' | 'confidence' | 'evidence'> &
  Partial<Pick<StudiedLine, 'trueFrequencyHz'>>;

/** How sure a fold is that a second log tells: 89 of 91 lines were right on development flights 7000 to 7149. */
const TOLD_SURE = 0.95;

function folded(
  { record, fitted: { frequencyHz } }: FoundPeak,
  { hz, ratesHz }: { readonly hz: readonly number[]; readonly ratesHz: readonly number[] },
): Decision {
  const trueHz = hz.map(Math.abs).sort((a, b) => a - b);
  const only = trueHz.length === 1 ? trueHz[0]! : null;
  const listed = trueHz.map((one) => one.toFixed(1)).join(' or ');
  return {
    kind: 'alias',
    confidence: TOLD_SURE,
    trueFrequencyHz: only,
    evidence: [
      `it is truly ${listed} Hz: what is logged at ${ratesHz.map((one) => one.toFixed(0)).join(' and ')} Hz moves with it where that folds to, and not where ${frequencyHz.toFixed(1)} Hz would stand; at ${record.sampleRateHz.toFixed(0)} Hz this log folds it down; log at ${(2.5 * trueHz.at(-1)!).toFixed(0)} Hz or more to see it where it is`,
    ],
  };
}

/** A mode wider than this, half width over frequency, is no part of a rotor's line. */
const NARROW = 0.008;
/** A narrow one this near to where rotors stand, as a share of the frequency, may be one that hardly shows. */
const NEAR_ROTORS = 0.02;

function decide(
  peak: FoundPeak,
  { loops, ground, rotorsKnown, rotorRanges, mayFold }: PlainContext,
): Decision {
  const { record, fitted } = peak;
  const { frequencyHz } = fitted;
  const loop = loops.find(
    (one) => AXIS_OF[one.axis] === record.axis && near(one.frequencyHz, frequencyHz, LOOP_SHARE),
  );
  if (loop !== undefined)
    return {
      kind: 'control-loop',
      confidence: 0.9,
      evidence: [`the ${loop.axis} axis oscillates at ${loop.frequencyHz.toFixed(2)} Hz: see the diagnosis`],
    };
  const multiple = multipleOf(peak, loops);
  if (multiple !== null)
    return {
      kind: 'control-loop',
      confidence: 0.85,
      evidence: [
        `it stands at ${String(multiple.order)} times the ${multiple.loop.frequencyHz.toFixed(2)} Hz at which the ${multiple.loop.axis} axis swings: a swing that is held by the motors’ limits is no pure sine; it goes with the swing`,
      ],
    };
  const tone = fitted.kind === 'tone';
  const onGround = ground?.find(
    (g) =>
      g.record.sensor === record.sensor &&
      g.record.axis === record.axis &&
      Math.abs(g.frequencyHz - frequencyHz) < Math.max(SAME_HZ, SAME_SHARE * frequencyHz) &&
      g.rms > SAME_LEVEL * fitted.rms,
  );
  if (tone && onGround !== undefined)
    return {
      kind: 'electrical',
      confidence: 0.95,
      evidence: ['it is there on the ground as well, before the rotors turn, and as strong'],
    };
  const mains = mainsOf(frequencyHz);
  if (tone && mains !== null && (ground === null || ground.length === 0))
    return {
      kind: 'electrical',
      confidence: 0.8,
      evidence: [
        `it stands at ${String(mains.order)} times the ${String(mains.hz)} Hz of the mains and does not move`,
      ],
    };
  const among = rotorRanges.find(
    ({ lowHz, highHz, trueHz }) =>
      frequencyHz > lowHz &&
      frequencyHz < highHz &&
      fitted.halfWidthHz < NARROW * Math.max(frequencyHz, trueHz),
  );
  if (among !== undefined)
    return {
      kind: 'unknown',
      confidence: 0,
      evidence: [amongRotors(among, record.sampleRateHz)],
    };
  const beside = rotorRanges.some(
    ({ lowHz, highHz, unseen }) =>
      !unseen && frequencyHz > (1 - NEAR_ROTORS) * lowHz && frequencyHz < (1 + NEAR_ROTORS) * highHz,
  );
  if (!tone && beside && fitted.halfWidthHz < NARROW * frequencyHz)
    return {
      kind: 'structure',
      confidence: 0.6,
      evidence: [
        'it follows no rotor that was found, but stands beside them, and their speeds are known from the spectrum only; log the rotor speeds to be sure',
      ],
    };
  if (!tone && rotorsKnown)
    return {
      kind: 'structure',
      confidence: 0.85,
      evidence: ['it follows no rotor and is wider than a tone: something that rings by itself'],
    };
  if (!tone && mayFold)
    return {
      kind: 'unknown',
      confidence: 0,
      evidence: [
        'no rotor speed is known, and in a log this slow a rotor’s line may stand here, folded or not, as well as something that rings; log the rotor speeds, or the raw gyro at 400 Hz or more, to tell',
      ],
    };
  if (!tone)
    return {
      kind: 'structure',
      confidence: 0.6,
      evidence: ['it does not come into focus with the motor commands, as a rotor’s line does'],
    };
  return {
    kind: 'unknown',
    confidence: 0,
    evidence: ['a tone that follows no rotor speed and is no mains frequency'],
  };
}

function amongRotors({ order, trueHz, unseen }: RotorRange, rateHz: number): string {
  const turn = `${order === 1 ? 'once' : `${String(order)} times`} per revolution`;
  const folded =
    trueHz > rateHz / 2
      ? `, at about ${trueHz.toFixed(0)} Hz and folded by this log of ${rateHz.toFixed(0)} Hz`
      : '';
  const toTell =
    folded === ''
      ? 'log the rotor speeds to tell'
      : 'log the rotor speeds, or the raw gyro at 400 Hz or more, to tell';
  return unseen
    ? `not every rotor shows where its command makes one expect it; the line of such a one, ${turn}${folded}, may stand here, or something that rings; ${toTell}`
    : `it stands among the rotors’ lines of ${turn}${folded}, whose speeds are known from the spectrum only: part of them, or something that rings there; ${toTell}`;
}

/** Multiples of a swing that its limits make, and how near to one a line must stand: of its frequency, and Hz. */
const HIGHEST_MULTIPLE = 8;
const MULTIPLE_SHARE = 0.012;
/** They are weaker the higher they are; a line wider than the swing’s own multiple would be is something else. */
const WIDEST_HZ = 1;

/** The swing that a line of the gyro is a multiple of; null: none. Motors at their limits pass it on to every axis. */
function multipleOf(
  { record, spectrum, fitted }: FoundPeak,
  loops: readonly LoopLine[],
): { readonly loop: LoopLine; readonly order: number } | null {
  const { frequencyHz, halfWidthHz, rms } = fitted;
  if (fitted.kind !== 'tone' && halfWidthHz > WIDEST_HZ) return null;
  for (const loop of loops) {
    const order = Math.round(frequencyHz / loop.frequencyHz);
    if (!loop.sustained || order < 2 || order > HIGHEST_MULTIPLE) continue;
    const off = Math.abs(frequencyHz - order * loop.frequencyHz);
    const reach = Math.max(spectrum.binHz, MULTIPLE_SHARE * frequencyHz, 2 * order * loop.frequencyStdHz);
    if (off > Math.min(reach, loop.frequencyHz / 4)) continue;
    if (record.sensor === 'gyro' && rms > loop.rms / order) continue;
    return { loop, order };
  }
  return null;
}

const AXIS_OF: Readonly<Record<AxisName, BodyAxis>> = { roll: 'x', pitch: 'y', yaw: 'z' };

function near(a: number, b: number, share: number): boolean {
  return Math.abs(a - b) <= share * b;
}
