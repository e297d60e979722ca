import { AXES, type AxisName } from '@settle/parser';
import type { AxisQuality, FlightConfig } from '@settle/simulator';
import type { GainChange, Trial, TrialFlight } from './closed-loop-trial.js';

/** What a set of trials of one adviser comes to. */
export interface TrialSummary {
  readonly aircraft: number;
  readonly unmodelled: number;
  readonly flexible: number;
  readonly flights: number;
  readonly cautious: number;
  /** Share of aircraft good after at most 0, 1, 2, … changes, %. */
  readonly goodWithinPct: readonly number[];
  /** Over all aircraft; null: half of them were not good in the end. */
  readonly medianChanges: number | null;
  /** Loops that advice took from safe to unstable, under 3 dB, or loose. */
  readonly unsafe: number;
  readonly firstUpsets: number;
  readonly upsets: number;
  readonly newUpsets: number;
  /** Of the hovers on good gains that were asked about: how often the advice left them good. */
  readonly askedWhenGood: number;
  readonly stayedGood: number;
  readonly simulatingMsPerFlight: number;
  readonly advisingMsPerFlight: number;
}

/** @param maxChanges as the trials were run with */
export function summariseTrials(trials: readonly Trial[], maxChanges = 4): TrialSummary {
  const flights = trials.flatMap((trial) => trial.flights);
  const count = <T>(of: readonly T[], is: (one: T) => boolean): number => of.filter(is).length;
  const changes = trials.map((trial) => trial.goodAfter ?? Infinity).sort((a, b) => a - b);
  // Of an even number the higher of the middle two: never better than it is.
  const median = changes[changes.length >> 1] ?? Infinity;
  const sum = (of: (trial: Trial) => number): number => trials.reduce((total, trial) => total + of(trial), 0);
  const asked = count(flights, (flight) => flight.changes !== null);
  return {
    aircraft: trials.length,
    unmodelled: count(trials, (trial) => trial.aircraft.unmodelled),
    flexible: count(trials, (trial) => trial.aircraft.flexible),
    flights: flights.length,
    cautious: count(flights, (flight) => flight.cautious),
    goodWithinPct: Array.from(
      { length: maxChanges + 1 },
      (_, k) => (100 * count(changes, (c) => c <= k)) / Math.max(1, trials.length),
    ),
    medianChanges: Number.isFinite(median) ? median : null,
    unsafe: flights.reduce((total, flight) => total + flight.unsafe.length, 0),
    firstUpsets: count(trials, (trial) => trial.flights[0]!.upset),
    upsets: count(flights, (flight) => flight.upset),
    newUpsets: count(flights, (flight) => flight.newUpset),
    askedWhenGood: count(trials, (trial) => trial.staysGood !== null),
    stayedGood: count(trials, (trial) => trial.staysGood === true),
    simulatingMsPerFlight: sum((trial) => trial.simulatingMs) / Math.max(1, flights.length),
    advisingMsPerFlight: sum((trial) => trial.advisingMs) / Math.max(1, asked),
  };
}

