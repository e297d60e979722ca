import { readFlight, type Flight } from '@settle/parser';
import {
  flyVibration,
  NEAR_CENTRE,
  OFF_CENTRE,
  toCsvFiles,
  toFlight,
  type SimulatedFlight,
  type TrueVibrationLine,
  type VibrationFlight,
  type VibrationSpan,
} from '@settle/simulator';
import { isUnavailable, type Unavailable } from '../../packages/analysis/src/unavailable.js';
import type { StudiedLine, VibrationStudy } from '../../packages/analysis/src/vibration/vibration-study.js';
import {
  clusterTruth,
  distanceHz,
  matchLines,
  RESOLUTION_HZ,
  shareOf,
  type Cluster,
} from './vibration-match.js';

/** How many of how many. */
export interface Tally {
  right: number;
  of: number;
}

export interface VibrationTrialResult {
  flights: number;
  quiet: number;
  aliased: number;
  moving: number;
  /** Rotor speed within 1 %: flights with a speed channel, and others in which a line of the rotors shows. */
  readonly rotorWithChannel: Tally;
  readonly rotorFromSpectrum: Tally;
  /** Of the latter: none given, and one given that is farther off. */
  readonly rotorWithheld: Tally;
  readonly rotorWrong: Tally;
  /** Quiet flights without a speed channel in which a rotor speed was given all the same. */
  readonly rotorFromNothing: Tally;
  /** Within 1 %, where one was given although the rotors' lines are weaker than those that have to be found. */
  readonly rotorFromWeak: Tally;
  /** Exponent of rotor speed over throttle within 0.1, where one was given and throttle moved. */
  readonly exponent: Tally;
  /** Clusters that stand 10 dB above the floor: found; and of those found: level, frequency, kind. */
  readonly found: Tally;
  readonly level: Tally;
  readonly levelConstant: Tally;
  readonly levelMoving: Tally;
  readonly frequency: Tally;
  /** Found lines of such clusters: named rightly, and not named (`unknown`; neither right nor wrong). */
  readonly kind: Tally;
  kindUnknown: number;
  /** Lines of a mode that were called a rotor's, of all that were found. */
  readonly structureCalledRotor: Tally;
  /**
   * The same, and kinds, by the plainer rule that asks only what the cluster is called: where a rotor's line stands within the reach
   * of a mode it counts as wrong.
   */
  readonly rotorInReachOfMode: Tally;
  readonly kindOfCluster: Tally;
  /** Rotor's number, where the log has their speeds and a rotor's line stands alone. */
  readonly rotorNamed: Tally;
  /** Folded lines of the rotors: flagged; and their true frequency, while the throttle moves, and while it does not. */
  readonly folded: Tally;
  readonly foldedTrueMoving: Tally;
  readonly foldedTrueConstant: Tally;
  /** Lines that are not folded and were said to be. */
  readonly foldedWrongly: Tally;
  /** Errors of line frequencies over their stated standard deviation that are below one. */
  readonly frequencyStd: Tally;
  /** Lines, in flights that vibrate, that are none, over all found there. */
  readonly extra: Tally;
  /** Sensor axes of quiet flights that show a line, and the rate that is stated for it, summed over them. */
  readonly quietAxes: Tally;
  statedFalse: number;
  readonly remarks: string[];
}

export interface VibrationTrialOptions {
  readonly firstSeed: number;
  readonly flights: number;
  /** Weight far off centre: rotors at very different speeds. */
  readonly offCentre?: boolean;
  /** Flies one; for a test that looks at the same flights several times. */
  readonly fly?: typeof flyVibration;
  /** What is on trial; a message in place of a study counts as nothing found. Only a trial of the trial looks at `sim`. */
  readonly study: (flight: Flight, sim: SimulatedFlight) => VibrationStudy | Unavailable;
}

/** One of so many flights goes through CSV text and the reader: one place further on in every next four. */
const THROUGH_CSV = 4;
const FAMILY: ReadonlySet<string> = new Set(['rotor', 'blade-pass', 'rotor-harmonic']);
/** Where a method that was not asked has to start: below it nothing need be found, Hz. */
const DEFAULT_LOWEST_HZ = 15;

/** Flies, studies and compares with what each line truly was. */
export function runVibrationTrial(options: VibrationTrialOptions): VibrationTrialResult {
  const result = emptyResult();
  for (let seed = options.firstSeed; seed < options.firstSeed + options.flights; seed++) {
    const { flight, sim } = (options.fly ?? flyVibration)(
      seed,
      options.offCentre === true ? OFF_CENTRE : NEAR_CENTRE,
    );
    const log = logOf(sim, seed);
    const study = options.study(log, sim);
    judgeFlight(result, flight, sim, study);
  }
  return result;
}

