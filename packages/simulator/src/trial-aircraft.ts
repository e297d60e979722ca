import { AXES, type AxisName } from '@settle/parser';
import type { Doublet, FlightConfig } from './config.js';
import { judgeAxis } from './loop-quality.js';
import { calmSensors, isSound, randomAirframe, randomUnmodelled } from './random-flight.js';
import { makeStream, type Random } from './random.js';
import { simulateFlight } from './simulate.js';
import type { FlightTruth } from './truth.js';
import { tuneFlight } from './tune.js';

/** An aircraft whose gains are wrong, and what its gains should be. */
export interface TrialAircraft {
  readonly seed: number;
  /** Effects that no linear analysis knows of are switched on: three seeds of any eight in a row. */
  readonly unmodelled: boolean;
  /** It has a flexible mode: one seed of any six in a row. */
  readonly flexible: boolean;
  /** One good set of gains; there are others. */
  readonly good: FlightConfig;
  /** The gains it comes with. */
  readonly start: FlightConfig;
}

/** What the first gains are off by: one factor for all rate loops, and one for each term of each axis on top. */
const COMMON_FACTOR = [0.2, 6] as const;
const TERM_FACTOR = [0.3, 3] as const;
const ATTITUDE_FACTOR = [0.5, 2] as const;

/** Good gains leave the advice some room: at least this share of the best crossover (0.45 is asked for). */
const GOOD_ROOM = 0.6;

/** Share of the hover on good gains in which any motor may be at a stop. */
const MOST_CLIPPING = 0.04;

/** Gusts and weight off centre over those of other random flights: or loose loops would hardly ever tip over. */
const GUST_FACTOR = [1.5, 4] as const;
const TRIM_FACTOR = 2;
/** More than this off centre, share of full authority, tips an aircraft over as it touches down, whatever its gains. */
const LARGEST_TRIM = 0.12;

/** Roll and pitch angle at full stick. */
const STICK_RAD = 0.35;

/**
 * A random aircraft with bad gains: every seed gives one. Draws that no gains of the drawn shape make good, or that good
 * gains do not fly through a trial hover, are drawn again: every aircraft can be put right by factors on its gains.
 */
export function trialAircraft(seed: number): TrialAircraft {
  const random = makeStream(seed, 'trial aircraft');
  const whole = ((Math.floor(seed) % 24) + 24) % 24;
  const unmodelled = whole % 8 < 3;
  const flexible = whole % 6 === 5;
  for (;;) {
    const good = drawGood(random, unmodelled, flexible);
    if (good === null) continue;
    // Good margins are no help where authority is short: gusts and sticks would drive the motors to their stops.
    if (!fliesWell(good, seed) || !fliesWell(good, seed + 0.5e9)) continue;
    good.name = `trial-${String(seed)}`;
    return { seed, unmodelled, flexible, good, start: misjudge(good, random) };
  }
}

function fliesWell(good: FlightConfig, seed: number): boolean {
  const { truth } = simulateFlight(planTrialFlight(good, false, seed).config, seed);
  return !isUpset(truth) && truth.clippedShare <= MOST_CLIPPING;
}

function drawGood(random: Random, unmodelled: boolean, flexible: boolean): FlightConfig | null {
  const airframe = randomAirframe(random);
  if (unmodelled) randomUnmodelled(airframe, random);
  trialLog(airframe, random);
  airframe.pilot.maxAngleRad = STICK_RAD;
  const gusts = random.logBetween(...GUST_FACTOR);
  for (const axis of AXES) airframe.wind.gustRadS2[axis] *= gusts;
  const { trim } = airframe.airframe;
  for (const axis of ['roll', 'pitch'] as const) {
    trim[axis] = Math.max(-LARGEST_TRIM, Math.min(LARGEST_TRIM, TRIM_FACTOR * trim[axis]));
  }
  const tuned = tuneFlight(
    airframe,
    { gainMarginDb: 8, phaseMarginDeg: 50 },
    { derivativeOverLag: random.between(0.3, 0.9), integralOverLag: random.between(4, 10) },
  );
  if (tuned === null || !isSound(tuned)) return null;
  if (flexible) addFlexibleMode(tuned, random);
  if (!isGood(tuned)) return null;
  calmSensors(tuned);
  return tuned;
}

