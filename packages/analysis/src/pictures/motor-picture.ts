/** Motor commands over the flight, with the stops they meet. */
import { stopsOf } from '../motor-stops.js';
import { isUnavailable, type Unavailable } from '../unavailable.js';
import { motorSignals } from '../signals.js';
import type { FlightStudy } from '../study-flight.js';
import type { MotorPicture } from './picture-data.js';
import { thinSignal } from './thin.js';

export function motorPicture(study: FlightStudy): MotorPicture | Unavailable {
  const { flight, hover, actuators } = study;
  const signals = motorSignals(flight);
  if (signals.length === 0)
    return { unavailable: 'no motor commands are in the log; log them at 50 Hz or more' };
  const whole = { startS: 0, endS: flight.durationS };
  const shares = isUnavailable(actuators) ? [] : actuators.motors;
  // Shares are counted over motors that have a value in hover: with fewer of them they cannot be told apart.
  const known = shares.length === signals.length ? shares : null;
  const motors = signals.flatMap((signal, index) => {
    const command = thinSignal(signal, whole, 1, 600);
    if (command === null) return [];
    return [
      {
        number: Number(signal.channel.split('.')[1]),
        command,
        ...stopsOf(signal, hover),
        lowStopShare: known?.[index]?.lowStopShare ?? 0,
        highStopShare: known?.[index]?.highStopShare ?? 0,
      },
    ];
  });
  return motors.length === 0 ? { unavailable: 'the motor commands hold no value' } : { hover, motors };
}
