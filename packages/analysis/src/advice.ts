import type { Flight, Interval } from '@settle/parser';
import type { AxisStudy } from './axis-study.js';
import { adviseCauses, adviseSigns, forbidsGains } from './causes/cause-advice.js';
import type { Advice, Finding, Phase } from './diagnosis.js';
import { adviseGains, type AxisDecision } from './identification/gain-advice.js';
import { lacksForCause } from './lacks.js';
import { adviseFilters } from './notch/filter-advice.js';
import type { NotchPlan } from './notch/plan-types.js';
import { tippedInFlight } from './phases/upsets.js';
import type { Unavailable } from './unavailable.js';

export interface AdviceContext {
  readonly flight: Flight;
  readonly studies: readonly AxisStudy[];
  readonly decisions: readonly AxisDecision[];
  readonly findings: readonly Finding[];
  readonly phases: readonly Phase[];
  readonly hover: Interval;
  readonly filters?: NotchPlan | Unavailable;
}

/** Findings that mean the aircraft swings. */
const SWINGS = new Set([
  'oscillation',
  'rate-loop-too-tight',
  'derivative-too-strong',
  'integral-too-strong',
  'attitude-loop-too-tight',
]);
/** A calm hover at least this long shows slow oscillations and places filters (common practice, no source). */
const GOOD_HOVER_S = 30;

/** What to do before the next hover. */
export function adviseNext({
  flight,
  studies,
  decisions,
  findings,
  phases,
  hover,
  filters,
}: AdviceContext): Advice[] {
  const out: Advice[] = [];
  const upset = findings.some((finding) => finding.id === 'upset');
  const wired = forbidsGains(findings);
  out.push(...adviseSigns(findings));
  // What tipped over once it had landed was held in the air.
  const lost = tippedInFlight(phases);
  if (upset && !lost && !wired)
    out.push({
      step: 1,
      kind: 'mechanical',
      basis: 'rule-of-thumb',
      because: ['the aircraft tipped beyond 60° on the ground, once it had landed'],
      watchFor: 'chipped props, bent shafts, a loose arm or landing gear',
      text: 'With the battery unplugged, look over props, motors, arms and landing gear before the next flight, and land where nothing catches the gear.',
    });
  if (upset && lost && !wired)
    out.push({
      step: 1,
      kind: 'do-not-fly',
      basis: 'rule-of-thumb',
      because: ['the aircraft tipped beyond 60°'],
      watchFor: 'a motor that turns the wrong way, or answers another motor’s command',
      text: 'Do not fly. With the props off, check the order and direction of the motors, the orientation of the sensor board and the airframe.',
    });
  const bending = new Set(
    studies
      .filter((study) => study.oscillations.some((o) => o.origin === 'structure'))
      .map((study) => study.axis),
  );
  const gains = wired ? [] : adviseGains({ decisions, upset: lost, bending });
  const changed = new Set(gains.map((advice) => advice.axis));
  const dangerous = findings.filter(
    (f) => f.severity === 'danger' && SWINGS.has(f.id) && (f.axis === null || !changed.has(f.axis)),
  );
  if (dangerous.length > 0 && !wired)
    out.push({
      step: 1,
      kind: 'do-not-fly',
      basis: 'rule-of-thumb',
      because: dangerous.map((f) => f.summary),
      watchFor: 'the same swing on the next lift-off: land at once',
      text: 'Unless this swing was flown on purpose, do not repeat this hover unchanged: find the cause first. It can be a gain, a loose part or the reference itself; inspect arms, mounts and props with the battery unplugged. This log does not say which gain.',
    });
  out.push(...gains);
  if (filters !== undefined && !wired) out.push(...adviseFilters(filters, decisions, lost));
  const shaken = findings.filter(
    (f) => f.id === 'structural-resonance' && f.axis !== null && !bending.has(f.axis),
  );
  if (shaken.length > 0)
    out.push({
      step: 1,
      kind: 'mechanical',
      basis: 'rule-of-thumb',
      because: shaken.map((f) => f.summary),
      watchFor: 'play, cracks, loose screws and joints that give',
      text: `With the battery unplugged, look over arms, joints and mounts of what turns ${[...new Set(shaken.map((f) => f.axis!))].join(' and ')}: what is stiffer or lighter shakes less.`,
    });
  if (bending.size > 0)
    out.push({
      step: 1,
      kind: 'mechanical',
      basis: 'rule-of-thumb',
      because: [`something of the structure rings on ${[...bending].join(' and ')}; no gain is raised there`],
      watchFor: 'play, cracks, loose screws and joints that give',
      text: 'With the battery unplugged and the props off, inspect arms, booms, joints, motor mounts and the mount of the sensor board, and tighten or stiffen what gives',
    });
  const unseen = decisions.filter(
    (d) => d.measured === null && d.rule === null && d.id.controller !== null && d.id.plant === null,
  );
  if (unseen.length > 0 && dangerous.length === 0 && !upset && !wired)
    out.push({
      step: 1,
      kind: 'flying',
      basis: 'rule-of-thumb',
      because: unseen.map((d) => `${d.axis}: ${d.id.why ?? 'not identified'}`),
      watchFor: 'a swing that does not die away at once: no more stick movements, land',
      text: `On the next hover, once it is calm and clear of the ground, move the stick${unseen.length === 1 ? ` of ${unseen[0]!.axis}` : `s of ${unseen.map((d) => d.axis).join(' and ')} one at a time`}: a small quick push to one side and back to the other, a second in all, then hands still for three seconds; twice each`,
    });
  const swinging = studies.filter((study) =>
    study.oscillations.some((o) => o.origin === 'unknown' && o.follows === null),
  );
  const missing = lacksForCause(
    flight,
    swinging.map((study) => study.axis),
  );
  if (swinging.length > 0 && missing.length > 0)
    out.push({
      step: 1,
      kind: 'logging',
      basis: 'rule-of-thumb',
      because: [
        `the cause of the ${swinging.map((s) => s.axis).join(' and ')} oscillation cannot be told from this log`,
      ],
      watchFor: 'a log rate of at least 100 Hz for rates and demands',
      text: `Log ${missing.join(', ')} on the next hover.`,
    });
  if (!wired) out.push(...adviseCauses(flight, hover, findings));
  const durationS = hover.endS - hover.startS;
  if (durationS < GOOD_HOVER_S && dangerous.length === 0 && swinging.length === 0 && !wired)
    out.push({
      step: 1,
      kind: 'flying',
      basis: 'rule-of-thumb',
      because: [`the hover lasts ${durationS.toFixed(0)} s; slow oscillations need longer to show`],
      watchFor: 'anything that grows: land',
      text: 'If the next hover stays calm, hold it for 30 s, in little wind and with small stick movements.',
    });
  return out;
}
