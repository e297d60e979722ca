import type { Flight } from '@settle/parser';
import { CannotAnalyse } from '../cannot-analyse.js';
import type { Phase } from '../diagnosis.js';
import { motorsNeverTurn, TURNS_SHARE } from '../phases/power.js';
import { signFindings } from './sign-findings.js';

/** Why a flight without a hover cannot be analysed: an aircraft that tips over at take-off may still show what is wrong. */
export function noHover(flight: Flight, phases: readonly Phase[]): CannotAnalyse {
  const wrong = signFindings(flight, phases);
  if (wrong.length > 0)
    return new CannotAnalyse(
      `no hover found in the log, but what came before control was lost shows why: ${wrong.map((f) => f.summary).join('; ')}`,
      `do not fly; with the props off check the order and direction of the motors and the orientation of the sensor board. ${wrong[0]!.evidence.at(-1)!}`,
    );
  if (motorsNeverTurn(flight))
    return new CannotAnalyse(
      `no hover found in the log: no motor is ever told more than ${(100 * TURNS_SHARE).toFixed(0)} %`,
      'if it did fly, the motor commands were not logged: give start and end of the hover with --from and --to',
    );
  return new CannotAnalyse(
    'no hover found in the log',
    'give its start and end with --from and --to, or log motor commands, throttle or height',
  );
}