function isGood(config: FlightConfig): boolean {
  try {
    return AXES.every((axis) => {
      const { good, rate } = judgeAxis(config, axis);
      return good && rate.crossoverShare >= GOOD_ROOM;
    });
  } catch (error) {
    // No gains at all would do: the mode is too strong for any.
    if (error instanceof RangeError) return false;
    throw error;
  }
}

/** It tilted beyond 60°, in the air or on the ground. */
export function isUpset(truth: FlightTruth): boolean {
  return truth.phases.some((phase) => phase.kind === 'upset');
}

function trialLog(config: FlightConfig, random: Random): void {
  config.log = {
    attitudeHz: random.pick([50, 100]),
    rateHz: random.pick([200, 200, 200, 200, 100, 400]),
    imuHz: 100,
    motorHz: 100,
    pilotHz: 50,
    heightHz: 25,
    rotorHz: 0,
    batteryHz: 10,
    dropShare: 0,
  };
}

/** A mode the aircraft is good with as it is tuned, up to just so. */
function addFlexibleMode(config: FlightConfig, random: Random): void {
  const axis = random.pick(['roll', 'pitch'] as const);
  config.flexibleMode = {
    axis,
    frequencyHz: random.logBetween(14, 45),
    dampingRatio: random.between(0.012, 0.03),
    gain: random.pick([1, -1]) * random.logBetween(0.01, 0.3),
    noiseRadS2: random.between(0.3, 1),
  };
}

function misjudge(good: FlightConfig, random: Random): FlightConfig {
  const start = structuredClone(good);
  const common = random.logBetween(...COMMON_FACTOR);
  for (const axis of AXES) {
    const rate = start.controller.rate[axis];
    for (const term of ['kp', 'ki', 'kd'] as const) rate[term] *= common * random.logBetween(...TERM_FACTOR);
    start.controller.attitude[axis] *= random.logBetween(...ATTITUDE_FACTOR);
  }
  return start;
}

export interface PlannedFlight {
  readonly config: FlightConfig;
  /** Sticks left alone, and landed soon after the motion became large; a hover with stick doublets otherwise. */
  readonly cautious: boolean;
}

const HOVER_S = 30;
const DEGREES = Math.PI / 180;

/**
 * How a careful pilot flies these gains, by the truth. With an axis unstable or loose: no stick input, landed 2 s after
 * 60 deg/s or 25°, and after 30 s at the latest. Otherwise: 30 s of hover with gentle doublets.
 *
 * @param seed of the flight: when and how large the doublets are
 */
export function planTrialFlight(config: FlightConfig, precarious: boolean, seed: number): PlannedFlight {
  const flight = structuredClone(config);
  flight.script = {
    startInHover: false,
    endInHover: false,
    groundS: 1,
    spoolS: 1.2,
    climbMS: 0.8,
    descentMS: 0.6,
    heightM: 3,
    hoverS: HOVER_S,
    abort: precarious ? { rateRadS: 60 * DEGREES, angleRad: 25 * DEGREES, afterS: 2 } : null,
  };
  flight.pilot.doublets = precarious ? [] : drawDoublets(makeStream(seed, 'trial doublets'));
  return { config: flight, cautious: precarious };
}

/** Roll, pitch, yaw in turn, twice. */
function drawDoublets(random: Random): Doublet[] {
  const turns: readonly AxisName[] = [...AXES, ...AXES];
  // The first once the climb is over, the last with time to settle.
  const firstS = 3;
  const everyS = (HOVER_S - 2 - firstS) / turns.length;
  return turns.map((axis, i) => ({
    axis,
    atS: firstS + everyS * (i + random.between(0, 0.4)),
    // Roll and pitch: 3 to 6 degrees. The yaw stick asks for a rate: half of it for half a second is some 20 degrees.
    size: axis === 'yaw' ? random.between(0.4, 0.7) : random.between(0.15, 0.3),
    halfPeriodS: random.between(0.3, 0.6),
  }));
}
