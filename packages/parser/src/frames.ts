import type { AccelLevel } from './accel-units.js';
import type { ChannelMap } from './channel-map.js';
import type { AxisName, BodyAxis, ChannelName, FrameDecision } from './flight.js';
import type { Agreement, PerAxis } from './kinematics.js';
import { SAME_MOTION } from './rotation-units.js';
import type { RotationAgreement } from './rotation-units.js';

type Sign = 1 | -1;
export type Signs = Readonly<Record<AxisName, Sign>>;
type Pattern = Partial<Record<AxisName, Sign>>;

/** The sign of every group about x, y, z that brings the log to x forward, y right, z down. */
export interface FrameSigns {
  readonly frame: FrameDecision;
  readonly imu: Signs;
  readonly attitude: Signs;
  readonly rate: Signs;
  /** Why a group's sign is what it is. */
  readonly reasons: { readonly imu: string; readonly attitude: string; readonly rate: string };
  /** Contradictions the user should hear of. */
  readonly problems: readonly string[];
}

const SAME: Signs = { roll: 1, pitch: 1, yaw: 1 };
/** Between z up (y left) and z down (y right): half a turn about x. */
const FLIPPED: Signs = { roll: 1, pitch: -1, yaw: -1 };
const AXES: readonly AxisName[] = ['roll', 'pitch', 'yaw'];
/** Share of gravity on z from which the log's z axis is vertical. */
const UPRIGHT = 0.7;

/** Too little motion to compare, or nothing to compare with. */
const UNTIED = 'taken to be in the frame of the rest';

/** What of the log is there to be turned. */
export interface PresentGroups {
  readonly attitude: boolean;
  readonly gyro: boolean;
  readonly rate: boolean;
  /** Groups whose signs the map gives: they stand in the standard frame as they are. */
  readonly attitudeMapped: boolean;
  readonly gyroMapped: boolean;
}

/**
 * Decides the body frame. The accelerometer at rest or in hover shows −9.8 m/s² on a z axis that points down and +9.8
 * on one that points up; the sign of angle rate against body rate tells whether attitude and rates share that frame
 * (turning the frame half about x turns pitch and yaw, and leaves the kinematics as they are).
 */
export function decideFrame(
  level: AccelLevel,
  agreement: RotationAgreement,
  present: PresentGroups,
  map: ChannelMap | undefined,
): FrameSigns {
  const problems: string[] = [];
  const imu = imuFrame(level, map);
  const attitudeGyro = relate(signsOf(agreement.attitudeGyro));
  const attitudeRate = relate(signsOf(agreement.attitudeRate));
  const gyroRate = relate(signsOf(agreement.gyroRate));
  let imuSigns = imu.logged === 'z-up' ? FLIPPED : SAME;
  let known = imu.logged !== 'unknown';
  let attitude = imuSigns;
  let rate = imuSigns;
  const reasons = {
    imu: imu.why,
    attitude: UNTIED,
    rate: UNTIED,
  };

  if (attitudeGyro) {
    if (!known && attitudeGyro.turned && !present.gyroMapped) {
      // Nothing tells which of the two is in the standard frame; attitude names its axes, a sensor may be mounted any way.
      imuSigns = attitudeGyro.signs;
      attitude = SAME;
      reasons.imu = 'turned to agree with attitude';
    } else attitude = product(present.gyroMapped ? SAME : imuSigns, attitudeGyro.signs);
    reasons.attitude = `${attitudeGyro.words} as the gyro`;
    if (attitudeGyro.odd !== '')
      problems.push(`attitude and gyro turn in opposite senses about ${attitudeGyro.odd}; one of them is turned to agree`); // prettier-ignore
  }
  if (gyroRate) {
    rate = product(present.gyroMapped ? SAME : imuSigns, gyroRate.signs);
    reasons.rate = `${gyroRate.words} as the gyro`;
    if (!attitudeGyro && attitudeRate) {
      attitude = product(rate, attitudeRate.signs);
      reasons.attitude = `${attitudeRate.words} as the body rates`;
    }
  } else if (attitudeRate) {
    rate = product(present.attitudeMapped ? SAME : attitude, attitudeRate.signs);
    reasons.rate = `${attitudeRate.words} as the rate of attitude`;
  }
  const rateRelation = gyroRate ?? attitudeRate;
  if (rateRelation && rateRelation.odd !== '')
    problems.push(`the body rates turn the other way about ${rateRelation.odd}; turned to agree`);
  const relations = [attitudeGyro, rateRelation].filter((relation) => relation !== null);
  if (relations.some((relation) => relation.odd !== '' && relation.odd !== 'yaw')) known = false;
  // With z down nothing has to be turned; with z up, motion about roll alone leaves the sense of pitch and yaw open.
  if (imu.logged === 'z-up' && relations.some((relation) => relation.lateralUnknown)) known = false;
  const tied = attitudeGyro !== null || (gyroRate !== null && attitudeRate !== null);
  if (imu.logged === 'z-up' && present.attitude && !tied && map?.frame === undefined) {
    // An accelerometer with z up says nothing about angles that nothing ties to it.
    known = false;
    attitude = SAME;
    if (!gyroRate && present.rate) rate = attitudeRate?.signs ?? SAME;
    reasons.attitude = 'nothing ties it to the frame of the accelerometer';
  }
  const frame: FrameDecision = known
    ? { logged: imu.logged, decidedBy: imu.why }
    : { logged: 'unknown', decidedBy: imu.logged === 'unknown' ? imu.why : `${imu.why}, but attitude and rates cannot be tied to it` }; // prettier-ignore
  return { frame, imu: imuSigns, attitude, rate, reasons, problems };
}

