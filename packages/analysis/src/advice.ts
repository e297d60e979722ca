import type { Flight, Interval } from '@settle/parser';
import type { AxisStudy } from './axis-study.js';
import type { Advice, Finding } from './diagnosis.js';
import { lacksForCause } from './lacks.js';

export interface AdviceContext {
  readonly flight: Flight;
  readonly studies: readonly AxisStudy[];
  readonly findings: readonly Finding[];
  readonly hover: Interval;
}

/** A calm hover at least this long shows slow oscillations and places filters (common practice, no source). */
const GOOD_HOVER_S = 30;

/** What to do before the next hover. This version finds and measures; it changes no gain. */
export function adviseNext({ flight, studies, findings, hover }: AdviceContext): Advice[] {
  const out: Advice[] = [];
  if (findings.some((finding) => finding.id === 'upset'))
    out.push({
      step: 1,
      kind: 'do-not-fly',
      basis: 'rule-of-thumb',
      because: ['the aircraft tipped beyond 60°'],
      watchFor: 'a motor that turns the wrong way, or answers another motor’s command',
      text: 'Do not fly. With the props off, check the order and direction of the motors, the orientation of the sensor board and the airframe.',
    });
  const dangerous = findings.filter((f) => f.severity === 'danger' && f.id === 'oscillation');
  if (dangerous.length > 0)
    out.push({
      step: 1,
      kind: 'do-not-fly',
      basis: 'rule-of-thumb',
      because: dangerous.map((f) => f.summary),
      watchFor: 'the same swing on the next lift-off: land at once',
      text: 'Unless this swing was flown on purpose, do not repeat this hover unchanged: find the cause first. It can be a gain, a loose part or the reference itself; inspect arms, mounts and props with the battery unplugged. This version does not say which gain.',
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
  const durationS = hover.endS - hover.startS;
  if (durationS < GOOD_HOVER_S && dangerous.length === 0 && swinging.length === 0)
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
