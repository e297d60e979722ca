/** Where the stick shows the loop, and how the rate answers a step. */

import type { CoherencePicture, StepPicture } from '@settle/analysis';
import { formatSignificant } from '../numbers.js';
import { LIGHT } from '../palette.js';
import { capitalise } from '../words.js';
import { type Chart, tidy } from './chart.js';
import {
  AXIS_COLOURS,
  type Layer,
  bandRows,
  between,
  curve,
  levelLine,
  namedCurve,
  rowsOf,
  stack,
} from './parts.js';

const WITH_RATE = 'stick with body rate';
const WITH_DEMAND = 'stick with demand';

export function coherenceChart(data: CoherencePicture): Chart {
  const { axis, frequencyHz, withDemand, withRate, byChance } = data;
  const colour = AXIS_COLOURS[axis];
  const colours = {
    ...(withDemand === null ? {} : { [WITH_DEMAND]: LIGHT.reference }),
    [WITH_RATE]: colour,
  };
  const clear = frequencyHz.filter((_, i) => withRate[i]! > byChance);
  const line = (field: string, name: string, mark: Layer): Layer =>
    namedCurve(curve('coherence', 'f', field, mark), name, colours);
  return {
    id: `${axis}-coherence`,
    title: `${capitalise(axis)}: what the stick explains`,
    see:
      `Above the dotted line, ${byChance.toFixed(2)}, the stick explains more of the motion than chance would: there the loop can be read from it. ` +
      (clear.length === 0
        ? 'Nowhere does it, so the stick shows nothing of this axis.'
        : `That is so at ${String(clear.length)} of ${String(frequencyHz.length)} frequencies.`),
    alternative:
      `Coherence of the ${axis} stick with the body rate from ${formatSignificant(frequencyHz[0]!, 2)} to ${formatSignificant(frequencyHz.at(-1)!, 2)} Hz, ` +
      `${formatSignificant(Math.max(...withRate), 2)} at most.`,
    spec: stack({
      description: `Magnitude-squared coherence of the ${axis} stick with demand and body rate`,
      across: {
        title: 'frequency, Hz',
        from: tidy(frequencyHz[0]!),
        to: tidy(frequencyHz.at(-1)!),
        logarithmic: true,
      },
      panels: [
        {
          title: 'coherence, 0 to 1',
          height: 130,
          y: { domain: [0, 1], values: [0, 0.5, 1] },
          layers: [
            levelLine(tidy(byChance)),
            ...(withDemand === null ? [] : [line('demand', WITH_DEMAND, { strokeDash: [5, 3] })]),
            line('rate', WITH_RATE, { strokeWidth: 1.8 }),
          ],
        },
      ],
      datasets: {
        coherence: rowsOf({
          f: frequencyHz,
          rate: withRate,
          ...(withDemand === null ? {} : { demand: withDemand }),
        }),
      },
    }),
    reading: {
      label: 'frequency',
      unit: 'Hz',
      rows: [
        { dataset: 'coherence', x: 'f', y: 'rate', label: WITH_RATE, unit: '' },
        ...(withDemand === null
          ? []
          : [{ dataset: 'coherence', x: 'f', y: 'demand', label: WITH_DEMAND, unit: '' }]),
      ],
    },
    sketch: null,
  };
}

/** Places of the labels of a step response, s. */
export const STEP_TICKS = [0, 0.25, 0.5, 0.75, 1, 1.25, 1.5];

export function stepChart(data: StepPicture): Chart {
  const { axis, timeS, value, band, riseTimeS, overshootPct } = data;
  const colour = AXIS_COLOURS[axis];
  const top = Math.max(1.2, 1.05 * Math.max(...value, ...band.high.map((high) => high ?? 0)));
  const numbers = [
    riseTimeS === null ? null : `rises in ${formatSignificant(riseTimeS, 2)} s`,
    overshootPct === null ? null : `goes ${formatSignificant(overshootPct, 2)} % beyond`,
  ].filter((text) => text !== null);
  const summary = numbers.length === 0 ? '' : ` It ${numbers.join(' and ')}.`;
  return {
    id: `${axis}-step`,
    title: `${capitalise(axis)}: the rate after a step of its reference`,
    see: `How the rate loop would answer a sudden demand for turning, worked out from the identified response with today’s gains.${summary} Ringing before it settles means little phase margin; the tint holds two in three of the loops that fit the log.`,
    alternative: `Step response of the ${axis} rate over ${formatSignificant(timeS.at(-1)!, 2)} s.${summary}`,
    spec: stack({
      description: `Step response of the ${axis} rate loop with its uncertainty`,
      across: { title: 'time after the step, s', from: 0, to: tidy(timeS.at(-1)!), ticks: STEP_TICKS },
      panels: [
        {
          title: 'rate, share of the step',
          height: 150,
          y: { domain: [Math.min(0, tidy(Math.min(...value))), tidy(top)], ticks: 5 },
          layers: [
            levelLine(1, { color: LIGHT.ink, strokeDash: [] }),
            between('band', 'x', 'low', 'high', { color: colour, opacity: 0.2 }),
            curve('step', 't', 'v', { color: colour, strokeWidth: 2 }),
          ],
        },
      ],
      datasets: { step: rowsOf({ t: timeS, v: value }), band: bandRows(timeS, band) },
    }),
    reading: {
      label: 'time',
      unit: 's',
      rows: [{ dataset: 'step', x: 't', y: 'v', label: 'share of the step', unit: '' }],
    },
    sketch: null,
  };
}