/** Advisers side by side, one row per figure. */
export function formatSummaries(summaries: Readonly<Record<string, TrialSummary>>): string {
  const columns = Object.entries(summaries);
  const row = (label: string, value: (summary: TrialSummary) => string): string[] => [
    label,
    ...columns.map(([, summary]) => value(summary)),
  ];
  const share = (part: number, whole: number): string => `${String(part)} of ${String(whole)}`;
  const most = columns[0]?.[1].goodWithinPct.length ?? 0;
  const rows = [
    ['', ...columns.map(([name]) => name)],
    row('aircraft (unmodelled effects, flexible)', (s) =>
      [s.aircraft, s.unmodelled, s.flexible].map(String).join(', '),
    ),
    ...Array.from({ length: most }, (_, k) =>
      row(`good within ${String(k)} changes`, (s) => `${s.goodWithinPct[k]!.toFixed(1)} %`),
    ),
    row('median changes', (s) =>
      s.medianChanges === null ? `> ${String(most - 1)}` : String(s.medianChanges),
    ),
    row('loops made unsafe by advice', (s) => String(s.unsafe)),
    row('upset on the first gains', (s) => share(s.firstUpsets, s.aircraft)),
    row('upsets in all flights', (s) => share(s.upsets, s.flights)),
    row('  of them only on the new gains', (s) => String(s.newUpsets)),
    row('flown without stick input', (s) => share(s.cautious, s.flights)),
    row('good hovers left good by advice', (s) =>
      s.askedWhenGood === 0 ? 'not asked' : share(s.stayedGood, s.askedWhenGood),
    ),
    row('simulating, ms per flight', (s) => s.simulatingMsPerFlight.toFixed(0)),
    row('advising, ms per flight', (s) => s.advisingMsPerFlight.toFixed(0)),
  ];
  const widths = rows[0]!.map((_, i) => Math.max(...rows.map((cells) => cells[i]!.length)));
  return rows
    .map((cells) =>
      cells.map((cell, i) => (i === 0 ? cell.padEnd(widths[i]!) : cell.padStart(widths[i]!))).join('  '),
    )
    .join('\n');
}

/** Why a trial falls short; empty where it does not. */
export function shortcomings(trial: Trial, wantedChanges = 2): string[] {
  const found: string[] = [];
  if (trial.goodAfter === null) found.push('never good');
  else if (trial.goodAfter > wantedChanges) found.push(`good after ${String(trial.goodAfter)} changes only`);
  trial.flights.forEach((flight, i) => {
    for (const { axis, loop, became } of flight.unsafe) {
      found.push(`advice ${String(i + 1)} makes the safe ${axis} ${loop} loop ${became}`);
    }
    if (flight.newUpset) found.push(`new upset in flight ${String(i)}`);
  });
  if (trial.staysGood === false) found.push('advice after the good hover spoils it');
  return found;
}

/** The whole story of one trial: the true aircraft, and flight by flight what was wrong and what was advised. */
export function explainTrial(trial: Trial): string {
  const { good } = trial.aircraft;
  const lines = [
    `seed ${String(trial.aircraft.seed)}: ${shortcomings(trial).join('; ') || 'as wanted'}`,
    ...describeAircraft(good),
  ];
  trial.flights.forEach((flight, i) => {
    lines.push(`  flight ${String(i)}: ${describeFlight(flight)}`);
    for (const axis of AXES) {
      const quality = flight.axes[axis];
      lines.push(
        `    ${axis.padEnd(5)} ${describeGains(trial.configs[i]!, good, axis)}  ${describeLoops(quality)}${describeFaults(quality)}`,
      );
    }
    const { changes } = flight;
    if (changes !== null) lines.push(`    advice: ${describeChanges(changes)}`);
  });
  return lines.join('\n');
}

const text = (value: number | null, digits: number): string => (value === null ? '–' : value.toFixed(digits));

