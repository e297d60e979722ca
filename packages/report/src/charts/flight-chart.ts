/** The flight over time: when it moved, which part was analysed, where swings were found. */

import type { AxisName } from '@settle/parser';
import type { FlightPicture, PhaseKind } from '@settle/analysis';
import { formatSignificant, formatTime } from '../numbers.js';
import { LIGHT } from '../palette.js';
import { phaseSentence } from '../phases.js';
import { AXIS_ORDER, PHASE_WORDS, capitalise, joinWords } from '../words.js';
import { type Chart, tidyTime } from './chart.js';
import {
  AXIS_COLOURS,
  type Layer,
  type Panel,
  curve,
  reachOf,
  roundUp,
  seriesRows,
  stack,
  stretch,
} from './parts.js';

const PHASE_COLOURS: Readonly<Record<PhaseKind, string>> = {
  ground: LIGHT.phaseRest,
  takeoff: LIGHT.phaseMove,
  hover: LIGHT.goodTint,
  manoeuvre: LIGHT.phaseMove,
  landing: LIGHT.phaseMove,
  upset: LIGHT.phaseUpset,
};
/** Smallest range of the rate axes, deg/s: a quiet flight looks quiet. */
const LEAST_REACH_DEG_S = 10;
/** The same of angles, deg. */
const LEAST_REACH_DEG = 3;

export function flightChart(data: FlightPicture): Chart {
  const { hover, phases, durationS, quantity, motion, height, swings } = data;
  const unit = quantity === 'rate' ? 'deg/s' : 'deg';
  const axes = AXIS_ORDER.filter((axis) => motion[axis] !== null);
  const reach = roundUp(
    reachOf(
      axes.map((axis) => motion[axis]),
      quantity === 'rate' ? LEAST_REACH_DEG_S : LEAST_REACH_DEG,
    ),
  );
  const analysed = stretch(hover.startS, hover.endS);
  const panels: Panel[] = axes.map((axis) => ({
    title: `${axis} ${quantity}, ${unit}`,
    colour: AXIS_COLOURS[axis],
    height: 70,
    y: { domain: [-reach, reach], values: [-reach, 0, reach] },
    layers: [
      analysed,
      curve(`motion-${axis}`, 't', 'v', { color: AXIS_COLOURS[axis], strokeWidth: 1.1 }),
      ...swingLayers(axis, reach),
    ],
  }));
  if (height !== null)
    panels.push({
      title: 'height, m',
      height: 46,
      y: { ticks: 3 },
      layers: [analysed, curve('height', 't', 'v', { color: LIGHT.quiet })],
    });
  const found = swings.map(
    ({ axis, frequencyHz, startS, endS }) =>
      `${axis} at ${formatSignificant(frequencyHz)} Hz from ${formatTime(startS)} to ${formatTime(endS)} s`,
  );
  return {
    id: 'flight',
    title: 'The flight over time',
    see:
      `The tinted part, ${formatTime(hover.startS)} to ${formatTime(hover.endS)} s, is the hover that was analysed. ` +
      (found.length === 0
        ? `No bar stands over a curve: no steady wobble was found. All ${quantity}s share one scale, so the axis that moves most looks it.`
        : `A bar over a curve shows where a steady wobble was found: ${joinWords(found)}.`),
    alternative: [
      `${quantity === 'rate' ? 'Body rates' : 'Angles'} of ${joinWords(axes)} over ${formatTime(durationS)} s of flight.`,
      phaseSentence(phases),
      ...axes.map(
        (axis) => `${capitalise(axis)} reaches ${formatSignificant(reachOf([motion[axis]], 0), 2)} ${unit}.`,
      ),
    ].join(' '),
    spec: stack({
      description: `${quantity === 'rate' ? 'Body rates' : 'Angles'} over the whole flight, with its phases`,
      across: { title: 'time, s', from: 0, to: tidyTime(durationS) },
      panels,
      strip: { height: 20, layers: phaseLayers() },
      datasets: {
        phases: phases.map(({ kind, startS, endS }) => ({
          startS: tidyTime(startS),
          endS: tidyTime(endS),
          label: PHASE_WORDS[kind],
          colour: PHASE_COLOURS[kind],
        })),
        ...Object.fromEntries(axes.map((axis) => [`motion-${axis}`, seriesRows(motion[axis]!)])),
        ...Object.fromEntries(
          axes.map((axis) => [
            `swings-${axis}`,
            swings
              .filter((swing) => swing.axis === axis)
              .map(({ frequencyHz, startS, endS }) => ({
                startS: tidyTime(startS),
                endS: tidyTime(endS),
                label: `${formatSignificant(frequencyHz)} Hz`,
              })),
          ]),
        ),
        ...(height === null ? {} : { height: seriesRows(height) }),
      },
    }),
    reading: {
      label: 'time',
      unit: 's',
      rows: [
        ...axes.map((axis) => ({
          dataset: `motion-${axis}`,
          x: 't',
          y: 'v',
          label: `${axis} ${quantity}`,
          unit,
        })),
        ...(height === null ? [] : [{ dataset: 'height', x: 't', y: 'v', label: 'height', unit: 'm' }]),
      ],
    },
    sketch: null,
  };
}

function swingLayers(axis: AxisName, reach: number): Layer[] {
  const data = { name: `swings-${axis}` };
  return [
    {
      data,
      mark: { type: 'rule', color: LIGHT.mark, strokeWidth: 4, clip: true },
      encoding: { x: { field: 'startS' }, x2: { field: 'endS' }, y: { datum: 0.97 * reach } },
    },
    {
      data,
      mark: { type: 'text', color: LIGHT.mark, align: 'left', baseline: 'bottom', dy: -4, fontWeight: 600 },
      encoding: { x: { field: 'startS' }, y: { datum: 0.97 * reach }, text: { field: 'label' } },
    },
  ];
}

/** A phase is named where its name fits; the sentence beside the chart names them all. */
function phaseLayers(): Layer[] {
  const x = {
    field: 'startS',
    type: 'quantitative',
    axis: null,
    scale: { domain: [{ expr: 'from' }, { expr: 'to' }], nice: false, zero: false },
  };
  const fits = "scale('x', datum.endS) - scale('x', datum.startS) > 7 * length(datum.label) + 4";
  return [
    {
      data: { name: 'phases' },
      mark: { type: 'rect', clip: true, stroke: LIGHT.card, strokeWidth: 2 },
      encoding: { x, x2: { field: 'endS' }, color: { field: 'colour', type: 'nominal', scale: null } },
    },
    {
      data: { name: 'phases' },
      transform: [{ calculate: '(datum.startS + datum.endS) / 2', as: 'middleS' }],
      mark: {
        type: 'text',
        clip: true,
        color: LIGHT.ink,
        baseline: 'middle',
        opacity: { expr: `${fits} ? 1 : 0` },
      },
      encoding: { x: { ...x, field: 'middleS' }, text: { field: 'label' } },
    },
  ];
}