function emptyResult(): VibrationTrialResult {
  const tally = (): Tally => ({ right: 0, of: 0 });
  return {
    flights: 0,
    quiet: 0,
    aliased: 0,
    moving: 0,
    rotorWithChannel: tally(),
    rotorFromSpectrum: tally(),
    rotorWithheld: tally(),
    rotorWrong: tally(),
    rotorFromNothing: tally(),
    rotorFromWeak: tally(),
    exponent: tally(),
    found: tally(),
    level: tally(),
    levelConstant: tally(),
    levelMoving: tally(),
    frequency: tally(),
    kind: tally(),
    kindUnknown: 0,
    structureCalledRotor: tally(),
    rotorInReachOfMode: tally(),
    kindOfCluster: tally(),
    rotorNamed: tally(),
    folded: tally(),
    foldedTrueMoving: tally(),
    foldedTrueConstant: tally(),
    foldedWrongly: tally(),
    frequencyStd: tally(),
    extra: tally(),
    quietAxes: tally(),
    statedFalse: 0,
    remarks: [],
  };
}

function count(tally: Tally, right: boolean): void {
  tally.of++;
  if (right) tally.right++;
}

function logOf(sim: SimulatedFlight, seed: number): Flight {
  if ((seed + Math.floor(seed / THROUGH_CSV)) % THROUGH_CSV !== 0) return toFlight(sim);
  const encoder = new TextEncoder();
  return readFlight(toCsvFiles(sim).map(({ name, text }) => ({ name, bytes: encoder.encode(text) })));
}

/** What one flight is judged by. */
interface Case {
  readonly flight: VibrationFlight;
  readonly truth: VibrationSpan;
  readonly clusters: readonly Cluster[];
  readonly study: VibrationStudy | null;
  readonly moving: boolean;
  readonly remark: (text: string) => void;
}

function judgeFlight(
  result: VibrationTrialResult,
  flight: VibrationFlight,
  sim: SimulatedFlight,
  studied: VibrationStudy | Unavailable,
): void {
  const remark = (text: string): void => {
    result.remarks.push(`${String(flight.seed)}: ${text}`);
  };
  const study = isUnavailable(studied) ? null : studied;
  if (isUnavailable(studied)) remark(`no study: ${studied.unavailable}`);
  const vibration = sim.truth.vibration!;
  // The reader's clock starts with the log.
  const startS = Math.min(...sim.log.groups.map((group) => group.timeS[0]!));
  const within = study?.interval;
  const truth =
    (within && vibration.over({ startS: within.startS + startS, endS: within.endS + startS })) ??
    vibration.airborne!;
  const moving = flight.throttle !== 'constant';
  const lowestHz = study?.lowestHz ?? DEFAULT_LOWEST_HZ;
  const clusters = clusterTruth(truth, lowestHz, vibration.sampleRateHz);
  const about: Case = { flight, truth, clusters, study, moving, remark };
  result.flights++;
  if (flight.quiet) result.quiet++;
  if (flight.aliased) result.aliased++;
  if (moving) result.moving++;
  judgeRotor(result, about);
  if (flight.quiet) judgeQuiet(result, about);
  else judgeLines(result, about);
}

function judgeRotor(
  result: VibrationTrialResult,
  { flight, truth, clusters, study, moving, remark }: Case,
): void {
  const rotor = study === null || isUnavailable(study.rotor) ? null : study.rotor;
  const visible = clusters.some((c) => c.shown && [...c.kinds].some((kind) => FAMILY.has(kind)));
  const right = rotor !== null && Math.abs(rotor.hoverHz / truth.rotorHz.mean - 1) < 0.01;
  if (!flight.speedChannel && flight.quiet) {
    count(result.rotorFromNothing, rotor !== null);
    if (rotor !== null) remark(`rotor speed ${rotor.hoverHz.toFixed(2)} Hz from nothing`);
    return;
  }
  if (!flight.speedChannel && !visible) {
    if (rotor !== null) count(result.rotorFromWeak, right);
    return;
  }
  count(flight.speedChannel ? result.rotorWithChannel : result.rotorFromSpectrum, right);
  if (!flight.speedChannel) {
    count(result.rotorWithheld, rotor === null);
    count(result.rotorWrong, rotor !== null && !right);
  }
  if (!right) {
    const said = rotor === null ? 'not given' : `${rotor.hoverHz.toFixed(2)} Hz from the ${rotor.from}`;
    const each = truth.rotorHz.rotors.map((hz) => hz.toFixed(1)).join(' ');
    remark(`rotor speed ${said}, is ${truth.rotorHz.mean.toFixed(2)} Hz (${each}); ${about(flight)}`);
  }
  if (moving && rotor?.throttleExponent != null)
    count(result.exponent, Math.abs(rotor.throttleExponent - flight.throttleExponent) < 0.1);
}