function imuFrame(
  level: AccelLevel,
  map: ChannelMap | undefined,
): { logged: FrameDecision['logged']; why: string } {
  if (map?.frame !== undefined) return { logged: map.frame, why: `map ${map.name} says ${map.frame}` };
  if (level.meanZ === null) return { logged: 'unknown', why: 'no accelerometer to show which way z points' };
  const shown = `accelerometer z is ${level.meanZ.toFixed(1)} m/s² on average`;
  if (level.zShare === null) return { logged: 'unknown', why: `${shown}: no gravity to be seen` };
  if (level.zShare > UPRIGHT) return { logged: 'z-up', why: `${shown}: z points up` };
  if (level.zShare < -UPRIGHT) return { logged: 'z-down', why: `${shown}: z points down` };
  return { logged: 'unknown', why: `${shown}: gravity is not along z` };
}

function signsOf(agreement: PerAxis<Agreement>): Pattern {
  const signs: Pattern = {};
  for (const axis of AXES) {
    const each = agreement[axis];
    if (each && Math.abs(each.correlation) >= SAME_MOTION) signs[axis] = each.correlation > 0 ? 1 : -1;
  }
  return signs;
}

interface Relation {
  readonly signs: Signs;
  /** In the frame turned half about x. */
  readonly turned: boolean;
  /** Axes that fit neither frame; yaw alone is a heading counted the other way, which leaves the frame as it is. */
  readonly odd: string;
  /** No motion about pitch or yaw to compare. */
  readonly lateralUnknown: boolean;
  readonly words: string;
}

/** Reads a pattern of signs as the same frame, the frame turned half about x, or neither. */
function relate(pattern: Pattern): Relation | null {
  const known = AXES.filter((axis) => pattern[axis] !== undefined);
  if (known.length === 0) return null;
  const lateral = pattern.pitch ?? pattern.yaw;
  const turned = lateral === -1;
  const base = turned ? FLIPPED : SAME;
  const oddAxes = known.filter((axis) => pattern[axis] !== base[axis]);
  const signs = { ...base };
  for (const axis of oddAxes) signs[axis] = pattern[axis]!;
  const listed = (sign: Sign): string => known.filter((axis) => pattern[axis] === sign).join(', ');
  const senses = [
    [listed(1), 'in the same sense'],
    [listed(-1), 'in the opposite sense'],
  ].filter(([axes]) => axes !== '');
  const words = senses.map((sense) => sense.join(' ')).join(', ');
  return {
    signs,
    turned,
    odd: oddAxes.join(' and '),
    lateralUnknown: lateral === undefined,
    words,
  };
}

function product(a: Signs, b: Signs): Signs {
  return {
    roll: (a.roll * b.roll) as Sign,
    pitch: (a.pitch * b.pitch) as Sign,
    yaw: (a.yaw * b.yaw) as Sign,
  };
}

const BODY: Record<BodyAxis, AxisName> = { x: 'roll', y: 'pitch', z: 'yaw' };

/** The sign a channel gets, and why; null for channels without a direction about an axis. */
export function signOf(channel: ChannelName, signs: FrameSigns): { sign: Sign; why: string } | null {
  const [family, axis] = channel.split('.');
  if (family === 'gyro' || family === 'accel')
    return { sign: signs.imu[BODY[axis as BodyAxis]], why: signs.reasons.imu };
  if (family === 'attitude') return { sign: signs.attitude[axis as AxisName], why: signs.reasons.attitude };
  if (family === 'rate') return { sign: signs.rate[axis as AxisName], why: signs.reasons.rate };
  return null;
}
