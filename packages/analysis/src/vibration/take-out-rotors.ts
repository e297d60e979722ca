/** Takes the rotors' lines out of a record one multiple after the other, the clearest first: what is a line of one is none of another. */
import { sharpness } from './find-base.js';
import { orderBand, subtractBand, turned, turning, type OrderBand } from './order-band.js';
import type { RotorAngle } from './order-lines.js';
import { foldedHz, loggedApartHz, rangeOf, type RotorLine } from './rotor-lines.js';
import type { SensorRecord } from './sensor-records.js';
import {
  restored,
  separateRotors,
  type BandFrame,
  type BandFrames,
  type BandLine,
} from './separate-rotors.js';

/** Orders looked for, as far as they are slower than this many times the sample rate. */
const HIGHEST_ORDER = 8;
const HIGHEST_RATES = 3;
/** Above this share of half the sample rate a line cannot be told from its mirror image. */
const TOP_SHARE = 0.985;
/** How far off its order a line may stand, share of the frequency: the speeds have been set by the lines before. */
const TOLERANCE = 0.001;
const LEAST_TOLERANCE_HZ = 0.3;
/** High orders and folded ones are rarer, so noise is likelier there than a line: their share of the false alarms. */
const USUAL_ORDERS = 4;
const RARE_SHARE = 0.05;
/** Of two explanations of a line the lower order and the plain one is taken unless the other is clearer by this, dB. */
const PER_ORDER_DB = 0.7;
const FOLDED_DB = 4;
/** Beyond a band's reach, Hz, where lines that were taken out still mattered. */
const BESIDE_HZ = 3;

export interface TakenOut {
  readonly lines: readonly RotorLine[];
  /** The record without them. */
  readonly rest: Float64Array;
}

interface Candidate {
  readonly order: number;
  readonly trueHz: number;
  readonly loggedHz: number;
  readonly cosSin: Float64Array;
  band: OrderBand;
  lines: BandLine[];
}

/** Angle of the rotors' mean, and cos and sin of its multiples, made once for all records of one clock. */
export class MeanAngle {
  readonly turns: Float64Array;
  readonly meanHz: number;
  private readonly multiples = new Map<number, Float64Array>();

  constructor(rotors: readonly RotorAngle[]) {
    this.turns = rotors[0]!.turns.map(
      (_, i) => rotors.reduce((sum, rotor) => sum + rotor.turns[i]!, 0) / rotors.length,
    );
    this.meanHz = rotors.reduce((sum, rotor) => sum + rotor.meanHz, 0) / rotors.length;
  }

  cosSin(order: number): Float64Array {
    const known = this.multiples.get(order);
    if (known !== undefined) return known;
    const made = turning(this.turns, order);
    this.multiples.set(order, made);
    return made;
  }
}

/**
 * @param falseAlarmRate chance that noise alone gives a line
 */
