import type { ChannelName } from './flight.js';

const AXIS = '(?:roll|pitch|yaw)';
const NAME = new RegExp(
  `^(?:attitude\\.${AXIS}\\.(?:reference|measured)` +
    `|rate\\.${AXIS}\\.(?:reference|measured|demand|proportional|integral|derivative|feedforward)` +
    '|(?:gyro|accel)\\.[xyz]|motor\\.[1-9]\\d?\\.command|rotor\\.[1-9]\\d?\\.speed' +
    `|stick\\.(?:roll|pitch|yaw|throttle)|throttle|height|battery\\.(?:voltage|current)|mode)$`,
);

export function isChannelName(text: string): text is ChannelName {
  return NAME.test(text);
}

/** How a channel is brought to its unit in the flight model. */
export type Quantity =
  | 'attitude'
  | 'body-rate'
  | 'accel'
  | 'demand'
  | 'share'
  | 'stick'
  | 'rotor-speed'
  | 'height'
  | 'voltage'
  | 'current'
  | 'mode';

export function quantityOf(channel: ChannelName): Quantity {
  if (channel.startsWith('attitude.')) return 'attitude';
  if (channel.startsWith('gyro.')) return 'body-rate';
  if (channel.startsWith('accel.')) return 'accel';
  if (channel.startsWith('rate.')) return /\.(?:reference|measured)$/.test(channel) ? 'body-rate' : 'demand';
  if (channel.startsWith('motor.') || channel === 'throttle' || channel === 'stick.throttle') return 'share';
  if (channel.startsWith('stick.')) return 'stick';
  if (channel.startsWith('rotor.')) return 'rotor-speed';
  if (channel === 'height') return 'height';
  if (channel === 'battery.voltage') return 'voltage';
  return channel === 'battery.current' ? 'current' : 'mode';
}

/** Channels without which nothing can be said of a wobble: where these are unclear, reading stops. */
export function isEssential(channel: ChannelName): boolean {
  const quantity = quantityOf(channel);
  return quantity === 'attitude' || quantity === 'body-rate' || quantity === 'accel';
}

/** Order in which channels are listed. */
const ORDER = [
  'attitude',
  'rate',
  'gyro',
  'accel',
  'motor',
  'rotor',
  'throttle',
  'stick',
  'height',
  'battery',
  'mode',
];
const ROLE_ORDER = ['roll', 'pitch', 'yaw', 'x', 'y', 'z', 'reference', 'measured', 'demand', 'proportional', 'integral', 'derivative', 'feedforward']; // prettier-ignore

/** For sorting channels: attitude, rate, gyro, accel, motors and so on. */
export function compareChannels(a: ChannelName, b: ChannelName): number {
  const left = a.split('.');
  const right = b.split('.');
  const rank = (part: string | undefined, list: readonly string[]): number => {
    if (part === undefined) return -1;
    return /^\d+$/.test(part) ? Number(part) : list.indexOf(part);
  };
  return (
    rank(left[0], ORDER) - rank(right[0], ORDER) ||
    rank(left[1], ROLE_ORDER) - rank(right[1], ROLE_ORDER) ||
    rank(left[2], ROLE_ORDER) - rank(right[2], ROLE_ORDER)
  );
}
