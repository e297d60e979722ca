import type { AxisName, Flight, Interval } from '@settle/parser';
import type { AxisStudy } from './axis-study.js';
import { gustFindings } from './causes/gust-response.js';
import { heightFindings } from './causes/height-control.js';
import { saturationFindings } from './causes/motor-saturation.js';
import { rotorVibrationFindings } from './causes/rotor-vibration.js';
import { signFindings } from './causes/sign-findings.js';
import { trimFindings } from './causes/trim-offset.js';
import {
  isUnavailable,
  type Actuators,
  type Battery,
  type Finding,
  type Oscillation,
  type Phase,
  type Severity,
  type Unavailable,
} from './diagnosis.js';
import { loopFindings } from './identification/loop-findings.js';
import type { AxisDecision } from './identification/gain-advice.js';
import { TAKES_PART } from './oscillation/folding.js';
import type { SearchBand } from './oscillation/band.js';
import { WINDOW_CYCLES } from './oscillation/narrowness.js';
import { tippedOnGround } from './phases/upsets.js';
import { firstSignal } from './signals.js';
import { vibrationFindings } from './vibration/vibration-findings.js';
import type { StudiedLine, VibrationStudy } from './vibration/vibration-study.js';

export interface FindingContext {
  readonly flight: Flight;
  readonly phases: readonly Phase[];
  readonly hover: Interval;
  readonly studies: readonly AxisStudy[];
  readonly decisions: readonly AxisDecision[];
  readonly actuators: Actuators | Unavailable;
  readonly battery: Battery | Unavailable;
  readonly band: SearchBand;
  /** Lines of the study of vibration, where it was made. */
  readonly vibrationLines?: readonly StudiedLine[] | undefined;
  readonly vibration?: VibrationStudy | Unavailable;
}

/** What was read straight off the log; what is left is the chance that a channel is not what its header says. */
const MEASURED = 0.95;
/** An oscillation this long on the stops, or this large, has no authority left for anything else (judgement, no source). */
const ON_STOPS_SHARE = 0.1;
const LARGE_DEG_S = 60;
/** Voltage under load below this share of the start (common practice, no source). */
const SAG_SHARE = 0.85;
/** Shorter hovers hide slow oscillations. */
const SHORT_HOVER_S = 10;
/** Slower rate logs cannot show what rate loops do. */
const SLOW_RATE_HZ = 50;

const RANK: Readonly<Record<Severity, number>> = { danger: 0, fault: 1, note: 2 };

/** All findings of a diagnosis, most urgent first. */
export function findFindings(context: FindingContext): Finding[] {
  return [
    ...upsets(context),
    ...signFindings(context.flight, context.phases),
    ...context.studies.flatMap((study) =>
      study.oscillations.map((line) => oscillationFinding(study.axis, line)),
    ),
    ...loopFindings(context),
    ...folded(context),
    ...causes(context),
    ...(context.vibration === undefined ? [] : vibrationFindings(context.vibration)),
    ...sag(context),
    ...logQuality(context),
  ].sort((a, b) => RANK[a.severity] - RANK[b.severity]);
}

function causes(context: FindingContext): Finding[] {
  const { flight, hover, actuators } = context;
  return [
    ...heightFindings(flight, hover),
    ...gustFindings(context),
    ...rotorVibrationFindings(context),
    ...(isUnavailable(actuators)
      ? []
      : [...saturationFindings({ ...context, actuators }), ...trimFindings({ flight, hover, actuators })]),
  ];
}

function upsets({ phases }: FindingContext): Finding[] {
  return phases
    .filter((phase) => phase.kind === 'upset')
    .map((phase) => ({
      id: 'upset',
      axis: null,
      severity: 'danger' as const,
      confidence: MEASURED,
      summary: `the aircraft tipped beyond 60° at ${phase.startS.toFixed(1)} s${
        tippedOnGround(phases, phase) ? ', on the ground, once it had landed' : ''
      }`,
      evidence: [`roll or pitch passed 60° at ${phase.startS.toFixed(2)} s`],
    }));
}

const SWING_ID: Readonly<Partial<Record<Oscillation['origin'], string>>> = {
  pilot: 'pilot-input',
  'position-loop': 'position-loop-swing',
  'outer-loop': 'outer-loop-swing',
  structure: 'structural-resonance',
};

/** The words for how an oscillation goes on. */
const COURSE: Readonly<Record<Oscillation['regime'], string>> = {
  growing: 'and grows',
  'limit-cycle': 'at a steady size',
  driven: 'coming and going',
  decaying: 'and dies away',
};

function oscillationFinding(axis: AxisName, line: Oscillation): Finding {
  const asked = SWING_ID[line.origin];
  const onStops = (line.clippedShare ?? 0) > ON_STOPS_SHARE;
  const severity: Severity =
    asked === 'pilot-input' || line.regime === 'decaying' || line.follows !== null
      ? 'note'
      : line.regime === 'growing' || onStops || line.rateAmplitudeDegS > LARGE_DEG_S
        ? 'danger'
        : 'fault';
  return {
    id: asked ?? 'oscillation',
    axis,
    severity,
    confidence: asked === undefined ? MEASURED : line.confidence,
    summary: `${axis} ${line.follows === null ? 'swings' : `moves along with ${line.follows}`} at ${line.frequencyHz.toFixed(line.frequencyHz < 1 ? 3 : 2)} Hz ${COURSE[line.regime]}, ${line.rateAmplitudeDegS.toFixed(1)} deg/s`,
    evidence: line.evidence,
  };
}

