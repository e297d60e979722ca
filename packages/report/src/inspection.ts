/** What is in a log, as data: the promise behind `settle inspect --json`. */

import type {
  ChannelName,
  Flight,
  FrameDecision,
  Interval,
  LogFile,
  LogProblem,
  Signal,
} from '@settle/parser';
import type { AnalysisLacks, Phase, PhaseReport } from '@settle/analysis';

export interface InspectedChannel {
  readonly id: ChannelName;
  readonly file: string;
  readonly column: string;
  /** As logged; the values below are SI. */
  readonly unit: string;
  readonly decidedBy: readonly string[];
  readonly sampleRateHz: number;
  readonly jitterPct: number;
  readonly gaps: readonly Interval[];
  readonly clipped: number;
  readonly nonFinite: number;
  /** Extremes of the finite values in the channel's SI unit (`siUnit`); null when there are none, or for words. */
  readonly lowest: number | null;
  readonly highest: number | null;
  readonly siUnit: string | null;
}

export interface Inspection {
  readonly schema: 'settle.inspection/1';
  readonly flight: { readonly name: string; readonly durationS: number; readonly frame: FrameDecision };
  readonly files: readonly LogFile[];
  readonly channels: readonly InspectedChannel[];
  readonly problems: readonly LogProblem[];
  readonly phases: readonly Phase[];
  /** Which channels told the phases apart. */
  readonly phasesFrom: string;
  readonly lacks: readonly AnalysisLacks[];
}

/** Units of the flight model; null for modes (words) and unit-free shares. */
export function siUnitOf(channel: ChannelName): string | null {
  if (channel.startsWith('attitude.')) return 'rad';
  if (channel.startsWith('gyro.')) return 'rad/s';
  if (channel.startsWith('accel.')) return 'm/s²';
  if (channel.startsWith('rotor.')) return '1/s';
  if (channel === 'height') return 'm';
  if (channel === 'battery.voltage') return 'V';
  if (channel === 'battery.current') return 'A';
  return /^rate\.\w+\.(reference|measured)$/.test(channel) ? 'rad/s' : null;
}

function extremesOf(signal: Signal): { lowest: number | null; highest: number | null } {
  if (signal.labels !== undefined) return { lowest: null, highest: null };
  let lowest = Infinity;
  let highest = -Infinity;
  for (const value of signal.values) {
    if (value < lowest) lowest = value;
    if (value > highest) highest = value;
  }
  return Number.isFinite(lowest) && Number.isFinite(highest)
    ? { lowest, highest }
    : { lowest: null, highest: null };
}

export function assembleInspection(
  flight: Flight,
  { phases, decidedBy }: PhaseReport,
  lacks: readonly AnalysisLacks[],
): Inspection {
  return {
    schema: 'settle.inspection/1',
    flight: { name: flight.name, durationS: flight.durationS, frame: flight.frame },
    files: flight.files,
    channels: [...flight.signals.values()].map((signal) => ({
      id: signal.channel,
      file: signal.decision.file,
      column: signal.decision.column,
      unit: signal.decision.unit,
      decidedBy: signal.decision.decidedBy,
      sampleRateHz: signal.clock.sampleRateHz,
      jitterPct: signal.clock.jitterPct,
      gaps: signal.clock.gaps,
      clipped: signal.decision.clipped,
      nonFinite: signal.decision.nonFinite,
      ...extremesOf(signal),
      siUnit: siUnitOf(signal.channel),
    })),
    problems: flight.problems,
    phases,
    phasesFrom: decidedBy,
    lacks,
  };
}
