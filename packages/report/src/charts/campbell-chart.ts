/** Vibration against rotor speed: what climbs along an order line turns with the rotors, what stays level does not. */

import type { CampbellPicture } from '@settle/analysis';
import { formatSignificant } from '../numbers.js';
import { LIGHT } from '../palette.js';
import { LINE_WORDS, joinWords } from '../words.js';
import { type Chart, tidy } from './chart.js';
import { type Layer, type Row, stack } from './parts.js';

type Kind = CampbellPicture['points'][number]['kind'];

/** Families by colour and by shape, so that neither is needed alone. */
const FAMILIES: readonly {
  readonly name: string;
  readonly kinds: readonly Kind[];
  readonly colour: string;
}[] = [
  { name: 'turns with the rotors', kinds: ['rotor', 'blade-pass', 'rotor-harmonic'], colour: LIGHT.pitch },
  { name: 'folded down', kinds: ['alias'], colour: LIGHT.yaw },
  { name: 'structure', kinds: ['structure'], colour: LIGHT.roll },
  { name: 'other', kinds: ['control-loop', 'electrical', 'unknown'], colour: LIGHT.reference },
];

export function campbellChart(data: CampbellPicture): Chart {
  const { sensor, unit, points, orders, halfSampleRateHz } = data;
  const speeds = points.map(({ rotorHz }) => rotorHz);
  const slow = Math.min(...speeds);
  const fast = Math.max(...speeds);
  const room = Math.max(1, 0.12 * (fast - slow));
  const from = tidy(slow - room);
  const to = tidy(fast + room);
  const highest = tidy(
    Math.min(halfSampleRateHz, 1.15 * Math.max(...points.map(({ frequencyHz }) => frequencyHz))),
  );
  const present = FAMILIES.filter(({ kinds }) => points.some(({ kind }) => kinds.includes(kind)));
  const words = sensor === 'gyro' ? 'gyro' : 'accelerometer';
  return {
    id: `${sensor}-campbell`,
    title: `Campbell diagram of the ${words}`,
    see:
      'Each circle is one line during a short stretch of the hover, larger where it shakes more. Circles along a rising order line turn with the rotors and need a notch that follows; a level row is something that rings at its own frequency.' +
      (fast - slow < 0.06 * fast
        ? ' The rotors hardly changed speed in this hover, so the two are hard to tell apart here.'
        : ''),
    alternative:
      `Lines of the ${words} against rotor speeds of ${formatSignificant(slow)} to ${formatSignificant(fast)} Hz: ` +
      `${joinWords(orders.map((order) => `order ${String(order)}`)) || 'no order of rotor speed'}; ${joinWords(present.map(({ name }) => name))}.`,
    spec: stack({
      description: `Campbell diagram: vibration lines of the ${words} against rotor speed, with order lines`,
      across: { title: 'rotor speed, Hz', from, to },
      panels: [
        {
          title: 'frequency in the log, Hz',
          height: 260,
          y: { domain: [0, highest], ticks: 6 },
          layers: [
            ...orderLayers(),
            {
              data: { name: 'points' },
              mark: { type: 'point', clip: true, filled: false, strokeWidth: 1.5, opacity: 0.9 },
              encoding: {
                x: { field: 'rotor' },
                y: { field: 'f' },
                size: {
                  field: 'rms',
                  type: 'quantitative',
                  scale: { domain: [0, tidy(Math.max(...points.map(({ rms }) => rms)))], range: [6, 420] },
                  legend: { title: `RMS, ${unit}`, symbolStrokeColor: LIGHT.quiet, tickCount: 3 },
                },
                color: {
                  field: 'family',
                  type: 'nominal',
                  scale: {
                    domain: present.map(({ name }) => name),
                    range: present.map(({ colour }) => colour),
                  },
                  legend: { title: null },
                },
                tooltip: [
                  { field: 'what', type: 'nominal', title: 'line' },
                  { field: 'rotor', type: 'quantitative', title: 'rotor speed, Hz' },
                  { field: 'f', type: 'quantitative', title: 'frequency, Hz' },
                  { field: 'rms', type: 'quantitative', title: `RMS, ${unit}` },
                ],
              },
            },
          ],
        },
      ],
      datasets: {
        orders: orders.flatMap((order) => orderRows(order, from, to, halfSampleRateHz, highest)),
        'order-names': orders.map((order) => ({
          x: to,
          y: tidy(folded(order * to, halfSampleRateHz)),
          label: `${String(order)}×`,
        })),
        points: points.map((point): Row => ({
          rotor: tidy(point.rotorHz),
          f: tidy(point.frequencyHz),
          rms: tidy(point.rms),
          family: FAMILIES.find(({ kinds }) => kinds.includes(point.kind))!.name,
          what: `${point.order === null ? '' : `${String(point.order)}× `}${LINE_WORDS[point.kind]}, ${point.axis}`,
        })),
      },
    }),
    reading: null,
    sketch: null,
  };
}

/** Where a frequency stands in a log that is too slow for it. */
function folded(hz: number, halfRateHz: number): number {
  const within = hz % (2 * halfRateHz);
  return within > halfRateHz ? 2 * halfRateHz - within : within;
}

const ORDER_POINTS = 60;

function orderRows(order: number, from: number, to: number, halfRateHz: number, highest: number): Row[] {
  return Array.from({ length: ORDER_POINTS }, (_, i) => {
    const x = from + ((to - from) * i) / (ORDER_POINTS - 1);
    const y = folded(order * x, halfRateHz);
    return { x: tidy(x), y: y > highest ? null : tidy(y), order: `${String(order)}×` };
  });
}

function orderLayers(): Layer[] {
  return [
    {
      data: { name: 'orders' },
      mark: { type: 'line', clip: true, strokeWidth: 1, strokeDash: [2, 3], color: LIGHT.quiet },
      encoding: { x: { field: 'x' }, y: { field: 'y' }, detail: { field: 'order', type: 'nominal' } },
    },
    {
      data: { name: 'order-names' },
      mark: { type: 'text', align: 'right', dx: -2, dy: -7, color: LIGHT.quiet, fontWeight: 600 },
      encoding: { x: { field: 'x' }, y: { field: 'y' }, text: { field: 'label' } },
    },
  ];
}