function judgeQuiet(result: VibrationTrialResult, { truth, study, remark }: Case): void {
  for (const { sensor, axis } of truth.sensors) {
    const lines = (study?.lines ?? []).filter((line) => line.sensor === sensor && line.axis === axis);
    count(result.quietAxes, lines.length > 0);
    result.statedFalse += study?.falseAlarmRate ?? 0;
    for (const line of lines) remark(`quiet, but ${describe(line)}`);
  }
}

function judgeLines(result: VibrationTrialResult, about: Case): void {
  const { clusters, study, truth, remark } = about;
  // Where a sensor ran into the end of its range nothing is asked of its lines.
  const sound = new Set(
    truth.sensors.filter((s) => s.atRangeShare === 0).map((s) => `${s.sensor}.${s.axis}`),
  );
  const lines = (study?.lines ?? []).filter((line) => sound.has(`${line.sensor}.${line.axis}`));
  const { found, extra } = matchLines(clusters, lines);
  for (const line of lines) count(result.extra, extra.includes(line));
  for (const line of extra) remark(`no such line: ${describe(line)}`);
  for (const [cluster, own] of found) {
    judgeStructure(result, cluster, own, remark);
    if (cluster.shown) judgeCluster(result, about, cluster, own);
  }
}

/** A found line is what lines of its kind make where it stands if they hold at least this share of its power. */
const LEAST_OWN_SHARE = 0.5;

/** Strong or weak: a mode is never a rotor. */
function judgeStructure(
  result: VibrationTrialResult,
  cluster: Cluster,
  own: readonly StudiedLine[],
  remark: (text: string) => void,
): void {
  if (!cluster.structural) return;
  for (const line of own) {
    const wrong =
      FAMILY.has(line.kind) && shareOf(cluster, line, ({ kind }) => FAMILY.has(kind)) < LEAST_OWN_SHARE;
    count(result.structureCalledRotor, wrong);
    count(result.rotorInReachOfMode, FAMILY.has(line.kind));
    if (wrong) remark(`a mode called a rotor: ${describe(line)}; ${tell(cluster)}`);
  }
}

function judgeCluster(
  result: VibrationTrialResult,
  { flight, moving, remark }: Case,
  cluster: Cluster,
  own: readonly StudiedLine[],
): void {
  count(result.found, own.length > 0);
  if (own.length === 0) {
    remark(`missed ${tell(cluster)}; ${about(flight)}`);
    if (isFoldedRotor(cluster)) {
      count(result.folded, false);
      count(moving ? result.foldedTrueMoving : result.foldedTrueConstant, false);
    }
    return;
  }
  const rms = Math.hypot(...own.map((line) => line.rms));
  // Told apart, the lines add up to the root of their squares; as one line, to what they made together.
  const ratio = [rms / cluster.rms, rms / cluster.rmsTogether].sort(
    (a, b) => Math.abs(a - 1) - Math.abs(b - 1),
  )[0]!;
  const levelRight = Math.abs(ratio - 1) < 0.1;
  count(result.level, levelRight);
  count(moving ? result.levelMoving : result.levelConstant, levelRight);
  if (!levelRight)
    remark(
      `level × ${ratio.toFixed(2)}: ${tell(cluster)}, found ${own.map(describe).join(', ')}; ${about(flight)}`,
    );
  for (const line of own) {
    count(result.frequency, distanceHz(cluster, line.frequencyHz) <= 0.01 * line.frequencyHz);
    judgeKind(result, cluster, line, remark);
  }
  judgeAlone(result, flight, cluster, own);
  if (isFoldedRotor(cluster)) judgeFolded(result, moving, cluster, own, remark);
  else {
    const wrong = own.some((line) => isFlagged(line) && shareOf(cluster, line, isFolded) < LEAST_OWN_SHARE);
    count(result.foldedWrongly, wrong);
  }
}