function describeAircraft(config: FlightConfig): string[] {
  const { airframe, rotors, sensors, controller, unmodelled, flexibleMode, wind, log } = config;
  const per = (of: (axis: AxisName) => string): string => AXES.map(of).join('/');
  const lines = [
    [
      `lag ${text(1000 * rotors.lagS, 0)} ms`,
      `delay ${text(1000 * rotors.delayS, 1)} ms`,
      `loop ${text(config.loopRateHz, 0)} Hz`,
      `gyro low-pass ${text(sensors.gyroLowPassHz, 0)} Hz of order ${text(sensors.gyroLowPassOrder, 0)}`,
      `derivative low-pass ${text(controller.derivativeLowPassHz, 0)} Hz`,
      `rates at ${text(log.rateHz, 0)} Hz`,
    ],
    [
      `effectiveness ${per((axis) => text(airframe.effectiveness[axis], 0))} rad/s²`,
      `instability ${per((axis) => text(airframe.instability[axis], 1))} /s²`,
      `trim ${per((axis) => text(airframe.trim[axis], 3))}`,
      `coupling ${text(airframe.crossCoupling, 2)}`,
      `gusts ${per((axis) => text(wind.gustRadS2[axis], 2))} rad/s²`,
    ],
    [
      `good gains ${per((axis) => {
        const { kp, ki, kd } = controller.rate[axis];
        return `${kp.toPrecision(3)} ${ki.toPrecision(3)} ${kd.toPrecision(3)}`;
      })}`,
      `attitude ${per((axis) => text(controller.attitude[axis], 1))} /s`,
    ],
  ];
  const effects: string[] = [];
  if (unmodelled.thrustExponent !== 1) effects.push(`thrust exponent ${text(unmodelled.thrustExponent, 2)}`);
  if (unmodelled.batterySag) effects.push('battery sag');
  if (unmodelled.weakRotor !== null) effects.push(`weak rotor ${text(unmodelled.weakRotor.factor, 2)}`);
  if (unmodelled.extraLowPassHz !== null)
    effects.push(`hidden low-pass ${text(unmodelled.extraLowPassHz, 0)} Hz`);
  if (unmodelled.clockJitterS > 0) effects.push('clock jitter');
  if (flexibleMode !== null) {
    const { axis, frequencyHz, gain, dampingRatio } = flexibleMode;
    effects.push(
      `mode on ${axis} ${text(frequencyHz, 1)} Hz, gain ${text(gain, 3)}, damping ${text(dampingRatio, 3)}`,
    );
  }
  if (effects.length > 0) lines.push(effects);
  return lines.map((parts) => `  ${parts.join(', ')}`);
}

function describeFlight(flight: TrialFlight): string {
  const parts = [
    flight.cautious ? 'no stick input' : 'doublets',
    `${text(flight.airborneS, 1)} s in the air`,
  ];
  if (flight.airborneS === 0) parts.push('never clear of the ground');
  if (flight.upset) parts.push(flight.newUpset ? 'UPSET, the old gains were not' : 'upset');
  if (flight.good) parts.push('good');
  return parts.join(', ');
}

/** Gains over the good ones. */
function describeGains(config: FlightConfig, good: FlightConfig, axis: AxisName): string {
  const rate = config.controller.rate[axis];
  const wanted = good.controller.rate[axis];
  const times = (value: number, of: number): string => `×${(value / of).toFixed(2)}`;
  return [
    `P ${times(rate.kp, wanted.kp)}`,
    `I ${times(rate.ki, wanted.ki)}`,
    `D ${times(rate.kd, wanted.kd)}`,
    `attitude ${times(config.controller.attitude[axis], good.controller.attitude[axis])}`,
  ].join(' ');
}

function describeLoops(quality: AxisQuality): string {
  return (['rate', 'attitude'] as const)
    .map((name) => {
      const { margins, crossoverHz, crossoverShare } = quality[name];
      return `${name} ${text(margins.gainMarginDb, 1)} dB ${text(margins.phaseMarginDeg, 0)}° ${text(
        crossoverHz,
        2,
      )} Hz (${text(crossoverShare, 2)} of best)`;
    })
    .join(', ');
}

function describeFaults(quality: AxisQuality): string {
  const faults: string[] = [];
  for (const name of ['rate', 'attitude'] as const) {
    const { margins, safe } = quality[name];
    if (!margins.stable) faults.push(`${name} unstable`);
    else if (!safe) faults.push(`${name} tight`);
  }
  // Both loops safe and still not good: only the crossover is left.
  if (quality.rate.safe && quality.attitude.safe && !quality.good) faults.push('rate slow');
  return faults.length === 0 ? '' : `  ← ${faults.join(', ')}`;
}

function describeChanges(changes: readonly GainChange[]): string {
  if (changes.length === 0) return 'none';
  return changes
    .map(({ axis, loop, term, factor }) => `${axis} ${loop} ${term} ×${factor.toFixed(2)}`)
    .join(', ');
}
