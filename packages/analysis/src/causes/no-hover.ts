import type { Flight } from '@settle/parser';
import { CannotAnalyse } from '../cannot-analyse.js';
import type { Phase } from '../diagnosis.js';
import { signFindings } from './sign-findings.js';

/** Why a flight without a hover cannot be analysed: an aircraft that tips over at take-off may still show what is wrong. */
export function noHover(flight: Flight, phases: readonly Phase[]): CannotAnalyse {
  const wrong = signFindings(flight, phases);
  if (wrong.length > 0)
    return new CannotAnalyse(
      `no hover found in the log, but what came before control was lost shows why: ${wrong.map((f) => f.summary).join('; ')}`,
      `do not fly; with the props off check the order and direction of the motors and the orientation of the sensor board. ${wrong[0]!.evidence.at(-1)!}`,
    );
  return new CannotAnalyse(
    'no hover found in the log',
    'give its start and end with --from and --to, or log motor commands, throttle or height',
  );
}