export function takeOutRotors(
  rotors: readonly RotorAngle[],
  mean: MeanAngle,
  record: SensorRecord,
  lowestHz: number,
  falseAlarmRate: number,
): TakenOut {
  const rest = record.values.slice();
  const lines: RotorLine[] = [];
  const before: Turning[] = [];
  if (rest.length !== mean.turns.length) return { lines, rest };
  const frames = new Map<number, BandFrames>();
  const perTest = falseAlarmRate / (USUAL_ORDERS * rotors.length);
  const separated = (band: OrderBand, trueHz: number): BandLine[] => {
    const { order } = band;
    const own = frames.get(order) ?? framesOf(rotors, mean, band);
    frames.set(order, own);
    const rare = order > USUAL_ORDERS || trueHz > record.sampleRateHz / 2;
    if (standsStill(band, own, mean)) return [];
    return separateRotors(
      band,
      own,
      Math.max(LEAST_TOLERANCE_HZ, TOLERANCE * trueHz),
      rare ? RARE_SHARE * perTest : perTest,
    );
  };
  let waiting: Candidate[] = [];
  for (let order = 1; order <= HIGHEST_ORDER; order++) {
    const trueHz = order * mean.meanHz;
    if (trueHz > HIGHEST_RATES * record.sampleRateHz) break;
    const { lowHz, turnedHz } = rangeOf(mean, order, record);
    const loggedHz = foldedHz(trueHz, record.sampleRateHz) + turnedHz;
    if (loggedHz < lowestHz || loggedHz > (TOP_SHARE * record.sampleRateHz) / 2) continue;
    // A range that folds at zero passes through the motion of the aircraft.
    if (trueHz > record.sampleRateHz / 2 && lowHz < lowestHz) continue;
    const cosSin = mean.cosSin(order);
    const band = orderBand(record, rest, cosSin, order, mean.meanHz);
    waiting.push({ order, trueHz, loggedHz, cosSin, band, lines: separated(band, trueHz) });
  }
  for (;;) {
    const next = clearestOf(waiting);
    if (next === null) break;
    waiting = waiting.filter((one) => one !== next);
    for (const line of next.lines) {
      const described = describe(line, next, rotors, record);
      const turning = { line: described, rotor: rotors[line.frames[0]!]! };
      if (isGhost(turning, before) || isUnlikely(described, line.gain, lines)) continue;
      lines.push(described);
      before.push(turning);
      const part = restored(next.band, line.z, offsetOf(line, frames.get(next.order)!.rotors));
      subtractBand(rest, part, next.band.factor, next.cosSin);
    }
    // What is left may show lines that a stronger one hid, and no more show what was its.
    for (const one of waiting) {
      if (Math.abs(one.loggedHz - next.loggedHz) > one.band.reachHz + next.band.reachHz + BESIDE_HZ) continue;
      one.band = orderBand(record, rest, one.cosSin, one.order, mean.meanHz);
      one.lines = separated(one.band, one.trueHz);
    }
  }
  return { lines, rest };
}

/** By how much narrower, natural log, a band is as it stands in time than turned with any rotor, if nothing in it turns. */
const STILL = 0.25;
const STILL_REACH = { leastHz: 2, share: 0.03 };

/** Whether what a band holds is smeared by turning it with the rotors: a mode or a tone. */
export function standsStill(
  band: OrderBand,
  { rotors, still }: { readonly rotors: readonly Pick<BandFrame, 'angle'>[]; readonly still: Float64Array },
  mean: MeanAngle,
): boolean {
  const hz = band.order * mean.meanHz;
  const near = {
    ...band,
    reachHz: Math.min(band.reachHz, Math.max(STILL_REACH.leastHz, STILL_REACH.share * hz)),
  };
  const inTime = sharpness(near, turned(band.z, still, -1)).value;
  const turning = Math.max(...rotors.map((frame) => sharpness(near, turned(band.z, frame.angle, -1)).value));
  return inTime > turning + STILL;
}

/** Angle by which what stands still runs ahead of a multiple of the rotors' mean, rad at the samples of a band. */
export function stillAngle(mean: MeanAngle, band: OrderBand): Float64Array {
  const perSample = mean.meanHz / band.record.sampleRateHz;
  return Float64Array.from({ length: band.z.length / 2 }, (_, i) => {
    const at = Math.min(mean.turns.length - 1, i * band.factor + ((band.factor - 1) >> 1));
    return 2 * Math.PI * band.order * (perSample * at - mean.turns[at]!);
  });
}

/** A line and a rotor that it turns with. */
interface Turning {
  readonly line: RotorLine;
  readonly rotor: RotorAngle;
}

/** A rare line this much weaker than one that it keeps with, rms over time, is what was left of that one. */
const GHOST_SHARE = 0.5;
const GHOST_HZ = 1.5;

function isGhost({ line, rotor }: Turning, before: readonly Turning[]): boolean {
  const { order, record, rms, folded } = line;
  if (!folded && order <= USUAL_ORDERS) return false;
  return before.some(
    (other) =>
      other.line.order !== order &&
      rms < GHOST_SHARE * other.line.rms &&
      loggedApartHz({ rotor, order }, { rotor: other.rotor, order: other.line.order }, record) < GHOST_HZ,
  );
}

