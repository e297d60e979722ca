import { AXES, readFlight, type AxisName, type Flight, type Interval } from '@settle/parser';
import { CannotAnalyse, diagnose, type Diagnosis, type Oscillation } from '@settle/analysis';
import {
  simulateFlight,
  simulateRandom,
  toCsvFiles,
  toFlight,
  trueLine,
  trueRate,
  type FlightTruth,
  type LabelledFlight,
  type RandomKind,
} from '@settle/simulator';

/** What one kind of flight showed over a range of seeds. */
export interface TrialResult {
  readonly kind: RandomKind;
  readonly flights: number;
  readonly hops: number;
  readonly unmodelled: number;
  /** Flights without an oscillation in which one was reported. */
  readonly falseAlarms: number;
  readonly expected: number;
  readonly found: number;
  readonly frequencyWithin2Pct: number;
  readonly amplitudeWithin10Pct: number;
  /** Flights whose analysed hover overlaps the true one with intersection over union above 0.9. */
  readonly hoverRight: number;
  /** Errors of frequency over their stated standard deviation: against the linear pole (driven flights, as modelled). */
  readonly againstPole: readonly number[];
  /** The same against the mean of other flights of the same aircraft in other wind (long limit cycles). */
  readonly againstTwins: readonly number[];
  readonly remarks: readonly string[];
}

export interface TrialOptions {
  readonly firstSeed: number;
  readonly flights: number;
  /** Fly this many other winds for each long limit cycle; 0 leaves that out. */
  readonly twins: number;
  /** Leave out flights with effects that the linear model of their truth does not have. */
  readonly onlyAsModelled?: boolean;
}

const DEG = 180 / Math.PI;
/** Every so many flights goes through CSV text and the reader. */
const THROUGH_CSV = 4;

/** Flies, diagnoses and compares with the noise-free motion. */
export function runDetectionTrial(kind: RandomKind, options: TrialOptions): TrialResult {
  const result = {
    kind,
    flights: 0,
    hops: 0,
    unmodelled: 0,
    falseAlarms: 0,
    expected: 0,
    found: 0,
    frequencyWithin2Pct: 0,
    amplitudeWithin10Pct: 0,
    hoverRight: 0,
    againstPole: [] as number[],
    againstTwins: [] as number[],
    remarks: [] as string[],
  };
  for (let seed = options.firstSeed; result.flights < options.flights; seed++) {
    const labelled = simulateRandom(kind, seed);
    const { sim, flight, shown } = labelled;
    // Unstable aircraft are half landed at once and half flown on: draws of a half that is full are left out.
    const halves = kind === 'limit-cycle' || kind === 'growing';
    const inHalf = flight.hop ? result.hops : result.flights - result.hops;
    if (halves && inHalf >= Math.ceil(options.flights / 2)) continue;
    // The pole is the truth of one axis alone, as the linear model has it.
    const asModelled = !flight.unmodelled && sim.config.airframe.crossCoupling === 0;
    if (options.onlyAsModelled === true && !asModelled) continue;
    const remark = (text: string): void => {
      result.remarks.push(`${kind} ${String(seed)}: ${text}`);
    };
    result.flights++;
    result.expected += shown.length;
    if (flight.hop) result.hops++;
    if (flight.unmodelled) result.unmodelled++;
    let diagnosis: Diagnosis;
    try {
      diagnosis = diagnose(logOf(labelled, seed), { vibration: false });
    } catch (error) {
      if (!(error instanceof CannotAnalyse)) throw error;
      remark(`could not be analysed: ${error.message}`);
      continue;
    }
    const overlap = intersectionOverUnion(sim.truth.airborne!, diagnosis.analysed);
    if (overlap > 0.9) result.hoverRight++;
    else remark(`hover overlaps ${overlap.toFixed(3)}, told from ${diagnosis.phasesFrom}`);
    if (shown.length === 0) {
      if (AXES.some((axis) => diagnosis.axes[axis].oscillations.length > 0)) {
        result.falseAlarms++;
        remark(`false: ${describe(diagnosis)}`);
      }
      continue;
    }
    for (const line of shown) {
      const got = match(sim.truth, diagnosis, line.axis, line.frequencyHz);
      if (got === null) {
        remark(`missed ${line.axis} ${line.frequencyHz.toFixed(2)} Hz; ${describe(diagnosis)}`);
        continue;
      }
      result.found++;
      const trueHz = trueLine(sim.truth, line.axis, got, got.frequencyHz, 0.12).frequencyHz;
      const frequencyError = got.frequencyHz / trueHz - 1;
      if (Math.abs(frequencyError) < 0.02) result.frequencyWithin2Pct++;
      else
        remark(
          `${line.axis} ${got.frequencyHz.toFixed(3)} Hz is ${(100 * frequencyError).toFixed(1)} % off (${got.regime})`,
        );
      const amplitudeError =
        got.rateAmplitudeDegS / (trueAmplitude(sim.truth, line.axis, got, got.frequencyHz) * DEG) - 1;
      if (Math.abs(amplitudeError) < 0.1) result.amplitudeWithin10Pct++;
      else
        remark(
          `${line.axis} amplitude ${got.rateAmplitudeDegS.toFixed(1)} deg/s is ${(100 * amplitudeError).toFixed(0)} % off`,
        );
      if (kind === 'driven' && got.regime === 'driven' && asModelled)
        result.againstPole.push((got.frequencyHz - line.linearHz) / got.frequencyStdHz);
      if (kind === 'limit-cycle' && got.regime === 'limit-cycle' && !flight.hop && options.twins > 0) {
        const z = twinError(labelled, seed, line.axis, got, options.twins);
        if (z !== null) result.againstTwins.push(z);
      }
    }
  }
  return result;
}

