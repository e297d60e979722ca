import type { Tally, VibrationTrialResult } from './vibration-trial.js';

/** The trial's figures, one a line. */
export function tabulate(r: VibrationTrialResult): string {
  const named = { right: r.kind.right, of: r.kind.of - r.kindUnknown };
  const rows: [string, string][] = [
    ['rotor speed within 1 %, speeds logged', share(r.rotorWithChannel)],
    ['  from the spectrum alone', share(r.rotorFromSpectrum)],
    ['    none given', share(r.rotorWithheld)],
    ['    one given that is farther off', share(r.rotorWrong)],
    ['  from lines too weak to be asked for, where given', share(r.rotorFromWeak)],
    ['  given in quiet flights', share(r.rotorFromNothing)],
    ['  throttle exponent within 0.1', share(r.exponent)],
    ['lines 10 dB above the floor found', share(r.found)],
    ['  level within 10 %', share(r.level)],
    ['    throttle constant', share(r.levelConstant)],
    ['    throttle moving', share(r.levelMoving)],
    ['  frequency within 1 %', share(r.frequency)],
    ['    stated standard deviation covers (68 %)', share(r.frequencyStd)],
    ['  kind right', share(r.kind)],
    ['    of those not called unknown', share(named)],
    ['    as the whole cluster is called', share(r.kindOfCluster)],
    ['  rotor named, standing alone, speeds logged', share(r.rotorNamed)],
    ['a mode called a rotor', share(r.structureCalledRotor)],
    ['  or a line of a rotor in its reach', share(r.rotorInReachOfMode)],
    ['folded lines flagged', share(r.folded)],
    ['  true frequency right, throttle moving', share(r.foldedTrueMoving)],
    ['  true frequency right, throttle constant', share(r.foldedTrueConstant)],
    ['  lines flagged that are not folded', share(r.foldedWrongly)],
    ['lines that are none, in flights that vibrate', share(r.extra)],
    ['quiet sensor axes that show a line', share(r.quietAxes)],
    ['  by the stated rate', `${r.statedFalse.toFixed(1)} of ${String(r.quietAxes.of)}`],
  ];
  const head = `${String(r.flights)} flights: ${String(r.quiet)} quiet, ${String(r.moving)} with moving throttle, ${String(
    r.aliased,
  )} with folded lines`;
  const wide = Math.max(...rows.map(([name]) => name.length)) + 2;
  return [head, ...rows.map(([name, value]) => name.padEnd(wide) + value)].join('\n');
}

function share({ right, of }: Tally): string {
  return of === 0 ? '–' : `${((100 * right) / of).toFixed(1)} % of ${String(of)}`;
}