function folded({ studies }: FindingContext): Finding[] {
  return studies.flatMap((study) =>
    study.folded.map(({ line, why }) => ({
      id: 'aliased-vibration',
      axis: study.axis,
      severity: (why.demandAmplitude ?? 0) >= TAKES_PART ? ('fault' as const) : ('note' as const),
      confidence: 0.8,
      summary: `the line at ${line.frequencyHz.toFixed(2)} Hz in the ${study.axis} rate looks like vibration, not motion of the aircraft`,
      evidence: [
        ...why.evidence,
        ...demandEvidence(why.demandAmplitude),
        `the rate is logged at ${line.prepared.sampleRateHz.toFixed(0)} Hz, which folds faster motion down; log it faster to see what shakes`,
      ],
    })),
  );
}

function demandEvidence(amplitude: number | null): string[] {
  if (amplitude === null || amplitude < TAKES_PART) return [];
  return [
    `the demand swings with it by ±${(100 * amplitude).toFixed(0)} % of full demand, which heats the motors and may keep it going`,
  ];
}

function sag({ battery }: FindingContext): Finding[] {
  if (isUnavailable(battery) || battery.lowestV > SAG_SHARE * battery.startV) return [];
  return [
    {
      id: 'battery-sag',
      axis: null,
      severity: 'fault',
      confidence: MEASURED,
      summary: `the battery sags to ${battery.lowestV.toFixed(1)} V in hover`,
      evidence: [
        `${battery.startV.toFixed(2)} V at first, ${battery.lowestV.toFixed(2)} V at the lowest, ${(100 * (1 - battery.lowestV / battery.startV)).toFixed(0)} % less`,
      ],
    },
  ];
}

function logQuality({ flight, phases, hover, studies, band }: FindingContext): Finding[] {
  const out: Finding[] = [];
  const note = (id: string, severity: Severity, summary: string, evidence: string[]): void => {
    out.push({ id, axis: null, severity, confidence: MEASURED, summary, evidence });
  };
  const clipped = [...flight.signals.values()].filter(
    (signal) => /^(gyro|accel|rate\.\w+\.measured)/.test(signal.channel) && signal.decision.clipped > 0,
  );
  if (clipped.length > 0)
    note(
      'sensor-clipping',
      'fault',
      'an inertial sensor meets the end of its range',
      clipped.map(
        (signal) => `${signal.channel}: ${String(signal.decision.clipped)} samples at the end of its range`,
      ),
    );
  const others = phases.filter((phase) => phase.kind === 'hover' && phase.startS !== hover.startS);
  if (others.length > 0)
    note(
      'other-hovers',
      'note',
      `the log holds ${String(others.length)} more ${others.length === 1 ? 'hover' : 'hovers'}; only the longest is analysed`,
      [
        `not analysed: ${others.map((o) => `${o.startS.toFixed(1)} to ${o.endS.toFixed(1)} s`).join(', ')}; choose one with --from and --to`,
      ],
    );
  const durationS = hover.endS - hover.startS;
  if (durationS < SHORT_HOVER_S)
    note('hover-too-short', 'note', `the hover lasts ${durationS.toFixed(1)} s`, [
      `oscillations slower than ${(WINDOW_CYCLES / durationS).toFixed(2)} Hz cannot show ${String(WINDOW_CYCLES)} cycles in it`,
    ]);
  const rate = studies.map((study) => study.signals.rate).find((signal) => signal !== null) ?? null;
  if (rate !== null && rate.clock.sampleRateHz < SLOW_RATE_HZ)
    note(
      'log-too-slow',
      'fault',
      `the body rate is logged at only ${rate.clock.sampleRateHz.toFixed(0)} Hz`,
      [
        `oscillations above ${Math.min(band.highestHz, 0.4 * rate.clock.sampleRateHz).toFixed(0)} Hz cannot be seen; log rates at 100 Hz or more`,
      ],
    );
  const gaps = (
    firstSignal(flight, 'rate.roll.measured', 'gyro.x', 'attitude.roll.measured')?.clock.gaps ?? []
  ).filter((gap) => gap.startS < hover.endS && gap.endS > hover.startS);
  if (gaps.length > 0) {
    const lostS = gaps.reduce((sum, gap) => sum + gap.endS - gap.startS, 0);
    note(
      'log-gaps',
      lostS > 0.02 * durationS ? 'fault' : 'note',
      `the log has ${String(gaps.length)} gaps in the hover`,
      [
        `${lostS.toFixed(2)} s are missing in all, the first at ${gaps[0]!.startS.toFixed(2)} s; they are bridged by straight lines`,
      ],
    );
  }
  return out;
}
