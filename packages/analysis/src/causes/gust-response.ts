/** Motion that only gusts explain: nothing oscillates, the loops are sound or unknown, and nobody moves a stick. */
import { AXES, type AxisName, type Flight, type Interval } from '@settle/parser';
import type { AxisStudy } from '../axis-study.js';
import { effectRecord, lagged, slopeOf } from './demand-effect.js';
import { isUnavailable, type Actuators, type Finding, type Unavailable } from '../diagnosis.js';
import type { AxisDecision } from '../identification/gain-advice.js';
import { evenRecord, indexAtOrAfter, smoothed } from '../signals.js';

/** Roll or pitch rates that are felt, deg/s RMS (common practice, no source). */
const FELT_DEG_S = 3;
/** Gusts that take this share of full authority, at three standard deviations, are too strong to test in. */
const STRONG_SHARE = 0.5;
/** Stick movements faster than this per second are somebody flying; what follows for a second is the answer. */
const STICK_PER_S = 0.15;
const ANSWER_S = 1;
/** Share of the hover with a motor on a stop from which on gusts alone are not believed. */
const STOPS = 0.02;
/** At least this much of the hover must be without them, s. */
const CALM_S = 4;
/** What is faster than this is shaking, not gusts, s. */
const SMOOTH_S = 0.06;
const DEG = 180 / Math.PI;

export interface GustContext {
  readonly flight: Flight;
  readonly hover: Interval;
  readonly studies: readonly AxisStudy[];
  readonly decisions: readonly AxisDecision[];
  readonly actuators: Actuators | Unavailable;
}

export function gustFindings({ flight, hover, studies, decisions, actuators }: GustContext): Finding[] {
  if (studies.some((study) => study.oscillations.length > 0 || study.folded.length > 0)) return [];
  // Gusts alone hardly take a sound aircraft to its stops; what does may be a swing nobody sees.
  if (
    !isUnavailable(actuators) &&
    actuators.motors.some((m) => Math.max(m.lowStopShare, m.highStopShare) > STOPS)
  )
    return [];
  // A loop known to be tight or loose has its own finding, and it is not the wind's fault.
  if (decisions.some((d) => d.rule !== null || !isSoundOrUnknown(d))) return [];
  const calm = calmSamples(flight, hover);
  if (calm === null) return [];
  const moved = studies
    .filter((study) => study.axis !== 'yaw')
    .flatMap((study) => {
      const rms = rateRms(study, hover, calm.isCalm);
      return rms === null ? [] : [{ axis: study.axis, rms }];
    });
  const most = moved.sort((a, b) => b.rms - a.rms)[0];
  if (most === undefined || most.rms * DEG < FELT_DEG_S) return [];
  const gusts = AXES.flatMap((axis) => gustOf(flight, hover, axis, decisions, calm.isCalm));
  const strong = gusts.some((gust) => 3 * gust.accel > STRONG_SHARE * gust.effectiveness);
  return [
    {
      id: 'gust-response',
      axis: null,
      severity: strong ? 'fault' : 'note',
      confidence: calm.sticksLogged ? 0.85 : 0.65,
      summary: `${calm.sticksLogged ? 'only gusts move it' : 'nothing oscillates; gusts move it, or a stick'}: ${most.axis} by ${(most.rms * DEG).toFixed(1)} deg/s RMS, with no oscillation in it; do not chase this with gains`,
      evidence: [
        `${moved.map((m) => `${m.axis} ${(m.rms * DEG).toFixed(1)} deg/s RMS`).join(', ')}, broad-band: no single frequency stands out on any axis`,
        ...gusts.map(
          (gust) =>
            `on ${gust.axis} the demand applied leaves ${gust.accel.toFixed(1)} rad/s² RMS of angular acceleration unexplained: gusts worth ${((100 * gust.accel) / gust.effectiveness).toFixed(0)} % of full authority`,
        ),
        ...(gusts.length === 0
          ? ['no plant is identified, so how strong the gusts are in angular acceleration cannot be said']
          : []),
        calm.sticksLogged
          ? `counted over ${calm.calmS.toFixed(0)} s without stick movements`
          : 'the sticks are not logged, so gusts and their movements cannot be told apart; log them',
      ],
    },
  ];
}

