import { AXES, type AxisName } from '@settle/parser';
import {
  bestLoop,
  isUpset,
  judgeAxis,
  planTrialFlight,
  simulateFlight,
  toCsvFiles,
  toGainsFile,
  trialAircraft,
  unsafeChanges,
  type AxisQuality,
  type BestLoop,
  type CsvFile,
  type FlightConfig,
  type LoopName,
  type PerAxis,
  type SimulatedFlight,
  type TrialAircraft,
  type UnsafeChange,
} from '@settle/simulator';

/** A gain is to be multiplied by a factor. Of the attitude loop the only term is P. */
export interface GainChange {
  readonly axis: AxisName;
  readonly loop: LoopName;
  readonly term: 'P' | 'I' | 'D' | 'FF';
  readonly factor: number;
}

/** What a flight leaves behind for an adviser. */
export interface AdviserInput {
  /** The log: one CSV file per group. */
  readonly files: readonly CsvFile[];
  /** The gains flown, as the contract's gains file (JSON). */
  readonly gainsText: string;
  /** For rules that are told the truth; a tool under trial must not look. */
  readonly truth: () => SimulatedFlight;
}

/** Says what to change before the next hover. An empty list: fly the same gains again. */
export type Adviser = (input: AdviserInput) => readonly GainChange[];

export interface TrialOptions {
  /** Changes of gains allowed; 4 by default. */
  readonly maxChanges?: number;
  /** Ask once more about the first hover on good gains, and judge that advice too: it must do no harm. */
  readonly askWhenGood?: boolean;
}

/** One flight of a trial and the advice that followed it. */
export interface TrialFlight {
  readonly cautious: boolean;
  /** Time in the air, s; 0: never clear of the ground. */
  readonly airborneS: number;
  readonly upset: boolean;
  /** Upset on changed gains while the gains before, flown their own way in the same wind and noise, stay upright. */
  readonly newUpset: boolean;
  readonly axes: PerAxis<AxisQuality>;
  /** All axes good. */
  readonly good: boolean;
  /** Advice taken after this flight; null: not asked. */
  readonly changes: readonly GainChange[] | null;
  /** What that advice spoils. */
  readonly unsafe: readonly UnsafeChange[];
}

export interface Trial {
  readonly aircraft: TrialAircraft;
  readonly flights: readonly TrialFlight[];
  /** Configurations of the flights. */
  readonly configs: readonly FlightConfig[];
  /** Changes it took until all axes were good; null: more than were allowed. */
  readonly goodAfter: number | null;
  /** Whether the advice about the good hover left it good; null: not asked. */
  readonly staysGood: boolean | null;
  readonly simulatingMs: number;
  readonly advisingMs: number;
}

/** Flies, asks, applies and flies again until the truth calls all axes good or the changes are used up. */
export function runTrial(seed: number, adviser: Adviser, options: TrialOptions = {}): Trial {
  const { maxChanges = 4, askWhenGood = false } = options;
  const { aircraft, best } = contestant(seed);
  const flights: TrialFlight[] = [];
  const configs: FlightConfig[] = [];
  let simulatingMs = 0;
  let advisingMs = 0;
  const fly = (
    gains: FlightConfig,
    axes: PerAxis<AxisQuality>,
    flightSeed: number,
    first: boolean,
  ): SimulatedFlight => {
    const started = performance.now();
    // A first hover that is loose is not stirred. Later the tool has asked for stick movements, and a stable loop may have them.
    const precarious = AXES.some((axis) =>
      first ? axes[axis].precarious : !axes[axis].rate.margins.stable || !axes[axis].attitude.margins.stable,
    );
    const sim = simulateFlight(planTrialFlight(gains, precarious, flightSeed).config, flightSeed);
    simulatingMs += performance.now() - started;
    return sim;
  };
  const ask = (sim: SimulatedFlight): readonly GainChange[] => {
    const started = performance.now();
    const changes = adviser(adviserInput(sim));
    advisingMs += performance.now() - started;
    return changes;
  };

  let gains = aircraft.start;
  let axes = judgeAll(gains, best);
  let before: { gains: FlightConfig; axes: PerAxis<AxisQuality> } | null = null;
  for (let change = 0; ; change++) {
    const flightSeed = seed * 16 + change;
    const sim = fly(gains, axes, flightSeed, change === 0);
    const upset = isUpset(sim.truth);
    const good = AXES.every((axis) => axes[axis].good);
    const changed = before !== null && flights.at(-1)!.changes!.length > 0;
    const newUpset = upset && changed && !isUpset(fly(before!.gains, before!.axes, flightSeed, false).truth);
    const last = good || change === maxChanges;
    const changes = last && !(good && askWhenGood) ? null : ask(sim);
    const next = applyChanges(gains, changes ?? []);
    const nextAxes = changes === null ? axes : judgeAll(next, best);
    const { airborne } = sim.truth;
    flights.push({
      cautious: sim.config.script.abort !== null,
      airborneS: airborne === null ? 0 : airborne.endS - airborne.startS,
      upset,
      newUpset,
      axes,
      good,
      changes,
      unsafe: AXES.flatMap((axis) => unsafeChanges(axis, axes[axis], nextAxes[axis])),
    });
    configs.push(sim.config);
    if (last) {
      return {
        aircraft,
        flights,
        configs,
        goodAfter: good ? change : null,
        staysGood: good && changes !== null ? AXES.every((axis) => nextAxes[axis].good) : null,
        simulatingMs,
        advisingMs,
      };
    }
    before = { gains, axes };
    gains = next;
    axes = nextAxes;
  }
}

interface Contestant {
  readonly aircraft: TrialAircraft;
  readonly best: PerAxis<BestLoop>;
}

/** Drawing an aircraft takes as long as flying it a few times, and several advisers get the same. */
const contestants = new Map<number, Contestant>();

function contestant(seed: number): Contestant {
  let found = contestants.get(seed);
  if (found === undefined) {
    const aircraft = trialAircraft(seed);
    found = { aircraft, best: perAxis((axis) => bestLoop(aircraft.start, axis)) };
    contestants.set(seed, found);
  }
  return found;
}

/** The files are written only for those who read them: it takes a third as long as the flight. */
function adviserInput(sim: SimulatedFlight): AdviserInput {
  let files: readonly CsvFile[] | null = null;
  return {
    get files() {
      return (files ??= toCsvFiles(sim));
    },
    gainsText: JSON.stringify(toGainsFile(sim.config)),
    truth: () => sim,
  };
}

/** @throws RangeError for a factor that is not a positive number, and for terms a loop does not have */
export function applyChanges(config: FlightConfig, changes: readonly GainChange[]): FlightConfig {
  const next = structuredClone(config);
  for (const { axis, loop, term, factor } of changes) {
    if (!(factor > 0 && Number.isFinite(factor))) {
      throw new RangeError(`a gain cannot be multiplied by ${String(factor)}`);
    }
    if (loop === 'rate') {
      const key = ({ P: 'kp', I: 'ki', D: 'kd', FF: 'kff' } as const)[term];
      next.controller.rate[axis][key] *= factor;
    } else {
      if (term !== 'P') throw new RangeError(`the attitude loop has no ${term} term`);
      next.controller.attitude[axis] *= factor;
    }
  }
  return next;
}

function judgeAll(config: FlightConfig, best: PerAxis<BestLoop>): PerAxis<AxisQuality> {
  return perAxis((axis) => judgeAxis(config, axis, best[axis]));
}

function perAxis<T>(of: (axis: AxisName) => T): PerAxis<T> {
  return { roll: of('roll'), pitch: of('pitch'), yaw: of('yaw') };
}
