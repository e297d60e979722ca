import { AXES, type AxisName, type ChannelName, type Flight } from '@settle/parser';
import { motorSignals, rotorSignals } from './signals.js';

/** What one analysis would still need from the log; an empty list: nothing. */
export interface AnalysisLacks {
  readonly analysis: string;
  readonly lacks: readonly string[];
}

/** Rates slower than this hide rate-loop oscillations. */
const RATE_HZ = 100;

function missing(flight: Flight, names: readonly ChannelName[], words: string): string[] {
  const absent = names.filter((name) => !flight.signals.has(name));
  if (absent.length === 0) return [];
  return absent.length === names.length ? [words] : [`${words} (${absent.join(', ')})`];
}

const perAxis = (axes: readonly AxisName[], make: (axis: AxisName) => ChannelName): ChannelName[] =>
  axes.map(make);

/** What must be logged for the cause of an oscillation on these axes to be told. */
export function lacksForCause(flight: Flight, axes: readonly AxisName[]): string[] {
  return [
    ...missing(
      flight,
      perAxis(axes, (a) => `attitude.${a}.measured`),
      'attitude',
    ),
    ...missing(
      flight,
      perAxis(axes, (a) => `attitude.${a}.reference`),
      'attitude references',
    ),
    ...missing(
      flight,
      perAxis(axes, (a) => `rate.${a}.reference`),
      'rate references',
    ),
    ...missing(
      flight,
      perAxis(axes, (a) => `rate.${a}.demand`),
      'demands (controller outputs)',
    ),
    ...(motorSignals(flight).length === 0 ? ['motor commands'] : []),
    ...missing(
      flight,
      perAxis(axes, (a) => `stick.${a}`),
      'sticks',
    ),
  ];
}

/** For each analysis, now or to come, what this log lacks. */
export function analysisLacks(flight: Flight): AnalysisLacks[] {
  const rates = AXES.every((a) => flight.signals.has(`rate.${a}.measured`));
  const gyros = (['x', 'y', 'z'] as const).every((a) => flight.signals.has(`gyro.${a}`));
  const attitudes = perAxis(AXES, (a) => `attitude.${a}.measured`);
  const rate = flight.signals.get('rate.roll.measured') ?? flight.signals.get('gyro.x');
  const slow =
    rate !== undefined && rate.clock.sampleRateHz < 0.95 * RATE_HZ
      ? [`rates at ${String(RATE_HZ)} Hz or more (logged at ${rate.clock.sampleRateHz.toFixed(0)} Hz)`]
      : [];
  const tellsGround =
    motorSignals(flight).length > 0 || flight.signals.has('throttle') || flight.signals.has('height');
  return [
    {
      analysis: 'phases of flight',
      lacks: tellsGround
        ? []
        : ['motor commands, throttle or height (the shaking of the sensors is used instead)'],
    },
    {
      analysis: 'oscillations',
      lacks: [
        ...(rates || gyros ? [] : ['body rates or gyro on all axes']),
        ...missing(flight, attitudes, 'attitude'),
        ...slow,
      ],
    },
    { analysis: 'cause of an oscillation', lacks: lacksForCause(flight, AXES) },
    {
      analysis: 'gain advice',
      lacks: [
        ...missing(
          flight,
          perAxis(AXES, (a) => `rate.${a}.demand`),
          'demands (controller outputs)',
        ),
        ...missing(
          flight,
          perAxis(AXES, (a) => `rate.${a}.proportional`),
          'controller terms',
        ),
        ...(motorSignals(flight).length === 0 ? ['motor commands'] : []),
      ],
    },
    {
      analysis: 'vibration and notch placement',
      lacks: [
        ...(gyros ? [] : ['raw gyro (gyro.x, gyro.y, gyro.z)']),
        ...(flight.signals.has('accel.z') ? [] : ['accelerometer']),
        ...(rotorSignals(flight).length === 0
          ? ['rotor speeds (lines are told apart less surely without)']
          : []),
      ],
    },
    { analysis: 'battery', lacks: missing(flight, ['battery.voltage'], 'battery voltage') },
  ];
}