function isSoundOrUnknown(d: AxisDecision): boolean {
  return d.measured === null || d.measured.why === 'margins-met' || d.measured.why === 'attitude-too-loose';
}

function calmSamples(
  flight: Flight,
  hover: Interval,
): { isCalm: (timeS: number) => boolean; calmS: number; sticksLogged: boolean } | null {
  const sticks = AXES.flatMap((axis) => flight.signals.get(`stick.${axis}`) ?? []);
  const step = 0.05;
  const count = Math.floor((hover.endS - hover.startS) / step);
  const moved = new Uint8Array(count + 1);
  for (const stick of sticks) {
    const { timeS, sampleRateHz } = stick.clock;
    const values = smoothed(stick.values, Math.max(1, Math.round(0.1 * sampleRateHz)));
    for (
      let i = Math.max(1, indexAtOrAfter(timeS, hover.startS));
      i < timeS.length && timeS[i]! < hover.endS;
      i++
    ) {
      const speed = Math.abs(values[i]! - values[i - 1]!) / (timeS[i]! - timeS[i - 1]!);
      if (!(speed > STICK_PER_S)) continue;
      const at = Math.floor((timeS[i]! - hover.startS) / step);
      moved.fill(1, Math.max(0, at - 1), Math.min(count + 1, at + Math.round(ANSWER_S / step)));
    }
  }
  const calmS = step * moved.reduce((sum, v) => sum + (1 - v), 0);
  if (calmS < CALM_S) return null;
  return {
    isCalm: (t) => moved[Math.floor((t - hover.startS) / step)] === 0,
    calmS,
    sticksLogged: sticks.length > 0,
  };
}

function rateRms(study: AxisStudy, hover: Interval, isCalm: (timeS: number) => boolean): number | null {
  const { rate } = study.signals;
  const record = rate === null ? null : evenRecord(rate, hover);
  if (record === null) return null;
  const values = smoothed(record.values, Math.max(1, Math.round(SMOOTH_S * record.sampleRateHz)));
  return rms(values, (i) => isCalm(record.startS + i / record.sampleRateHz));
}

interface Gust {
  readonly axis: AxisName;
  /** rad/s² RMS. */
  readonly accel: number;
  readonly effectiveness: number;
}

/** Angular acceleration that the demand applied, through the identified plant, does not explain. */
function gustOf(
  flight: Flight,
  hover: Interval,
  axis: AxisName,
  decisions: readonly AxisDecision[],
  isCalm: (timeS: number) => boolean,
): Gust[] {
  const plant = decisions.find((d) => d.axis === axis)?.id.plant ?? null;
  const record = plant === null ? null : effectRecord(flight, hover);
  if (plant === null || record === null) return [];
  const { stepS, startS } = record;
  const width = Math.max(1, Math.round(SMOOTH_S / stepS));
  const calm = (x: Float64Array): Float64Array => smoothed(smoothed(x, width), width);
  const rate = calm(record.rates[axis]);
  const accel = slopeOf(rate, stepS);
  const acting = calm(lagged(record.demands[axis], stepS, plant.lagS, plant.delayS));
  const left = accel.map((v, i) => v + plant.dampingPerS * rate[i]! - plant.effectiveness * acting[i]!);
  const within = (i: number): boolean => startS + i * stepS > hover.startS && isCalm(startS + i * stepS);
  const size = rms(left, within);
  return size === null ? [] : [{ axis, accel: size, effectiveness: plant.effectiveness }];
}

/** Around the mean of what is counted. */
function rms(values: Float64Array, counts: (i: number) => boolean): number | null {
  let sum = 0;
  let square = 0;
  let n = 0;
  for (let i = 0; i < values.length; i++) {
    if (!counts(i)) continue;
    sum += values[i]!;
    square += values[i]! ** 2;
    n++;
  }
  return n < 20 ? null : Math.sqrt(Math.max(0, square / n - (sum / n) ** 2));
}
