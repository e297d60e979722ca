/** What a study of the demands' signs says, in sentences. */
import type { AxisName, Flight } from '@settle/parser';
import type { Finding, Phase } from '../diagnosis.js';
import { studySigns, type SignStudy, type WrongAxis } from './demand-sign.js';

/** However sure the equations are, the log itself can be mislabelled. */
const SUREST = 0.97;
/** Weight far off centre tips an aircraft over at take-off much as a wrong sign does. */
const SUREST_ON_GROUND = 0.85;
const DEG = 180 / Math.PI;

export function signFindings(flight: Flight, phases: readonly Phase[]): Finding[] {
  const study = studySigns(flight, phases);
  return study?.isWrong === true ? describeSigns(study) : [];
}

export function describeSigns(study: SignStudy): Finding[] {
  const { axes, neverClear, interval, effect } = study;
  const surest = neverClear ? SUREST_ON_GROUND : SUREST;
  const shared = [
    `looked at from ${interval.startS.toFixed(2)} to ${interval.endS.toFixed(2)} s, before control was lost: ${effect.from}`,
    ...(neverClear
      ? [
          'it never got clear of the ground: weight so far off centre that no demand holds it looks much the same',
        ]
      : []),
    likelyReasons(axes),
  ];
  if (axes.length === 0)
    return [
      {
        id: 'demand-sign-wrong',
        axis: null,
        severity: 'danger',
        confidence: Math.min(surest, study.chance),
        summary: 'the demands do not turn the body as they should; which axis is wrong cannot be told',
        evidence: [
          `chance that each demand turns its own axis the right way round: ${(100 * effect.right).toFixed(2)} %`,
          ...shared,
        ],
      },
    ];
  return axes.map((wrong) => ({
    id: 'demand-sign-wrong',
    axis: wrong.axis,
    severity: 'danger' as const,
    confidence: Math.min(surest, wrong.chance),
    summary: `${wrong.axis} does not follow its own demand: ${instead(wrong)}`,
    evidence: [
      `${wrong.axis} reached ${(DEG * effect.peakRate[wrong.axis]).toFixed(0)} deg/s; taken to follow its own demand, ${pct(effect.leftOver[wrong.axis].right)} of its angular acceleration stays unexplained (mean square), as connected instead ${pct(effect.leftOver[wrong.axis].best)}`,
      ...(wrong.turnedBy.length > 1
        ? [
            `what turns it instead: ${wrong.turnedBy.map((way) => `${course(wrong.axis, way)} (${pct(way.chance)})`).join(', or ')}`,
          ]
        : []),
      ...shared,
    ],
  }));
}

/** An alternative this likely is said, the others only listed. */
const SAID = 0.75;

function instead(wrong: WrongAxis): string {
  const first = wrong.turnedBy[0];
  return first === undefined || first.chance < SAID
    ? 'it accelerates against it, or with that of another axis'
    : `it ${course(wrong.axis, first)}`;
}

function course(axis: AxisName, way: WrongAxis['turnedBy'][number]): string {
  if (way.demand === axis) return 'accelerates against it';
  return `${way.sign === 1 ? 'follows' : 'goes against'} the ${way.demand} demand`;
}

/** Mistakes that make such a pattern (geometry of four rotors at the corners of a square). */
function likelyReasons(axes: readonly WrongAxis[]): string {
  const own = axes.filter((a) => a.turnedBy[0]?.demand === a.axis).map((a) => a.axis);
  const from = (a: AxisName, b: AxisName): boolean =>
    axes.some((wrong) => wrong.axis === a && wrong.turnedBy[0]?.demand === b);
  const reasons: string[] = [];
  if (own.length === 1 && own[0] === 'yaw' && axes.length === 1)
    reasons.push('all rotors turn the other way than the mixer takes them to');
  if (own.includes('roll') && own.includes('pitch'))
    reasons.push('motors numbered from the opposite corner, or the sensor board turned by 180°');
  if (own.includes('yaw') && axes.length > 1)
    reasons.push('motors numbered in mirror image or one place round');
  if (from('roll', 'pitch') || from('pitch', 'roll'))
    reasons.push('the sensor board turned by 90°, or two motors across from each other swapped');
  if (from('roll', 'yaw') || from('pitch', 'yaw') || from('yaw', 'roll') || from('yaw', 'pitch'))
    reasons.push('two neighbouring motors swapped');
  return `likely reasons: ${reasons.length === 0 ? 'order of the motors, direction of the rotors, orientation of the sensor board' : reasons.join('; ')}`;
}

function pct(share: number): string {
  return `${(100 * Math.min(share, 9.99)).toFixed(0)} %`;
}