function logOf({ sim }: LabelledFlight, seed: number): Flight {
  if (seed % THROUGH_CSV !== 0) return toFlight(sim);
  const encoder = new TextEncoder();
  return readFlight(toCsvFiles(sim).map(({ name, text }) => ({ name, bytes: encoder.encode(text) })));
}

function intersectionOverUnion(a: Interval, b: Interval): number {
  const both = Math.max(0, Math.min(a.endS, b.endS) - Math.max(a.startS, b.startS));
  return both / (a.endS - a.startS + (b.endS - b.startS) - both);
}

function describe(diagnosis: Diagnosis): string {
  const lines = AXES.flatMap((axis) =>
    diagnosis.axes[axis].oscillations.map(
      (o) =>
        `${axis} ${o.frequencyHz.toFixed(2)} Hz ${o.rateAmplitudeDegS.toFixed(1)} deg/s ${o.startS.toFixed(1)}–${o.endS.toFixed(1)} s ${o.regime}`,
    ),
  );
  return lines.length === 0 ? 'nothing reported' : lines.join(', ');
}

/**
 * The reported oscillation that is the labelled one: the axis' largest where it is also the strongest line of the
 * noise-free motion while it lasts (a swing at the stops may be far slower than its label, with the label's frequency
 * among its harmonics); else the one nearest to the label within 25 %.
 */
function match(
  truth: FlightTruth,
  diagnosis: Diagnosis,
  axis: AxisName,
  labelHz: number,
): Oscillation | null {
  const reported = diagnosis.axes[axis].oscillations;
  const largest = reported[0];
  if (largest === undefined) return null;
  const strongest = trueLine(truth, axis, largest, largest.frequencyHz, 0.5).frequencyHz;
  if (Math.abs(strongest / largest.frequencyHz - 1) < 0.05) return largest;
  const off = (o: Oscillation): number => Math.abs(Math.log(o.frequencyHz / labelHz));
  const nearest = [...reported].sort((x, y) => off(x) - off(y))[0]!;
  return off(nearest) < Math.log(1.25) ? nearest : null;
}

/** √2 × RMS of the noise-free rate within 20 % of the *reported* frequency over the reported interval, rad/s. */
function trueAmplitude(truth: FlightTruth, axis: AxisName, within: Interval, frequencyHz: number): number {
  const { timeS } = truth.motion;
  const rate = trueRate(truth, axis);
  const first = timeS.findIndex((t) => t >= within.startS);
  let end = first;
  while (end < timeS.length && timeS[end]! < within.endS) end++;
  const n = end - first;
  const binHz = 1 / (timeS[1]! - timeS[0]!) / n;
  let mean = 0;
  for (let i = first; i < end; i++) mean += rate[i]! / n;
  let sum = 0;
  for (let k = Math.ceil((0.8 * frequencyHz) / binHz); k <= (1.2 * frequencyHz) / binHz; k++) {
    let re = 0;
    let im = 0;
    for (let i = 0; i < n; i++) {
      const angle = (2 * Math.PI * k * i) / n;
      re += (rate[first + i]! - mean) * Math.cos(angle);
      im += (rate[first + i]! - mean) * Math.sin(angle);
    }
    sum += re * re + im * im;
  }
  return (2 * Math.sqrt(sum)) / n;
}

/** The reported frequency against the mean of the same aircraft flown in other winds, in stated standard deviations. */
function twinError(
  { sim, flight }: LabelledFlight,
  seed: number,
  axis: AxisName,
  got: Oscillation,
  twins: number,
): number | null {
  const airborne = sim.truth.airborne!;
  const frequencies: number[] = [];
  for (let k = 1; k <= twins; k++) {
    const { truth } = simulateFlight(flight.config, seed + 10_000_000 * k);
    if (truth.airborne === null) continue;
    const startS = truth.airborne.startS + got.startS - airborne.startS;
    const endS = Math.min(truth.airborne.endS, startS + got.endS - got.startS);
    if ((endS - startS) * got.frequencyHz > 10)
      frequencies.push(trueLine(truth, axis, { startS, endS }, got.frequencyHz, 0.12).frequencyHz);
  }
  if (frequencies.length < 2) return null;
  const mean = frequencies.reduce((sum, f) => sum + f, 0) / frequencies.length;
  return (got.frequencyHz - mean) / got.frequencyStdHz;
}

/** Share of errors within one stated standard deviation. */
export function withinOne(errors: readonly number[]): number {
  return errors.filter((z) => Math.abs(z) < 1).length / errors.length;
}
