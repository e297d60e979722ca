/** Motor commands over the flight, with the stops they meet. */

import type { MotorPicture } from '@settle/analysis';
import { formatPercent } from '../numbers.js';
import { LIGHT } from '../palette.js';
import { joinWords } from '../words.js';
import { type Chart, tidy, tidyTime } from './chart.js';
import { type Panel, type Row, curve, levelLine, stack, stretch } from './parts.js';

/** A stop is worth a word from this share of the hover. */
const WORTH = 0.005;

export function motorChart({ hover, motors }: MotorPicture, durationS: number): Chart {
  const met = motors.filter(
    ({ lowStopShare, highStopShare }) => Math.max(lowStopShare, highStopShare) > WORTH,
  );
  const panels: Panel[] = motors.map((motor) => ({
    title: `motor ${String(motor.number)}, % of full command`,
    height: motors.length > 4 ? 46 : 58,
    y: { domain: [0, 100], values: [0, 50, 100] },
    layers: [
      stretch(hover.startS, hover.endS),
      ...[motor.low, motor.high].flatMap((stop) =>
        stop === null ? [] : [levelLine(tidy(100 * stop), { color: LIGHT.mark, strokeDash: [5, 3] })],
      ),
      curve(`motor-${String(motor.number)}`, 't', 'v', { color: LIGHT.ink, strokeWidth: 1.1 }),
    ],
  }));
  const stops = met.map(
    ({ number, lowStopShare, highStopShare }) =>
      `motor ${String(number)} ${[
        lowStopShare > WORTH ? `${formatPercent(lowStopShare)} % of the hover on the low stop` : null,
        highStopShare > WORTH ? `${formatPercent(highStopShare)} % on the high stop` : null,
      ]
        .filter((text) => text !== null)
        .join(' and ')}`,
  );
  return {
    id: 'motors',
    title: 'Motor commands over the flight',
    see:
      stops.length === 0
        ? 'In the tinted hover no motor stands on a stop: there is authority left both ways. Motors that stand at different levels carry weight that is off centre, or differ.'
        : `Where a command lies flat on a dashed stop, the controller asks for more than the motor can give, and the axis is not held: ${joinWords(stops)}.`,
    alternative: `Commands of ${String(motors.length)} motors. ${stops.length === 0 ? 'None meets a stop in hover.' : `On their stops: ${joinWords(stops)}.`}`,
    spec: stack({
      description: 'Motor commands over the flight, with the stops they meet',
      across: { title: 'time, s', from: 0, to: tidyTime(durationS) },
      panels,
      datasets: Object.fromEntries(
        motors.map(({ number, command }) => [
          `motor-${String(number)}`,
          command.timeS.map((timeS, i): Row => {
            const value = command.values[i] ?? null;
            return { t: tidyTime(timeS), v: value === null ? null : tidy(100 * value) };
          }),
        ]),
      ),
    }),
    reading: {
      label: 'time',
      unit: 's',
      rows: motors.map(({ number }) => ({
        dataset: `motor-${String(number)}`,
        x: 't',
        y: 'v',
        label: `motor ${String(number)}`,
        unit: '%',
      })),
    },
    sketch: null,
  };
}
