import { describeClock, type ChannelName, type Flight, type Signal } from '@settle/parser';

/** A flight made of functions of time, each channel on a clock of its own rate; for truths one can check in the head. */
export function madeFlight(
  durationS: number,
  channels: Partial<Record<ChannelName, { hz: number; at: (t: number) => number }>>,
): Flight {
  const signals = new Map<ChannelName, Signal>();
  for (const [name, made] of Object.entries(channels)) {
    if (made === undefined) continue;
    const { hz, at } = made;
    const channel = name as ChannelName;
    const timeS = Float64Array.from({ length: Math.floor(durationS * hz) + 1 }, (_, i) => i / hz);
    signals.set(channel, {
      channel,
      clock: describeClock(timeS),
      values: timeS.map(at),
      decision: {
        channel,
        file: 'made.csv',
        column: name,
        unit: 'SI',
        scale: 1,
        offset: 0,
        decidedBy: ['made'],
        clipped: 0,
        nonFinite: 0,
      },
    });
  }
  return {
    name: 'made',
    files: [],
    signals,
    frame: { logged: 'z-down', decidedBy: 'made' },
    problems: [],
    durationS,
  };
}