/**
 * What rotors hardly make must stand out, and be no stronger than what they usually make, rms over the family's largest: unless a folded
 * line comes to rest with its rotor and with nothing else, natural log.
 */
const HIGH_ORDER = { leastDb: 10, most: 0.7 };
const FOLDED = { leastDb: 6, most: 6, sureGain: 1 };

function isUnlikely(line: RotorLine, gain: number, before: readonly RotorLine[]): boolean {
  const high = line.order > USUAL_ORDERS;
  if (!high && !line.folded) return false;
  const { leastDb, most } = high ? HIGH_ORDER : FOLDED;
  if (line.aboveFloorDb < leastDb) return true;
  const usual = before.filter((other) => other.order <= USUAL_ORDERS && other.order !== line.order);
  if (usual.length === 0) return high;
  if (!high && gain > FOLDED.sureGain) return false;
  return line.rms > most * Math.max(...usual.map((other) => other.rms));
}

function clearestOf(waiting: readonly Candidate[]): Candidate | null {
  const found = waiting.filter(({ lines }) => lines.length > 0);
  return found.length === 0 ? null : found.reduce((a, b) => (clarity(b) > clarity(a) ? b : a));
}

function clarity({ lines, order, trueHz, band }: Candidate): number {
  const best = Math.max(...lines.map((line) => line.aboveFloorDb));
  return best - PER_ORDER_DB * order - (trueHz > band.record.sampleRateHz / 2 ? FOLDED_DB : 0);
}

function offsetOf(line: BandLine, frames: readonly BandFrame[]): number {
  return line.frames.reduce((sum, i) => sum + frames[i]!.offsetHz, 0) / line.frames.length;
}

/** Angles of the rotors, and of what stands still, ahead of the rotors' mean at the samples of a band. */
function framesOf(rotors: readonly RotorAngle[], mean: MeanAngle, band: OrderBand): BandFrames {
  const count = band.z.length / 2;
  return {
    still: stillAngle(mean, band),
    rotors: rotors.map((rotor) => ({
      rotor: rotor.rotor,
      offsetHz: band.order * (rotor.meanHz - mean.meanHz),
      angle: Float64Array.from({ length: count }, (_, i) => {
        const at = Math.min(rotor.turns.length - 1, i * band.factor + ((band.factor - 1) >> 1));
        return 2 * Math.PI * band.order * (rotor.turns[at]! - mean.turns[at]!);
      }),
    })),
  };
}

function describe(
  line: BandLine,
  { order }: Candidate,
  rotors: readonly RotorAngle[],
  record: SensorRecord,
): RotorLine {
  const members = line.frames.map((i) => rotors[i]!);
  const meanHz = members.reduce((sum, rotor) => sum + rotor.meanHz, 0) / members.length;
  const trueHz = order * meanHz + (members.length === 1 ? line.shiftHz : 0);
  const ranges = members.map((rotor) => rangeOf(rotor, order, record));
  const turnedHz = ranges.reduce((sum, range) => sum + range.turnedHz, 0) / ranges.length;
  return {
    record,
    order,
    rotor: members.length === 1 ? members[0]!.rotor : null,
    offsetHz: line.shiftHz,
    rms: line.rms,
    aboveFloorDb: line.aboveFloorDb,
    floor: line.floor,
    trueHz,
    loggedHz: foldedHz(trueHz, record.sampleRateHz) + turnedHz,
    folded: trueHz > record.sampleRateHz / 2,
    lowHz: Math.min(...ranges.map((r) => r.lowHz)),
    highHz: Math.max(...ranges.map((r) => r.highHz)),
    firstHz: Math.min(...ranges.map((r) => r.firstHz)),
    lastHz: Math.max(...ranges.map((r) => r.lastHz)),
  };
}