function judgeKind(
  result: VibrationTrialResult,
  cluster: Cluster,
  line: StudiedLine,
  remark: (text: string) => void,
): void {
  const asCluster = cluster.folded ? isFlagged(line) : cluster.kinds.has(line.kind as 'rotor');
  const right =
    asCluster ||
    shareOf(cluster, line, (one) => (isFolded(one) ? isFlagged(line) : one.kind === line.kind)) >=
      LEAST_OWN_SHARE;
  count(result.kind, right);
  count(result.kindOfCluster, asCluster);
  if (line.kind === 'unknown' && !right) result.kindUnknown++;
  if (!right)
    remark(`kind ${line.kind} (${line.confidence.toFixed(2)}): ${describe(line)}; ${tell(cluster)}`);
}

/** Lines that stand alone by more than the resolution can be given a rotor, and have a frequency of their own. */
function judgeAlone(
  result: VibrationTrialResult,
  flight: VibrationFlight,
  cluster: Cluster,
  own: readonly StudiedLine[],
): void {
  for (const line of cluster.lines) {
    const gaps = cluster.lines.filter((l) => l !== line).map((l) => Math.abs(l.loggedHz - line.loggedHz));
    const gapHz = Math.min(RESOLUTION_HZ * 2, ...gaps);
    if (gapHz < RESOLUTION_HZ || line.rms < 0.3 * cluster.rms) continue;
    const near = own
      .filter((f) => Math.abs(f.frequencyHz - line.loggedHz) < gapHz / 2)
      .sort((a, b) => Math.abs(a.frequencyHz - line.loggedHz) - Math.abs(b.frequencyHz - line.loggedHz))[0];
    if (flight.speedChannel && line.rotor !== null && line.foldedShare === 0)
      count(result.rotorNamed, near?.rotor === line.rotor);
    if (near !== undefined && near.frequencyStdHz > 0)
      count(result.frequencyStd, Math.abs(near.frequencyHz - line.loggedHz) < near.frequencyStdHz);
  }
}

function isFoldedRotor(cluster: Cluster): boolean {
  return cluster.folded && [...cluster.kinds].some((kind) => FAMILY.has(kind));
}

function isFolded(line: TrueVibrationLine): boolean {
  return line.foldedShare > 0.5;
}

function isFlagged(line: StudiedLine): boolean {
  return line.kind === 'alias' || line.trueFrequencyHz !== null;
}

function judgeFolded(
  result: VibrationTrialResult,
  moving: boolean,
  cluster: Cluster,
  own: readonly StudiedLine[],
  remark: (text: string) => void,
): void {
  count(result.folded, own.some(isFlagged));
  const trueHz = cluster.lines.map((line) => line.trueFrequencyHz);
  const low = Math.min(...trueHz);
  const high = Math.max(...trueHz);
  const right = own.some(
    ({ trueFrequencyHz: said }) => said !== null && said > low - 0.01 * low && said < high + 0.01 * high,
  );
  count(moving ? result.foldedTrueMoving : result.foldedTrueConstant, right);
  if (!right) {
    const said = own.map((line) => line.trueFrequencyHz?.toFixed(1) ?? 'none').join(', ');
    remark(`true frequency ${said}: ${tell(cluster)}`);
  }
}

function about({ throttle, aliased, speedChannel }: VibrationFlight): string {
  return `${throttle}${aliased ? ', aliased' : ''}${speedChannel ? ', speeds logged' : ''}`;
}

function tell(cluster: Cluster): string {
  const order = cluster.lines.find((line) => line.order !== null)?.order ?? null;
  const hz =
    cluster.lowHz === cluster.highHz
      ? cluster.lowHz.toFixed(2)
      : `${cluster.lowHz.toFixed(2)}–${cluster.highHz.toFixed(2)}`;
  return `true ${[...cluster.kinds].join('+')}${order === null ? '' : ` ×${String(order)}`} ${cluster.sensor} ${
    cluster.axis
  } ${hz} Hz${cluster.folded ? ' folded' : ''} ${cluster.rms.toPrecision(3)} rms, ${cluster.aboveFloorDb.toFixed(0)} dB`;
}

function describe(line: StudiedLine): string {
  return `${line.kind} ${line.sensor} ${line.axis} ${line.frequencyHz.toFixed(2)} Hz ${line.rms.toPrecision(3)} rms ${line.aboveFloorDb.toFixed(0)} dB`;
}
