import {
  describeClock,
  type ChannelDecision,
  type ChannelName,
  type Flight,
  type LogFile,
  type Signal,
} from '@settle/parser';
import type { SimulatedFlight } from './simulate.js';

export interface FlightSelection {
  /** Which channels the log holds; all by default. */
  readonly channels?: (name: ChannelName) => boolean;
}

/** Unit of each kind of channel in a `Flight`. */
export function unitOf(channel: ChannelName): string {
  if (channel.startsWith('attitude.')) return 'rad';
  if (channel.endsWith('.reference') || channel.endsWith('.measured') || channel.startsWith('gyro.')) {
    return 'rad/s';
  }
  if (channel.startsWith('accel.')) return 'm/s²';
  if (channel.startsWith('rotor.')) return 'Hz';
  if (channel === 'height') return 'm';
  if (channel === 'battery.voltage') return 'V';
  if (channel === 'battery.current') return 'A';
  return '1';
}

/** The simulated log as the reader would deliver it, without the detour through CSV text. */
export function toFlight(sim: SimulatedFlight, select: FlightSelection = {}): Flight {
  const wanted = select.channels ?? (() => true);
  const signals = new Map<ChannelName, Signal>();
  const files: LogFile[] = [];
  const groups = sim.log.groups.filter((group) => [...group.columns.keys()].some(wanted));
  const startS = Math.min(...groups.map((group) => group.timeS[0]!));
  let endS = startS;
  for (const group of groups) {
    endS = Math.max(endS, group.timeS.at(-1)!);
    const clock = describeClock(group.timeS.map((t) => t - startS));
    for (const [channel, values] of group.columns) {
      if (!wanted(channel)) continue;
      const decision: ChannelDecision = {
        channel,
        file: group.name,
        column: channel,
        unit: unitOf(channel),
        scale: 1,
        offset: 0,
        decidedBy: ['simulated'],
        clipped: 0,
        nonFinite: 0,
      };
      signals.set(channel, {
        channel,
        clock,
        values,
        decision,
        ...(channel === 'mode' ? { labels: sim.log.modeLabels } : {}),
      });
    }
    files.push({
      name: group.name,
      bytes: 0,
      encoding: 'utf-8',
      delimiter: ',',
      decimal: '.',
      headerLine: 1,
      unitsLine: null,
      rows: group.timeS.length,
      unusedColumns: [],
      clock: { column: 'time', unit: 's', decidedBy: 'simulated' },
      segments: { count: 1, chosen: 1 },
    });
  }
  return {
    name: sim.config.name,
    files,
    signals,
    frame: { logged: 'z-down', decidedBy: 'simulated' },
    problems: [],
    durationS: groups.length === 0 ? 0 : endS - startS,
  };
}
